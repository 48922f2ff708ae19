package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

// BenchmarkTurns takes the turns that the webhook's measure takes, without Redis
// and without a server, for a profile or a count of allocations.
func BenchmarkTurns(b *testing.B) {
	p, err := practice()
	require.NoError(b, err)
	var stages []*stage
	var now time.Time
	for k := range courses {
		some, at, err := course(p.Rules, k, weeksOf(k))
		require.NoError(b, err)
		stages = append(stages, some...)
		now = at
	}
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		s := stages[i%len(stages)]
		i++
		care.Turn(p.Rules, s.house, care.Event{Key: "sms/SM1", At: now, Message: &care.MessageIn{
			From: s.house.Contacts[0].Address, Via: "texts", ID: "SM1", Text: s.text,
		}})
	}
}

// BenchmarkTicks wakes households whose weekly check-in is due.
func BenchmarkTicks(b *testing.B) {
	p, err := practice()
	require.NoError(b, err)
	var houses []care.Household
	var now time.Time
	for k := range dueCourses {
		h, at, err := waiting(p.Rules, k)
		require.NoError(b, err)
		houses = append(houses, h)
		now = at
	}
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		care.Turn(p.Rules, houses[i%len(houses)], care.Event{At: now, Tick: &care.Tick{}})
		i++
	}
}
