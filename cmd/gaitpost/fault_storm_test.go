package main

import (
	"context"
	"math/rand/v2"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store/redistest"
)

// storm is a practice's owners writing, all at once, while the program is being
// killed. Every message is posted three times at one moment, and again until one
// of them is answered 200.
type storm struct {
	*rig
	up    atomic.Pointer[process]
	pace  *time.Ticker // below the number's rate, so that nothing piles up
	taken atomic.Int64
	stop  atomic.Bool
	// atLeast is how many messages are written before it ends.
	atLeast int64

	mu      sync.Mutex
	owners  map[string]bool      // by number; true: an emergency at the end
	takenAt map[string]time.Time // message
}

// conversation is what every owner writes, each once the one before was taken.
var conversation = []string{"1", "2", "0", "1", "1", "2", "no"}

const emergency = "he's collapsed and his gums are white"

func newStorm(t *testing.T, redisURL string) *storm {
	s := &storm{rig: newRig(t, redisURL), owners: map[string]bool{}, takenAt: map[string]time.Time{}, pace: time.NewTicker(time.Second / 60)}
	t.Cleanup(s.pace.Stop)
	return s
}

var stormFlags = []string{"--takeover-after", "3s", "--send-tries", "50"}

// launch starts the program anew.
func (s *storm) launch(point string) *process {
	s.t.Helper()
	p := s.start(point, stormFlags...)
	s.seen(p, p.ready, "readiness")
	if dead := s.up.Swap(p); dead != nil && dead.cmd == nil {
		close(dead.ready)
	}
	return p
}

// write lets an owner write one message, until it is taken.
func (s *storm) write(ctx context.Context, from, text string) bool {
	<-s.pace.C
	d, err := s.provider.From(ctx, smsprovider.Text{From: from, To: worldNumber, Body: text})
	for err == nil && !d.Taken {
		select {
		case <-ctx.Done():
			return false
		case <-s.up.Load().ready:
		}
		<-s.pace.C
		d, err = s.provider.Replay(ctx, d.SID)
	}
	s.taken.Add(1)
	s.mu.Lock()
	s.takenAt[d.SID] = time.Now()
	s.mu.Unlock()
	return err == nil
}

// owner is one household from its enrolment to its last word.
func (s *storm) owner(ctx context.Context, worried bool) bool {
	number := s.number()
	for s.enrolAt(ctx, number) != nil {
		if <-s.pace.C; ctx.Err() != nil {
			return false
		}
	}
	s.mu.Lock()
	s.owners[number] = worried
	s.mu.Unlock()
	for _, text := range conversation {
		if !s.write(ctx, number, text) {
			return false
		}
	}
	return !worried || s.write(ctx, number, emergency)
}

// blow lets owners write until stop, and returns a function that waits until
// the last has said all.
func (s *storm) blow(workers int) (calm func()) {
	ctx, cancel := context.WithCancel(s.t.Context())
	var all, reports sync.WaitGroup
	for i := range workers {
		all.Go(func() {
			for n := 0; !s.stop.Load() && ctx.Err() == nil; n++ {
				if !s.owner(ctx, (n+i)%4 == 0) {
					return
				}
			}
		})
	}
	reports.Go(func() { // what became of our messages
		tick := time.NewTicker(100 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
				s.provider.Advance(ctx, s.now())
			}
		}
	})
	s.t.Cleanup(func() { cancel(); all.Wait(); reports.Wait() })
	return func() { s.stop.Store(true); all.Wait() }
}

// stumble enrols a household whose first message goes wrong once.
func (s *storm) stumble(k smsprovider.FaultKind) {
	_, err := s.enrol(s.t.Context(), func(number string) {
		s.provider.Inject(smsprovider.Fault{Kind: k, Times: 1, To: number})
	})
	require.NoError(s.t, err)
}

// needs says what has to happen for a point to be reached that ordinary traffic
// does not pass.
var needs = map[string]func(*storm){
	"out/retry before@1":  func(s *storm) { s.stumble(smsprovider.Answer503) },
	"out/retry after@1":   func(s *storm) { s.stumble(smsprovider.Answer503) },
	"out/revive after@1":  func(s *storm) { s.stumble(smsprovider.Answer503) },
	"out/lookup before@1": func(s *storm) { s.stumble(smsprovider.AcceptAndCut) },
	"out/lookup after@1":  func(s *storm) { s.stumble(smsprovider.AcceptAndCut) },
}

// killAt runs the program until it stands at a point, and kills it there.
func (s *storm) killAt(point string) {
	s.t.Helper()
	p := s.launch(point)
	if need := needs[point]; need != nil {
		need(s)
	}
	s.seen(p, p.standing, point)
	s.killed(p)
}

// killSoon kills the program at a moment of its own, once some messages more
// were taken.
func (s *storm) killSoon(random *rand.Rand) {
	s.t.Helper()
	p := s.launch("")
	s.passes(1 + random.Int64N(12))
	s.killed(p)
}

func (s *storm) killed(p *process) {
	s.up.Store(&process{ready: make(chan struct{})}) // nobody is there
	require.False(s.t, isEnded(p), "it ended by itself: %s", p.log)
	p.kill()
}

func isEnded(p *process) bool {
	select {
	case <-p.ended:
		return true
	default:
		return false
	}
}

// check compares the provider's ledger with what was to happen: every message
// that was answered 200 is one entry of its household's log and led to one
// reply; nothing is lost and nothing was done twice.
func (s *storm) check(want map[bool][]string) {
	s.t.Helper()
	sent := map[string][]string{}
	written := map[string][]string{}
	for _, m := range s.provider.Ledger() {
		switch m.Direction {
		case smsprovider.OutboundAPI:
			sent[m.To] = append(sent[m.To], m.Body)
		case smsprovider.Inbound:
			require.True(s.t, m.Taken, m.SID)
			written[m.From] = append(written[m.From], m.SID)
		}
	}
	alarms := 0
	for number, worried := range s.owners {
		require.ElementsMatch(s.t, want[worried], sent[number], "what the owner of %s received", number)
		require.Equal(s.t, written[number], s.logged(number), "what is in the log of %s", number)
		if worried {
			alarms++
		}
	}
	require.Len(s.t, sent[drLee], alarms, "an alarm each")
	require.Empty(s.t, s.provider.Problems())
	s.whole()
}

// whole proves every household: none is half written.
func (s *storm) whole() {
	s.t.Helper()
	n := 0
	require.NoError(s.t, s.store.Households(s.t.Context(), "hillside", func(id contact.ID) error {
		p, err := s.store.Prove(s.t.Context(), s.rules, id)
		require.Empty(s.t, p.Differences)
		n++
		return err
	}))
	require.Positive(s.t, n)
}

// passes waits until some more messages were taken.
func (s *storm) passes(more int64) {
	s.t.Helper()
	want := s.taken.Load() + more
	s.eventually("messages get through", func() bool { return s.taken.Load() >= want })
}

// logged lists the messages in a household's log, in order.
func (s *storm) logged(number string) (sids []string) {
	id := s.store.ID("hillside", contact.Address{Channel: contact.SMS, Value: number})
	entries, err := s.store.ReadLog(s.t.Context(), "hillside", id, 0, 10_000)
	require.NoError(s.t, err)
	for _, e := range entries {
		if e.Event.Message != nil {
			sids = append(sids, e.Event.Message.ID)
		}
	}
	return sids
}

// undisturbed is what an owner receives when nothing goes wrong.
func (s *storm) undisturbed() map[bool][]string {
	s.t.Helper()
	p := s.launch("")
	want := map[bool][]string{}
	for _, worried := range []bool{false, true} {
		before := len(s.provider.Ledger())
		require.True(s.t, s.owner(s.t.Context(), worried))
		s.settled()
		for _, m := range s.provider.Since(before) {
			if m.Direction == smsprovider.OutboundAPI && m.To != drLee {
				want[worried] = append(want[worried], m.Body)
			}
		}
	}
	require.GreaterOrEqual(s.t, len(want[false]), len(conversation), "a reply to each")
	require.Len(s.t, want[true], len(want[false])+1)
	s.killed(p)
	return want
}

// Points at which the program is killed, each in the middle of traffic.
var (
	requestPoints = []string{
		"bot/request before@20", "bot/load before@20", "bot/load after@20", "bot/commit before@10",
		"bot/commit after@10", "bot/answer before@20", "bot/answer after@20", "report/commit before@3", "report/commit after@3",
	}
	senderPoints = []string{
		"out/read after@5", "out/token before@5", "out/send before@5", "out/send written@5", "out/send after@5",
		"out/ack before@5", "out/ack after@5", "out/takeover after@1", "out/lookup before@1", "out/lookup after@1",
		"out/retry before@1", "out/retry after@1", "out/revive after@1",
	}
	linePoints = []string{"line/read after@1", "line/commit before@1", "line/commit after@1", "line/ack before@1"}
)

// The short form of TestManyKills.
func TestKillsAtNamedPointsAndAtRandom(t *testing.T) {
	t.Parallel()
	points := slices.Concat(requestPoints, senderPoints, linePoints)
	random := 3
	survive(t, newStorm(t, redistest.Start(t).URL()), points, random, 4)
}

// survive kills the program at every point and at random, and checks that
// nobody noticed.
func survive(t *testing.T, s *storm, points []string, random, workers int) {
	began := time.Now()
	want := s.undisturbed()
	calm := s.blow(workers)
	dice := rand.New(rand.NewPCG(1, 2))
	for _, point := range points {
		s.killAt(point)
	}
	for range random {
		s.killSoon(dice)
	}
	s.launch("")
	for s.taken.Load() < s.atLeast {
		s.passes(1)
	}
	calm()
	aside := s.settled()
	require.Zero(t, aside)
	s.check(want)
	s.t.Logf("%d kills, %d messages of %d households in %s",
		len(points)+random, s.taken.Load(), len(s.owners), time.Since(began).Round(time.Second))
}
