package cadence

import (
	"errors"
	"fmt"
	"strings"

	"github.com/robfig/cron/v3"
)

// MaxGapDays is the largest gap Parse accepts: ten years.
const MaxGapDays = 3660

// maxExpr is the longest expression read, in bytes.
const maxExpr = 256

// Errors of Parse; each says what to write instead.
var (
	ErrExprEmpty    = errors.New("the cron expression is empty; write five fields, like \"0 10 * * 2\" for Tuesday 10:00")
	ErrExprEvery    = errors.New("@every counts hours, not local dates; write five cron fields and a gap in days instead")
	ErrExprZone     = errors.New("a zone inside the cron expression is not allowed; the zone is a setting of its own")
	ErrExprFields   = errors.New("a cron expression has five fields: minute, hour, day of the month, month, day of the week")
	ErrExprSyntax   = errors.New("this cron expression can't be read")
	ErrExprNever    = errors.New("this cron expression never fires: its day of the month does not occur in its months")
	ErrGapOutOfSpan = fmt.Errorf("the gap must be 0 to %d days", MaxGapDays)
)

var parser = cron.NewParser(cron.Minute | cron.Hour | cron.Dom | cron.Month | cron.Dow | cron.Descriptor)

// Parse reads a cron expression of five fields (minute, hour, day of the month,
// month, day of the week; names, lists, ranges and steps as in cron) or one of
// @hourly, @daily, @midnight, @weekly, @monthly, @yearly, @annually. gapDays is
// the smallest number of local calendar days between two firings, 0 to MaxGapDays.
// Errors: the Err… values of this package.
func Parse(cronExpr string, gapDays int) (Cadence, error) {
	expr := strings.Join(strings.Fields(cronExpr), " ")
	if err := refuse(expr); err != nil {
		return Cadence{}, err
	}
	if gapDays < 0 || gapDays > MaxGapDays {
		return Cadence{}, fmt.Errorf("%w: got %d", ErrGapOutOfSpan, gapDays)
	}
	if err := checkFields(expr); err != nil {
		return Cadence{}, err
	}
	schedule, err := parser.Parse(expr)
	if err != nil {
		return Cadence{}, fmt.Errorf("%w: %q", ErrExprSyntax, expr)
	}
	spec, ok := schedule.(*cron.SpecSchedule)
	if !ok {
		return Cadence{}, ErrExprEvery
	}
	c := Cadence{expr: expr, spec: *spec, gap: gapDays}
	c.spec.Location = nil // a Cadence has no zone of its own
	if !c.everFires() {
		return Cadence{}, fmt.Errorf("%w: %q", ErrExprNever, expr)
	}
	return c, nil
}

// refuse names what the cron library would accept, or fail on, and we don't take.
func refuse(expr string) error {
	switch {
	case expr == "":
		return ErrExprEmpty
	case len(expr) > maxExpr:
		return fmt.Errorf("%w: it is longer than %d characters", ErrExprSyntax, maxExpr)
	case strings.HasPrefix(expr, "@every"):
		return ErrExprEvery
	case strings.Contains(expr, "TZ="):
		return ErrExprZone
	case strings.HasPrefix(expr, "@"):
		return nil
	}
	if n := strings.Count(expr, " ") + 1; n != 5 {
		return fmt.Errorf("%w; this one has %d", ErrExprFields, n)
	}
	return nil
}

// fieldRules name the five fields in order and what each may hold.
var fieldRules = [5]struct{ name, want string }{
	{"minute", "0 to 59"},
	{"hour", "0 to 23"},
	{"day of the month", "1 to 31"},
	{"month", "1 to 12 or jan to dec"},
	{"day of the week", "0 to 6 or sun to sat, Sunday being 0"},
}

// checkFields tries each field by itself, so that the error can say which one is
// wrong. A descriptor is checked for being known.
func checkFields(expr string) error {
	if strings.HasPrefix(expr, "@") {
		if _, err := parser.Parse(expr); err != nil {
			return fmt.Errorf("%w: %q is not one of @hourly, @daily, @weekly, @monthly, @yearly", ErrExprSyntax, expr)
		}
		return nil
	}
	for i, field := range strings.Split(expr, " ") {
		alone := []string{"*", "*", "*", "*", "*"}
		alone[i] = field
		_, err := parser.Parse(strings.Join(alone, " "))
		if err != nil || strings.Trim(field, ",") == "" { // a lone comma parses as nothing at all
			rule := fieldRules[i]
			return fmt.Errorf("%w: the %s %q should be *, or %s, with lists, ranges and steps as in 1,3 or 1-5 or */2",
				ErrExprSyntax, rule.name, field, rule.want)
		}
	}
	return nil
}

// everFires is false for dates like 30 February. A restricted day of the week
// always occurs; else some month must have the day of the month.
func (c Cadence) everFires() bool {
	if c.spec.Dow&starBit == 0 && c.spec.Dom&starBit == 0 {
		return true
	}
	const leapYear = 2024
	for d := Date(leapYear, 1, 1); d.Year == leapYear; d = d.AddDays(1) {
		if c.spec.Month&(1<<uint(d.Month)) != 0 && c.spec.Dom&(1<<uint(d.Day)) != 0 {
			return true
		}
	}
	return false
}
