package cadence

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

// Span is one stretch of opening on a day, from From up to, but not including,
// To; To may be EndOfDay. Opening past midnight is two spans on two days.
type Span struct{ From, To MinuteOfDay }

// Closure is a range of local dates, both included, on which nothing is open.
type Closure struct {
	First, Last LocalDate
	Why         string // shown to people: "Christmas"; may be empty
}

// Hours are opening hours: spans per weekday, less closures, in a zone. Make
// them with NewHours; the zero value is never open.
type Hours struct {
	zone     *time.Location
	week     [7][]Span // by time.Weekday, sorted
	closures []Closure
}

// Errors of NewHours.
var (
	ErrHoursZone    = errors.New("opening hours need a zone")
	ErrHoursSpan    = errors.New("opening hours must begin before they end, between 00:00 and 24:00")
	ErrHoursOverlap = errors.New("opening hours of one day must not overlap")
	ErrHoursClosure = errors.New("a closure must not end before it begins")
)

// NewHours checks opening hours. Order of spans and closures does not matter;
// closures may overlap. All problems are reported at once, joined: the Err…
// values of this package, each with the weekday or dates.
func NewHours(zone *time.Location, week map[time.Weekday][]Span, closures []Closure) (Hours, error) {
	h := Hours{zone: zone, closures: slices.Clone(closures)}
	var problems []error
	if zone == nil {
		problems = append(problems, ErrHoursZone)
	}
	for day := time.Sunday; day <= time.Saturday; day++ {
		spans := slices.Clone(week[day])
		slices.SortFunc(spans, func(a, b Span) int { return int(a.From - b.From) })
		problems = append(problems, checkSpans(day, spans)...)
		h.week[day] = spans
	}
	for _, c := range closures {
		if c.Last.Before(c.First) {
			problems = append(problems, fmt.Errorf("%w: %s to %s", ErrHoursClosure, c.First, c.Last))
		}
	}
	if len(problems) > 0 {
		return Hours{}, errors.Join(problems...)
	}
	return h, nil
}

func checkSpans(day time.Weekday, sorted []Span) []error {
	var problems []error
	for i, s := range sorted {
		if s.From < 0 || s.To > EndOfDay || s.From >= s.To {
			problems = append(problems, fmt.Errorf("%w: %s %s to %s", ErrHoursSpan, day, s.From, s.To))
		} else if i > 0 && s.From < sorted[i-1].To {
			problems = append(problems, fmt.Errorf("%w: %s %s", ErrHoursOverlap, day, s.From))
		}
	}
	return problems
}

// Open says whether it is open at t.
func (h Hours) Open(t time.Time) bool {
	if h.zone == nil {
		return false
	}
	w := wallIn(t, h.zone)
	next, ok := h.openFrom(w, 0)
	return ok && next.Equal(w)
}

// openingHorizonDays is how far NextOpening looks: a little over two years.
const openingHorizonDays = 800

// NextOpening returns the earliest instant at or after t at which it is open (t
// itself when it is open), in the zone of the hours; false if there is none
// within about two years.
func (h Hours) NextOpening(t time.Time) (time.Time, bool) {
	if h.zone == nil {
		return time.Time{}, false
	}
	limit := dateOf(wallIn(t, h.zone)).AddDays(openingHorizonDays).wall(0)
	return earliest(t, h.zone, func(w time.Time) (time.Time, bool) {
		if w.After(limit) {
			return time.Time{}, false
		}
		return h.openFrom(w, openingHorizonDays)
	})
}

// ClosureOn returns the closure that covers a date, if any.
func (h Hours) ClosureOn(d LocalDate) (Closure, bool) {
	for _, c := range h.closures {
		if !d.Before(c.First) && !c.Last.Before(d) {
			return c, true
		}
	}
	return Closure{}, false
}

// openFrom is the earliest open wall-clock reading at or after w, at most days
// dates later.
func (h Hours) openFrom(w time.Time, days int) (time.Time, bool) {
	today := dateOf(w)
	for n := 0; n <= days; n++ {
		date := today.AddDays(n)
		if _, closed := h.ClosureOn(date); closed {
			continue
		}
		for _, s := range h.week[date.Weekday()] {
			begin, end := date.wall(s.From), date.wall(s.To)
			if begin.Before(w) {
				begin = w
			}
			if begin.Before(end) {
				return begin, true
			}
		}
	}
	return time.Time{}, false
}
