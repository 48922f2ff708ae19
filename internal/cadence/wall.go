package cadence

import "time"

// wallIn is what the clock on the wall shows at t in a zone, held in UTC.
func wallIn(t time.Time, zone *time.Location) time.Time {
	_, offset := t.In(zone).Zone()
	return t.UTC().Add(time.Duration(offset) * time.Second)
}

// earliest returns the first instant at or after from whose wall-clock reading
// is wanted. next(w) gives the earliest wanted reading at or after w, as if
// clocks were never changed; false ends the search. Each stretch between two
// clock changes is searched by itself, so a reading that a change skips or
// repeats needs no special case.
func earliest(from time.Time, zone *time.Location, next func(time.Time) (time.Time, bool)) (time.Time, bool) {
	for at := from; ; {
		_, end := at.In(zone).ZoneBounds()
		_, seconds := at.In(zone).Zone()
		offset := time.Duration(seconds) * time.Second
		wanted, ok := next(at.UTC().Add(offset))
		if !ok {
			return time.Time{}, false
		}
		if t := wanted.Add(-offset); end.IsZero() || t.Before(end) {
			return t.In(zone), true
		}
		at = end
	}
}

// furthestOffset is more than any zone has ever been away from UTC.
const furthestOffset = 30 * time.Hour

// firstReaching returns the first instant at which the wall clock shows w or
// later: the first of two when w occurs twice, the end of the gap when it is
// skipped.
func firstReaching(w time.Time, zone *time.Location) time.Time {
	t, _ := earliest(w.Add(-furthestOffset), zone, func(now time.Time) (time.Time, bool) {
		if now.Before(w) {
			return w, true
		}
		return now, true
	})
	return t
}

// At returns the first instant at which the wall clock in zone shows the date and
// time of day, or later where a clock change skips them.
func At(d LocalDate, m MinuteOfDay, zone *time.Location) time.Time {
	return firstReaching(d.wall(m), zone)
}

// shownAgain says whether the wall clock shows w a second time after its first
// instant t.
func shownAgain(w, t time.Time, zone *time.Location) bool {
	_, end := t.In(zone).ZoneBounds()
	if end.IsZero() || end.After(t.Add(furthestOffset)) {
		return false
	}
	back := wallIn(end, zone)
	return !back.After(w)
}
