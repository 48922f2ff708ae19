package store

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// enrolDue writes n households that are due at noon, straight into the set.
func enrolDue(t *testing.T, s *Store, n int) {
	t.Helper()
	ctx := context.Background()
	_, err := s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i := range n {
			u := unit{"hillside", s.ID("hillside", owner(i))}
			p.ZAdd(ctx, dueKey(u.partition()), redis.Z{Score: float64(noon.Unix()), Member: dueMember(u)})
		}
		return nil
	})
	require.NoError(t, err)
}

func TestTwoClaimersNeverTakeTheSame(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		const n = 10_000
		enrolDue(t, s, n)
		taken := make([]map[Due]int, 2)
		errs := make([]error, 2)
		var wg sync.WaitGroup
		for w := range taken {
			taken[w] = map[Due]int{}
			wg.Go(func() {
				for p := range contact.Partitions {
					p = (p + 8*w) % contact.Partitions
					for {
						got, err := s.ClaimDue(context.Background(), p, noon, time.Minute, ClaimMax)
						if err != nil || len(got) == 0 {
							errs[w] = err
							break
						}
						for _, d := range got {
							taken[w][d]++
						}
					}
				}
			})
		}
		wg.Wait()
		require.NoError(t, errs[0])
		require.NoError(t, errs[1])
		require.Equal(t, n, len(taken[0])+len(taken[1]), "each taken by one")
		for d, k := range taken[0] {
			require.Equal(t, 1, k)
			require.Zero(t, taken[1][d], "taken by both")
		}
	})
}

func TestAClaimComesBackWhenItsLeaseEnds(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		enrolDue(t, s, 3)
		claim := func(at time.Time) int {
			got, err := s.ClaimDueAll(ctx, at, time.Minute, 10)
			require.NoError(t, err)
			return len(got)
		}
		require.Equal(t, 0, claim(noon.Add(-time.Second)), "not due yet")
		require.Equal(t, 3, claim(noon))
		require.Equal(t, 0, claim(noon.Add(59*time.Second)))
		require.Equal(t, 3, claim(noon.Add(60*time.Second)), "its claimer died")
	})
}

func TestTheCommitSetsTheTrueNextTime(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		do(t, s, ruth, says(ruth, "SM1", "2")) // due in an hour
		at := noon.Add(time.Hour)
		got, err := s.ClaimDueAll(ctx, at, time.Minute, 10)
		require.NoError(t, err)
		require.Len(t, got, 1)
		do(t, s, ruth, care.Event{At: at, Tick: &care.Tick{}}) // nothing more to do
		got, err = s.ClaimDueAll(ctx, at.Add(24*time.Hour), time.Minute, 10)
		require.NoError(t, err)
		require.Empty(t, got)
	})
}

func TestAClaimTakesTheLongestDueFirst(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		for i := range 5 {
			require.NoError(t, s.rdb.ZAdd(ctx, dueKey(3), redis.Z{
				Score: float64(noon.Unix() - int64(i)), Member: fmt.Sprintf("hillside/%d", i),
			}).Err())
		}
		got, err := s.ClaimDue(ctx, 3, noon, time.Minute, 2)
		require.NoError(t, err)
		require.Equal(t, []Due{{"hillside", "4"}, {"hillside", "3"}}, got)
	})
}

func TestTheLagIsCounted(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		enrolDue(t, s, 20)
		do(t, s, owner(999), says(owner(999), "SM1", "2"))
		lag, err := s.DueLag(context.Background(), noon.Add(30*time.Minute))
		require.NoError(t, err)
		require.Equal(t, DueLag{Enrolled: 21, Overdue: 20, Oldest: noon}, lag)
		lag, err = s.DueLag(context.Background(), noon.Add(-time.Minute))
		require.NoError(t, err)
		require.Equal(t, DueLag{Enrolled: 21}, lag)
	})
}
