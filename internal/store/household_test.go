package store

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

func TestAHouseholdThatIsNotThere(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		id := s.ID("hillside", ruth)
		l, err := s.Load(ctx, "hillside", id)
		require.NoError(t, err)
		require.Equal(t, Loaded{ID: id, Found: NotFound}, l)
		for _, e := range []care.Event{
			{At: noon, Tick: &care.Tick{}},
			{At: noon, Report: &care.Report{Message: "x", Fate: care.Delivered}},
			{At: noon, Practice: &care.Practice{By: "lee", Note: &care.Note{Text: "rang"}}},
		} {
			_, err := s.Do(ctx, rules, id, e)
			require.ErrorIs(t, err, ErrNotFound)
		}
	})
}

// A household that has expired must not stay due for ever.
func TestAHouseholdThatHasGoneLeavesTheLists(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		do(t, s, ruth, says(ruth, "SM1", "help!"))
		id := s.ID("hillside", ruth)
		require.NoError(t, s.rdb.Del(ctx, householdKey(unit{"hillside", id})).Err())
		_, err := s.Do(ctx, rules, id, care.Event{At: noon, Tick: &care.Tick{}})
		require.ErrorIs(t, err, ErrNotFound)
		due, err := s.ClaimDueAll(ctx, noon.Add(24*time.Hour), time.Minute, 10)
		require.NoError(t, err)
		require.Empty(t, due)
		_, total, err := s.Caseload(ctx, "hillside", 0, 10)
		require.NoError(t, err)
		require.Zero(t, total)
	})
}

func TestAStrangerIsForgottenUntilEnrolled(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		res := do(t, s, ruth, says(ruth, "SM1", "who is this?"))
		require.True(t, res.Household.Stranger)
		require.Equal(t, ruth, res.Household.Contacts[0].Address)
		_, total, err := s.Caseload(ctx, "hillside", 0, 10)
		require.NoError(t, err)
		require.Zero(t, total, "a stranger without an alert is nobody's case")
		u := unit{"hillside", s.ID("hillside", ruth)}
		for _, k := range []string{householdKey(u), logKey(u)} {
			require.InDelta(t, strangerLife.Seconds(), s.rdb.PTTL(ctx, k).Val().Seconds(), 60)
		}
		do(t, s, ruth, enrols(ruth))
		for _, k := range []string{householdKey(u), logKey(u)} {
			require.EqualValues(t, -1, s.rdb.PTTL(ctx, k).Val(), "kept for good")
		}
		n, err := s.LogLen(ctx, "hillside", u.id)
		require.NoError(t, err)
		require.Equal(t, 2, n, "what was said before is part of the record")
	})
}

func TestAStrangerIsACaseWhileAnAlertIsOpen(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		for i, want := range []int{1, 0} {
			do(t, s, ruth, says(ruth, []string{"SM1", "SM2"}[i], []string{"help!", "thanks"}[i]))
			_, total, err := s.Caseload(context.Background(), "hillside", 0, 10)
			require.NoError(t, err)
			require.Equal(t, want, total)
		}
	})
}

// Between a tick that found nothing and the tidying, a message may have come.
func TestAHouseholdThatHasComeBackStaysOnTheLists(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		do(t, s, ruth, says(ruth, "SM1", "help!"))
		before := dump(t, s)
		require.ErrorIs(t, s.forget(context.Background(), "hillside", s.ID("hillside", ruth)), ErrNotFound)
		require.Equal(t, before, dump(t, s))
	})
}

// joining is a turn in which an enrolment adds a further contact.
func joining(s *Store, further contact.Address) func(*care.Rules, care.Household, care.Event) care.Result {
	return func(r *care.Rules, h care.Household, e care.Event) care.Result {
		res := plainTurn(r, h, e)
		if e.Practice != nil && res.Reason != care.Repeated {
			res.Household.Contacts = append(slices.Clone(res.Household.Contacts),
				care.Contact{ID: s.ID(r.Clinic, further), Address: further, Name: "Owen"})
		}
		return res
	}
}

func TestAFurtherContactFindsItsHousehold(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		do(t, s, owen, says(owen, "SM0", "hello?")) // a stranger so far
		s.turn = joining(s, owen)
		do(t, s, ruth, enrols(ruth))
		c := &counter{}
		s.rdb.AddHook(c)
		res := do(t, s, owen, says(owen, "SM1", "2"))
		require.Equal(t, s.ID("hillside", ruth), res.Household.ID)
		require.EqualValues(t, 3, c.trips.Load(), "one more round trip")
		l, err := s.Load(ctx, "hillside", s.ID("hillside", owen))
		require.NoError(t, err)
		require.Equal(t, ByAlias, l.Found)
		require.Equal(t, s.ID("hillside", ruth), l.ID)

		s.turn = joining(s, owen)
		_, err = s.Do(ctx, rules, s.ID("hillside", owner(3)), enrols(owner(3)))
		require.ErrorIs(t, err, ErrContactTaken)
	})
}

// An enrolment that died between pointer and commit leaves a pointer to nothing.
func TestAPointerToNothingCountsForNothing(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		u := unit{"hillside", s.ID("hillside", owen)}
		require.NoError(t, s.rdb.Set(context.Background(), aliasKey(u), string(s.ID("hillside", ruth)), 0).Err())
		res := do(t, s, owen, says(owen, "SM1", "hello?"))
		require.Equal(t, u.id, res.Household.ID)
		require.True(t, res.Household.Stranger)
	})
}

func TestClinicsSeeNothingOfEachOther(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		do(t, s, ruth, enrols(ruth))
		id := s.ID("hillside", ruth)
		require.NotEqual(t, id, s.ID("riverside", ruth))
		l, err := s.Load(ctx, "riverside", id) // even with the other's id
		require.NoError(t, err)
		require.Equal(t, NotFound, l.Found)
		_, total, err := s.Caseload(ctx, "riverside", 0, 10)
		require.NoError(t, err)
		require.Zero(t, total)
		log, err := s.ReadLog(ctx, "riverside", id, 0, 10)
		require.NoError(t, err)
		require.Empty(t, log)
	})
}

// Whatever is stored passes the seal, and no key tells whom it is about.
func TestNothingIsStoredInTheClear(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		s.keys = ring(t, oldKey)
		do(t, s, ruth, enrols(ruth))
		do(t, s, ruth, says(ruth, "SM1", "help!"))
		_, err := s.DoLine(ctx, rules, "lee", care.LineEvent{Key: "n1", At: noon, Notice: &care.Notice{Item: care.Item{Household: s.ID("hillside", ruth), Alert: 1}}})
		require.NoError(t, err)
		_, err = s.DoLine(ctx, rules, "lee", care.LineEvent{Key: "t1", At: noon, Text: &care.LineText{Text: "ack"}})
		require.NoError(t, err)
		for _, e := range readAll(t, s, Messages(contact.SMS), "one") {
			require.NoError(t, s.SetAside(ctx, e, "the number does not exist"))
		}
		_, err = s.TakeToken(ctx, "hillside", ruth, Rate{1, 1}, noon)
		require.NoError(t, err)
		seen := dump(t, s)
		require.Greater(t, len(seen), 10)
		for k, v := range seen {
			for _, personal := range []string{"7700", "900101", "900102", "help!", "Ruth", "Thank", "Bramble", "number does", "lee", "sentence"} {
				require.NotContains(t, k, personal)
				require.NotContains(t, v, personal, "in %s", k)
			}
		}
		l, err := s.Load(ctx, "hillside", s.ID("hillside", ruth))
		require.NoError(t, err)
		require.Equal(t, "Ruth", l.Household.Contacts[0].Name)
	})
}

func TestARecordThatCannotBeReadIsAnErrorAndStays(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		do(t, s, ruth, enrols(ruth))
		id := s.ID("hillside", ruth)
		k := householdKey(unit{"hillside", id})
		good := s.rdb.Get(ctx, k).Val()
		for name, bad := range map[string]string{
			"cut short":    good[:len(good)-3],
			"newer format": good[:16] + "\x09" + good[17:],
			"no value":     good[:16],
			"no version":   "x",
		} {
			require.NoError(t, s.rdb.Set(ctx, k, bad, 0).Err())
			_, err := s.Do(ctx, rules, id, says(ruth, "SM1", "2"))
			require.ErrorIs(t, err, ErrDamaged, name)
			require.NotContains(t, err.Error(), ruth.Value)
			require.Equal(t, bad, s.rdb.Get(ctx, k).Val(), name)
		}
	})
}

func TestTextThatIsNotUTF8ComesBack(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		do(t, s, ruth, says(ruth, "SM1", "h\xffm"))
		log, err := s.ReadLog(context.Background(), "hillside", s.ID("hillside", ruth), 0, 1)
		require.NoError(t, err)
		require.Equal(t, "h\xffm", log[0].Event.Message.Text)
	})
}

func TestTheLogIsReadInPages(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		for i := range 7 {
			do(t, s, ruth, says(ruth, strings.Repeat("S", i+1), "2"))
		}
		for _, page := range []struct {
			from, n int
			want    []uint64
		}{
			{0, 3, []uint64{1, 2, 3}}, {3, 3, []uint64{4, 5, 6}}, {6, 3, []uint64{7}}, {7, 3, []uint64{}},
			{-2, 2, []uint64{6, 7}}, {-2, 1, []uint64{6}}, {-2, 10, []uint64{6, 7}}, {0, 0, []uint64{}},
		} {
			got, err := s.ReadLog(ctx, "hillside", s.ID("hillside", ruth), page.from, page.n)
			require.NoError(t, err)
			seqs := []uint64{}
			for _, e := range got {
				seqs = append(seqs, e.Seq)
			}
			require.Equal(t, page.want, seqs, "from %d, %d", page.from, page.n)
		}
	})
}
