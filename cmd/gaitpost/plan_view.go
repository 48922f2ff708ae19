package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"gaitpost/internal/care"
)

// planView is a dog's plan as it is printed. Dates are YYYY-MM-DD in the
// clinic's zone, "" for none.
type planView struct {
	Dog         string           `json:"dog"`
	On          string           `json:"on"`
	Notes       []string         `json:"notes"`
	Areas       []planAreaView   `json:"areas"`
	Over        []planEntryView  `json:"ended"`
	Withdrawn   []planEntryView  `json:"entered_in_error"`
	Suggestions []suggestionView `json:"suggestions"`
}

type planAreaView struct {
	Area    string          `json:"area"`
	State   string          `json:"state"`
	About   string          `json:"about,omitempty"`
	Entries []planEntryView `json:"entries"`
}

type planEntryView struct {
	ID        uint16             `json:"id"`
	Area      string             `json:"area"`
	What      string             `json:"what"`
	Class     string             `json:"class,omitempty"`
	Status    string             `json:"status"`
	Since     string             `json:"since"`
	Ended     string             `json:"ended,omitempty"`
	Why       string             `json:"why,omitempty"`
	Reason    string             `json:"reason,omitempty"`
	Who       string             `json:"who,omitempty"`
	Source    string             `json:"source,omitempty"`
	Review    string             `json:"review,omitempty"`
	Batch     string             `json:"batch,omitempty"`
	Comfort   bool               `json:"comfort"`
	Reminders []planReminderView `json:"reminders,omitempty"`
}

type planReminderView struct {
	Kind string `json:"kind"`
	Note string `json:"note,omitempty"`
	Next string `json:"next,omitempty"`
	Done string `json:"done,omitempty"`
}

type suggestionView struct {
	Kind   string `json:"kind"`
	Entry  uint16 `json:"entry,omitempty"`
	Area   string `json:"area,omitempty"`
	What   string `json:"what"`
	Reason string `json:"reason"`
	Source string `json:"source"`
	For    string `json:"for,omitempty"`
	Wait   string `json:"wait,omitempty"`
	Answer string `json:"answer"` // open, accepted or declined
	Why    string `json:"why,omitempty"`
	Until  string `json:"until,omitempty"`
}

func viewPlan(r *care.Rules, d *care.Dog, now time.Time) planView {
	v := planView{Dog: d.Name, On: dateText(r, now.Unix()), Notes: append([]string{}, care.PlanNotes(r, d, now)...),
		Over: []planEntryView{}, Withdrawn: []planEntryView{}, Suggestions: []suggestionView{}}
	for _, c := range care.PlanCover(r, d, now.Unix()) {
		a := planAreaView{Area: string(c.Area), State: string(c.State), About: c.About, Entries: []planEntryView{}}
		for _, e := range c.Entries {
			a.Entries = append(a.Entries, viewEntry(r, e))
		}
		v.Areas = append(v.Areas, a)
	}
	for _, e := range d.Plan {
		if e.Status == care.Ended {
			v.Over = append(v.Over, viewEntry(r, e))
		}
	}
	for _, e := range d.Withdrawn {
		v.Withdrawn = append(v.Withdrawn, viewEntry(r, e))
	}
	for _, s := range care.Suggest(r, d, now.Unix()) {
		v.Suggestions = append(v.Suggestions, viewSuggestion(r, s))
	}
	return v
}

func viewEntry(r *care.Rules, e care.Entry) planEntryView {
	v := planEntryView{ID: e.ID, Area: string(e.Area), What: e.What, Class: string(e.Class), Since: dateText(r, e.Started),
		Ended: dateText(r, e.Ended), Why: e.Why, Reason: e.Reason, Who: e.Who, Source: string(e.Source), Review: dateText(r, e.Review),
		Batch: e.Batch, Comfort: e.Comfort}
	v.Status = map[care.EntryStatus]string{care.Active: "active", care.Held: "held", care.Ended: "ended"}[e.Status]
	if e.Declined {
		v.Status = "declined"
	}
	for _, m := range e.Reminders {
		v.Reminders = append(v.Reminders, planReminderView{Kind: string(m.Kind), Note: m.Note, Next: localDay(m.Next), Done: localDay(m.Done)})
	}
	return v
}

// localDay writes a local date given as days since 1970, "" for none.
func localDay(n int32) string {
	if n == 0 {
		return ""
	}
	return time.Unix(int64(n)*24*3600, 0).UTC().Format(time.DateOnly)
}

func viewSuggestion(r *care.Rules, s care.Suggestion) suggestionView {
	v := suggestionView{Kind: string(s.Kind), Entry: s.Entry, Area: string(s.Area), What: s.What, Reason: s.Reason, Source: s.Source,
		For: string(s.Whose), Wait: s.Wait, Answer: "open"}
	if s.Answer != nil {
		v.Answer, v.Why, v.Until = s.Answer.Verdict.String(), s.Answer.Why, dateText(r, s.Answer.Until)
	}
	return v
}

// print writes the plan as text.
func (v *planView) print(w io.Writer) {
	fmt.Fprintf(w, "The plan of %s on %s\n", v.Dog, v.On)
	for _, n := range v.Notes {
		fmt.Fprintf(w, "  to know: %s\n", n)
	}
	for _, a := range v.Areas {
		fmt.Fprintf(w, "\n%s: %s\n", a.Area, a.State)
		if a.About != "" {
			fmt.Fprintf(w, "  %s\n", a.About)
		}
		for _, e := range a.Entries {
			e.print(w)
		}
	}
	printEntries(w, "ended or declined", v.Over)
	printEntries(w, "entered in error", v.Withdrawn)
	if len(v.Suggestions) > 0 {
		fmt.Fprintf(w, "\nWhat might come next; the practitioner decides\n")
	}
	for _, s := range v.Suggestions {
		s.print(w)
	}
}

func printEntries(w io.Writer, title string, list []planEntryView) {
	if len(list) > 0 {
		fmt.Fprintf(w, "\n%s\n", title)
	}
	for _, e := range list {
		e.print(w)
	}
}

func (e *planEntryView) print(w io.Writer) {
	parts := []string{e.Status, "since " + e.Since}
	for _, p := range []struct{ name, text string }{{"ended ", e.Ended}, {"why: ", e.Why}, {"last change: ", e.Reason}, {"who: ", e.Who},
		{"from: ", e.Source}, {"review ", e.Review}, {"batch ", e.Batch}} {
		if p.text != "" {
			parts = append(parts, p.name+p.text)
		}
	}
	class := ""
	if e.Class != "" {
		class = " (" + e.Class + ")"
	}
	fmt.Fprintf(w, "  %d %s%s, %s\n", e.ID, e.What, class, strings.Join(parts, "; "))
	for _, m := range e.Reminders {
		line := "reminder: " + m.Kind
		for _, p := range []struct{ name, text string }{{", ", m.Note}, {", next ", m.Next}, {", last done ", m.Done}} {
			if p.text != "" {
				line += p.name + p.text
			}
		}
		fmt.Fprintf(w, "    %s\n", line)
	}
}

func (s *suggestionView) print(w io.Writer) {
	kind := s.Kind
	if s.Entry != 0 {
		kind = fmt.Sprintf("%s/%d", s.Kind, s.Entry)
	}
	fmt.Fprintf(w, "  %s: %s", kind, s.What)
	if s.For != "" {
		fmt.Fprintf(w, " [%s]", s.For)
	}
	fmt.Fprintf(w, "\n    %s\n", s.Reason)
	if s.Wait != "" {
		fmt.Fprintf(w, "    might wait: %s\n", s.Wait)
	}
	fmt.Fprintf(w, "    source: %s\n", s.Source)
	if s.Answer != "open" {
		until := ""
		if s.Until != "" {
			until = ", until " + s.Until
		}
		fmt.Fprintf(w, "    %s: %s%s\n", s.Answer, s.Why, until)
	}
}
