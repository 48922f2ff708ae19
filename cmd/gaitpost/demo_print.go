package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/synth"
)

// introduce says what is invented and what is kept.
func (w *demoWorld) introduce(out io.Writer) {
	fmt.Fprintf(out, `%s is an invented practice with %d invented dogs in %d households. Every
name is made up, and the telephone numbers are from ranges kept for fiction.
The pain and mobility index is Gaitpost's own and not a validated instrument.
Redis and the provider of text messages are stand-ins inside this program:
nothing leaves this machine, and nothing is kept when it ends.

`, w.rules.Name, w.cohort.Dogs(), len(w.cohort.Owners))
}

// report prints some conversations, the alerts and a digest.
func (w *demoWorld) report(out io.Writer) {
	s := w.summary()
	fmt.Fprintf(out, "%d weeks, from %s to %s.\n", w.o.weeks, w.began.Format("2 January 2006"), w.now().Format("2 January 2006"))
	fmt.Fprintf(out, "%d prompts, %d texts from owners, %d check-ins completed, %d ran out of time, %d segments sent.\n",
		s.Prompts, s.Replies, s.CheckInsCompleted, s.CheckInsExpired, s.Segments)
	fmt.Fprintf(out, "%d reminders of what is on the plans, %d short lessons.\n", s.Reminders, s.Lessons)
	if w.turns.read > 0 {
		fmt.Fprintf(out, "%d answers were held against what their writers had in mind: %d were read otherwise.\n",
			w.turns.read, len(w.turns.misread))
	}
	w.conversations(out)
	w.alertTable(out)
	w.aDigest(out)
}

func (w *demoWorld) conversations(out io.Writer) {
	if m, ok := w.mark(func(m demoMark) bool { return m.what == "checkin done" && m.done == 1 }); ok {
		w.excerpt(out, "The first check-in, one question at a time", m.number, m.at.Add(-50*time.Minute), m.at)
	}
	if m, ok := w.mark(func(m demoMark) bool {
		p := w.phones[m.number]
		return m.what == "checkin done" && m.done == 5 && p.owner != nil && !p.owner.OneByOne && len(p.owner.Dogs) == 1
	}); ok {
		w.excerpt(out, "A later check-in, all at once", m.number, m.at.Add(-12*time.Hour), m.at)
	}
	for _, c := range []struct {
		course synth.Course
		title  string
		hours  int
	}{{synth.Reaction, "A suspected drug reaction", 3}, {synth.NightEmergency, "An emergency at night", 2}, {synth.Dies, "A farewell", 2}} {
		for i := range w.cohort.Owners {
			o := &w.cohort.Owners[i]
			if o.Dogs[0].Course != c.course || len(o.Says) == 0 {
				continue
			}
			from := w.onDay(o.EnrolledOn, o.Says[0].Day, o.Says[0].Minute)
			if from.Before(w.now()) {
				to := from.Add(time.Duration(c.hours) * time.Hour)
				w.excerpt(out, c.title, o.Address.Value, from, to)
				if c.course == synth.NightEmergency {
					w.staffExcerpt(out, from, to)
				}
			}
		}
	}
}

// mark finds the first moment that fits.
func (w *demoWorld) mark(fits func(demoMark) bool) (demoMark, bool) {
	for _, m := range w.turns.marks {
		if w.phones[m.number] != nil && w.phones[m.number].owner != nil && fits(m) {
			return m, true
		}
	}
	return demoMark{}, false
}

// excerpt prints what stands on a telephone between two instants, as texted.
func (w *demoWorld) excerpt(out io.Writer, title, number string, from, to time.Time) {
	p := w.phones[number]
	fmt.Fprintf(out, "\n%s (%s, %s)\n", title, p.name, p.about)
	day := ""
	for _, t := range p.texts {
		if t.At.Before(from) || t.At.After(to) {
			continue
		}
		if d := t.At.Format("Monday 2 January"); d != day {
			day = d
			fmt.Fprintf(out, "  %s\n", day)
		}
		who := "Gaitpost"
		if t.Mine {
			who = p.name
		}
		fmt.Fprintf(out, "  %s %9s: %s\n", t.At.Format("15:04"), who, wrapText(t.Text, 78, strings.Repeat(" ", 19)))
	}
}

// staffExcerpt prints what the practice's telephones got and wrote meanwhile.
func (w *demoWorld) staffExcerpt(out io.Writer, from, to time.Time) {
	for _, r := range w.rules.Practitioners {
		p := w.phones[r.Contacts[0].Value]
		if slices.ContainsFunc(p.texts, func(t demoText) bool { return !t.At.Before(from) && !t.At.After(to) }) {
			w.excerpt(out, "Meanwhile at the practice", p.number, from, to)
		}
	}
}

// wrapText breaks a text into lines, the later ones behind an indent.
func wrapText(text string, width int, indent string) string {
	var b strings.Builder
	for n, line := range strings.Split(text, "\n") {
		if n > 0 {
			b.WriteString("\n" + indent)
		}
		used := 0
		for i, word := range strings.Fields(line) {
			if i > 0 && used+1+len(word) > width {
				b.WriteString("\n" + indent)
				used = 0
			} else if i > 0 {
				b.WriteByte(' ')
				used++
			}
			b.WriteString(word)
			used += len(word)
		}
	}
	return b.String()
}

// alertTable prints every alert with what came of it, the digest's own left to a
// count.
func (w *demoWorld) alertTable(out io.Writer) {
	fmt.Fprintln(out, "\nAlerts that could not wait for the digest")
	rest := map[care.AlertReason]int{}
	for _, a := range w.turns.alerts {
		if a.urgency == care.ForDigest {
			rest[a.reason]++
			continue
		}
		who := a.dog
		if who == "" {
			who = a.owner
		}
		if who == "" {
			who = "somebody"
		}
		fmt.Fprintf(out, "  %s  %-8s %-8s %s\n", a.opened.In(w.rules.Zone).Format("2 Jan 15:04"), a.reason, who,
			wrapText(a.sentence+" -> "+w.cameOf(a), 78, "      "))
	}
	fmt.Fprintln(out, "\nIn the digests")
	for _, r := range care.AlertReasons {
		if rest[r] > 0 {
			fmt.Fprintf(out, "  %-10s %d\n", r, rest[r])
		}
	}
}

func (w *demoWorld) cameOf(a *demoAlert) string {
	by := a.by
	if p, ok := w.rules.Practitioner(a.by); ok {
		by = p.Name
	}
	switch {
	case a.closed.IsZero() && a.acked.IsZero():
		return "open"
	case a.closed.IsZero():
		return "taken on by " + by
	case by == "":
		return "closed by itself"
	default:
		return fmt.Sprintf("%s, %s after %s", a.outcome, by, roughly(a.closed.Sub(a.opened)))
	}
}

func roughly(d time.Duration) string {
	switch {
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f minutes", d.Minutes())
	case d < 48*time.Hour:
		return fmt.Sprintf("%.0f hours", d.Hours())
	default:
		return fmt.Sprintf("%.0f days", d.Hours()/24)
	}
}

// aDigest prints the digest that had most to tell.
func (w *demoWorld) aDigest(out io.Writer) {
	p := w.phones[w.rules.Practitioners[0].Contacts[0].Value]
	var best demoText
	for _, t := range p.texts {
		if !t.Mine && strings.HasPrefix(t.Text, "Digest") && strings.Count(t.Text, "\n") >= strings.Count(best.Text, "\n") {
			best = t
		}
	}
	if best.Text != "" {
		fmt.Fprintf(out, "\nA digest, as %s reads it (%s)\n  %s\n", p.name, best.At.Format("Mon 2 Jan 15:04"), wrapText(best.Text, 90, "  "))
	}
}

// summary is what came of the weeks in figures.
func (w *demoWorld) summary() demoSummary {
	s := demoSummary{
		Weeks: w.o.weeks, Dogs: w.cohort.Dogs(), Prompts: w.turns.prompts, Replies: w.turns.replies,
		CheckInsCompleted: w.turns.completed, CheckInsExpired: w.turns.expired,
		Alerts: map[string]int{}, Digests: w.turns.digests, Segments: w.segments,
		Reminders: w.turns.reminders, Lessons: w.turns.lessons,
	}
	for _, a := range w.turns.alerts {
		s.Alerts[string(a.reason)]++
	}
	return s
}
