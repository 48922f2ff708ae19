package cadence_test

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/robfig/cron/v3"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/cadence"
)

func published(t *testing.T, name string, into any) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", name))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, into))
}

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	require.NoError(t, err)
	return z
}

func instant(t *testing.T, s string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, s)
	require.NoError(t, err)
	return at
}

func parse(t *testing.T, expr string, gap int) cadence.Cadence {
	t.Helper()
	c, err := cadence.Parse(expr, gap)
	require.NoError(t, err)
	return c
}

// Source: the clock changes are IANA tzdata's; the failures of the cron library
// are published, and shown here by running it beside ours.
func TestPublishedClockChanges(t *testing.T) {
	var file struct {
		Cases []struct {
			Name, Zone, Expr, After string
			Cron, Want              []string
			Notes                   []cadence.NoteKind
		}
	}
	published(t, "clock-changes.json", &file)
	require.NotEmpty(t, file.Cases)
	libraryDiffers := 0
	for _, c := range file.Cases {
		t.Run(c.Name, func(t *testing.T) {
			z, at := zone(t, c.Zone), instant(t, c.After)
			kinds := []cadence.NoteKind{}
			for _, want := range c.Want {
				next, notes := parse(t, c.Expr, 0).Next(at, cadence.LocalDate{}, z)
				require.Equal(t, want, next.Format(time.RFC3339))
				for _, n := range notes {
					kinds = append(kinds, n.Kind)
					require.NotEmpty(t, n.String())
				}
				at = next
			}
			require.Equal(t, c.Notes, kinds)
			schedule, err := cron.ParseStandard(c.Expr)
			require.NoError(t, err)
			lib := instant(t, c.After).In(z)
			for i, want := range c.Cron {
				lib = schedule.Next(lib)
				require.Equal(t, want, lib.Format(time.RFC3339), "what the library gives")
				if i < len(c.Want) && c.Want[i] != want {
					libraryDiffers++
				}
			}
		})
	}
	require.GreaterOrEqual(t, libraryDiffers, 5, "the cases must tell ours from the library's")
}

// change is one clock change: offsets in seconds east of UTC.
type change struct {
	Zone          string
	UTC           time.Time
	Before, After int
}

// found lists the changes of a zone by looking at its offset hour by hour, then
// minute by minute.
func found(z *time.Location, first, last int) []change {
	var out []change
	offset := func(at time.Time) int { _, s := at.In(z).Zone(); return s }
	end := time.Date(last+1, 1, 1, 0, 0, 0, 0, time.UTC)
	for at := time.Date(first, 1, 1, 0, 0, 0, 0, time.UTC); at.Before(end); at = at.Add(time.Hour) {
		before, after := offset(at), offset(at.Add(time.Hour))
		if before == after {
			continue
		}
		m := at
		for offset(m) == before {
			m = m.Add(time.Minute)
		}
		out = append(out, change{z.String(), m, before, after})
	}
	return out
}

// expected is what a daily time must give around one change, by arithmetic on the
// two offsets alone.
func (c change) expected(d cadence.LocalDate, minute int) (time.Time, bool) {
	asUTC := func(d cadence.LocalDate, m int) time.Time {
		return time.Date(d.Year, d.Month, d.Day, 0, m, 0, 0, time.UTC)
	}
	before, after := time.Duration(c.Before)*time.Second, time.Duration(c.After)*time.Second
	gapFrom, gapTo := c.UTC.Add(before), c.UTC.Add(after)
	if dayFrom, dayTo := asUTC(d, 0), asUTC(d, 24*60); !dayFrom.Before(gapFrom) && !dayTo.After(gapTo) {
		return time.Time{}, false // the whole date is skipped
	}
	switch w := asUTC(d, minute); {
	case w.Before(gapFrom):
		return w.Add(-before), true
	case w.Before(gapTo):
		return c.UTC, true
	default:
		return w.Add(-after), true
	}
}

// Source: clock changes of IANA tzdata 2025b read by Python's zoneinfo, 2010 to
// 2026; later years as this machine's zones forecast them. Around every change,
// at every quarter hour, each local date fires once: none skipped, none twice.
func TestEveryDateFiresOnce(t *testing.T) {
	var file struct {
		Zones     []string
		FirstYear int `json:"first_year"`
		LastYear  int `json:"last_year"`
		Changes   []change
	}
	published(t, "clock-transitions.json", &file)
	const lastYear = 2030
	var all, known []change
	for _, name := range file.Zones {
		all = append(all, found(zone(t, name), file.FirstYear, lastYear)...)
	}
	for _, c := range all {
		if c.UTC.Year() <= file.LastYear {
			known = append(known, c)
		}
	}
	require.Equal(t, file.Changes, known, "this machine's zones differ from the published list")
	for quarter := 0; quarter < 24*60; quarter += 15 {
		daily := parse(t, fmt.Sprintf("%d %d * * *", quarter%60, quarter/60), 0)
		for _, c := range all {
			requireDaily(t, daily, c, quarter)
		}
	}
}

func requireDaily(t *testing.T, daily cadence.Cadence, c change, minute int) {
	z := zoneCache(t, c.Zone)
	const span = 54 * time.Hour
	from, to := c.UTC.Add(-span), c.UTC.Add(span)
	var want, got []string
	for d, n := cadence.DateIn(from, z).AddDays(-2), 0; n < 11; d, n = d.AddDays(1), n+1 {
		if at, ok := c.expected(d, minute); ok && at.After(from) && !at.After(to) {
			want = append(want, d.String()+" "+at.Format(time.RFC3339))
		}
	}
	for f := daily.NextFiring(from, cadence.LocalDate{}, z); !f.At.After(to); f = daily.NextFiring(f.At, cadence.LocalDate{}, z) {
		got = append(got, f.Date.String()+" "+f.At.UTC().Format(time.RFC3339))
	}
	if fmt.Sprint(want) != fmt.Sprint(got) {
		t.Fatalf("%s %s around %s:\nwant %v\ngot  %v", c.Zone, daily, c.UTC, want, got)
	}
}

var zones = map[string]*time.Location{}

func zoneCache(t *testing.T, name string) *time.Location {
	if zones[name] == nil {
		zones[name] = zone(t, name)
	}
	return zones[name]
}

// Kathmandu has no clock changes at all: a plain year of plain days.
func TestNoClockChanges(t *testing.T) {
	z := zone(t, "Asia/Kathmandu")
	require.Empty(t, found(z, 2010, 2030))
	c := parse(t, "45 5 * * *", 0)
	at, n := instant(t, "2016-01-01T00:00:00+05:45"), 0
	for ; at.In(z).Year() == 2016; n++ {
		at, _ = c.Next(at, cadence.LocalDate{}, z)
	}
	require.Equal(t, 366+1, n)
}
