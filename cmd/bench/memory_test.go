package main

import (
	"bytes"
	"context"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

func TestMemoryInShort(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, measureMemory(context.Background(), &out, memoryOptions{dogs: 8, weeks: 3}))
	var res memoryResult
	lastLine(t, &out, &res)
	require.Positive(t, res.Ratio)
	require.Greater(t, res.Bytes, res.Record)
	require.Greater(t, res.Log, 0.0)
	require.Greater(t, res.Entries, 3*3.0, "each check-in is a prompt, an answer and what became of the messages")
	require.Error(t, measureMemory(context.Background(), io.Discard, memoryOptions{dogs: 1, weeks: 1}))
}

// Counted by hand: the shortest way to write the same facts.
func TestCompactJSON(t *testing.T) {
	n, err := compactJSON(store.LogEntry{Seq: 7, At: time.Unix(1767600000, 0), Reason: care.Answered,
		Event: care.Event{Key: "k", Message: &care.MessageIn{Text: "2"}},
		Facts: []care.Fact{{Kind: "x", Number: 0.5}}})
	require.NoError(t, err)
	require.Equal(t, len(`{"1":7,"2":1767600000,"3":{"1":"k","3":{"4":"2"}},"4":"answered","7":[{"1":"x","6":0.5}]}`), n)
}
