package main

import (
	"runtime/debug"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestTheCollectorHeedsTheEnvironment(t *testing.T) {
	was := debug.SetGCPercent(100)
	defer debug.SetGCPercent(was)
	now := func() int {
		p := debug.SetGCPercent(100)
		debug.SetGCPercent(p)
		return p
	}
	restore := collectLess(env{getenv: func(string) string { return "" }})
	require.Equal(t, gcPercent, now())
	restore()
	require.Equal(t, 100, now())
	restore = collectLess(env{getenv: func(name string) string {
		require.Equal(t, "GOGC", name)
		return "50"
	}})
	require.Equal(t, 100, now(), "the runtime has set it already")
	restore()
}
