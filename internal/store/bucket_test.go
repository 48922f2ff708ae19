package store

import (
	"context"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestABucketEmptiesAndFillsAgain(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		now := noon
		take := func() time.Duration {
			wait, err := s.TakeToken(context.Background(), "hillside", ruth, Rate{PerSecond: 2, Burst: 3}, now)
			require.NoError(t, err)
			return wait
		}
		for range 3 {
			require.Zero(t, take())
		}
		require.Equal(t, 500*time.Millisecond, take())
		now = now.Add(499 * time.Millisecond)
		require.Equal(t, time.Millisecond, take(), "asking takes nothing")
		now = now.Add(time.Millisecond)
		require.Zero(t, take())
		require.Equal(t, 500*time.Millisecond, take())
		now = now.Add(time.Hour)
		for range 3 {
			require.Zero(t, take())
		}
		require.NotZero(t, take(), "a pause fills it once, not more")
	})
}

func TestSeveralTokensAreTakenTogetherOrNotAtAll(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		r := Rate{PerSecond: 1, Burst: 5}
		wait, err := s.TakeTokens(ctx, "hillside", ruth, r, 4, noon)
		require.NoError(t, err)
		require.Zero(t, wait)
		wait, err = s.TakeTokens(ctx, "hillside", ruth, r, 3, noon)
		require.NoError(t, err)
		require.Equal(t, 2*time.Second, wait, "one is left, and two more take as many seconds")
		wait, err = s.TakeToken(ctx, "hillside", ruth, r, noon)
		require.NoError(t, err)
		require.Zero(t, wait, "the refusal took nothing")
		for _, n := range []int{0, 6} {
			_, err = s.TakeTokens(ctx, "hillside", ruth, r, n, noon)
			require.Error(t, err)
		}
	})
}

func TestNumbersHaveTheirOwnBuckets(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		one := Rate{PerSecond: 1, Burst: 1}
		for _, clinic := range []string{"hillside", "riverside"} {
			wait, err := s.TakeToken(ctx, clinic, ruth, one, noon)
			require.NoError(t, err)
			require.Zero(t, wait)
		}
		wait, err := s.TakeToken(ctx, "hillside", owen, one, noon)
		require.NoError(t, err)
		require.Zero(t, wait)
	})
}

// A machine whose clock runs ahead must not lock the others out.
func TestAClockThatRunsAheadCostsNoMoreThanAnEmptyBucket(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		r := Rate{PerSecond: 1, Burst: 5}
		_, err := s.TakeToken(ctx, "hillside", ruth, r, noon.Add(24*time.Hour))
		require.NoError(t, err)
		wait, err := s.TakeToken(ctx, "hillside", ruth, r, noon)
		require.NoError(t, err)
		require.LessOrEqual(t, wait, time.Second)
	})
}

// Over any stretch, no more goes out than the burst and what the time brings,
// however many take at once.
func TestABucketNeverGivesMoreThanItsRate(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		r := Rate{PerSecond: 7, Burst: 4}
		rnd := rand.New(rand.NewPCG(1, 2))
		now, given := noon, atomic.Int64{}
		for range 60 {
			now = now.Add(time.Duration(rnd.IntN(400)) * time.Millisecond)
			var wg sync.WaitGroup
			for range 5 {
				wg.Go(func() {
					if wait, err := s.TakeToken(context.Background(), "hillside", ruth, r, now); err == nil && wait == 0 {
						given.Add(1)
					}
				})
			}
			wg.Wait()
			most := float64(r.Burst) + r.PerSecond*now.Sub(noon).Seconds()
			require.LessOrEqual(t, float64(given.Load()), most+1e-3)
		}
		require.Greater(t, given.Load(), int64(60), "it does give")
	})
}

func TestARateMustBeOne(t *testing.T) {
	s := openOn(t, standIn(t))
	for _, r := range []Rate{{}, {PerSecond: 1}, {PerSecond: -1, Burst: 1}, {Burst: 3}} {
		_, err := s.TakeToken(context.Background(), "hillside", ruth, r, noon)
		require.Error(t, err)
	}
}
