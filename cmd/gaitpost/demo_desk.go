package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"time"

	"gaitpost/internal/account"
	"gaitpost/internal/clinic"
	"gaitpost/internal/desk"
)

// demoAccounts may sign in to the desk of the demo. Practitioners have the ids
// that the settings of the invented practice give them.
var demoAccounts = []account.Account{
	{ID: "lee", Name: "Dr Lee", Role: account.Vet},
	{ID: "okafor", Name: "Dr Okafor", Role: account.Vet},
	{ID: "nia", Name: "Nia", Role: account.Nurse},
	{ID: "tom", Name: "Tom", Role: account.Reception},
	{ID: "mara", Name: "Mara", Role: account.Manager},
}

// demoDesk is the practice's desk, served beside the telephones.
type demoDesk struct {
	w        *demoWorld
	pages    http.Handler
	stop     func()
	password string // of every account, invented anew at every start

	mu      sync.Mutex
	tickets map[string]account.Ticket // of whoever signed in
}

// openDesk makes the accounts and the pages.
func (w *demoWorld) openDesk() (*demoDesk, error) {
	d := &demoDesk{w: w, tickets: map[string]account.Ticket{}}
	var err error
	if d.password, err = account.GivenPassword(rand.Reader); err != nil {
		return nil, err
	}
	hash, err := account.HashPassword(d.password, rand.Reader) // one for all: hashing is slow
	if err != nil {
		return nil, err
	}
	for _, a := range demoAccounts {
		a.Clinic, a.Hash, a.Created = w.rules.Clinic, hash, w.now().Unix()
		if err := w.turns.AddAccount(w.ctx, a); err != nil {
			return nil, fmt.Errorf("adding the account %s: %w", a.ID, err)
		}
	}
	pages, made, err := newDesk(deskOptions{
		Store: w.turns.Store, Clinics: w.settings, Overlay: w.settings.lay, Changed: w.settingsChanged, Channels: w.directory,
		Now: w.now, Log: slog.New(slog.DiscardHandler), Insecure: true,
	})
	if err != nil {
		return nil, err
	}
	d.pages, d.stop = pages, made.Stop
	return d, nil
}

// introduce says where the desk is and who may sign in.
func (d *demoDesk) introduce(out io.Writer, at string) {
	var who []string
	for _, a := range demoAccounts {
		who = append(who, fmt.Sprintf("%s (%s)", a.ID, a.Role))
	}
	fmt.Fprintf(out, "The practice's desk is at http://%s%s - sign in as %s;\nthe password of all of them is %s\n",
		at, desk.Prefix, strings.Join(who, ", "), d.password)
}

// serve answers a request for the desk. What is done there has its consequences
// at once, as far as they are due by the simulated clock.
func (d *demoDesk) serve(world *sync.Mutex) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		d.remember(r)
		if r.Method == http.MethodGet || r.Method == http.MethodHead || r.URL.Path == desk.Prefix+"/rules/try" {
			d.pages.ServeHTTP(w, r)
			return
		}
		world.Lock()
		defer world.Unlock()
		d.pages.ServeHTTP(w, r)
		if err := d.w.afterDesk(); err != nil && d.w.ctx.Err() == nil {
			d.w.trouble = err
		}
	})
}

// remember keeps the tickets of whoever is signed in.
func (d *demoDesk) remember(r *http.Request) {
	cookie, err := r.Cookie("desk")
	if err != nil {
		return
	}
	if t, err := account.ParseTicket(cookie.Value); err == nil {
		d.mu.Lock()
		d.tickets[cookie.Value] = t
		d.mu.Unlock()
	}
}

// keepSignedIn lets something move the clock on without signing anybody out: it
// is the visitor who moves it, not an unattended desk.
func (d *demoDesk) keepSignedIn(move func() error) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	st, from := d.w.turns.Store, d.w.now()
	open := map[string]account.Session{}
	for value, t := range d.tickets {
		s, a, err := st.Session(d.w.ctx, t)
		if err != nil || account.StandingOf(s, a, from) != account.Good {
			delete(d.tickets, value)
			continue
		}
		open[value] = s
	}
	err := move()
	by := int64(d.w.now().Sub(from) / time.Second)
	for value, s := range open {
		s.Began, s.Seen = s.Began+by, s.Seen+by
		err = errors.Join(err, st.SaveSession(d.w.ctx, d.tickets[value], s))
	}
	return err
}

// settingsChanged puts settings that were changed at the desk in force.
func (w *demoWorld) settingsChanged() {
	if err := w.settings.look(w.ctx, w.turns.Store); err != nil {
		w.trouble = err
	}
}

// underSettings lets every part of the world go on under other settings.
func (w *demoWorld) underSettings(list []*clinic.Clinic) error {
	w.rules = list[0].Rules
	w.sched.Replace(rulesOf(list))
	w.digest = w.nextDigest()
	if _, err := w.turns.LookAgain(w.ctx, w.rules.Clinic, placingMark(list[0]), w.now()); err != nil {
		return err
	}
	return w.directory.SetRules(w.rules)
}

// afterDesk lets happen what was done at the desk: it went past the watched
// store, so the queues and what is due are looked at anew.
func (w *demoWorld) afterDesk() error {
	w.turns.elsewhereDone()
	if err := w.settle(); err != nil {
		return err
	}
	return w.turns.lookElsewhere(w.ctx, w.now())
}

// elsewhereDone notes that somebody wrote to the store unwatched.
func (d *demoTurns) elsewhereDone() {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, kind := range demoKinds {
		d.messages[kind]++
	}
	d.notices++
}

// lookElsewhere asks the store itself when something is due next.
func (d *demoTurns) lookElsewhere(ctx context.Context, now time.Time) error {
	next, err := d.NextDue(ctx)
	if err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.elsewhere = next; !next.IsZero() && !next.After(now) {
		d.elsewhere = now.Add(time.Second)
	}
	return nil
}

// passElsewhere looks again once what was due elsewhere has come.
func (d *demoTurns) passElsewhere(ctx context.Context, now time.Time) error {
	d.mu.Lock()
	at := d.elsewhere
	d.mu.Unlock()
	if at.IsZero() || at.After(now) {
		return nil
	}
	return d.lookElsewhere(ctx, now)
}
