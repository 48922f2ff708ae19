package cadence_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/cadence"
)

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct {
		expr string
		gap  int
		want error
		says string
	}{
		{"", 0, cadence.ErrExprEmpty, "Tuesday"},
		{"  \t ", 0, cadence.ErrExprEmpty, ""},
		{"@every 1h", 0, cadence.ErrExprEvery, ""},
		{"@every", 0, cadence.ErrExprEvery, ""},
		{"TZ=Europe/London 0 8 * * *", 0, cadence.ErrExprZone, ""},
		{"CRON_TZ=UTC 0 8 * * *", 0, cadence.ErrExprZone, ""},
		{"TZ=", 0, cadence.ErrExprZone, ""}, // the library panics here
		{"0 0 8 * * *", 0, cadence.ErrExprFields, "6"},
		{"0 8 * *", 0, cadence.ErrExprFields, "4"},
		{"61 8 * * *", 0, cadence.ErrExprSyntax, `minute "61"`},
		{"0 24 * * *", 0, cadence.ErrExprSyntax, `hour "24"`},
		{"0 8 0 * *", 0, cadence.ErrExprSyntax, `day of the month "0"`},
		{"0 8 * 13 *", 0, cadence.ErrExprSyntax, `month "13"`},
		{"0 8 * * 7", 0, cadence.ErrExprSyntax, "Sunday being 0"},
		{"0 8 * * tues", 0, cadence.ErrExprSyntax, `day of the week "tues"`},
		{"*/0 8 * * *", 0, cadence.ErrExprSyntax, "minute"},
		{", 8 * * *", 0, cadence.ErrExprSyntax, "minute"},
		{"@fortnightly", 0, cadence.ErrExprSyntax, "@weekly"},
		{strings.Repeat("1,", 200) + "1 8 * * *", 0, cadence.ErrExprSyntax, "longer"},
		{"0 8 30 2 *", 0, cadence.ErrExprNever, ""},
		{"0 8 31 4,6,9,11 *", 0, cadence.ErrExprNever, ""},
		{"0 8 * * *", -1, cadence.ErrGapOutOfSpan, "-1"},
		{"0 8 * * *", cadence.MaxGapDays + 1, cadence.ErrGapOutOfSpan, "3661"},
	} {
		_, err := cadence.Parse(c.expr, c.gap)
		require.ErrorIs(t, err, c.want, c.expr)
		require.ErrorContains(t, err, c.says, c.expr)
		require.NotContains(t, err.Error(), "strconv", c.expr)
	}
}

// next lists the first n firings after an instant with the gap applied from one to the next.
func next(t *testing.T, expr string, gap int, from string, n int) []string {
	t.Helper()
	c, at, last := parse(t, expr, gap), instant(t, from), cadence.LocalDate{}
	var out []string
	for range n {
		f := c.NextFiring(at, last, time.UTC)
		at, last = f.At, f.Date
		out = append(out, at.Format("Mon 2006-01-02 15:04"))
	}
	return out
}

func TestNext(t *testing.T) {
	for _, c := range []struct {
		name, expr string
		gap        int
		want       []string
	}{
		{"weekly", "0 10 * * 2", 0, []string{"Tue 2026-03-03 10:00", "Tue 2026-03-10 10:00"}},
		{"six days' gap doesn't matter to a weekly one", "0 10 * * 2", 6, []string{"Tue 2026-03-03 10:00", "Tue 2026-03-10 10:00"}},
		{"fortnightly by a gap", "0 10 * * 2", 13, []string{"Tue 2026-03-03 10:00", "Tue 2026-03-17 10:00", "Tue 2026-03-31 10:00"}},
		{"a gap of one day allows one a day", "0 8,20 * * *", 1, []string{"Sun 2026-03-01 20:00", "Mon 2026-03-02 08:00"}},
		{"no gap allows two a day", "0 8,20 * * *", 0, []string{"Sun 2026-03-01 20:00", "Mon 2026-03-02 08:00", "Mon 2026-03-02 20:00"}},
		{"either day where both are restricted", "0 10 13 * 5", 0, []string{"Fri 2026-03-06 10:00", "Fri 2026-03-13 10:00", "Fri 2026-03-20 10:00", "Fri 2026-03-27 10:00", "Fri 2026-04-03 10:00", "Fri 2026-04-10 10:00", "Mon 2026-04-13 10:00"}},
		{"descriptor", "@weekly", 0, []string{"Sun 2026-03-08 00:00"}},
		{"leap day", "0 10 29 2 *", 0, []string{"Tue 2028-02-29 10:00", "Sun 2032-02-29 10:00"}},
		{"names", "30 9 * apr mon-wed", 0, []string{"Wed 2026-04-01 09:30", "Mon 2026-04-06 09:30"}},
		{"an impossible date beside a day of the week", "0 10 30 2 1", 0, []string{"Mon 2027-02-01 10:00"}},
	} {
		require.Equal(t, c.want, next(t, c.expr, c.gap, "2026-03-01T08:00:00Z", len(c.want)), c.name)
	}
}

func TestNextIsStrictlyAfter(t *testing.T) {
	require.Equal(t, []string{"Tue 2026-03-10 10:00"}, next(t, "0 10 * * 2", 0, "2026-03-03T10:00:00Z", 1))
	require.Equal(t, []string{"Tue 2026-03-03 10:00"}, next(t, "0 10 * * 2", 0, "2026-03-03T09:59:59.999Z", 1))
	require.Contains(t, next(t, "0 0 29 2 *", 0, "2096-03-01T00:00:00Z", 1)[0], "2104-02-29")
	at, notes := cadence.Cadence{}.Next(time.Unix(0, 0), cadence.LocalDate{}, time.UTC)
	require.True(t, at.IsZero())
	require.Empty(t, notes)
}

// Times that one gap skips fall on one instant and are one firing, told as one note.
func TestSkippedTimesTogether(t *testing.T) {
	z := zone(t, "Europe/Berlin")
	c := parse(t, "*/20 2,3 * * *", 0)
	at, notes := c.Next(instant(t, "2026-03-29T00:00:00Z"), cadence.LocalDate{}, z)
	require.Equal(t, "2026-03-29T03:00:00+02:00", at.Format(time.RFC3339))
	require.Len(t, notes, 1)
	require.Equal(t, "2026-03-29: 02:00 to 02:40 does not exist on this date because clocks go forward; it runs at 2026-03-29T03:00:00+02:00, the first moment after the change", notes[0].String())
	at, notes = c.Next(at, cadence.LocalDate{}, z)
	require.Equal(t, "2026-03-29T03:20:00+02:00", at.Format(time.RFC3339))
	require.Empty(t, notes)
}

// The gap counts from the date a firing belongs to, not from where a change moved it.
func TestGapAcrossMovedDate(t *testing.T) {
	z := zone(t, "America/Nuuk")
	c := parse(t, "45 23 * * *", 1)
	f := c.NextFiring(instant(t, "2024-03-30T02:00:00Z"), cadence.Date(2024, 3, 29), z)
	require.Equal(t, "2024-03-31T00:00:00-01:00", f.At.Format(time.RFC3339))
	require.Equal(t, "2024-03-30", f.Date.String())
	require.Equal(t, "23:45", f.Wall.String())
	f = c.NextFiring(f.At, f.Date, z)
	require.Equal(t, "2024-03-31T23:45:00-01:00", f.At.Format(time.RFC3339))
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"0 10 * * 2", "@weekly", "@every 1s", "TZ=", "CRON_TZ=UTC 0 0 * * *", "0 0 30 2 *", ", , , , ,", "*/99999999999 * * * *", "0-59/7 1,2 ? jan-dec SUN", "0 0 29 2 *", "@", "1--2 * * * *"} {
		f.Add(s, 6)
	}
	after := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, expr string, gap int) {
		c, err := cadence.Parse(expr, gap)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		last := cadence.DateIn(after, time.UTC)
		got := c.NextFiring(after, last, time.UTC)
		require.True(t, got.At.After(after), "an expression that was accepted fires")
		require.GreaterOrEqual(t, last.DaysUntil(got.Date), gap)
		again, err := cadence.Parse(c.String(), gap)
		require.NoError(t, err)
		require.Equal(t, c, again)
	})
}

func TestLocalDate(t *testing.T) {
	d, err := cadence.ParseLocalDate("2024-02-28")
	require.NoError(t, err)
	require.Equal(t, "2024-02-29", d.AddDays(1).String())
	require.Equal(t, "2024-03-01", d.AddDays(2).String())
	require.Equal(t, "2023-12-31", d.AddDays(-59).String())
	require.Equal(t, 366, cadence.Date(2024, 1, 1).DaysUntil(cadence.Date(2025, 1, 1)))
	require.Equal(t, -1, d.DaysUntil(d.AddDays(-1)))
	require.Equal(t, time.Wednesday, d.Weekday())
	require.True(t, d.Before(d.AddDays(1)) && !d.Before(d))
	require.True(t, cadence.LocalDate{}.IsZero())
	require.Equal(t, cadence.Date(2024, 3, 1), cadence.Date(2024, 2, 30))
	// 14 hours ahead of UTC it is tomorrow already.
	require.Equal(t, "2026-03-02", cadence.DateIn(instant(t, "2026-03-01T12:00:00Z"), zone(t, "Pacific/Kiritimati")).String())
	for _, bad := range []string{"", "2026-02-30", "2026-2-3", "03/01/2026", "2026-03-01T00:00"} {
		_, err := cadence.ParseLocalDate(bad)
		require.ErrorIs(t, err, cadence.ErrBadDate, bad)
	}
	text, err := d.MarshalText()
	require.NoError(t, err)
	var back cadence.LocalDate
	require.NoError(t, back.UnmarshalText(text))
	require.Equal(t, d, back)
	require.ErrorIs(t, back.UnmarshalText([]byte("x")), cadence.ErrBadDate)
	require.Equal(t, d, back, "a bad text changes nothing")
	require.NoError(t, back.UnmarshalText(nil))
	require.True(t, back.IsZero())
}

func TestMinuteOfDay(t *testing.T) {
	m, err := cadence.ParseMinuteOfDay("08:05")
	require.NoError(t, err)
	require.Equal(t, cadence.MinuteOfDay(485), m)
	require.Equal(t, "08:05", m.String())
	require.Equal(t, "24:00", cadence.EndOfDay.String())
	for _, bad := range []string{"", "8:05", "24:00", "25:00", "08:60", "0805", "08:05:00"} {
		_, err := cadence.ParseMinuteOfDay(bad)
		require.ErrorIs(t, err, cadence.ErrBadTime, fmt.Sprintf("%q", bad))
	}
}
