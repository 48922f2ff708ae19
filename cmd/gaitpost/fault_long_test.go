//go:build long

package main

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/store/redistest"
)

const (
	failOver      = true             // of a cluster's master, which takes a while
	outage        = 30 * time.Second // Redis stays away
	takeover      = 45 * time.Second // of what a dead sender left: the default
	dueHouseholds = 10_000
)

// At least 200 kills over at least 10,000 messages, each posted three times.
func TestManyKills(t *testing.T) {
	var points []string
	for range 5 {
		points = slices.Concat(points, requestPoints, senderPoints, linePoints)
	}
	s := newStorm(t, redistest.Start(t).URL())
	s.atLeast = 10_000
	survive(t, s, points, 200-len(points)+10, 12)
	require.GreaterOrEqual(t, s.taken.Load(), int64(10_000))
}
