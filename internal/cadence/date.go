// Package cadence says when something is next due, in somebody's local time:
// cron expressions with a smallest gap in calendar days, quiet hours and
// opening hours. It works out clock changes itself and reads no clock.
package cadence

import (
	"errors"
	"fmt"
	"strconv"
	"time"
)

// LocalDate is a calendar date without a zone (proleptic Gregorian). The zero
// value means "no date". Dates made by Date or ParseLocalDate compare with ==.
type LocalDate struct {
	Year  int
	Month time.Month
	Day   int
}

// ErrBadDate says that a text is not a date that exists, written YYYY-MM-DD.
var ErrBadDate = errors.New("not a date: want YYYY-MM-DD, like 2026-03-01")

// Date returns a calendar date; days and months out of range carry over, as in
// time.Date (30 February is 1 or 2 March).
func Date(year int, month time.Month, day int) LocalDate {
	return dateOf(time.Date(year, month, day, 0, 0, 0, 0, time.UTC))
}

// DateIn is the local date at t in a zone.
func DateIn(t time.Time, zone *time.Location) LocalDate { return dateOf(t.In(zone)) }

// ParseLocalDate reads YYYY-MM-DD. Error: ErrBadDate.
func ParseLocalDate(s string) (LocalDate, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return LocalDate{}, fmt.Errorf("%q is %w", s, ErrBadDate)
	}
	return dateOf(t), nil
}

func dateOf(t time.Time) LocalDate {
	y, m, d := t.Date()
	return LocalDate{Year: y, Month: m, Day: d}
}

// IsZero says whether there is no date.
func (d LocalDate) IsZero() bool { return d == LocalDate{} }

// String is the date as YYYY-MM-DD (ISO 8601).
func (d LocalDate) String() string {
	// Every prompt's name holds one, hence by hand where it is an ordinary date.
	if d.Year < 1000 || d.Year > 9999 || d.Month < 1 || d.Month > 12 || d.Day < 1 || d.Day > 31 {
		return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day)
	}
	return string(appendTwo(append(appendTwo(append(strconv.AppendInt(make([]byte, 0, 10), int64(d.Year), 10), '-'), int(d.Month)), '-'), d.Day))
}

func appendTwo(b []byte, n int) []byte { return append(b, '0'+byte(n/10), '0'+byte(n%10)) }

// AddDays is the date n calendar days later; n may be negative.
func (d LocalDate) AddDays(n int) LocalDate { return Date(d.Year, d.Month, d.Day+n) }

// DaysUntil is the number of calendar days from d to e, negative when e is earlier.
func (d LocalDate) DaysUntil(e LocalDate) int {
	const secondsPerDay = 24 * 60 * 60
	return int((e.wall(0).Unix() - d.wall(0).Unix()) / secondsPerDay)
}

// Before says whether d is an earlier date than e.
func (d LocalDate) Before(e LocalDate) bool { return d.wall(0).Before(e.wall(0)) }

// Weekday is the day of the week.
func (d LocalDate) Weekday() time.Weekday { return d.wall(0).Weekday() }

// MarshalText writes YYYY-MM-DD; the zero date is empty.
func (d LocalDate) MarshalText() ([]byte, error) {
	if d.IsZero() {
		return nil, nil
	}
	return []byte(d.String()), nil
}

// UnmarshalText reads YYYY-MM-DD; empty text is the zero date. Error: ErrBadDate.
func (d *LocalDate) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*d = LocalDate{}
		return nil
	}
	parsed, err := ParseLocalDate(string(text))
	if err == nil {
		*d = parsed
	}
	return err
}

// wall is the wall-clock reading at a minute of the date, held in a time.Time
// in UTC so that ordinary arithmetic works on it.
func (d LocalDate) wall(m MinuteOfDay) time.Time {
	return time.Date(d.Year, d.Month, d.Day, 0, int(m), 0, 0, time.UTC)
}

// MinuteOfDay is a wall-clock time as minutes after midnight, 0 to 1439. Only as
// the end of opening hours it may be EndOfDay, 24:00.
type MinuteOfDay int

// EndOfDay is 24:00, the end of a local date.
const EndOfDay MinuteOfDay = 24 * 60

// ErrBadTime says that a text is not a wall-clock time.
var ErrBadTime = errors.New("not a time of day: want HH:MM from 00:00 to 23:59")

// ParseMinuteOfDay reads HH:MM from 00:00 to 23:59. Error: ErrBadTime.
func ParseMinuteOfDay(s string) (MinuteOfDay, error) {
	t, err := time.Parse("15:04", s)
	if err != nil || len(s) != len("15:04") {
		return 0, fmt.Errorf("%q is %w", s, ErrBadTime)
	}
	return MinuteOfDay(t.Hour()*60 + t.Minute()), nil
}

// String is the time as HH:MM.
func (m MinuteOfDay) String() string { return fmt.Sprintf("%02d:%02d", int(m)/60, int(m)%60) }
