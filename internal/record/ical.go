package record

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"gaitpost/internal/care"
)

// Calendar is a feed of due dates as RFC 5545 (iCalendar) has it: all-day
// events, lines of at most 75 octets ended by CRLF. It names the dog, the
// practice's own number for it and what kind of thing is due; never a medicine,
// an owner or a telephone number, since calendars are kept by strangers.
type Calendar struct {
	w     io.Writer
	err   error
	made  bool
	Title string // of the whole calendar
	// Now is when it was made.
	Now time.Time
}

// NewCalendar begins a calendar.
func NewCalendar(w io.Writer, title string, now time.Time) *Calendar {
	return &Calendar{w: w, Title: title, Now: now}
}

// due is one thing that is due on a local date.
type due struct {
	day  int32 // days since 1970
	what string
	key  string // tells it from the dog's other ones
}

var duePrompts = map[care.PromptKind]string{care.PromptCheckIn: "check-in", care.PromptWeighIn: "weigh-in",
	care.PromptReassessment: "longer reassessment", care.PromptSignsOnly: "question about signs after a new medicine"}

var dueReminders = map[care.ReminderKind]string{care.RemindInjection: "repeat injection", care.RemindTablets: "tablets to collect",
	care.RemindTest: "blood or urine test", care.RemindSession: "therapy session", care.RemindExercises: "exercises",
	care.RemindSupplement: "supplement", care.RemindWeighIn: "weigh-in", care.RemindOther: "reminder"}

// dues lists what is due for a dog, by date. A dog that is no longer followed
// has nothing due; what is held is not due.
func (in *Input) dues(d *care.Dog) []due {
	if d.Status == care.Died || d.Status == care.Left {
		return nil
	}
	var list []due
	add := func(day int32, what, key string) {
		if day > 0 && what != "" {
			list = append(list, due{day, what, key})
		}
	}
	for _, x := range d.Due {
		add(x.Date, duePrompts[x.Kind], string(x.Kind))
	}
	for _, e := range d.Plan {
		if e.Status != care.Active {
			continue
		}
		if e.Review != 0 {
			add(in.dayNumber(e.Review), "review of the plan ("+string(e.Area)+")", fmt.Sprint("review-", e.ID))
		}
		for _, m := range e.Reminders {
			add(m.Next, dueReminders[m.Kind], fmt.Sprint("reminder-", e.ID, "-", m.ID))
		}
	}
	for _, t := range d.Standing().Tests {
		if t.Next != 0 {
			add(in.dayNumber(t.Next), "test ("+string(t.Kind)+")", "test-"+string(t.Kind))
		}
	}
	slices.SortStableFunc(list, func(a, b due) int { return cmp.Or(cmp.Compare(a.day, b.day), cmp.Compare(a.key, b.key)) })
	return list
}

// dayNumber is the local date of an instant, days since 1970.
func (in *Input) dayNumber(at int64) int32 {
	t := time.Unix(at, 0).In(in.zone())
	return int32(time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC).Unix() / (24 * 3600))
}

// Add writes what is due for a dog. Errors wrap ErrNoDog, or are the writer's.
func (c *Calendar) Add(in Input) error {
	d, err := in.dog()
	if err != nil {
		return err
	}
	c.begin()
	for _, x := range in.dues(d) {
		c.event(&in, d, x)
	}
	return c.failed()
}

func (c *Calendar) event(in *Input, d *care.Dog, x due) {
	day := time.Unix(int64(x.day)*24*3600, 0).UTC()
	sum := sha256.Sum256(fmt.Appendf(nil, "%s/%s/%d/%s/%d", in.Household.Clinic, in.Household.ID, in.Dog, x.key, x.day))
	title := d.Name
	if d.Ref != "" {
		title += " (" + d.Ref + ")"
	}
	c.line("BEGIN:VEVENT")
	c.line("UID:" + hex.EncodeToString(sum[:16]) + "@gaitpost")
	c.line("DTSTAMP:" + c.Now.UTC().Format("20060102T150405Z"))
	c.line("DTSTART;VALUE=DATE:" + day.Format("20060102"))
	c.line("DTEND;VALUE=DATE:" + day.AddDate(0, 0, 1).Format("20060102"))
	c.line("SUMMARY:" + icalText(title+": "+x.what))
	c.line("TRANSP:TRANSPARENT")
	c.line("END:VEVENT")
}

// Close ends the calendar; one without an event is a calendar too.
func (c *Calendar) Close() error {
	c.begin()
	c.line("END:VCALENDAR")
	return c.failed()
}

func (c *Calendar) begin() {
	if c.made {
		return
	}
	c.made = true
	for _, l := range []string{"BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Gaitpost//due dates//EN", "CALSCALE:GREGORIAN", "METHOD:PUBLISH",
		"X-WR-CALNAME:" + icalText(c.Title), "REFRESH-INTERVAL;VALUE=DURATION:PT12H", "X-PUBLISHED-TTL:PT12H"} {
		c.line(l)
	}
}

func (c *Calendar) failed() error {
	if c.err != nil {
		return fmt.Errorf("writing the calendar: %w", c.err)
	}
	return nil
}

// line writes a content line, folded so that no part is longer than 75 octets
// and no letter is torn (RFC 5545, 3.1).
func (c *Calendar) line(s string) {
	const most = 75
	var b strings.Builder
	used := 0
	for _, r := range s {
		n := utf8.RuneLen(r)
		if used+n > most {
			b.WriteString("\r\n ")
			used = 1
		}
		b.WriteRune(r)
		used += n
	}
	b.WriteString("\r\n")
	if c.err == nil {
		_, c.err = io.WriteString(c.w, b.String())
	}
}

// icalText escapes a text value (RFC 5545, 3.3.11) and leaves out control
// characters, which none may hold.
func icalText(s string) string {
	s = strings.ToValidUTF8(s, "�")
	s = strings.Map(func(r rune) rune {
		if r == '\t' || r == '\r' {
			return ' '
		}
		if r != '\n' && (r < ' ' || r == 0x7f) {
			return -1
		}
		return r
	}, s)
	return strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`).Replace(s)
}
