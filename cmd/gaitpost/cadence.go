package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // zones work on machines that have no zone files

	"github.com/spf13/cobra"

	"gaitpost/internal/cadence"
)

// maxCadenceCount is the most times one call prints.
const maxCadenceCount = 10_000

// cadenceOptions are the flags as typed.
type cadenceOptions struct {
	gap, zone, from, count string
}

// newCadenceCmd prints when a cadence fires next: times on stdout, one a line,
// and what clock changes did to them on stderr.
func newCadenceCmd(e env) *cobra.Command {
	var o cadenceOptions
	cmd := &cobra.Command{
		Use:   "cadence 'CRON'",
		Short: "Print the next times of a cron expression with a smallest gap in local days",
		Long: `Print the next times at which a cadence fires, as RFC 3339 with offset, one a
line. Notes about clock changes go to standard error: a time that a change skips
runs at the first moment after it, a time that occurs twice runs once, and a
date that the calendar skips is dropped.`,
		Example: `  gaitpost cadence '0 10 * * 2' --gap 6d --zone Europe/London --count 8
  gaitpost cadence '30 2 * * 0' --zone America/New_York --from 2026-03-01T08:00`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return errors.New(`give one cron expression in quotes, like gaitpost cadence '0 10 * * 2'`)
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error { return runCadence(e, args[0], o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.gap, "gap", "0d", "smallest number of local calendar days between two times, like 13d")
	f.StringVar(&o.zone, "zone", "UTC", "zone whose clock the expression means, like Europe/London")
	f.StringVar(&o.from, "from", "", "print times after this one: RFC 3339, or 2026-03-01T08:00 in the zone (default: now)")
	f.StringVar(&o.count, "count", "5", "how many times to print")
	return cmd
}

func runCadence(e env, expr string, o cadenceOptions) error {
	zone, err := loadZone(o.zone)
	if err != nil {
		return err
	}
	gap, err := parseGap(o.gap)
	if err != nil {
		return err
	}
	c, err := cadence.Parse(expr, gap)
	if err != nil {
		return err
	}
	after, err := parseFrom(o.from, zone, e.now)
	if err != nil {
		return err
	}
	count, err := strconv.Atoi(o.count)
	if err != nil || count < 1 || count > maxCadenceCount {
		return fmt.Errorf("--count %q must be a number from 1 to %d", o.count, maxCadenceCount)
	}
	return printFirings(e, c, after, zone, count)
}

func printFirings(e env, c cadence.Cadence, after time.Time, zone *time.Location, count int) error {
	var last cadence.LocalDate
	for range count {
		f := c.NextFiring(after, last, zone)
		if f.At.IsZero() {
			return fmt.Errorf("no further time was found after %s", after.In(zone).Format(time.RFC3339))
		}
		for _, note := range f.Notes {
			fmt.Fprintln(e.stderr, note)
		}
		if _, err := fmt.Fprintln(e.stdout, f.At.Format(time.RFC3339)); err != nil {
			return fmt.Errorf("could not write the times: %w", err)
		}
		after, last = f.At, f.Date
	}
	return nil
}

// loadZone reads an IANA zone name. The machine's own zone is refused, since it
// would differ from one machine to the next.
func loadZone(name string) (*time.Location, error) {
	if name != "" && name != "Local" {
		if zone, err := time.LoadLocation(name); err == nil {
			return zone, nil
		}
	}
	return nil, fmt.Errorf("--zone %q is not a known zone; write an IANA name like Europe/London", name)
}

func parseGap(s string) (int, error) {
	days, err := strconv.Atoi(strings.TrimSuffix(s, "d"))
	if err != nil || !strings.HasSuffix(s, "d") || days < 0 || days > cadence.MaxGapDays {
		return 0, fmt.Errorf("--gap %q must be a number of days from 0d to %dd, like 13d", s, cadence.MaxGapDays)
	}
	return days, nil
}

// parseFrom reads the instant to start after. A local time that a clock change
// skips means the moment of the change; one that occurs twice means the first.
func parseFrom(s string, zone *time.Location, now func() time.Time) (time.Time, error) {
	if s == "" {
		return now(), nil
	}
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return t, nil
	}
	if t, err := time.Parse("2006-01-02T15:04", s); err == nil {
		minute := cadence.MinuteOfDay(t.Hour()*60 + t.Minute())
		return cadence.At(cadence.DateIn(t, time.UTC), minute, zone), nil
	}
	return time.Time{}, fmt.Errorf("--from %q must be a time like 2026-03-01T08:00 in the zone, or RFC 3339 like 2026-03-01T08:00:00Z", s)
}
