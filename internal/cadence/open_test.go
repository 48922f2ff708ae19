package cadence_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/cadence"
)

func minute(t *testing.T, s string) cadence.MinuteOfDay {
	t.Helper()
	if s == "24:00" {
		return cadence.EndOfDay
	}
	m, err := cadence.ParseMinuteOfDay(s)
	require.NoError(t, err)
	return m
}

// Boundary as in 47 CFR 64.1200(c)(1): nothing before 08:00 or from 21:00 on, by
// the local clock of the person texted.
func TestQuietDelay(t *testing.T) {
	for _, c := range []struct{ name, zone, from, to, at, want string }{
		{"last moment allowed", "Europe/London", "21:00", "08:00", "2026-03-01T20:59:59Z", ""},
		{"begins at 21:00", "Europe/London", "21:00", "08:00", "2026-03-01T21:00:00Z", "2026-03-02T08:00:00Z"},
		{"after midnight", "Europe/London", "21:00", "08:00", "2026-03-02T03:00:30Z", "2026-03-02T08:00:00Z"},
		{"last moment quiet", "Europe/London", "21:00", "08:00", "2026-03-02T07:59:59Z", "2026-03-02T08:00:00Z"},
		{"ends at 08:00", "Europe/London", "21:00", "08:00", "2026-03-02T08:00:00Z", ""},
		{"the local clock counts", "America/Chicago", "21:00", "08:00", "2026-03-02T13:00:00Z", "2026-03-02T08:00:00-06:00"},
		{"within one day", "Europe/London", "12:00", "14:00", "2026-03-01T12:30:00Z", "2026-03-01T14:00:00Z"},
		{"none", "Europe/London", "08:00", "08:00", "2026-03-01T08:00:00Z", ""},
		{"short night, clocks forward", "Europe/London", "21:00", "08:00", "2026-03-28T22:00:00Z", "2026-03-29T08:00:00+01:00"},
		{"long night, clocks back", "America/New_York", "21:00", "08:00", "2026-10-31T22:00:00-04:00", "2026-11-01T08:00:00-05:00"},
		{"end skipped by the change", "America/New_York", "21:00", "02:30", "2026-03-08T01:59:00-05:00", "2026-03-08T03:00:00-04:00"},
		{"end occurs twice: the first is allowed", "America/New_York", "21:00", "01:30", "2026-11-01T00:10:00-04:00", "2026-11-01T01:30:00-04:00"},
		{"quiet again in the repeated hour", "America/New_York", "21:00", "01:30", "2026-11-01T01:10:00-05:00", "2026-11-01T01:30:00-05:00"},
		{"a date that does not exist", "Pacific/Apia", "21:00", "08:00", "2011-12-29T22:00:00-10:00", "2011-12-31T08:00:00+14:00"},
	} {
		q := cadence.Quiet{From: minute(t, c.from), To: minute(t, c.to)}
		at := instant(t, c.at)
		got, delayed := q.Delay(at, zone(t, c.zone))
		require.Equal(t, c.want != "", delayed, c.name)
		if c.want == "" {
			require.Equal(t, at, got, c.name)
			continue
		}
		require.Equal(t, c.want, got.Format(time.RFC3339), c.name)
	}
}

// Against looking at every minute: over the changes of a zone the delay is to the
// first minute that is not quiet.
func TestQuietDelayMinuteByMinute(t *testing.T) {
	for _, name := range []string{"America/New_York", "Australia/Lord_Howe", "America/Sao_Paulo", "America/Nuuk"} {
		z := zone(t, name)
		for _, c := range found(z, 2017, 2018) {
			for _, q := range []cadence.Quiet{{From: 21 * 60, To: 8 * 60}, {From: 60, To: 150}, {From: 90, To: 121}, {From: 23*60 + 30, To: 15}} {
				requireFirstAllowed(t, q, c.UTC, z)
			}
		}
	}
}

func requireFirstAllowed(t *testing.T, q cadence.Quiet, around time.Time, z *time.Location) {
	quiet := func(at time.Time) bool {
		local := at.In(z)
		return q.Contains(cadence.MinuteOfDay(local.Hour()*60 + local.Minute()))
	}
	want := around.Add(48 * time.Hour)
	for quiet(want) {
		want = want.Add(time.Minute)
	}
	for at := want; at.After(around.Add(-24 * time.Hour)); at = at.Add(-time.Minute) {
		if !quiet(at) {
			want = at
		}
		got, _ := q.Delay(at, z)
		if !got.Equal(want) {
			t.Fatalf("%s %v: from %s want %s, got %s", z, q, at, want, got)
		}
	}
}

func practiceHours(t *testing.T, zoneName string, closures ...cadence.Closure) cadence.Hours {
	t.Helper()
	week := map[time.Weekday][]cadence.Span{
		time.Saturday: {{From: minute(t, "09:00"), To: minute(t, "12:00")}},
		time.Sunday:   {},
	}
	for d := time.Monday; d <= time.Friday; d++ { // given out of order on purpose
		week[d] = []cadence.Span{{From: minute(t, "14:00"), To: minute(t, "18:30")}, {From: minute(t, "08:30"), To: minute(t, "12:30")}}
	}
	h, err := cadence.NewHours(zone(t, zoneName), week, closures)
	require.NoError(t, err)
	return h
}

func TestHours(t *testing.T) {
	h := practiceHours(t, "Europe/London",
		cadence.Closure{First: cadence.Date(2026, 12, 25), Last: cadence.Date(2026, 12, 28), Why: "Christmas"})
	for _, c := range []struct{ name, at, opens string }{
		{"open", "2026-03-02T09:00:00Z", "2026-03-02T09:00:00Z"},
		{"first moment", "2026-03-02T08:30:00Z", "2026-03-02T08:30:00Z"},
		{"moment before", "2026-03-02T08:29:59Z", "2026-03-02T08:30:00Z"},
		{"lunch begins", "2026-03-02T12:30:00Z", "2026-03-02T14:00:00Z"},
		{"evening", "2026-03-02T18:30:00Z", "2026-03-03T08:30:00Z"},
		{"Saturday noon to Monday", "2026-03-07T12:00:00Z", "2026-03-09T08:30:00Z"},
		{"over the spring change", "2026-03-28T13:00:00Z", "2026-03-30T08:30:00+01:00"},
		{"closed over Christmas", "2026-12-24T18:30:00Z", "2026-12-29T08:30:00Z"},
		{"in the closure", "2026-12-28T10:00:00Z", "2026-12-29T08:30:00Z"},
	} {
		at := instant(t, c.at)
		require.Equal(t, c.at == c.opens, h.Open(at), c.name)
		got, ok := h.NextOpening(at)
		require.True(t, ok, c.name)
		require.Equal(t, c.opens, got.Format(time.RFC3339), c.name)
		require.True(t, h.Open(got), c.name)
	}
	closure, ok := h.ClosureOn(cadence.Date(2026, 12, 28))
	require.True(t, ok)
	require.Equal(t, "Christmas", closure.Why)
	_, ok = h.ClosureOn(cadence.Date(2026, 12, 29))
	require.False(t, ok)
}

func TestHoursAtClockChanges(t *testing.T) {
	night := map[time.Weekday][]cadence.Span{time.Sunday: {{From: minute(t, "02:15"), To: minute(t, "24:00")}}, time.Monday: {{From: 0, To: minute(t, "01:00")}}}
	h, err := cadence.NewHours(zone(t, "America/New_York"), night, nil)
	require.NoError(t, err)
	got, ok := h.NextOpening(instant(t, "2026-03-08T01:00:00-05:00"))
	require.True(t, ok)
	require.Equal(t, "2026-03-08T03:00:00-04:00", got.Format(time.RFC3339), "a skipped opening time opens after the gap")
	require.True(t, h.Open(instant(t, "2026-03-09T00:00:00-04:00")), "open past midnight as two spans")
	require.False(t, h.Open(instant(t, "2026-03-09T01:00:00-04:00")))
}

func TestHoursNeverOpen(t *testing.T) {
	for _, h := range []cadence.Hours{
		{},
		mustHours(t, nil, nil),
		practiceHours(t, "Europe/London", cadence.Closure{First: cadence.Date(2026, 1, 1), Last: cadence.Date(2036, 1, 1)}),
	} {
		require.False(t, h.Open(instant(t, "2026-03-02T10:00:00Z")))
		_, ok := h.NextOpening(instant(t, "2026-03-02T10:00:00Z"))
		require.False(t, ok)
	}
}

func mustHours(t *testing.T, week map[time.Weekday][]cadence.Span, closures []cadence.Closure) cadence.Hours {
	h, err := cadence.NewHours(time.UTC, week, closures)
	require.NoError(t, err)
	return h
}

func TestNewHoursReportsEverything(t *testing.T) {
	_, err := cadence.NewHours(nil, map[time.Weekday][]cadence.Span{
		time.Monday:  {{From: 600, To: 540}},
		time.Tuesday: {{From: 540, To: 720}, {From: 700, To: 800}},
		time.Friday:  {{From: 600, To: 1441}},
	}, []cadence.Closure{{First: cadence.Date(2026, 12, 28), Last: cadence.Date(2026, 12, 25)}})
	for _, want := range []error{cadence.ErrHoursZone, cadence.ErrHoursSpan, cadence.ErrHoursOverlap, cadence.ErrHoursClosure} {
		require.ErrorIs(t, err, want)
	}
	for _, says := range []string{"Monday 10:00 to 09:00", "Tuesday 11:40", "Friday", "2026-12-28 to 2026-12-25"} {
		require.ErrorContains(t, err, says)
	}
}
