package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// lastLine reads the last line of what a measure wrote.
func lastLine(t *testing.T, out *bytes.Buffer, into any) {
	t.Helper()
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	require.NoError(t, json.Unmarshal([]byte(lines[len(lines)-1]), into))
}

func TestDueInShort(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, measureDue(context.Background(), &out, dueOptions{enrolled: 3200, few: 320, due: 240, rounds: 1, ticks: 3}))
	var res dueResult
	lastLine(t, &out, &res)
	require.Positive(t, res.IdleRatio)
	require.Positive(t, res.BusyRatio)
	require.Positive(t, res.CPURatio)
	require.Error(t, measureDue(context.Background(), io.Discard, dueOptions{enrolled: 3200, few: 320, due: 9, rounds: 1, ticks: 3}))
}

func TestTheEnrolledAreStoredWhole(t *testing.T) {
	g, err := enrol(context.Background(), 160)
	require.NoError(t, err)
	defer g.close()
	ctx := context.Background()
	lag, err := g.store.DueLag(ctx, begun)
	require.NoError(t, err)
	require.Equal(t, 160, lag.Enrolled)
	cases, total, err := g.store.Caseload(ctx, "hillside", 0, 1000)
	require.NoError(t, err)
	require.Equal(t, 161, total, "and the one they are copies of")
	for _, c := range cases {
		l, err := g.store.Load(ctx, "hillside", c.ID)
		require.NoError(t, err)
		require.Equal(t, c.ID, l.Household.ID)
		log, err := g.store.ReadLog(ctx, "hillside", c.ID, 0, 10)
		require.NoError(t, err)
		require.Len(t, log, 1)
	}
}
