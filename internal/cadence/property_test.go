package cadence_test

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/cadence"
)

// plan is a random cadence, kept as what it means beside the expression that
// says so: the oracle never reads an expression.
type plan struct {
	hours, minutes []int
	weekdays       []time.Weekday // nil for every day
	gap            int
}

func randomPlan(r *rand.Rand) plan {
	p := plan{gap: r.IntN(15)}
	some := func(below, most int) []int {
		picked := r.Perm(below)[:1+r.IntN(most)]
		slices.Sort(picked)
		return picked
	}
	// Half of the times lie in the small hours, where clocks are changed.
	if p.hours = some(24, 2); r.IntN(2) == 0 {
		p.hours = some(5, 2)
	}
	p.minutes = some(60, 2)
	if r.IntN(3) > 0 {
		for _, d := range some(7, 5) {
			p.weekdays = append(p.weekdays, time.Weekday(d))
		}
	}
	return p
}

func (p plan) expr() string {
	list := func(v []int) string { return strings.Trim(strings.ReplaceAll(fmt.Sprint(v), " ", ","), "[]") }
	days := "*"
	if p.weekdays != nil {
		var n []int
		for _, d := range p.weekdays {
			n = append(n, int(d))
		}
		days = list(n)
	}
	return fmt.Sprintf("%s %s * * %s", list(p.minutes), list(p.hours), days)
}

// first is the earliest time of day that is asked for, in minutes.
func (p plan) first() int { return p.hours[0]*60 + p.minutes[0] }

// fires says when a time of day of a date is reached, by walking the zone's own
// clock, second by second where it is being changed: it knows of no rule but "the first
// moment at which the clock on the wall shows that, or more". False where the
// date is not in the calendar of the zone.
func fires(day time.Time, minute int, z *time.Location) (time.Time, bool) {
	y, m, d := day.Date()
	wanted := time.Date(y, m, d, 0, minute, 0, 0, time.UTC)
	shows := func(at time.Time) time.Time {
		l := at.In(z)
		return time.Date(l.Year(), l.Month(), l.Day(), l.Hour(), l.Minute(), l.Second(), 0, time.UTC)
	}
	exists := false
	at := wanted.Add(-16 * time.Hour) // no zone is further ahead
	for ; at.Before(wanted.Add(40 * time.Hour)); at = at.Add(15 * time.Minute) {
		if l := shows(at); l.Year() == y && l.Month() == m && l.Day() == d {
			exists = true
			break
		}
	}
	if !exists {
		return time.Time{}, false
	}
	offset := func(at time.Time) int { _, s := at.In(z).Zone(); return s }
	at = wanted.Add(-16 * time.Hour)
	for shows(at).Before(wanted) {
		step := time.Second
		for _, stride := range []time.Duration{time.Hour, time.Minute} {
			next := at.Add(stride)
			if offset(at) == offset(next) && !shows(next).After(wanted) {
				step = stride
				break
			}
		}
		at = at.Add(step)
	}
	return at, true
}

// walked lists the prompts of a plan by walking from day to day: the first time
// of each date that the plan asks for, no sooner than the gap after the last.
func (p plan) walked(from, to time.Time, z *time.Location) (list []string) {
	var last time.Time
	for day := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, time.UTC); ; day = day.AddDate(0, 0, 1) {
		if p.weekdays != nil && !slices.Contains(p.weekdays, day.Weekday()) || !last.IsZero() && day.Before(last.AddDate(0, 0, p.gap)) {
			if day.After(to.Add(48 * time.Hour)) {
				return list
			}
			continue
		}
		at, ok := fires(day, p.first(), z)
		switch {
		case ok && at.After(to), day.After(to.Add(48 * time.Hour)):
			return list
		case ok:
			list = append(list, day.Format(time.DateOnly)+" "+at.UTC().Format(time.RFC3339))
			last = day
		}
	}
}

// asked lists them as a household is asked: what fires next after the last one,
// its date kept as the one that the gap counts from, and one date once.
func (p plan) asked(t *testing.T, from, to time.Time, z *time.Location) (list []string) {
	c := parse(t, p.expr(), max(p.gap, 1)) // a prompt belongs to a date: never two on one
	var last cadence.LocalDate
	at := from
	for {
		f := c.NextFiring(at, last, z)
		if f.At.IsZero() || f.At.After(to) {
			return list
		}
		list = append(list, f.Date.String()+" "+f.At.UTC().Format(time.RFC3339))
		at, last = f.At, f.Date
	}
}

// changing lists the zones with the years around a clock change of their own.
// Source: IANA tzdata, as this machine has it.
var changing = []struct {
	zone        string
	first, last int
	gone        string // a date that isn't in its calendar
}{
	{"America/New_York", 2024, 2026, ""},
	{"Europe/London", 2025, 2027, ""},
	{"America/Sao_Paulo", 2017, 2019, ""}, // midnight itself is skipped; the last change ever in February 2019
	{"Australia/Lord_Howe", 2024, 2026, ""},
	{"Asia/Kathmandu", 1985, 1987, ""}, // a quarter of an hour at the turn of 1986, then never again
	{"Pacific/Apia", 2010, 2012, "2011-12-30"},
	{"Africa/Casablanca", 2025, 2027, ""}, // there and back every year around Ramadan
	{"America/St_Johns", 2009, 2011, ""},  // at one minute past midnight
}

// Whatever time of day, weekdays and gap: in the years around a change of clocks
// every date that is due is prompted for once, none is skipped, none comes
// twice, and one that does not exist is dropped.
func TestPromptsKeepTheirDatesWhateverClocksDo(t *testing.T) {
	t.Parallel()
	for _, c := range changing {
		t.Run(c.zone, func(t *testing.T) {
			t.Parallel()
			z := zone(t, c.zone)
			require.NotEmpty(t, found(z, c.first, c.last), "no change of clocks in these years")
			r := rand.New(rand.NewPCG(uint64(c.first), uint64(len(c.zone))))
			from := time.Date(c.first, 1, 1, 0, 0, 0, 0, z).Add(-time.Second)
			to := time.Date(c.last+1, 1, 1, 0, 0, 0, 0, z).Add(-time.Second)
			prompts := 0
			for range plansPerZone {
				p := randomPlan(r)
				p.gap = max(p.gap, 1)
				want, got := p.walked(from.Add(time.Second), to, z), p.asked(t, from, to, z)
				if d := firstDifference(want, got); d != "" {
					t.Fatalf("%q, gap %d days: %s", p.expr(), p.gap, d)
				}
				for _, prompt := range got {
					require.False(t, c.gone != "" && strings.HasPrefix(prompt, c.gone), "%s does not exist", c.gone)
				}
				prompts += len(got)
			}
			t.Logf("%d prompts of %d cadences", prompts, plansPerZone)
		})
	}
}

const plansPerZone = 40

func firstDifference(want, got []string) string {
	for i := range max(len(want), len(got)) {
		var w, g string
		if i < len(want) {
			w = want[i]
		}
		if i < len(got) {
			g = got[i]
		}
		if w != g {
			return fmt.Sprintf("the %d. prompt is %s, by the walk %s", i+1, cmp.Or(g, "missing"), cmp.Or(w, "none"))
		}
	}
	return ""
}
