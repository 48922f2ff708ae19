package store

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"strconv"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

//go:embed scripts/purge.lua
var purgeSource string

var purgeScript = newScript(purgeSource)

// ErrDoNotText says that the person of a contact asked to be erased, and has not
// consented anew.
var ErrDoNotText = errors.New("this person asked that their contacts be erased; they may be texted again only after a new consent")

// Mark is what stays of an erased contact: under a keyed hash of the address,
// that it is not to be texted. It outlives the record.
type Mark struct {
	Household contact.ID `cbor:"1,keyasint"`
	At        int64      `cbor:"2,keyasint"`
	Until     int64      `cbor:"3,keyasint"` // until when the record is kept
	By        string     `cbor:"4,keyasint,omitempty"`
	Why       string     `cbor:"5,keyasint,omitempty"`
}

// erasedKey is a HASH of sealed marks by the ids of erased contacts. It never
// expires.
func erasedKey(u unit) string { return deskKey(u, "erased") }

// Erase takes a household's contacts and messaging away: the marks first, then
// every address and name in its log, then the household and the pointers of its
// further contacts. Broken off, it is made whole by calling it again with the
// same event. A refusal comes back in the result. Errors wrap ErrUnavailable,
// ErrNotFound, ErrConflict or ErrDamaged.
func (s *Store) Erase(ctx context.Context, r *care.Rules, id contact.ID, e care.Event) (care.Result, error) {
	l, err := s.Load(ctx, r.Clinic, id)
	if err != nil {
		return care.Result{}, err
	}
	if l.Found == NotFound {
		return care.Result{}, fmt.Errorf("household %s: %w", id, ErrNotFound)
	}
	// What it will be, decided without being kept: a refusal must leave no mark.
	if res := s.turn(r, l.Household, e); res.Reason == care.PracticeRefused && l.Household.Erased == nil {
		return res, nil
	} else if l.Household.Erased == nil && res.Household.Erased != nil {
		if err := s.mark(ctx, r.Clinic, l.Household, *res.Household.Erased); err != nil {
			return care.Result{}, err
		}
	}
	// The log comes first, while the names are known, and again with what came
	// meanwhile.
	u, names := unit{r.Clinic, l.ID}, l.Household.Names()
	if err := s.scrub(ctx, u, names); err != nil {
		return care.Result{}, err
	}
	res, err := s.Do(ctx, r, l.ID, e)
	if err != nil {
		return res, err
	}
	if err := s.unlink(ctx, r.Clinic, l.ID); err != nil {
		return res, err
	}
	if err := s.scrubLines(ctx, r, l.ID, names); err != nil {
		return res, err
	}
	return res, s.scrub(ctx, u, names)
}

// scrubLines takes a household's names and numbers out of what practitioners know
// under a number.
func (s *Store) scrubLines(ctx context.Context, r *care.Rules, id contact.ID, names []string) error {
	lines := []string{""}
	for _, p := range r.Practitioners {
		lines = append(lines, p.ID)
	}
	for _, who := range lines {
		if err := s.scrubLine(ctx, r.Clinic, who, func(l *care.Line) bool { return l.WithoutContacts(id, names) }); err != nil {
			return err
		}
	}
	return nil
}

func (s *Store) scrubLine(ctx context.Context, clinic, who string, change func(*care.Line) bool) error {
	key := lineKey(s.lineUnit(clinic, who))
	for range tries {
		record, err := s.rdb.Get(ctx, key).Result()
		if isNil(err) {
			return nil
		}
		if err != nil {
			return wrap("loading a practitioner's line", err)
		}
		l, v, err := s.decodeLine(clinic, who, record)
		if err != nil {
			return err
		}
		if !change(&l) {
			return nil
		}
		again, err := s.pack(key, string(v.next()), l)
		if err != nil {
			return err
		}
		if n, err := s.run(ctx, call{resealScript, []string{key}, []any{"string", "", record, again, ""}}).Int(); err != nil || n == 1 {
			return wrap("erasing contacts on a practitioner's line", err)
		}
	}
	return fmt.Errorf("erasing contacts on the line of %s: %w", who, ErrConflict)
}

// mark keeps that every address of a household is not to be texted.
func (s *Store) mark(ctx context.Context, clinic string, h care.Household, e care.Erased) error {
	u := s.deskUnit(clinic)
	m := Mark{Household: h.ID, At: e.At, Until: e.Until, By: e.By, Why: e.Why}
	for i, c := range h.Contacts {
		id := c.ID
		if id == "" && i == 0 {
			id = h.ID
		}
		if id == "" {
			continue
		}
		value, err := s.pack(erasedKey(u)+"/"+string(id), "", m)
		if err != nil {
			return err
		}
		if err := s.rdb.HSet(ctx, erasedKey(u), string(id), value).Err(); err != nil {
			return wrap("keeping that a contact is not to be texted", err)
		}
	}
	return nil
}

// Marks returns every mark of a clinic by the contact's id. Errors wrap
// ErrUnavailable or ErrDamaged.
func (s *Store) Marks(ctx context.Context, clinic string) (map[contact.ID]Mark, error) {
	u := s.deskUnit(clinic)
	values, err := s.rdb.HGetAll(ctx, erasedKey(u)).Result()
	if err != nil {
		return nil, wrap("reading who is not to be texted", err)
	}
	marks := make(map[contact.ID]Mark, len(values))
	for id, v := range values {
		var m Mark
		if err := s.unpack(erasedKey(u)+"/"+id, v, &m); err != nil {
			return nil, fmt.Errorf("reading who is not to be texted: %w", err)
		}
		marks[contact.ID(id)] = m
	}
	return marks, nil
}

// allowed refuses to bring a contact in that was erased. With a new consent the
// mark goes.
func (s *Store) allowed(ctx context.Context, clinic string, owner contact.ID, p *care.Practice) error {
	var id contact.ID
	switch {
	case p == nil:
	case p.Enrol != nil:
		if id = p.Enrol.Owner.ID; id == "" {
			id = owner
		}
	case p.Contact != nil:
		id = p.Contact.ID
	}
	if id == "" {
		return nil
	}
	key := erasedKey(s.deskUnit(clinic))
	err := s.rdb.HGet(ctx, key, string(id)).Err()
	switch {
	case isNil(err):
		return nil
	case err != nil:
		return wrap("looking whether a contact may be texted", err)
	case p.Anew == "":
		return ErrDoNotText
	}
	return wrap("taking up a contact anew", s.rdb.HDel(ctx, key, string(id)).Err())
}

// unlink takes away the pointers of a household's further contacts. Which they
// were is in the marks.
func (s *Store) unlink(ctx context.Context, clinic string, id contact.ID) error {
	marks, err := s.Marks(ctx, clinic)
	if err != nil {
		return err
	}
	for c, m := range marks {
		if m.Household != id || c == id {
			continue
		}
		if err := s.rdb.Del(ctx, aliasKey(unit{clinic, c})).Err(); err != nil {
			return wrap("taking a contact's pointer away", err)
		}
	}
	return nil
}

// scrub takes addresses and names out of a household's log.
func (s *Store) scrub(ctx context.Context, u unit, names []string) error {
	key := logKey(u)
	for from := int64(0); ; from += sweepValues {
		values, err := s.rdb.LRange(ctx, key, from, from+sweepValues-1).Result()
		if err != nil {
			return wrap("reading a log to erase contacts", err)
		}
		var calls []call
		for i, v := range values {
			var e storedEntry
			if err := s.unpack(key, v, &e); err != nil {
				return fmt.Errorf("reading entry %d of the log of household %s: %w", from+int64(i), u.id, err)
			}
			e.Event, e.Facts = e.Event.WithoutContacts(), care.WithoutNames(e.Facts, names)
			again, err := s.pack(key, "", e)
			if err != nil {
				return err
			}
			calls = append(calls, call{resealScript, []string{key}, []any{"list", strconv.FormatInt(from+int64(i), 10), v, again, ""}})
		}
		for _, cmd := range s.runAll(ctx, calls) {
			if n, err := cmd.Int(); err != nil || n != 1 {
				return errors.Join(wrap("erasing contacts in a log", err), ifNot(n == 1, ErrConflict))
			}
		}
		if len(values) < sweepValues {
			return nil
		}
	}
}

func ifNot(ok bool, err error) error {
	if ok {
		return nil
	}
	return err
}

// purgeCall takes a household away for good.
func purgeCall(u unit, v Version) call {
	return call{purgeScript, []string{householdKey(u), logKey(u), dueKey(u.partition()), caseloadKey(u.partition(), u.clinic)},
		[]any{string(v), dueMember(u), string(u.id)}}
}

// EraseAgain makes every erasure again that a mark of this store knows and a
// household does not: after a backup was restored that is older than the erasure.
// It returns how many. Errors are Erase's.
func (s *Store) EraseAgain(ctx context.Context, r *care.Rules, now time.Time) (int, error) {
	marks, err := s.Marks(ctx, r.Clinic)
	if err != nil {
		return 0, err
	}
	done := map[contact.ID]bool{}
	for _, m := range marks {
		if done[m.Household] {
			continue
		}
		l, err := s.Load(ctx, r.Clinic, m.Household)
		if err != nil {
			return len(done), err
		}
		if l.Found == NotFound || l.Household.Erased != nil {
			continue
		}
		e := care.Event{Key: "erase/" + strconv.FormatInt(m.At, 10), At: now, Practice: &care.Practice{By: m.By,
			Erase: &care.Erasure{Why: m.Why, At: m.At, Until: m.Until}}}
		if _, err := s.Erase(ctx, r, l.ID, e); err != nil {
			return len(done), err
		}
		done[m.Household] = true
	}
	return len(done), nil
}
