package clinic

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"gaitpost/internal/cadence"
)

// week holds opening spans by weekday, and which weekdays the file names.
type week struct {
	spans map[time.Weekday][]cadence.Span
	named [7]bool
	at    place
}

func (w week) opens() bool {
	return slices.ContainsFunc([]time.Weekday{0, 1, 2, 3, 4, 5, 6}, func(d time.Weekday) bool { return len(w.spans[d]) > 0 })
}

var weekdayNames = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

// parseDaySpec reads days of the week: "mon", "mon-fri", "tue, thu", "daily",
// "weekdays", "weekends". A range may pass the end of the week.
func parseDaySpec(text string) ([7]bool, bool) {
	var days [7]bool
	parts := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return r == ',' || r == ' ' })
	for _, part := range parts {
		from, to, ranged := strings.Cut(part, "-")
		switch {
		case part == "daily":
			from, to, ranged = "mon", "sun", true
		case part == "weekdays":
			from, to, ranged = "mon", "fri", true
		case part == "weekends":
			from, to, ranged = "sat", "sun", true
		}
		first, ok := weekdayOf(from)
		if !ok {
			return days, false
		}
		last := first
		if ranged {
			if last, ok = weekdayOf(to); !ok {
				return days, false
			}
		}
		for d := first; ; d = (d + 1) % 7 {
			days[d] = true
			if d == last {
				break
			}
		}
	}
	return days, len(parts) > 0
}

func weekdayOf(name string) (int, bool) {
	if len(name) < 3 {
		return 0, false
	}
	for i, short := range weekdayNames {
		full := strings.ToLower(time.Weekday(i).String())
		if name == short || strings.HasPrefix(full, name) {
			return i, true
		}
	}
	return 0, false
}

// showDaySpec writes days as the file would have them: "mon-fri, sun".
func showDaySpec(days [7]bool) string {
	var parts []string
	for i := 0; i < 7; {
		d := (i + 1) % 7 // from Monday
		if !days[d] {
			i++
			continue
		}
		j := i
		for j+1 < 7 && days[(j+2)%7] {
			j++
		}
		part := weekdayNames[d]
		if j > i {
			part += "-" + weekdayNames[(j+1)%7]
		}
		parts = append(parts, part)
		i = j + 1
	}
	if len(parts) == 1 && parts[0] == "mon-sun" {
		return "daily"
	}
	return strings.Join(parts, ", ")
}

// parseSpan reads "08:30-18:30"; the end may be 24:00.
func parseSpan(text string) (cadence.Span, bool) {
	from, to, ok := strings.Cut(strings.NewReplacer("–", "-", " ", "").Replace(text), "-")
	if !ok {
		return cadence.Span{}, false
	}
	begin, ok1 := parseClock(from)
	end, ok2 := parseClock(to)
	return cadence.Span{From: begin, To: end}, ok1 && ok2
}

func parseClock(text string) (cadence.MinuteOfDay, bool) {
	if text == cadence.EndOfDay.String() {
		return cadence.EndOfDay, true
	}
	if len(text) == len("8:30") {
		text = "0" + text
	}
	m, err := cadence.ParseMinuteOfDay(text)
	return m, err == nil
}

// readHours reads opening hours: days, and the spans they are open.
func (f *file) readHours(p place) {
	if p.node == nil || isEmpty(p.node) {
		return
	}
	f.week = week{spans: map[time.Weekday][]cadence.Span{}, at: p}
	if p.node.Kind != yaml.MappingNode {
		f.wrong(p, "opening hours are expected here, one day or range of days a line", allowedHours)
		return
	}
	bad := false
	for i := 0; i+1 < len(p.node.Content); i += 2 {
		k, v := p.node.Content[i], p.node.Content[i+1]
		at := place{path: join(p.path, printable(k.Value)), node: v, line: k.Line}
		bad = !f.readDayHours(at, k.Value) || bad
	}
	if !bad && !f.week.opens() {
		f.wrong(place{path: p.path, line: p.line}, "the practice never opens by these hours", allowedHours)
	}
}

func (f *file) readDayHours(p place, spec string) bool {
	days, ok := parseDaySpec(spec)
	if !ok {
		f.wrongHidden(p, fmt.Sprintf("%q is not a day of the week or a range of them", printable(spec)))
		return false
	}
	for d, on := range days {
		if on && f.week.named[d] {
			f.wrongHidden(p, time.Weekday(d).String()+" stands here a second time")
			return false
		}
		f.week.named[d] = f.week.named[d] || on
	}
	spans, ok := f.readSpans(p)
	for d, on := range days {
		if on && ok {
			f.week.spans[time.Weekday(d)] = spans
		}
	}
	return ok
}

func (f *file) readSpans(p place) ([]cadence.Span, bool) {
	var spans []cadence.Span
	for _, item := range f.items(p) {
		item.path = p.path
		text, ok := f.text(item)
		if !ok {
			return nil, false
		}
		if strings.EqualFold(text, "closed") {
			continue
		}
		for _, part := range strings.Split(text, ",") {
			s, ok := parseSpan(part)
			if !ok {
				f.wrong(item, "this is not a span of time", "a span like 08:30-18:30, several of them, or closed")
				return nil, false
			}
			if s.From >= s.To {
				f.wrong(item, "a span begins before it ends; opening past midnight is one span to 24:00 and one from 00:00 on the next day", "a span like 08:30-18:30")
				return nil, false
			}
			spans = append(spans, s)
		}
	}
	slices.SortFunc(spans, func(a, b cadence.Span) int { return int(a.From - b.From) })
	for i := 1; i < len(spans); i++ {
		if spans[i].From < spans[i-1].To {
			f.wrong(p, "spans of one day overlap at "+spans[i].From.String(), "spans apart from each other")
			return nil, false
		}
	}
	return spans, len(p.node.Content) > 0 || p.node.Kind == yaml.ScalarNode && !isEmpty(p.node)
}

// readClosures reads days on which the practice is closed whatever the weekday.
func (f *file) readClosures(p place) []cadence.Closure {
	var out []cadence.Closure
	for _, item := range f.items(p) {
		found := f.fields(item)
		name, _ := f.words(found["name"], 40)
		on, hasOn := f.date(found["on"])
		from, hasFrom := f.date(found["from"])
		to, hasTo := f.date(found["to"])
		switch {
		case found["on"].node != nil && (found["from"].node != nil || found["to"].node != nil):
			f.wrongHidden(item, "a closure has on, or from and to, not both")
		case hasOn:
			out = append(out, cadence.Closure{First: on, Last: on, Why: name})
		case hasFrom && hasTo && to.Before(from):
			f.wrong(found["to"], "a closure ends on or after its first day", "a date not before "+from.String())
		case hasFrom && hasTo:
			out = append(out, cadence.Closure{First: from, Last: to, Why: name})
		case found["on"].node == nil && (found["from"].node == nil || found["to"].node == nil):
			f.wrongHidden(item, "a closure needs a date: on, or from and to")
		}
	}
	return out
}

func (f *file) date(p place) (cadence.LocalDate, bool) {
	text, ok := f.text(p)
	if !ok {
		return cadence.LocalDate{}, false
	}
	d, err := cadence.ParseLocalDate(text)
	if err != nil || d.Year < 2000 || d.Year > 2099 {
		f.wrong(p, "this is not a date that exists between 2000 and 2099", allowedDate)
		return cadence.LocalDate{}, false
	}
	return d, true
}

// Quiet hours last between one hour, since automatic texts keep off the night,
// and twenty, since something has to be sent some time.
const (
	minQuiet = 60
	maxQuiet = 20 * 60
)

func (f *file) readQuiet(p place) {
	text, ok := f.text(p)
	if !ok {
		return
	}
	s, ok := parseSpan(text)
	s.To %= cadence.EndOfDay
	if !ok || s.From == cadence.EndOfDay {
		f.wrong(p, "this is not a span of time", allowedAt(p.path))
		return
	}
	length := int(s.To - s.From)
	if length <= 0 {
		length += int(cadence.EndOfDay)
	}
	switch {
	case length > maxQuiet:
		f.wrong(p, "these quiet hours leave no time to send anything", allowedAt(p.path))
	case length < minQuiet:
		f.wrong(p, "quiet hours can be moved, not switched off", allowedAt(p.path))
	default:
		f.clinic.Rules.Quiet = cadence.Quiet(s)
	}
}
