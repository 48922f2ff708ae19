package main

import (
	"bytes"
	"context"
	"io"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestDeskInShort(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, measureDesk(context.Background(), &out, deskOptions{dogs: 300, rounds: 1}))
	var res deskResult
	lastLine(t, &out, &res)
	for _, p := range []pageTime{res.Cold, res.Renewed, res.Warm} {
		require.Positive(t, p.Ratio)
	}
	require.Positive(t, res.Ratio)
	require.Greater(t, res.Cold.Reads, res.Renewed.Reads)
	require.Greater(t, res.Renewed.Reads, res.Warm.Reads)
	require.Error(t, measureDesk(context.Background(), io.Discard, deskOptions{dogs: 1, rounds: 1}))
}
