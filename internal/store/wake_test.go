package store

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"
)

// placeDue puts households of a clinic into its caseload, due at an instant.
func placeDue(t *testing.T, s *Store, clinic string, n int, at time.Time) {
	t.Helper()
	ctx := context.Background()
	_, err := s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i := range n {
			u := unit{clinic, s.ID(clinic, owner(i))}
			p.ZAdd(ctx, caseloadKey(u.partition(), clinic), redis.Z{Score: 1, Member: string(u.id)})
			if !at.IsZero() {
				p.ZAdd(ctx, dueKey(u.partition()), redis.Z{Score: float64(at.Unix()), Member: dueMember(u)})
			}
		}
		return nil
	})
	require.NoError(t, err)
}

func dueAt(t *testing.T, s *Store, at time.Time) int {
	t.Helper()
	lag, err := s.DueLag(t.Context(), at)
	require.NoError(t, err)
	return lag.Overdue
}

func TestHouseholdsAreLookedAtAgainWhereTheSettingsChanged(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := t.Context()
		next, err := s.NextDue(ctx)
		require.NoError(t, err)
		require.True(t, next.IsZero())
		later := noon.AddDate(0, 0, 40)
		placeDue(t, s, "hillside", 3000, later)
		placeDue(t, s, "valley", 50, later.AddDate(0, 0, 1))
		placeDue(t, s, "quiet", 10, time.Time{}) // never looked at by themselves
		soon := noon.Add(12 * time.Second)
		look := func(clinic, mark string) Placed {
			done, err := s.LookAgain(ctx, clinic, mark, soon)
			require.NoError(t, err)
			return done
		}
		require.Equal(t, PlacedFirst, look("hillside", "one"))
		require.Equal(t, PlacedFirst, look("quiet", "one"))
		require.Zero(t, dueAt(t, s, soon), "what was never placed otherwise is left alone")
		require.Equal(t, PlacedAlready, look("hillside", "one"))
		next, err = s.NextDue(ctx)
		require.NoError(t, err)
		require.Equal(t, later.Unix(), next.Unix())

		require.Equal(t, PlacedAnew, look("hillside", "two"))
		require.Equal(t, PlacedAnew, look("quiet", "two"))
		require.Equal(t, 3000, dueAt(t, s, soon), "one clinic's, and nobody who is never due")
		require.Zero(t, dueAt(t, s, soon.Add(-time.Second)))
		require.Equal(t, PlacedAlready, look("hillside", "two"))

		// Nobody is put off by it.
		_, err = s.LookAgain(ctx, "hillside", "three", later)
		require.NoError(t, err)
		require.Equal(t, 3000, dueAt(t, s, soon))
	})
}

func TestChangesAreCountedForEveryClinicAtOnce(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := t.Context()
		var clinics []string
		for i := range 40 { // of every partition
			clinics = append(clinics, fmt.Sprintf("clinic-%d", i))
		}
		for n := range 3 {
			require.NoError(t, s.AddOverlay(ctx, clinics[7], Overlay{N: n + 1, Set: map[string]string{"digest": "0 9 * * mon"}}))
		}
		got, err := s.OverlayCounts(ctx, clinics)
		require.NoError(t, err)
		want := make([]int, len(clinics))
		want[7] = 3
		require.Equal(t, want, got)
		got, err = s.OverlayCounts(ctx, nil)
		require.NoError(t, err)
		require.Empty(t, got)
	})
}
