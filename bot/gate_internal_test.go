package bot

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A fast number's tokens are taken for those that wait behind the busy ones; a
// slow one's only for what may go now.
func TestTokensAreTakenAheadForAFastNumberOnly(t *testing.T) {
	for _, c := range []struct {
		name     string
		held, n  int
		rate     float64
		expected int
	}{
		{"slow", 50, 1, 10, 1},
		{"slow, several may go", 50, 5, 10, 5},
		{"fast", 50, 1, 100_000, mostTokens},
		{"fast, few wait", 3, 1, 100_000, 3},
		{"in between", 50, 1, 400, 4},
	} {
		g := &gate{held: make([]heldEntry, c.held)}
		require.Equal(t, c.expected, g.ahead(c.n, c.rate), c.name)
	}
}

// Tokens that nobody is left to use are given up: what comes later pays anew.
func TestAnEmptyGateKnowsIt(t *testing.T) {
	g := &gate{most: 1, busy: map[string]bool{}, state: make(chan struct{}, 1), horizon: time.Minute}
	require.True(t, g.empty())
	g.held = make([]heldEntry, 1)
	require.False(t, g.empty())
}
