package bot_test

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"gaitpost/bot"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// outbox is a stand-in of the store's queues: it counts deliveries as that
// does, and hands out once.
type outbox struct {
	mu     sync.Mutex
	seq    int
	ready  []store.Entry
	held   map[string]store.Entry
	later  map[string]waiting
	aside  map[string]string // by message id, why
	acked  []string          // message ids
	fail   error             // of every call that settles
	arrive chan struct{}
}

type waiting struct {
	store.Entry
	at time.Time
}

func newOutbox() *outbox {
	return &outbox{
		held: map[string]store.Entry{}, later: map[string]waiting{}, aside: map[string]string{},
		arrive: make(chan struct{}, 1),
	}
}

func name(e store.Entry) string {
	switch {
	case e.Message != nil:
		return e.Message.ID
	case e.Notice != nil:
		return e.Notice.Key
	case e.Command != nil:
		return e.Command.Event.Key
	}
	return "nothing"
}

func (o *outbox) put(entries ...store.Entry) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, e := range entries {
		o.seq++
		e.StreamID = strconv.Itoa(o.seq)
		e.Deliveries++
		o.ready = append(o.ready, e)
	}
	select {
	case o.arrive <- struct{}{}:
	default:
	}
}

func (o *outbox) Read(ctx context.Context, t store.Take) ([]store.Entry, error) {
	if got := o.take(t); len(got) > 0 || t.Block == 0 {
		return got, nil
	}
	timer := time.NewTimer(t.Block)
	defer timer.Stop()
	select {
	case <-o.arrive:
	case <-timer.C:
	case <-ctx.Done():
	}
	return o.take(t), nil
}

func (o *outbox) take(t store.Take) []store.Entry {
	o.mu.Lock()
	defer o.mu.Unlock()
	var got []store.Entry
	o.ready = slices.DeleteFunc(o.ready, func(e store.Entry) bool {
		if len(got) == t.Max || e.Queue != t.Queue {
			return false
		}
		o.held[e.StreamID] = e
		got = append(got, e)
		return true
	})
	return got
}

func (o *outbox) settle(e store.Entry, f func()) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.fail != nil {
		return o.fail
	}
	if _, ok := o.held[e.StreamID]; ok {
		delete(o.held, e.StreamID)
		f()
	}
	return nil
}

func (o *outbox) Ack(_ context.Context, entries ...store.Entry) error {
	for _, e := range entries {
		if err := o.settle(e, func() { o.acked = append(o.acked, name(e)) }); err != nil {
			return err
		}
	}
	return nil
}

func (o *outbox) SetAside(_ context.Context, e store.Entry, why string) error {
	return o.settle(e, func() { o.aside[name(e)] = why })
}

func (o *outbox) RetryAt(_ context.Context, e store.Entry, at time.Time) error {
	return o.settle(e, func() { o.later[name(e)] = waiting{e, at} })
}

// ClaimStale takes over whatever is held: to the test, its holder has died.
func (o *outbox) ClaimStale(_ context.Context, c store.Stale) (store.TakenOver, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if c.MinIdle <= 0 {
		return store.TakenOver{}, errors.New("entries under way must not be taken over")
	}
	return store.TakenOver{}, nil
}

// crash lets the holder of every entry die: they are handed out again.
func (o *outbox) crash() {
	o.mu.Lock()
	held := o.held
	o.held = map[string]store.Entry{}
	o.mu.Unlock()
	for _, e := range held {
		o.put(e)
	}
}

func (o *outbox) Revive(_ context.Context, q store.Queue, now time.Time, max int) (int, error) {
	o.mu.Lock()
	var back []store.Entry
	for id, w := range o.later {
		if w.Queue == q && !w.at.After(now) && len(back) < max {
			back = append(back, w.Entry)
			delete(o.later, id)
		}
	}
	o.mu.Unlock()
	slices.SortFunc(back, func(a, b store.Entry) int { return len(name(a)) - len(name(b)) })
	o.put(back...)
	return len(back), nil
}

func (o *outbox) DropIdleConsumers(context.Context, store.Queue, time.Duration) (int, error) {
	return 0, nil
}

func (o *outbox) done() []string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return slices.Clone(o.acked)
}

func (o *outbox) putOff() int {
	o.mu.Lock()
	defer o.mu.Unlock()
	return len(o.later)
}

// message is an entry with a message to Ruth.
func message(id string, p care.Purpose) store.Entry {
	return store.Entry{
		Queue: store.Messages(contact.SMS), Clinic: "harbour", Household: "0f", At: noon,
		Message: &care.Message{ID: id, To: ruth, Via: "texts", Text: "Text of " + id, Purpose: p, NotAfter: noon.Add(6 * time.Hour)},
	}
}

// provider is a channel whose answers a test decides.
type provider struct {
	mu      sync.Mutex
	answers []error // of Send, in order; then nil
	has     []any   // of Lookup, in order: a Presence or an error; then Absent
	sent    []bot.Outgoing
	looked  int
	during  func(bot.Outgoing) // while a message is being sent
	// noReports: no report comes on what was sent.
	noReports bool
}

func (*provider) Receive(bot.Request) ([]bot.Inbound, error) { return nil, nil }
func (*provider) Answer() bot.Answer                         { return bot.Answer{} }

func (p *provider) Send(_ context.Context, m bot.Outgoing) (bot.Receipt, error) {
	p.mu.Lock()
	p.sent = append(p.sent, m)
	var err error
	if len(p.answers) > 0 {
		err, p.answers = p.answers[0], p.answers[1:]
	}
	p.mu.Unlock()
	if p.during != nil {
		p.during(m)
	}
	return bot.Receipt{Sent: p.noReports}, err
}

func (p *provider) Lookup(context.Context, bot.Outgoing) (bot.Presence, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.looked++
	if len(p.has) == 0 {
		return bot.Absent, nil
	}
	var first any
	first, p.has = p.has[0], p.has[1:]
	if err, ok := first.(error); ok {
		return bot.CantTell, err
	}
	return first.(bot.Presence), nil
}

func (p *provider) refs() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	var refs []string
	for _, m := range p.sent {
		refs = append(refs, m.Ref)
	}
	return refs
}

// bucket lets through what a test says: one token at a time, each a wait apart.
type bucket struct {
	mu   sync.Mutex
	wait time.Duration // between tokens; 0: always one
	next time.Time
	fail error
}

func (b *bucket) TakeTokens(_ context.Context, _ string, _ contact.Address, _ store.Rate, n int, now time.Time) (time.Duration, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.fail != nil {
		return 0, b.fail
	}
	if n > 1 && b.wait > 0 {
		return b.wait, nil
	}
	if b.next.After(now) {
		return b.next.Sub(now), nil
	}
	b.next = now.Add(b.wait)
	return 0, nil
}

// post is a sender with all that belongs to it.
type post struct {
	gauges
	*provider
	outbox *outbox
	turns  *turns
	bucket *bucket
	sender *bot.Sender
	now    time.Time
}

func newPost(t testing.TB) *post {
	p := &post{
		gauges: newGauges(t), provider: &provider{}, outbox: newOutbox(), turns: &turns{},
		bucket: &bucket{}, now: noon,
	}
	p.sender = p.open(t, func() time.Time { return p.now })
	return p
}

func (p *post) open(t testing.TB, now func() time.Time) *bot.Sender {
	s, err := bot.NewSender(bot.SenderOptions{
		Kind: contact.SMS, Consumer: "one", Directory: directory(t, p.provider), Outbox: p.outbox,
		Spans: [][]int{{0}}, Tokens: p.bucket, Turns: p.turns, Metrics: p.metrics, Log: p.log, Now: now,
	})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func (p *post) drain(t testing.TB) int {
	n, err := p.sender.Drain(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// report returns the only report, empty where there was none.
func (p *post) reports() []care.Report {
	var all []care.Report
	for _, e := range p.turns.events() {
		all = append(all, *e.event.Report)
	}
	return all
}
