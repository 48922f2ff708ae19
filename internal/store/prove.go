package store

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// DifferenceKind says in which way a household's log does not bear out its
// record.
type DifferenceKind string

const (
	DiffDamaged DifferenceKind = "damaged"   // the record or an entry can't be read
	DiffGap     DifferenceKind = "gap"       // a turn is missing from the log, or is there twice
	DiffBehind  DifferenceKind = "behind"    // record and log end at different turns
	DiffAlerts  DifferenceKind = "alerts"    // the alerts that were opened and closed are not those of the record
	DiffTurn    DifferenceKind = "turn"      // decided again, a turn comes out otherwise
	DiffRecord  DifferenceKind = "record"    // all turns come out as they did, and the record is another
	DiffOrder   DifferenceKind = "beginning" // the log does not begin with how a household begins
)

// Difference is one of them. Detail names turns, reasons and counts, never a
// person's name, number or words.
type Difference struct {
	Kind   DifferenceKind
	Detail string
}

// Proof is what a household's log proves.
type Proof struct {
	Turns     int // in the log
	Redecided int // decided again, with the versions they were first decided with
	// Older were decided with other versions of rules, scripts, lexicon or
	// formula: their outcomes stand, and can't be decided again now.
	Older int
	// Unsure are turns of today's versions that come out otherwise after ones of
	// other versions: whether the record they were decided on was this one can't
	// be known any more.
	Unsure      int
	Differences []Difference
}

func (p *Proof) differ(k DifferenceKind, format string, args ...any) {
	p.Differences = append(p.Differences, Difference{k, fmt.Sprintf(format, args...)})
}

// Prove replays a household's log: that it is without a gap and ends where the
// record does, that the alerts it opened and closed are the record's, and that
// each turn decided with the very versions in use comes out as it did, as does
// the record in the end. It reads record and log at one moment, so that it works
// beside the running service. Errors wrap ErrUnavailable; there is ErrNotFound
// for a household that has gone.
func (s *Store) Prove(ctx context.Context, r *care.Rules, id contact.ID) (Proof, error) {
	u := unit{r.Clinic, id}
	var record *redis.StringCmd
	var log *redis.StringSliceCmd
	_, err := s.rdb.TxPipelined(ctx, func(p redis.Pipeliner) error {
		record = p.Get(ctx, householdKey(u))
		log = p.LRange(ctx, logKey(u), 0, -1)
		return nil
	})
	if isNil(err) {
		return Proof{}, fmt.Errorf("household %s: %w", id, ErrNotFound)
	}
	if err != nil {
		return Proof{}, wrap("reading a household and its log", err)
	}
	return s.prove(r, u, record.Val(), log.Val()), nil
}

func (s *Store) prove(r *care.Rules, u unit, record string, log []string) Proof {
	p := Proof{Turns: len(log)}
	l, err := s.decodeHousehold(u, record, Direct)
	if err != nil {
		p.differ(DiffDamaged, "the record can't be read")
		return p
	}
	entries := make([]LogEntry, 0, len(log))
	for i, v := range log {
		var e storedEntry
		if s.unpack(logKey(u), v, &e) != nil {
			p.differ(DiffDamaged, "entry %d of the log can't be read", i+1)
			return p
		}
		entries = append(entries, e.entry())
	}
	p.outcomes(&l.Household, entries)
	if len(p.Differences) == 0 {
		p.redecide(r, u, l.Household, entries, s.versions(r))
	}
	return p
}

// outcomes compares what was kept of each turn with the record, whatever decided
// it.
func (p *Proof) outcomes(h *care.Household, entries []LogEntry) {
	open := map[uint16]bool{}
	opened := uint16(0)
	for i, e := range entries {
		if want := uint64(i) + 1; e.Seq != want {
			p.differ(DiffGap, "turn %d stands where turn %d was to be", e.Seq, want)
			return
		}
		for _, f := range e.Facts {
			switch {
			case f.Kind != care.FactAlert:
			case f.Code == "opened":
				opened, open[f.Alert] = opened+1, true
			case f.Code == "closed":
				delete(open, f.Alert)
			}
		}
	}
	if h.Seq != uint64(len(entries)) {
		p.differ(DiffBehind, "the record is at turn %d, its log at %d", h.Seq, len(entries))
		return
	}
	if opened != h.AlertSeq {
		p.differ(DiffAlerts, "the log opened %d alerts, the record %d", opened, h.AlertSeq)
	}
	for _, a := range h.Alerts {
		if a.IsOpen() != open[a.N] {
			p.differ(DiffAlerts, "alert %d is open in one of log and record and closed in the other", a.N)
		}
	}
}

// redecide takes every turn again, up to the first that comes out otherwise.
func (p *Proof) redecide(r *care.Rules, u unit, kept care.Household, entries []LogEntry, now Versions) {
	if kept.Erased != nil { // the events are not whole any more
		p.left(entries, now)
		return
	}
	var h care.Household
	for i, e := range entries {
		if i == 0 {
			first, ok := begin(u.clinic, u.id, e.Event)
			if !ok {
				p.differ(DiffOrder, "turn 1 is neither a message nor an enrolment")
				return
			}
			h = first
		}
		res, same := again(r, h, e)
		if e.Versions != now {
			p.Older++
			if same {
				h = res
				continue
			}
			p.left(entries[i+1:], now)
			return
		}
		if !same && p.Older > 0 {
			p.left(entries[i:], now)
			return
		}
		if !same {
			p.differ(DiffTurn, "turn %d was %s, and is not when it is decided again", e.Seq, e.Reason)
			return
		}
		p.Redecided++
		h = res
	}
	if p.Older == 0 && !equalStored(h, kept) {
		p.differ(DiffRecord, "all %d turns come out as they did, the record differs", len(entries))
	}
}

// left counts the turns that can't be decided again any more.
func (p *Proof) left(entries []LogEntry, now Versions) {
	for _, e := range entries {
		if e.Versions == now {
			p.Unsure++
		} else {
			p.Older++
		}
	}
}

// again decides a turn once more, on the household as it would have been stored,
// and reports whether the outcome is the one that was kept.
func again(r *care.Rules, h care.Household, e LogEntry) (care.Household, bool) {
	res := care.Turn(r, h, e.Event)
	same := res.Household.Seq == e.Seq && res.Reason == e.Reason && res.Refusal == e.Refusal &&
		slices.EqualFunc(res.Facts, e.Facts, func(a, b care.Fact) bool { return equalStored(a, b) })
	var next care.Household
	if b, err := encoder.Marshal(res.Household); err != nil || decoder.Unmarshal(b, &next) != nil {
		return res.Household, false
	}
	return next, same
}

// equalStored reports whether two values are stored alike.
func equalStored[T any](a, b T) bool {
	x, errX := encoder.Marshal(a)
	y, errY := encoder.Marshal(b)
	return errX == nil && errY == nil && bytes.Equal(x, y)
}

// Households calls visit with every household of a clinic, strangers too, in no
// order. One that is stored meanwhile may be left out. It stops at the first
// error. Errors wrap ErrUnavailable or are visit's.
func (s *Store) Households(ctx context.Context, clinic string, visit func(contact.ID) error) error {
	var one sync.Mutex // a cluster's masters are walked side by side
	infix := ":h:" + clinic + ":"
	return s.eachMaster(ctx, func(ctx context.Context, c redis.Cmdable) error {
		for cursor := uint64(0); ; {
			keys, next, err := c.Scan(ctx, cursor, "{p*}"+infix+"*", 512).Result()
			if err != nil {
				return wrap("walking over the households", err)
			}
			one.Lock()
			for _, k := range keys {
				if _, id, ok := strings.Cut(k, infix); ok && err == nil {
					err = visit(contact.ID(id))
				}
			}
			one.Unlock()
			if cursor = next; err != nil || cursor == 0 {
				return err
			}
		}
	})
}
