package bot

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"slices"
	"sync"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// Tokens says when a sending number may send again, over all processes.
type Tokens interface {
	// TakeTokens takes n tokens, at most the rate's burst, all or none; it returns
	// 0 or how long to wait before asking again.
	TakeTokens(ctx context.Context, clinic string, sender contact.Address, r store.Rate, n int, now time.Time) (time.Duration, error)
}

// SenderOptions are what a Sender needs. All but the last five
// must be set.
type SenderOptions struct {
	Kind      contact.Channel // whose outbox it drains
	Consumer  string          // unique among all processes and kinds
	Directory *Directory
	Outbox    Outbox
	Spans     [][]int // store.Store.Spans
	Tokens    Tokens
	Turns     Turns
	Metrics   *Metrics
	Log       *slog.Logger
	Now       func() time.Time
	// MaxTries is how often a message is tried that the provider could not
	// take; 0 is 10, which is about half an hour.
	MaxTries int
	// Timeout is how long one request to the provider may take; 0 is 10 s, or
	// less where MinIdle leaves less.
	Timeout time.Duration
	// MinIdle is after what time the entries of another sender count as left
	// behind; 0 is 45 s, so that they are taken over within a minute.
	MinIdle time.Duration
	// UnderWay is how many requests of one number may be under way; 0 is 32.
	UnderWay int
	// Saw hears what came of every message taken from the outbox; nil: nobody
	// does. It must not block.
	Saw func(Outcome)
}

// Sender drains the outbox of one kind of channel. Every message is sent, put
// off, or given up with a report to its household; at least once, and more than
// once only where nobody can tell and it is about safety.
//
// Within a sending number safety goes first, prompts last.
type Sender struct {
	SenderOptions
	// horizon is how long a message may be held until its number may send. What
	// would wait longer goes back to the outbox until then.
	horizon time.Duration
	// heldFor is how long a message may have been held when its turn comes: later
	// another sender may have taken it over.
	heldFor time.Duration
	pump    pump
	gates   struct {
		sync.Mutex
		open map[[2]string]*gate // by clinic and channel
		wg   sync.WaitGroup
	}
}

// NewSender returns a sender; Run or Drain sets it to work.
func NewSender(o SenderOptions) (*Sender, error) {
	if o.Kind == "" || o.Consumer == "" || o.Directory == nil || o.Outbox == nil || len(o.Spans) == 0 ||
		o.Tokens == nil || o.Turns == nil || o.Metrics == nil || o.Log == nil || o.Now == nil {
		return nil, errors.New("the sender lacks one of its parts")
	}
	o.MaxTries = cmp.Or(max(o.MaxTries, 0), 10)
	o.UnderWay = cmp.Or(max(o.UnderWay, 0), 32)
	o.MinIdle = cmp.Or(max(o.MinIdle, 0), 45*time.Second)
	o.Timeout = cmp.Or(max(o.Timeout, 0), min(10*time.Second, o.MinIdle/4))
	s := &Sender{SenderOptions: o}
	// A look-up and a send fit between the last moment and the taking over.
	s.heldFor = max(o.MinIdle-2*o.Timeout-time.Second, o.MinIdle/10)
	s.horizon = s.heldFor * 4 / 5
	s.gates.open = map[[2]string]*gate{}
	s.pump = pump{
		outbox: o.Outbox, queue: store.Messages(o.Kind), consumer: o.Consumer, spans: o.Spans,
		batch: 8, minIdle: o.MinIdle, now: o.Now, metrics: o.Metrics, log: o.Log,
	}
	return s, nil
}

// Run sends until the context ends. It then finishes what is under way and puts
// back what it still holds, so that another sender takes it at once.
func (s *Sender) Run(ctx context.Context) {
	s.pump.run(ctx, s.assign)
	s.gates.wg.Wait()
	s.putBack(ctx)
}

// Drain sends everything that may be sent now, waiting for nothing, and returns
// how many messages it looked at. What has to wait is put off. It is for a
// simulated clock; Run is for a real one. Errors are the store's.
func (s *Sender) Drain(ctx context.Context) (int, error) {
	return s.pump.drain(ctx, func(ctx context.Context, entries []store.Entry) {
		slices.SortStableFunc(entries, func(a, b store.Entry) int { return cmp.Compare(rankOf(&a), rankOf(&b)) })
		for i := range entries {
			s.deliver(ctx, &entries[i], s.tokenOrNone)
		}
	})
}

// rankOf orders what waits for one number: what an owner needs to be safe, what
// somebody waits for, what can wait.
func rankOf(e *store.Entry) int {
	if e.Message == nil {
		return 0
	}
	switch e.Message.Purpose {
	case care.ForSafety:
		return 0
	case care.ForStaff:
		return 1
	case care.ForOptOut, care.ForReply, care.FromPractice:
		return 2
	default:
		return 3
	}
}

// admit lets a message through when its number may send. It returns how long to
// put the message off where it may not; 0 lets it through.
type admit func(ctx context.Context, o *outlet) (time.Duration, error)

func (s *Sender) tokenOrNone(ctx context.Context, o *outlet) (time.Duration, error) {
	return s.tokensOrNone(ctx, o, 1)
}

func (s *Sender) tokensOrNone(ctx context.Context, o *outlet, n int) (time.Duration, error) {
	call, cancel := context.WithTimeout(ctx, storeTimeout)
	defer cancel()
	return s.Tokens.TakeTokens(call, o.rules.Clinic, o.Number, o.Rate, n, s.Now())
}
