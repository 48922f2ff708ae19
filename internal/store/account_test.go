package store

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/contact"
)

var leeAccount = account.Account{ID: "r.lee", Clinic: "hillside", Name: "Dr Lee", Role: account.Vet, Hash: "$x"}

func TestAccountsAreKept(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		require.NoError(t, s.AddAccount(ctx, leeAccount))
		other := leeAccount
		other.Name = "Somebody else"
		require.ErrorIs(t, s.AddAccount(ctx, other), ErrAccountTaken)
		other.Clinic = "valley"
		require.NoError(t, s.AddAccount(ctx, other), "another clinic's names are its own")

		a, err := s.ChangeAccount(ctx, "hillside", "r.lee", func(a *account.Account) { a.Generation++; a.Clinic = "valley" })
		require.NoError(t, err)
		require.Equal(t, "hillside", a.Clinic)
		got, err := s.Account(ctx, "hillside", "r.lee")
		require.NoError(t, err)
		require.Equal(t, uint32(1), got.Generation)
		require.Equal(t, "Dr Lee", got.Name)

		list, err := s.Accounts(ctx, "valley")
		require.NoError(t, err)
		require.Len(t, list, 1)
		require.Equal(t, "Somebody else", list[0].Name)

		require.NoError(t, s.RemoveAccount(ctx, "hillside", "r.lee"))
		require.ErrorIs(t, s.RemoveAccount(ctx, "hillside", "r.lee"), ErrNotFound)
		_, err = s.Account(ctx, "hillside", "r.lee")
		require.ErrorIs(t, err, ErrNotFound)
		_, err = s.ChangeAccount(ctx, "hillside", "r.lee", func(*account.Account) {})
		require.ErrorIs(t, err, ErrNotFound)
	})
}

func TestAChangeOfAnAccountLosesNoOther(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		require.NoError(t, s.AddAccount(ctx, leeAccount))
		first := true
		_, err := s.ChangeAccount(ctx, "hillside", "r.lee", func(a *account.Account) {
			if first { // somebody else comes between
				first = false
				_, err := s.ChangeAccount(ctx, "hillside", "r.lee", func(b *account.Account) { b.Name = "Dr Rae Lee" })
				require.NoError(t, err)
			}
			a.Generation = 7
		})
		require.NoError(t, err)
		got, err := s.Account(ctx, "hillside", "r.lee")
		require.NoError(t, err)
		require.Equal(t, "Dr Rae Lee", got.Name)
		require.Equal(t, uint32(7), got.Generation)
	})
}

func TestSessionsAreKept(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		require.NoError(t, s.AddAccount(ctx, leeAccount))
		ticket := account.Ticket{Clinic: "hillside", Account: "r.lee", Secret: "one"}
		_, _, err := s.Session(ctx, ticket)
		require.ErrorIs(t, err, ErrNotFound)
		want := account.Session{Account: "r.lee", Clinic: "hillside", Began: noon.Unix(), Seen: noon.Unix()}
		require.NoError(t, s.SaveSession(ctx, ticket, want))
		got, a, err := s.Session(ctx, ticket)
		require.NoError(t, err)
		require.Equal(t, want, got)
		require.Equal(t, "Dr Lee", a.Name)

		keys, err := s.rdb.Keys(ctx, "*one*").Result()
		require.NoError(t, err)
		require.Empty(t, keys, "the secret itself is not a key")
		life, err := s.rdb.TTL(ctx, sessionKey(s.deskUnit("hillside"), ticket.Digest())).Result()
		require.NoError(t, err)
		require.InDelta(t, account.SessionIdle.Seconds(), life.Seconds(), 180)

		require.NoError(t, s.RemoveAccount(ctx, "hillside", "r.lee"))
		_, a, err = s.Session(ctx, ticket)
		require.NoError(t, err)
		require.Nil(t, a)
		require.NoError(t, s.EndSession(ctx, ticket))
		require.NoError(t, s.EndSession(ctx, ticket))
		_, _, err = s.Session(ctx, ticket)
		require.ErrorIs(t, err, ErrNotFound)
	})
}

func TestGuessingIsThrottled(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		g := Guess{Kind: "account", Name: "r.lee", Rate: Rate{PerSecond: 1. / 60, Burst: 3}}
		for range 3 {
			wait, err := s.TakeGuess(ctx, "hillside", noon, g)
			require.NoError(t, err)
			require.Zero(t, wait)
		}
		wait, err := s.TakeGuess(ctx, "hillside", noon, g)
		require.NoError(t, err)
		require.InDelta(t, 60, wait.Seconds(), 1)
		wait, err = s.TakeGuess(ctx, "valley", noon, g)
		require.NoError(t, err)
		require.Zero(t, wait)
		wait, err = s.TakeGuess(ctx, "hillside", noon.Add(time.Minute), g)
		require.NoError(t, err)
		require.Zero(t, wait)
		require.NoError(t, s.ForgetGuesses(ctx, "hillside", "account", "r.lee"))
		wait, err = s.TakeGuess(ctx, "hillside", noon, g)
		require.NoError(t, err)
		require.Zero(t, wait)
	})
}

func TestTheTrailIsReadNewestFirst(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		for i := range 5 {
			require.NoError(t, s.Audit(ctx, account.Entry{At: noon.Unix() + int64(i), Clinic: "hillside", Account: "r.lee", Deed: account.SawDog, Dog: i + 1}))
		}
		require.NoError(t, s.Audit(ctx, account.Entry{At: noon.AddDate(0, 1, 0).Unix(), Clinic: "hillside", Account: "r.lee", Deed: account.SignedIn}))
		got, n, err := s.ReadAudit(ctx, "hillside", noon, 0, 2)
		require.NoError(t, err)
		require.Equal(t, 5, n)
		require.Equal(t, []int{5, 4}, []int{got[0].Dog, got[1].Dog})
		got, _, err = s.ReadAudit(ctx, "hillside", noon, 4, 2)
		require.NoError(t, err)
		require.Len(t, got, 1)
		require.Equal(t, 1, got[0].Dog)
		got, _, err = s.ReadAudit(ctx, "hillside", noon, 9, 2)
		require.NoError(t, err)
		require.Empty(t, got)
		got, n, err = s.ReadAudit(ctx, "valley", noon, 0, 2)
		require.NoError(t, err)
		require.Empty(t, got)
		require.Zero(t, n)
	})
}

func TestSettingsAreNotChangedByTwoAtOnce(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		one := Overlay{N: 1, At: noon.Unix(), By: "r.lee", Set: map[string]string{"thresholds.index.level_at": "55"}}
		require.NoError(t, s.AddOverlay(ctx, "hillside", one))
		require.NoError(t, s.AddOverlay(ctx, "hillside", one), "sent twice, it is one change")
		other := one
		other.By = "n.osei"
		require.ErrorIs(t, s.AddOverlay(ctx, "hillside", other), ErrConflict)
		two := Overlay{N: 2, At: noon.Unix(), By: "n.osei", Back: -1}
		require.NoError(t, s.AddOverlay(ctx, "hillside", two))
		got, err := s.Overlays(ctx, "hillside")
		require.NoError(t, err)
		require.Equal(t, []Overlay{one, two}, got)
		got, err = s.Overlays(ctx, "valley")
		require.NoError(t, err)
		require.Empty(t, got)
	})
}

func TestHouseholdsAreReadManyAtOnce(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		var ids []contact.ID
		for i := range 3 {
			a := owner(i)
			id := s.ID("hillside", a)
			_, err := s.Do(ctx, rules, id, enrols(a))
			require.NoError(t, err)
			ids = append(ids, id)
		}
		ids = append(ids, s.ID("hillside", owner(9)))
		list, err := s.Many(ctx, "hillside", ids)
		require.NoError(t, err)
		require.Len(t, list, 4)
		require.Equal(t, ids[2], list[2].Household.ID)
		require.Equal(t, NotFound, list[3].Found)
		heads, err := s.Heads(ctx, "hillside", ids)
		require.NoError(t, err)
		for i := range 3 {
			require.Equal(t, list[i].Version, heads[i])
		}
		require.Empty(t, heads[3])
		other, err := s.Many(ctx, "valley", ids)
		require.NoError(t, err)
		for _, l := range other {
			require.Equal(t, NotFound, l.Found, "another clinic finds none of them")
		}
		logs, err := s.ReadLogs(ctx, "hillside", ids, 5)
		require.NoError(t, err)
		require.Len(t, logs[0], 1)
		require.Empty(t, logs[3])
	})
}
