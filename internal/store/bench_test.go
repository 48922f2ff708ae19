package store

import (
	"context"
	"fmt"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"
)

// One message of one household through load, a plain turn, and commit.
func BenchmarkDo(b *testing.B) {
	s := openOn(b, realServer(b))
	var n atomic.Int64
	b.SetParallelism(32)
	b.ReportAllocs()
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			i := n.Add(1)
			a := owner(int(i % 5000))
			if _, err := s.Do(context.Background(), rules, s.ID("hillside", a), says(a, fmt.Sprintf("SM%032x", i), "1 0 0 2 1 1 0")); err != nil {
				b.Error(err)
			}
		}
	})
}

// The same wire without a store: a read and a write, one after the other.
func BenchmarkTwoBareRoundTrips(b *testing.B) {
	c := realServer(b)
	ctx := context.Background()
	var n atomic.Int64
	b.SetParallelism(32)
	b.ReportAllocs()
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			k := fmt.Sprint("k", n.Add(1)%5000)
			if err := c.Get(ctx, k).Err(); err != nil && !isNil(err) {
				b.Error(err)
			}
			if err := c.Set(ctx, k, "v", 0).Err(); err != nil {
				b.Error(err)
			}
		}
	})
}

// A household as it comes from and goes to Redis.
func BenchmarkRecord(b *testing.B) {
	s := openOn(b, standIn(b))
	e := says(ruth, "SM1", "1 0 0 2 1 1 0")
	for i := range 20 {
		do(b, s, ruth, says(ruth, fmt.Sprintf("SM%032x", i), "2"))
	}
	record, err := s.rdb.Get(context.Background(), householdKey(unit{"hillside", s.ID("hillside", ruth)})).Result()
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		l, err := s.decodeHousehold(unit{"hillside", s.ID("hillside", ruth)}, record, Direct)
		if err != nil {
			b.Fatal(err)
		}
		c := Change{Rules: rules, ID: l.ID, Version: l.Version, Was: l.Household, Event: e, Result: plainTurn(rules, l.Household, e)}
		if _, err := s.commitCall(c); err != nil {
			b.Fatal(err)
		}
	}
}
