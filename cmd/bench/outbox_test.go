package main

import (
	"bytes"
	"context"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestOutboxInShort(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, measureOutbox(context.Background(), &out, outboxOptions{
		messages: 300, workers: 20, rounds: 1, takes: 2 * time.Millisecond, slow: 20 * time.Millisecond,
	}))
	var res outboxResult
	lastLine(t, &out, &res)
	require.Positive(t, res.IdealRatio)
	require.Positive(t, res.BesideRatio)
	require.InDelta(t, 10_000, res.Ideal, 1e-9)
	require.Error(t, measureOutbox(context.Background(), io.Discard, outboxOptions{messages: 1, workers: 0, rounds: 1, takes: 1, slow: 1}))
}
