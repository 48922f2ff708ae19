package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// demoTurns is the store, watched: it notes what each turn did, so that the demo
// knows what happens next and can tell what happened.
type demoTurns struct {
	*store.Store

	mu        sync.Mutex
	due       map[contact.ID]time.Time // when each household is next looked at
	elsewhere time.Time                // when the store has something due that was not watched; zero for nothing
	messages  map[contact.Channel]int  // in the outbox, not handed out yet
	notices   int                      // likewise for practitioners' lines, with their commands
	marks     []demoMark
	alerts    []*demoAlert
	refused   string // the last refusal

	prompts, replies, completed, expired, digests int
	reminders, lessons                            int
	read                                          int      // answers held against what was meant
	misread                                       []string // those read otherwise
	meant                                         map[string]map[string]float64
}

// demoMark is a moment to find a conversation by.
type demoMark struct {
	at     time.Time
	number string // the owner's
	what   string // "checkin sent", "checkin done", a reason of a turn
	dog    string
	done   int // check-ins the dog has had
}

// demoAlert is an alert and what came of it.
type demoAlert struct {
	household contact.ID
	n         uint16
	reason    care.AlertReason
	urgency   care.Urgency
	dog       string
	owner     string
	sentence  string
	opened    time.Time
	acked     time.Time
	closed    time.Time
	by        string
	outcome   string
}

func newDemoTurns(s *store.Store) *demoTurns {
	return &demoTurns{Store: s, due: map[contact.ID]time.Time{}, meant: map[string]map[string]float64{}, messages: map[contact.Channel]int{}}
}

// Do implements bot.Turns.
func (d *demoTurns) Do(ctx context.Context, r *care.Rules, id contact.ID, e care.Event) (care.Result, error) {
	res, err := d.Store.Do(ctx, r, id, e)
	if err == nil {
		d.watch(e, &res)
	}
	return res, err
}

// DoAll implements scheduler.Store.
func (d *demoTurns) DoAll(ctx context.Context, jobs []store.Job) []store.Done {
	done := d.Store.DoAll(ctx, jobs)
	for i := range done {
		if done[i].Err == nil {
			d.watch(jobs[i].Event, &done[i].Result)
		}
	}
	return done
}

// DoLine implements bot.Turns and scheduler.Store.
func (d *demoTurns) DoLine(ctx context.Context, r *care.Rules, practitioner string, e care.LineEvent) (care.LineResult, error) {
	res, err := d.Store.DoLine(ctx, r, practitioner, e)
	if err != nil || res.Reason == care.Repeated {
		return res, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.leave(res.Send)
	d.notices += len(res.Commands)
	if e.Digest != nil && len(res.Send) > 0 {
		d.digests++
	}
	return res, nil
}

func (d *demoTurns) watch(e care.Event, res *care.Result) {
	if res.Reason == care.Repeated {
		return
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	h := &res.Household
	delete(d.due, h.ID)
	if !res.Next.IsZero() {
		d.due[h.ID] = res.Next
	}
	d.leave(res.Send)
	d.notices += len(res.Notices)
	if e.Practice != nil && res.Reason == care.PracticeRefused {
		d.refused = res.Refusal
	}
	if e.Message != nil {
		d.replies++
		d.mark(e, res, string(res.Reason), -1)
	}
	for i := range res.Facts {
		d.fact(e, res, &res.Facts[i])
	}
}

func (d *demoTurns) mark(e care.Event, res *care.Result, what string, dog int8) {
	m := demoMark{at: e.At, what: what}
	if len(res.Household.Contacts) > 0 {
		m.number = res.Household.Contacts[0].Address.Value
	}
	if dog >= 0 && int(dog) < len(res.Household.Dogs) {
		m.dog, m.done = res.Household.Dogs[dog].Name, int(res.Household.Dogs[dog].Done)
	}
	d.marks = append(d.marks, m)
}

// fact counts one fact. The lock is held.
func (d *demoTurns) fact(e care.Event, res *care.Result, f *care.Fact) {
	switch f.Kind {
	case care.FactPrompt:
		kind, _, _ := strings.Cut(f.Text, "/")
		switch f.Code {
		case "sent":
			d.prompts++
			d.sent(care.PromptKind(kind))
		case "closed":
			if kind == string(care.PromptCheckIn) {
				d.expired++
			}
		}
		d.mark(e, res, kind+" "+f.Code, f.Dog-1)
	case care.FactReading:
		if e.Message != nil {
			d.completed++
			d.mark(e, res, "checkin done", f.Dog-1)
		}
	case care.FactAlert:
		d.alert(e, &res.Household, f)
	case care.FactAnswer:
		d.compare(e, f)
	}
}

// sent counts a prompt of the plan's. The lock is held.
func (d *demoTurns) sent(kind care.PromptKind) {
	switch {
	case strings.HasPrefix(string(kind), string(care.PromptReminder)):
		d.reminders++
	case kind == care.PromptLesson:
		d.lessons++
	}
}

// compare holds an answer as read against what its writer had in mind.
func (d *demoTurns) compare(e care.Event, f *care.Fact) {
	if e.Message == nil {
		return
	}
	want, ok := d.meant[e.Message.From.Value][f.Code]
	if !ok || f.Text == "same" {
		return
	}
	d.read++
	got := f.Number
	if f.Text == "x" {
		got = -2
	}
	if got != want {
		d.misread = append(d.misread, fmt.Sprintf("%q: %s meant %v, read %v", e.Message.Text, f.Code, want, got))
	}
}

func (d *demoTurns) alert(e care.Event, h *care.Household, f *care.Fact) {
	i := slices.IndexFunc(d.alerts, func(a *demoAlert) bool { return a.household == h.ID && a.n == f.Alert })
	if i < 0 {
		if f.Code != "opened" {
			return
		}
		a := &demoAlert{household: h.ID, n: f.Alert, reason: care.AlertReason(f.ID), opened: e.At}
		if f.Dog > 0 {
			a.dog = h.Dogs[f.Dog-1].Name
		}
		if len(h.Contacts) > 0 {
			a.owner = h.Contacts[0].Name
		}
		d.alerts = append(d.alerts, a)
		i = len(d.alerts) - 1
	}
	a := d.alerts[i]
	switch f.Code {
	case "opened", "joined":
		a.sentence, a.urgency = f.Text, care.Urgency(f.Number)
	case "acknowledged":
		a.acked, a.by = e.At, f.By
	case "closed":
		a.closed, a.by, a.outcome = e.At, f.By, f.Text
	}
}

// next is when a household is next to be looked at; zero for never.
func (d *demoTurns) next() time.Time {
	d.mu.Lock()
	defer d.mu.Unlock()
	first := d.elsewhere
	for _, at := range d.due {
		if first.IsZero() || at.Before(first) {
			first = at
		}
	}
	return first
}

// leave counts messages left in the outbox. The lock is held.
func (d *demoTurns) leave(list []care.Message) {
	for i := range list {
		d.messages[list[i].To.Channel]++
	}
}

// waiting takes the counts of what waits in the outbox.
func (d *demoTurns) waiting() (messages map[contact.Channel]int, notices int) {
	d.mu.Lock()
	defer d.mu.Unlock()
	messages, notices = d.messages, d.notices
	d.messages, d.notices = map[contact.Channel]int{}, 0
	return messages, notices
}

// means notes what somebody has in mind who is about to write.
func (d *demoTurns) means(number string, m map[string]float64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.meant[number] = m
}

// demoOutbox is the store's outbox for a single process that never dies: nothing
// is ever left behind, so nobody looks for it, and what was put off is looked
// for only when something was.
type demoOutbox struct {
	*store.Store
	later time.Time // when what was put off may come again; zero for nothing
}

// ClaimStale finds nothing: nobody else is there.
func (o *demoOutbox) ClaimStale(context.Context, store.Stale) (store.TakenOver, error) {
	return store.TakenOver{}, nil
}

// RetryAt notes when to look again.
func (o *demoOutbox) RetryAt(ctx context.Context, e store.Entry, at time.Time) error {
	if o.later.IsZero() || at.Before(o.later) {
		o.later = at
	}
	return o.Store.RetryAt(ctx, e, at)
}

// Revive brings back what was put off, if anything was.
func (o *demoOutbox) Revive(ctx context.Context, q store.Queue, now time.Time, max int) (int, error) {
	if o.later.IsZero() || now.Before(o.later) {
		return 0, nil
	}
	return o.Store.Revive(ctx, q, now, max)
}
