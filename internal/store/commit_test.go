package store

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// counter counts round trips: single commands and pipelines, each once.
type counter struct{ trips atomic.Int32 }

func (c *counter) DialHook(next redis.DialHook) redis.DialHook { return next }

func (c *counter) ProcessHook(next redis.ProcessHook) redis.ProcessHook {
	return func(ctx context.Context, cmd redis.Cmder) error {
		c.trips.Add(1)
		return next(ctx, cmd)
	}
}

func (c *counter) ProcessPipelineHook(next redis.ProcessPipelineHook) redis.ProcessPipelineHook {
	return func(ctx context.Context, cmds []redis.Cmder) error {
		c.trips.Add(1)
		return next(ctx, cmds)
	}
}

func TestAnOrdinaryMessageCostsTwoRoundTrips(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		do(t, s, ruth, enrols(ruth))
		c := &counter{}
		s.rdb.AddHook(c)
		do(t, s, ruth, says(ruth, "SM1", "1 0 0 2 1 1 0"))
		require.EqualValues(t, 2, c.trips.Swap(0), "load and commit")
		do(t, s, ruth, says(ruth, "SM1", "1 0 0 2 1 1 0"))
		require.EqualValues(t, 1, c.trips.Swap(0), "the household knows its last messages")
		jobs := make([]Job, 40)
		for i := range jobs {
			jobs[i] = Job{rules, s.ID("hillside", owner(i)), says(owner(i), "SM1", "2")}
		}
		for _, d := range s.DoAll(context.Background(), jobs) {
			require.NoError(t, d.Err)
		}
		require.EqualValues(t, 2, c.trips.Swap(0), "forty households, two pipelines")
	})
}

func TestWhatATurnDecidesIsThere(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		do(t, s, ruth, enrols(ruth))
		res := do(t, s, ruth, says(ruth, "SM1", "help!"))
		id := s.ID("hillside", ruth)

		l, err := s.Load(ctx, "hillside", id)
		require.NoError(t, err)
		require.Equal(t, Direct, l.Found)
		require.Equal(t, res.Household, l.Household)
		require.EqualValues(t, 2, l.Version.count())

		log, err := s.ReadLog(ctx, "hillside", id, 0, 10)
		require.NoError(t, err)
		require.Len(t, log, 2)
		require.Equal(t, LogEntry{
			Seq: 2, At: noon, Event: says(ruth, "SM1", "help!"), Reason: care.Answered,
			Versions: VersionsOf(rules), Facts: res.Facts,
		}, log[1])

		out := readAll(t, s, Messages(contact.SMS), "one")
		require.Len(t, out, 1)
		require.Equal(t, &res.Send[0], out[0].Message)
		require.Equal(t, "hillside", out[0].Clinic)
		require.Equal(t, id, out[0].Household)
		require.Equal(t, 1, out[0].Deliveries)
		notices := readAll(t, s, Notices, "one")
		require.Len(t, notices, 1)
		require.Equal(t, &res.Notices[0], notices[0].Notice)

		due, err := s.ClaimDueAll(ctx, noon.Add(time.Hour), time.Minute, 10)
		require.NoError(t, err)
		require.Equal(t, []Due{{"hillside", id}}, due)
		cases, total, err := s.Caseload(ctx, "hillside", 0, 10)
		require.NoError(t, err)
		require.Equal(t, 1, total)
		require.Equal(t, []Case{{id, 1000}}, cases)
	})
}

func TestAnEventHappensOnce(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		do(t, s, ruth, says(ruth, "SM1", "2"))
		before := dump(t, s)
		require.Equal(t, care.Repeated, do(t, s, ruth, says(ruth, "SM1", "2")).Reason)
		require.Equal(t, before, dump(t, s))

		// A household that has long forgotten the key: the script knows it.
		forgetful := *s
		forgetful.turn = func(r *care.Rules, h care.Household, e care.Event) care.Result {
			h.Seen = nil
			return plainTurn(r, h, e)
		}
		require.Equal(t, care.Repeated, do(t, &forgetful, ruth, says(ruth, "SM1", "2")).Reason)
		require.Equal(t, care.Repeated, forgetful.DoAll(context.Background(),
			[]Job{{rules, s.ID("hillside", ruth), says(ruth, "SM1", "2")}})[0].Result.Reason)
		require.Equal(t, before, dump(t, s))

		// The same key is another event in another household.
		require.Equal(t, care.Answered, do(t, s, owen, says(owen, "SM1", "2")).Reason)
	})
}

func TestEventKeysLiveEightDays(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		do(t, s, ruth, says(ruth, "SM1", "2"))
		ttl := s.rdb.PTTL(context.Background(), eventKey(unit{"hillside", s.ID("hillside", ruth)}, "SM1")).Val()
		require.InDelta(t, (8 * 24 * time.Hour).Seconds(), ttl.Seconds(), 60)
	})
}

func TestManyAtOnceAreDoneOneAfterTheOther(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		const n = 40
		var wg sync.WaitGroup
		errs := make([]error, n)
		for i := range n {
			wg.Go(func() {
				_, errs[i] = s.Do(context.Background(), rules, s.ID("hillside", ruth), says(ruth, fmt.Sprint("SM", i), "2"))
			})
		}
		wg.Wait()
		for _, err := range errs {
			require.NoError(t, err)
		}
		log, err := s.ReadLog(context.Background(), "hillside", s.ID("hillside", ruth), 0, n+1)
		require.NoError(t, err)
		require.Len(t, log, n)
		keys := map[string]bool{}
		for i, e := range log {
			require.EqualValues(t, i+1, e.Seq, "in order, none left out")
			keys[e.Event.Key] = true
		}
		require.Len(t, keys, n)
		require.Len(t, readAll(t, s, Messages(contact.SMS), "one"), n)
	})
}

// decided loads a household and decides an event on it without committing.
func decided(t *testing.T, s *Store, a contact.Address, e care.Event) Change {
	t.Helper()
	l, err := s.Load(context.Background(), "hillside", s.ID("hillside", a))
	require.NoError(t, err)
	c, err := s.decide(context.Background(), rules, l, e)
	require.NoError(t, err)
	return c
}

func TestAStaleTurnIsRefused(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		do(t, s, ruth, says(ruth, "SM1", "2"))
		stale := decided(t, s, ruth, says(ruth, "SM2", "3"))
		do(t, s, ruth, says(ruth, "SM3", "4"))
		before := dump(t, s)
		out, err := s.Commit(context.Background(), stale)
		require.NoError(t, err)
		require.Equal(t, Conflict, out)
		require.Equal(t, before, dump(t, s))

		first := decided(t, s, owen, says(owen, "SM4", "2"))
		do(t, s, owen, says(owen, "SM5", "2"))
		out, err = s.Commit(context.Background(), first)
		require.NoError(t, err)
		require.Equal(t, Conflict, out, "a new household was begun by two at once")
	})
}

func TestEndlessConflictEnds(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		rival := *s
		n := 0
		s.turn = func(r *care.Rules, h care.Household, e care.Event) care.Result {
			n++
			do(t, &rival, ruth, says(ruth, fmt.Sprint("rival", n), "2"))
			return plainTurn(r, h, e)
		}
		_, err := s.Do(context.Background(), rules, s.ID("hillside", ruth), says(ruth, "SM1", "2"))
		require.ErrorIs(t, err, ErrConflict)
		require.Equal(t, tries, n)
	})
}

// A script's earlier writes stay when a later command of it fails. Whatever
// key is broken, a commit must write nothing at all.
func TestACommitIsAllOrNothing(t *testing.T) {
	broken := map[string]func(u unit) string{
		"state":    func(u unit) string { return householdKey(u) },
		"event":    func(u unit) string { return eventKey(u, "SM2") },
		"log":      func(u unit) string { return logKey(u) },
		"due":      func(u unit) string { return dueKey(u.partition()) },
		"caseload": func(u unit) string { return caseloadKey(u.partition(), u.clinic) },
		"messages": func(u unit) string { return streamKey(u.partition(), Messages(contact.SMS)) },
		"notices":  func(u unit) string { return streamKey(u.partition(), Notices) },
	}
	for name, key := range broken {
		t.Run(name, func(t *testing.T) {
			onEach(t, func(t *testing.T, s *Store) {
				ctx := context.Background()
				do(t, s, ruth, enrols(ruth))
				c := decided(t, s, ruth, says(ruth, "SM2", "help!"))
				k := key(unit{"hillside", s.ID("hillside", ruth)})
				require.NoError(t, s.rdb.Del(ctx, k).Err())
				require.NoError(t, s.rdb.HSet(ctx, k, "not", "expected").Err())
				before := dump(t, s)
				_, err := s.Commit(ctx, c)
				require.ErrorContains(t, err, "WRONGTYPE")
				require.NotErrorIs(t, err, ErrUnavailable)
				require.Equal(t, before, dump(t, s))
			})
		})
	}
}

func TestScriptsAreSentAgainWhereTheServerForgotThem(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		forget := func() {
			require.NoError(t, s.eachMaster(ctx, func(ctx context.Context, c redis.Cmdable) error { return c.ScriptFlush(ctx).Err() }))
		}
		forget()
		do(t, s, ruth, says(ruth, "SM1", "2"))
		forget()
		jobs := make([]Job, 30)
		for i := range jobs {
			jobs[i] = Job{rules, s.ID("hillside", owner(i)), says(owner(i), "SM2", "2")}
		}
		for _, d := range s.DoAll(ctx, jobs) {
			require.NoError(t, d.Err)
			require.Equal(t, care.Answered, d.Result.Reason)
		}
		for i := range jobs {
			n, err := s.LogLen(ctx, "hillside", jobs[i].ID)
			require.NoError(t, err)
			require.Equal(t, 1, n)
		}
	})
}

func TestBatchJobsAreEachOnTheirOwn(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		do(t, s, ruth, says(ruth, "SM1", "2"))
		tick := care.Event{At: noon, Tick: &care.Tick{}}
		id := s.ID("hillside", ruth)
		done := s.DoAll(ctx, []Job{
			{rules, id, says(ruth, "SM1", "2")},
			{rules, s.ID("hillside", owner(7)), tick},
			{rules, id, says(ruth, "SM2", "2")},
			{rules, id, tick},
			{rules, s.ID("hillside", owen), enrols(owen)},
		})
		require.Equal(t, care.Repeated, done[0].Result.Reason)
		require.ErrorIs(t, done[1].Err, ErrNotFound)
		require.Equal(t, care.Answered, done[2].Result.Reason)
		require.Equal(t, care.Prompted, done[3].Result.Reason)
		require.EqualValues(t, 3, done[3].Result.Household.Seq)
		require.Equal(t, care.PracticeDone, done[4].Result.Reason)
		require.Empty(t, s.DoAll(ctx, nil))
	})
}

func TestABatchGoesOnWhereAnotherEventCameBetween(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		rival, once := *s, sync.Once{}
		s.turn = func(r *care.Rules, h care.Household, e care.Event) care.Result {
			once.Do(func() { do(t, &rival, ruth, says(ruth, "rival", "2")) })
			return plainTurn(r, h, e)
		}
		done := s.DoAll(context.Background(), []Job{{rules, s.ID("hillside", ruth), says(ruth, "SM1", "2")}})
		require.NoError(t, done[0].Err)
		require.EqualValues(t, 2, done[0].Result.Household.Seq)
	})
}

func TestManyJobsAreDoneInSeveralBatches(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		jobs := make([]Job, 2*batchMost+5)
		for i := range jobs {
			jobs[i] = Job{rules, s.ID("hillside", owner(i)), says(owner(i), "SM1", "2")}
		}
		jobs[len(jobs)-1] = jobs[0]
		done := s.DoAll(context.Background(), jobs)
		for i, d := range done[:len(jobs)-1] {
			require.NoError(t, d.Err)
			require.Equal(t, jobs[i].ID, d.Result.Household.ID, "in the order of the jobs")
		}
		require.Equal(t, care.Repeated, done[len(jobs)-1].Result.Reason, "the second of a household comes after the first")
	})
}

func TestAPanicInABatchReachesTheCaller(t *testing.T) {
	s := openOn(t, standIn(t))
	s.turn = func(r *care.Rules, h care.Household, e care.Event) care.Result {
		if e.Message.Text == "boom" {
			panic("boom")
		}
		return plainTurn(r, h, e)
	}
	jobs := make([]Job, 3*batchMost)
	for i := range jobs {
		jobs[i] = Job{rules, s.ID("hillside", owner(i)), says(owner(i), "SM1", "2")}
	}
	jobs[0].Event.Message.Text = "boom"
	require.PanicsWithValue(t, "boom", func() { s.DoAll(context.Background(), jobs) })
	n, err := s.LogLen(context.Background(), "hillside", jobs[len(jobs)-1].ID)
	require.NoError(t, err)
	require.Equal(t, 1, n, "the other batches are done")
}
