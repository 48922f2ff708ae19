package bot

import (
	"context"
	"strings"
	"time"

	"gaitpost/internal/store"
)

// Outbox hands out what waits to be done, and takes back what came of it. Its
// errors wrap the store's.
type Outbox interface {
	Read(ctx context.Context, t store.Take) ([]store.Entry, error)
	Ack(ctx context.Context, entries ...store.Entry) error
	SetAside(ctx context.Context, e store.Entry, why string) error
	RetryAt(ctx context.Context, e store.Entry, at time.Time) error
	Recovery
}

// Recovery brings back what was put off and what others left behind.
type Recovery interface {
	ClaimStale(ctx context.Context, c store.Stale) (store.TakenOver, error)
	Revive(ctx context.Context, q store.Queue, now time.Time, max int) (int, error)
	DropIdleConsumers(ctx context.Context, q store.Queue, idle time.Duration) (int, error)
}

// lineMark begins the reference of a message to a practitioner, whose fate
// belongs to no household.
const lineMark = "~"

// refOf is what a provider hands back with every report on an entry's message.
func refOf(e *store.Entry) string {
	if e.FromLine {
		return lineMark + e.Message.ID
	}
	return e.Message.ID
}

func isLineRef(ref string) bool { return strings.HasPrefix(ref, lineMark) }
