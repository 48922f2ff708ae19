package store

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// eventLife is how long an event's key is kept. Providers repeat a delivery
// for hours; the household itself remembers its last messages for longer.
const eventLife = 8 * 24 * time.Hour

// Outcome is what came of a commit.
type Outcome string

const (
	Committed Outcome = "done"      // written, now or by this very commit before
	Duplicate Outcome = "duplicate" // another commit has had the event; nothing was written
	Conflict  Outcome = "conflict"  // the record is at another version; nothing was written
)

// Change is a decided turn of a household, ready to be committed.
type Change struct {
	Rules   *care.Rules
	ID      contact.ID     // the household's
	Version Version        // it was decided on; "" for a household that isn't stored yet
	Was     care.Household // as it was before
	Event   care.Event
	Result  care.Result
}

// Commit writes a decided turn in one round trip, all of it or nothing. It is
// safe to send twice. Errors wrap ErrUnavailable.
func (s *Store) Commit(ctx context.Context, c Change) (Outcome, error) {
	done, _, err := s.commit(ctx, c)
	return done, err
}

func (s *Store) commit(ctx context.Context, c Change) (Outcome, string, error) {
	call, err := s.commitCall(c)
	if err != nil {
		return "", "", err
	}
	return committed(s.runGathered(ctx, call))
}

// committed reads the commit script's result, with the current record where
// there was a conflict.
func committed(cmd *redis.Cmd) (Outcome, string, error) {
	parts, err := cmd.StringSlice()
	if err != nil {
		return "", "", wrap("committing a turn", err)
	}
	switch {
	case len(parts) == 1 && (parts[0] == string(Committed) || parts[0] == string(Duplicate)):
		return Outcome(parts[0]), "", nil
	case len(parts) == 2 && parts[0] == string(Conflict):
		return Conflict, parts[1], nil
	default:
		return "", "", fmt.Errorf("committing a turn: the script answered %q", parts)
	}
}

// write is what the commit script is given.
type write struct {
	unit     unit
	state    string // its key
	version  Version
	value    any // the new state
	life     time.Duration
	eventKey string // the event's own, "" for none
	entries  [][]byte
	logLife  string
	due      string // as the script's
	rank     string
	out      []outgoing
}

// keep leaves a set as it is, drop takes the member out.
const (
	keep = "keep"
	drop = "drop"
)

// commitCall puts a household's turn into the script's terms.
func (s *Store) commitCall(c Change) (call, error) {
	if c.Rules == nil {
		return call{}, errNoRules
	}
	u := unit{c.Rules.Clinic, c.ID}
	h := &c.Result.Household
	if c.Result.Reason == care.RecordEnded {
		return purgeCall(u, c.Version), nil
	}
	value, err := storeHousehold(h)
	if err != nil {
		return call{}, err
	}
	w := write{
		unit: u, state: householdKey(u), version: c.Version, value: value,
		eventKey: c.Event.Key, due: drop, rank: drop,
	}
	switch {
	case h.Stranger:
		w.life = strangerLife
		w.logLife = millis(strangerLife)
	case c.Was.Stranger:
		w.logLife = "0" // enrolled: what was written before stays
	}
	if !c.Result.Next.IsZero() {
		w.due = strconv.FormatInt(c.Result.Next.Unix(), 10)
	}
	if !h.Stranger || c.Result.Rank > 0 {
		w.rank = strconv.FormatFloat(c.Result.Rank, 'g', -1, 64)
	}
	entry, err := s.pack(logKey(u), "", storedTurn(s.versions(c.Rules), c))
	if err != nil {
		return call{}, err
	}
	w.entries = [][]byte{entry}
	if w.out, err = s.outgoing(u, c); err != nil {
		return call{}, err
	}
	return s.writeCall(w)
}

func (s *Store) writeCall(w write) (call, error) {
	record, err := s.pack(w.state, string(w.version.next()), w.value)
	if err != nil {
		return call{}, err
	}
	p := w.unit.partition()
	keys := make([]string, 0, 5+len(w.out))
	keys = append(keys, w.state, w.state, w.state, w.state, w.state)
	if len(w.entries) > 0 {
		keys[1] = logKey(w.unit)
	}
	if w.due != keep {
		keys[2] = dueKey(p)
	}
	if w.rank != keep {
		keys[3] = caseloadKey(p, w.unit.clinic)
	}
	eventMillis := "0"
	if w.eventKey != "" {
		keys[4], eventMillis = eventKey(w.unit, w.eventKey), millis(s.eventLife)
	}
	args := make([]any, 0, 10+len(w.entries)+len(w.out))
	args = append(args, string(w.version), record, millis(w.life), eventMillis,
		len(w.entries), w.logLife, w.due, dueMember(w.unit), w.rank, string(w.unit.id))
	for _, e := range w.entries {
		args = append(args, e)
	}
	for _, o := range w.out {
		keys = append(keys, streamKey(p, o.queue))
		args = append(args, o.value)
	}
	return call{commitScript, keys, args}, nil
}

func millis(d time.Duration) string { return strconv.FormatInt(d.Milliseconds(), 10) }
