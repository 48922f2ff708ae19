package clinic

import (
	"fmt"
	"strconv"
	"strings"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
)

// cadenceKey is one kind of prompt that a cadence places.
type cadenceKey struct {
	name           string
	at             func(*care.Cadences) *cadence.Cadence
	cron           string
	gap            int // days
	minGap, maxGap int
	why            string
}

var cadenceTable = []cadenceKey{
	{"checkin", func(c *care.Cadences) *cadence.Cadence { return &c.CheckIn }, "0 10 * * tue", 6, 1, 28,
		"weekly, and early in the week so that signs meet an open practice"},
	{"weighin", func(c *care.Cadences) *cadence.Cadence { return &c.WeighIn }, "0 10 * * sat", 27, 7, 92,
		"every 4 weeks, at the weekend; " + ownChoice},
	{"weighin_loss", func(c *care.Cadences) *cadence.Cadence { return &c.WeighInLoss }, "0 10 * * sat", 13, 6, 60,
		"every 2 weeks on a weight-loss plan; " + ownChoice},
	{"reassessment", func(c *care.Cadences) *cadence.Cadence { return &c.Reassessment }, "0 10 * * thu", 83, 27, 366,
		"every 12 weeks; " + ownChoice},
}

const defaultDigest = "0 8 * * mon-fri"

func cadenceKeys() []Key {
	var out []Key
	for _, c := range cadenceTable {
		path := "cadences." + c.name
		out = append(out,
			Key{path, false, "", "cron and gap", ""},
			Key{path + ".cron", false, c.cron, allowedCron, c.why},
			Key{path + ".gap", false, days(c.gap), c.allowedGap(), c.why})
	}
	return out
}

func (c cadenceKey) allowedGap() string {
	return fmt.Sprintf("%s to %s of the owner's calendar", days(c.minGap), days(c.maxGap))
}

func days(n int) string { return strconv.Itoa(n) + "d" }

// readCadences reads when each kind of prompt falls due. Cron and gap can be
// set one without the other.
func (f *file) readCadences(p place) {
	if p.node == nil {
		return
	}
	found := f.fields(p)
	for _, c := range cadenceTable {
		if at, ok := found[c.name]; ok && !isEmpty(at.node) {
			f.readCadence(c, at)
		}
	}
}

func (f *file) readCadence(c cadenceKey, p place) {
	found := f.fields(p)
	gap := c.gap
	if text, ok := f.text(found["gap"]); ok {
		n, ok := parseDays(text)
		switch {
		case !ok:
			f.wrong(found["gap"], "this is not a number of days like 6d", c.allowedGap())
		case n < c.minGap || n > c.maxGap:
			f.wrong(found["gap"], "this gap is out of range", c.allowedGap())
		default:
			gap = n
		}
	}
	expr, at := c.cron, p
	if text, ok := f.text(found["cron"]); ok {
		expr, at = text, found["cron"]
	}
	parsed, err := cadence.Parse(expr, gap)
	if err != nil {
		f.wrong(at, err.Error(), allowedCron)
		return
	}
	*c.at(&f.clinic.Rules.Cadences) = parsed
}

func (f *file) readDigest(p place) {
	text, ok := f.text(p)
	if !ok {
		return
	}
	parsed, err := cadence.Parse(text, 0)
	if err != nil {
		f.wrong(p, err.Error(), allowedCron)
		return
	}
	f.clinic.Rules.Cadences.Digest = parsed
}

// parseDays reads a number of days: 6, 6d, 6 days.
func parseDays(text string) (int, bool) {
	for _, unit := range []string{"days", "day", "d"} {
		if rest, ok := strings.CutSuffix(text, unit); ok {
			text = strings.TrimSpace(rest)
			break
		}
	}
	n, err := strconv.Atoi(text)
	return n, err == nil && n >= 0
}
