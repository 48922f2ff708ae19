package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// LogEntry is one turn of a household as kept for good.
type LogEntry struct {
	Seq      uint64 // the household's turn
	At       time.Time
	Event    care.Event // with its instant
	Reason   care.Reason
	Refusal  string
	Versions Versions
	Facts    []care.Fact
}

// storedEntry is a log entry's stored form. Field numbers are never used again
// for anything else.
type storedEntry struct {
	Seq      uint64      `cbor:"1,keyasint"`
	At       int64       `cbor:"2,keyasint"`
	Event    care.Event  `cbor:"3,keyasint"`
	Reason   care.Reason `cbor:"4,keyasint"`
	Refusal  string      `cbor:"5,keyasint,omitempty"`
	Versions Versions    `cbor:"6,keyasint"`
	Facts    []care.Fact `cbor:"7,keyasint,omitempty"`
	// Words is the number (from 1) of the fact that keeps the message's words:
	// its text and id are the message's own and are not kept twice. 0 for none.
	Words uint16 `cbor:"8,keyasint,omitempty"`
	// KeyTail: the event's key ends with the message's id, which is cut off.
	KeyTail bool `cbor:"9,keyasint,omitempty"`
}

func storedTurn(v Versions, c Change) storedEntry {
	e := storedEntry{
		Seq: c.Result.Household.Seq, At: unix(c.Event.At), Event: c.Event,
		Reason: c.Result.Reason, Refusal: c.Result.Refusal, Versions: v, Facts: c.Result.Facts,
	}
	if c.Result.Household.Erased != nil {
		e.Event = e.Event.WithoutContacts()
	}
	m := e.Event.Message
	if m == nil {
		return e
	}
	if m.ID != "" {
		e.Event.Key, e.KeyTail = strings.CutSuffix(e.Event.Key, m.ID)
	}
	for i, f := range e.Facts {
		if f.Kind == care.FactWords && f.Text == m.Text && f.ID == m.ID {
			e.Facts = slices.Clone(e.Facts)
			e.Facts[i].Text, e.Facts[i].ID = "", ""
			e.Words = uint16(i + 1)
			return e
		}
	}
	return e
}

func (e storedEntry) entry() LogEntry {
	l := LogEntry{
		Seq: e.Seq, At: fromUnix(e.At), Event: e.Event, Reason: e.Reason,
		Refusal: e.Refusal, Versions: e.Versions, Facts: e.Facts,
	}
	l.Event.At = l.At
	m := l.Event.Message
	if m == nil {
		return l
	}
	if e.KeyTail {
		l.Event.Key += m.ID
	}
	if i := int(e.Words) - 1; i >= 0 && i < len(l.Facts) {
		l.Facts[i].Text, l.Facts[i].ID = m.Text, m.ID
	}
	return l
}

// ReadLog returns up to n entries of a household's log, oldest first, from
// number from on (0 is the first ever; -1 the last, -n the last n). There is no
// error for a log that isn't there. Errors wrap ErrUnavailable or ErrDamaged;
// with ErrDamaged, the entries before the damaged one are returned.
func (s *Store) ReadLog(ctx context.Context, clinic string, id contact.ID, from, n int) ([]LogEntry, error) {
	if n <= 0 {
		return nil, nil
	}
	last := int64(from + n - 1)
	if from < 0 && last >= 0 {
		last = -1
	}
	key := logKey(unit{clinic, id})
	values, err := s.rdb.LRange(ctx, key, int64(from), last).Result()
	if err != nil {
		return nil, wrap("reading a household's log", err)
	}
	entries := make([]LogEntry, 0, len(values))
	for i, v := range values {
		var e storedEntry
		if err := s.unpack(key, v, &e); err != nil {
			return entries, fmt.Errorf("reading entry %d of the log of household %s: %w", from+i, id, err)
		}
		entries = append(entries, e.entry())
	}
	return entries, nil
}

// LogLen is how many entries a household's log has.
func (s *Store) LogLen(ctx context.Context, clinic string, id contact.ID) (int, error) {
	n, err := s.rdb.LLen(ctx, logKey(unit{clinic, id})).Result()
	return int(n), wrap("counting a household's log", err)
}
