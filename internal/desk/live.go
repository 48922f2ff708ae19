package desk

import (
	"context"
	"fmt"
	"hash/fnv"
	"net/http"
	"time"

	"gaitpost/internal/account"
	"gaitpost/internal/contact"
)

type watching struct{ desk *Desk }

// streamLife is how long one stream stays open; the browser opens the next by
// itself, so that a proxy's time-outs don't matter.
const streamLife = 10 * time.Minute

// recheck is after how many looks the session is looked at again.
const recheck = 10

// live tells a page when what it shows has changed. The page then loads itself
// anew: nothing of a record goes through here.
func (d *Desk) live(v *visit) error {
	look, err := d.watching.look(v)
	if err != nil {
		return err
	}
	last, err := look(v.ctx())
	if err != nil {
		return err
	}
	w := v.Response()
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no")
	w.WriteHeader(http.StatusOK)
	// A server's time-out for answers is for pages; a failure here only means
	// that the stream ends sooner.
	_ = http.NewResponseController(w.Writer).SetWriteDeadline(time.Time{})
	_, _ = fmt.Fprintf(w, "retry: 3000\nevent: ready\ndata: %x\n\n", last)
	w.Flush()
	return d.watching.stream(v, look, last)
}

func (x *watching) stream(v *visit, look func(context.Context) (uint64, error), last uint64) error {
	w := v.Response()
	tick := time.NewTicker(x.desk.Poll)
	defer tick.Stop()
	for n := 1; time.Duration(n)*x.desk.Poll < streamLife; n++ {
		select {
		case <-v.ctx().Done():
			return nil
		case <-x.desk.stopping:
			return nil
		case <-tick.C:
		}
		if n%recheck == 0 && !x.stillGood(v) {
			_, _ = fmt.Fprint(w, "event: ended\ndata: -\n\n")
			w.Flush()
			return nil
		}
		now, err := look(v.ctx())
		if err != nil {
			return nil // the browser tries again
		}
		event := ": still here\n\n"
		if now != last {
			event, last = fmt.Sprintf("event: news\ndata: %x\n\n", now), now
		}
		if _, err := fmt.Fprint(w, event); err != nil {
			return nil
		}
		w.Flush()
	}
	return nil
}

func (x *watching) stillGood(v *visit) bool {
	s, a, err := x.desk.Store.Session(v.ctx(), v.ticket)
	return err == nil && account.StandingOf(s, a, x.desk.Now()) == account.Good
}

// look returns a function that gives another number when what a page shows has
// changed: today's list, or one household.
func (x *watching) look(v *visit) (func(context.Context) (uint64, error), error) {
	clinic := v.clinic.Rules.Clinic
	if v.QueryParam("of") == "today" {
		return func(ctx context.Context) (uint64, error) { return x.today(ctx, clinic) }, nil
	}
	id, err := contact.ParseID(v.QueryParam("of"))
	if err != nil || !v.who.Role.Can(account.SeeClinical) {
		return nil, errNotFound
	}
	if head, err := x.desk.Store.Heads(v.ctx(), clinic, []contact.ID{id}); err != nil {
		return nil, err
	} else if head[0] == "" {
		return nil, errNotFound
	}
	return func(ctx context.Context) (uint64, error) { return x.heads(ctx, clinic, []contact.ID{id}) }, nil
}

func (x *watching) today(ctx context.Context, clinic string) (uint64, error) {
	cases, err := x.desk.Store.OpenCases(ctx, clinic)
	if err != nil {
		return 0, err
	}
	ids := make([]contact.ID, len(cases))
	for i, c := range cases {
		ids[i] = c.ID
	}
	sum, err := x.heads(ctx, clinic, ids)
	if err != nil {
		return 0, err
	}
	watch, err := x.desk.Store.ReadWatch(ctx)
	for _, t := range watch.Told[clinic] { // in no order
		h := fnv.New64a()
		_, _ = fmt.Fprintf(h, "%s/%d", t.Name(), t.Since.Unix())
		sum ^= h.Sum64()
	}
	return sum, err
}

func (x *watching) heads(ctx context.Context, clinic string, ids []contact.ID) (uint64, error) {
	heads, err := x.desk.Store.Heads(ctx, clinic, ids)
	if err != nil {
		return 0, err
	}
	h := fnv.New64a()
	for i, head := range heads {
		_, _ = fmt.Fprintf(h, "%s/%s/", ids[i], head)
	}
	return h.Sum64(), nil
}
