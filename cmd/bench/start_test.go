package main

import (
	"bytes"
	"context"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestStartInShort(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, measureStart(context.Background(), &out, startOptions{dogs: 320, rounds: 1}))
	var res startResult
	lastLine(t, &out, &res)
	require.Positive(t, res.Ratio)
	require.Positive(t, res.ManyMs.Median)
	require.Error(t, measureStart(context.Background(), io.Discard, startOptions{dogs: 0, rounds: 1}))
}

func TestAProgramThatEndsSaysWhy(t *testing.T) {
	_, err := listening(strings.NewReader("no settings\n"))
	require.ErrorContains(t, err, "no settings")
}
