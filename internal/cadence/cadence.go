package cadence

import (
	"fmt"
	"math/bits"
	"time"

	"github.com/robfig/cron/v3"
)

// Cadence is a cron expression and a smallest gap in calendar days. Which zone
// it is meant in is said at each use. Make one with Parse.
type Cadence struct {
	expr string
	spec cron.SpecSchedule
	gap  int
}

// String is the expression as given.
func (c Cadence) String() string { return c.expr }

// GapDays is the smallest gap between two firings, in local calendar days.
func (c Cadence) GapDays() int { return c.gap }

// IsZero says whether the cadence was never set.
func (c Cadence) IsZero() bool { return c.expr == "" }

// Firing is one occurrence.
type Firing struct {
	// At is the instant, in the zone asked for.
	At time.Time
	// Date is the local date the firing belongs to. It differs from the date
	// of At only where the last minutes of a date are skipped by a clock change.
	Date LocalDate
	// Wall is the time of day the expression asks for.
	Wall MinuteOfDay
	// Notes tell what clock changes did to this firing and to those dropped
	// since the instant asked about.
	Notes []Note
}

// horizonDays bounds the search: 29 February is at most eight years away (1896
// to 1904, 2096 to 2104), and a date that doesn't exist may cost one more turn.
const horizonDays = 17 * 366

// Next returns the first instant strictly after after at which the cadence
// fires in zone, at least the gap after last (zero: no gap), and notes about
// clock changes. See NextFiring. The instant is zero if there is none.
func (c Cadence) Next(after time.Time, last LocalDate, zone *time.Location) (time.Time, []Note) {
	f := c.NextFiring(after, last, zone)
	return f.At, f.Notes
}

// NextFiring is Next with the local date the firing belongs to, which is what
// the gap is counted from and what a firing should be deduplicated by.
//
// Every local date that exists and matches gets one firing per matching time of
// day. A time skipped by a clock change fires at the first instant after the
// gap, a time shown twice fires the first time only (the rule of ISC cron), and
// a local date that doesn't exist is dropped. Times that fall on one instant
// because of a gap are one firing.
func (c Cadence) NextFiring(after time.Time, last LocalDate, zone *time.Location) Firing {
	var notes []Note
	if c.IsZero() {
		return Firing{}
	}
	// Earlier dates can't matter: all their times were reached before after.
	date := DateIn(after, zone)
	if allowed := last.AddDays(c.gap); !last.IsZero() && date.Before(allowed) {
		date = allowed
	}
	for range horizonDays {
		if c.matchesDate(date) {
			f, dropped := c.firstOn(date, after, zone)
			if dropped != nil {
				notes = append(notes, *dropped)
			}
			if !f.At.IsZero() {
				f.Notes = append(notes, f.Notes...)
				return f
			}
		}
		date = date.AddDays(1)
	}
	return Firing{Notes: notes}
}

// firstOn is the first firing on a matching date after an instant, if any. If
// the date doesn't exist in the zone and would have been later, it says so.
func (c Cadence) firstOn(date LocalDate, after time.Time, zone *time.Location) (Firing, *Note) {
	if begins := firstReaching(date.wall(0), zone); DateIn(begins, zone) != date {
		if begins.After(after) {
			return Firing{}, &Note{Kind: DateDropped, Date: date, From: c.firstTime(), To: c.lastTime()}
		}
		return Firing{}, nil
	}
	shown := wallIn(after, zone)
	for m := c.timeFrom(0); m < EndOfDay; m = c.timeFrom(m + 1) {
		// What the clock already shows, or has passed, was reached before.
		if !date.wall(m).After(shown) {
			continue
		}
		if at := firstReaching(date.wall(m), zone); at.After(after) {
			return Firing{At: at, Date: date, Wall: m, Notes: c.notesFor(date, m, at, zone)}, nil
		}
	}
	return Firing{}, nil
}

// starBit marks a field written as * or ? in the parsed expression.
const starBit = 1 << 63

// matchesDate follows the rule of cron: where both the day of the month and the
// day of the week are restricted, either is enough.
func (c Cadence) matchesDate(d LocalDate) bool {
	if c.spec.Month&(1<<uint(d.Month)) == 0 {
		return false
	}
	dom := c.spec.Dom&(1<<uint(d.Day)) != 0
	dow := c.spec.Dow&(1<<uint(d.Weekday())) != 0
	if c.spec.Dom&starBit != 0 || c.spec.Dow&starBit != 0 {
		return dom && dow
	}
	return dom || dow
}

func (c Cadence) matchesTime(m MinuteOfDay) bool {
	return c.spec.Hour&(1<<uint(m/60)) != 0 && c.spec.Minute&(1<<uint(m%60)) != 0
}

// timeFrom is the first matching time of day at or after m, EndOfDay for none.
func (c Cadence) timeFrom(m MinuteOfDay) MinuteOfDay {
	for ; m < EndOfDay; m = (m/60 + 1) * 60 {
		if c.spec.Hour&(1<<uint(m/60)) == 0 {
			continue
		}
		if left := c.spec.Minute & (1<<60 - 1) >> uint(m%60); left != 0 {
			return m + MinuteOfDay(bits.TrailingZeros64(left))
		}
	}
	return EndOfDay
}

func (c Cadence) firstTime() MinuteOfDay {
	for m := MinuteOfDay(0); m < EndOfDay; m++ {
		if c.matchesTime(m) {
			return m
		}
	}
	return 0
}

func (c Cadence) lastTime() MinuteOfDay {
	for m := EndOfDay - 1; m > 0; m-- {
		if c.matchesTime(m) {
			return m
		}
	}
	return 0
}

// NoteKind names what a clock change did.
type NoteKind string

const (
	// Moved means the time was skipped and fires at the first instant after the gap.
	Moved NoteKind = "moved"
	// RunOnce means the time occurs twice and fires the first time only.
	RunOnce NoteKind = "run-once"
	// DateDropped means the local date doesn't exist in the zone.
	DateDropped NoteKind = "date-dropped"
)

// Note says what a clock change did to a firing. From and To are the first and
// last time of day concerned, equal when it is one.
type Note struct {
	Kind     NoteKind
	Date     LocalDate
	From, To MinuteOfDay
	At       time.Time // when it fires; zero for DateDropped
}

// String is the note as one sentence.
func (n Note) String() string {
	times := n.From.String()
	if n.To != n.From {
		times += " to " + n.To.String()
	}
	switch n.Kind {
	case Moved:
		return fmt.Sprintf("%s: %s does not exist on this date because clocks go forward; it runs at %s, the first moment after the change",
			n.Date, times, n.At.Format(time.RFC3339))
	case RunOnce:
		return fmt.Sprintf("%s: %s occurs twice on this date because clocks go back; it runs once, the first time, at %s",
			n.Date, times, n.At.Format(time.RFC3339))
	case DateDropped:
		return fmt.Sprintf("%s: this date does not exist in the zone, since the calendar skips it; nothing runs for it", n.Date)
	}
	return ""
}

// notesFor explains a firing that a clock change touched.
func (c Cadence) notesFor(date LocalDate, m MinuteOfDay, at time.Time, zone *time.Location) []Note {
	if shown := wallIn(at, zone); shown.After(date.wall(m)) {
		note := Note{Kind: Moved, Date: date, From: m, To: m, At: at}
		for later := m + 1; later < EndOfDay && date.wall(later).Before(shown); later++ {
			if c.matchesTime(later) {
				note.To = later
			}
		}
		return []Note{note}
	}
	if shownAgain(date.wall(m), at, zone) {
		return []Note{{Kind: RunOnce, Date: date, From: m, To: m, At: at}}
	}
	return nil
}
