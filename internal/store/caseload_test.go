package store

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

func TestTheCaseloadIsInOrderOverAllPartitions(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		const n = 45
		s.turn = func(r *care.Rules, h care.Household, e care.Event) care.Result {
			res := plainTurn(r, h, e)
			res.Rank = float64(e.At.Unix()-noon.Unix()) + 0.5
			return res
		}
		want := make([]contact.ID, n)
		for i := range n {
			e := enrols(owner(i))
			e.At = noon.Add(time.Duration(i) * time.Second)
			do(t, s, owner(i), e)
			want[n-1-i] = s.ID("hillside", owner(i))
		}
		var got []contact.ID
		for offset := 0; offset < n+10; offset += 10 {
			page, total, err := s.Caseload(ctx, "hillside", offset, 10)
			require.NoError(t, err)
			require.Equal(t, n, total)
			for _, c := range page {
				got = append(got, c.ID)
			}
		}
		require.Equal(t, want, got)
		page, _, err := s.Caseload(ctx, "hillside", 1000, 10)
		require.NoError(t, err)
		require.Empty(t, page)
		page, _, err = s.Caseload(ctx, "hillside", 0, 0)
		require.NoError(t, err)
		require.Empty(t, page)
	})
}

func TestOpenItemsAreMostUrgentFirst(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		alerts := []care.Alert{
			{N: 1, Dog: -1, Reason: care.Silence, Urgency: care.ForDigest, Updated: 5},
			{N: 1, Dog: -1, Reason: care.RedFlag, Urgency: care.Now, Updated: 9},
			{N: 1, Dog: -1, Reason: care.Level, Urgency: care.Today, Updated: 7},
			{N: 1, Dog: -1, Reason: care.SignAlert, Urgency: care.Today, Updated: 8},
			{N: 1, Dog: -1, Reason: care.RedFlag, Urgency: care.Now, Updated: 3},
			{N: 1, Dog: -1, Reason: care.Rise, Urgency: care.Today, State: care.ClosedAlert},
		}
		for i, a := range alerts {
			s.turn = func(r *care.Rules, h care.Household, e care.Event) care.Result {
				res := plainTurn(r, h, e)
				res.Household.Alerts = []care.Alert{a}
				res.Rank = care.OpenRank
				return res
			}
			do(t, s, owner(i), enrols(owner(i)))
		}
		s.turn = plainTurn
		do(t, s, owner(99), enrols(owner(99))) // nothing open
		items, err := s.OpenItems(ctx, "hillside")
		require.NoError(t, err)
		var at []int64
		for _, it := range items {
			at = append(at, it.At)
		}
		require.Equal(t, []int64{3, 9, 8, 7, 5}, at)
		items, err = s.OpenItems(ctx, "riverside")
		require.NoError(t, err)
		require.Empty(t, items)
	})
}
