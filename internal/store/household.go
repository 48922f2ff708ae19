package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// strangerLife is how long a number that wrote in without being enrolled is
// remembered after its last event.
const strangerLife = 90 * 24 * time.Hour

// Found says how a household was found.
type Found string

const (
	NotFound Found = "not-found"
	Direct   Found = "direct"   // the id is the household's
	ByAlias  Found = "by-alias" // the id is a further contact's: one more round trip
)

// Loaded is a household as stored.
type Loaded struct {
	Household care.Household
	// ID is the household's id. Where it was not found it is the id asked for,
	// under which a new one is to be stored.
	ID      contact.ID
	Version Version // "" where it was not found
	Found   Found
}

// Load returns the household of a contact, or of a household's own id, in one
// round trip; two where the contact is a further one. A household that isn't
// there is no error. Errors wrap ErrUnavailable or ErrDamaged.
func (s *Store) Load(ctx context.Context, clinic string, id contact.ID) (Loaded, error) {
	u := unit{clinic, id}
	cmd := redis.NewSliceCmd(ctx, "mget", householdKey(u), aliasKey(u))
	if err := s.gather.do(ctx, cmd); err != nil {
		return Loaded{}, wrap("loading a household", err)
	}
	return s.loaded(ctx, u, cmd.Val())
}

// loaded reads the replies to the household's and the alias' key. A contact
// that points to a household belongs to it, even where it had written in as a
// stranger before; a pointer to nothing (its household's first commit never
// came) counts for nothing.
func (s *Store) loaded(ctx context.Context, u unit, got []any) (Loaded, error) {
	if target, ok := got[1].(string); ok {
		to := unit{u.clinic, contact.ID(target)}
		record, err := s.rdb.Get(ctx, householdKey(to)).Result()
		if err == nil {
			return s.decodeHousehold(to, record, ByAlias)
		}
		if !isNil(err) {
			return Loaded{}, wrap("loading a household", err)
		}
	}
	record, _ := got[0].(string)
	return s.decodeHousehold(u, record, Direct)
}

func (s *Store) decodeHousehold(u unit, record string, found Found) (Loaded, error) {
	if record == "" {
		return Loaded{ID: u.id, Found: NotFound}, nil
	}
	l := Loaded{ID: u.id, Found: found}
	var value string
	l.Version, value = split(record)
	var stored storedHousehold
	err := s.unpack(householdKey(u), value, &stored)
	if err == nil {
		l.Household, err = stored.household()
	}
	if err != nil {
		return Loaded{}, fmt.Errorf("reading household %s: %w", u.id, err)
	}
	return l, nil
}

// Do lets one event happen to the household of a contact: it loads, decides
// and commits, and decides again where another event came between. A message
// from an unknown number begins a stranger's household, an enrolment a new one;
// any other event for a household that isn't there is ErrNotFound.
//
// An event that was had before changes nothing and gives the reason Repeated.
// Events without a key must be safe to decide twice (ticks and delivery
// reports are): of one whose commit was sent twice, the second may be decided
// anew. After ErrUnavailable the event may or may not have happened: send it
// again with the same key. Errors wrap ErrUnavailable, ErrNotFound,
// ErrConflict, ErrDamaged or ErrContactTaken.
func (s *Store) Do(ctx context.Context, r *care.Rules, id contact.ID, e care.Event) (care.Result, error) {
	l, err := s.Load(ctx, r.Clinic, id)
	if err != nil {
		return care.Result{}, err
	}
	return s.do(ctx, r, l, e)
}

// tries is how often an event is decided anew because another came between.
// Each time somebody's commit went through, so that it can only be reached by
// as many events of one household at the same moment.
const tries = 100

func (s *Store) do(ctx context.Context, r *care.Rules, l Loaded, e care.Event) (care.Result, error) {
	for range tries {
		c, err := s.decide(ctx, r, l, e)
		if err != nil {
			return c.Result, err
		}
		had := l.Version.count()
		if c.Result.Reason == care.Repeated {
			return c.Result, s.replicated(ctx, householdMark(r.Clinic, l.ID, had))
		}
		done, current, err := s.commit(ctx, c)
		if err != nil {
			return care.Result{}, err
		}
		switch done {
		case Committed:
			return c.Result, s.replicated(ctx, householdMark(r.Clinic, l.ID, had+1))
		case Duplicate:
			return care.Result{Household: l.Household, Reason: care.Repeated},
				s.replicated(ctx, householdMark(r.Clinic, l.ID, had))
		}
		if l, err = s.decodeHousehold(unit{r.Clinic, l.ID}, current, Direct); err != nil {
			return care.Result{}, err
		}
	}
	return care.Result{}, fmt.Errorf("changing household %s: %w", l.ID, ErrConflict)
}

// decide takes the turn of an event on a loaded household.
func (s *Store) decide(ctx context.Context, r *care.Rules, l Loaded, e care.Event) (Change, error) {
	h := l.Household
	if l.Version == "" {
		fresh, ok := begin(r.Clinic, l.ID, e)
		if !ok {
			return Change{}, s.forget(ctx, r.Clinic, l.ID)
		}
		h = fresh
	}
	if err := s.allowed(ctx, r.Clinic, l.ID, e.Practice); err != nil {
		return Change{}, err
	}
	c := Change{Rules: r, ID: l.ID, Version: l.Version, Was: h, Event: e}
	c.Result = s.turn(r, h, e)
	if c.Result.Reason == care.Repeated {
		return c, nil
	}
	return c, s.linkContacts(ctx, c)
}

// begin returns the household an event begins with where there is none.
func begin(clinic string, id contact.ID, e care.Event) (care.Household, bool) {
	switch {
	case e.Message != nil && e.Message.Joiner == "": // a code that fits no household begins none
		return care.NewStranger(clinic, care.Owner{ID: id, Address: e.Message.From, Via: e.Message.Via}), true
	case e.Practice != nil && e.Practice.Enrol != nil:
		owner := e.Practice.Enrol.Owner
		owner.ID = id
		return care.NewHousehold(clinic, owner), true
	default:
		return care.Household{}, false
	}
}

// forget takes a household that no longer exists off the due set and the
// caseload, and returns ErrNotFound.
func (s *Store) forget(ctx context.Context, clinic string, id contact.ID) error {
	u := unit{clinic, id}
	err := s.run(ctx, call{forgetScript,
		[]string{householdKey(u), dueKey(u.partition()), caseloadKey(u.partition(), clinic)},
		[]any{dueMember(u), string(id)}}).Err()
	if err != nil {
		return wrap("forgetting a household that is gone", err)
	}
	return fmt.Errorf("household %s: %w", id, ErrNotFound)
}

// linkContacts lets the contacts that a turn added point to their household.
// It comes before the commit: a pointer to a household without the contact
// does no harm, a contact without a pointer would be a stranger.
func (s *Store) linkContacts(ctx context.Context, c Change) error {
	for i := range c.Result.Household.Contacts {
		id := c.Result.Household.Contacts[i].ID
		if id == "" || id == c.ID || slices.ContainsFunc(c.Was.Contacts, func(was care.Contact) bool { return was.ID == id }) {
			continue
		}
		if err := s.free(ctx, unit{c.Rules.Clinic, id}); err != nil {
			return err
		}
		holder, err := s.run(ctx, call{aliasScript, []string{aliasKey(unit{c.Rules.Clinic, id})}, []any{string(c.ID)}}).Text()
		switch {
		case err != nil:
			return wrap("linking a contact to its household", err)
		case holder != string(c.ID):
			return ErrContactTaken
		}
	}
	return nil
}

var errNoRules = errors.New("a turn needs the clinic's rules")

// free makes sure that a contact is not the first of another household. One that
// only ever wrote in as a stranger is free.
func (s *Store) free(ctx context.Context, u unit) error {
	record, err := s.rdb.Get(ctx, householdKey(u)).Result()
	switch {
	case isNil(err):
		return nil
	case err != nil:
		return wrap("looking whose a contact is", err)
	}
	l, err := s.decodeHousehold(u, record, Direct)
	if err != nil {
		return err
	}
	if !l.Household.Stranger {
		return ErrContactTaken
	}
	return nil
}
