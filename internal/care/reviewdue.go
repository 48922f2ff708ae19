package care

import (
	"fmt"
	"strings"
	"time"
)

// tickReviews sees what has become overdue: the practice's to know whether or
// not the owner gets texts.
func (t *turn) tickReviews() {
	for i := range t.h.Dogs {
		d := &t.h.Dogs[i]
		if d.Status != Followed || len(d.Plan) == 0 {
			continue
		}
		d.eachReminder(func(e *Entry, m *Reminder) {
			if at := t.overdueAt(m); at != 0 && at <= t.at {
				t.missed(reminderRef{int8(i), e.ID, m.ID}, e, m)
			}
		})
		t.judgeReviews(int8(i))
	}
}

// overdueAt is when a thing that nobody has done becomes overdue, 0 for never
// or since long.
func (t *turn) overdueAt(m *Reminder) int64 {
	if !m.Kind.AsksBack() || m.Next == 0 || m.Missed == m.Next {
		return 0
	}
	return t.localTime(dateOfDay(m.Next+int32(t.r.ReminderRules().Overdue)), t.r.Limits.PromptAt).Unix()
}

// nextReview considers when something next becomes overdue, or its review date
// is reached.
func (t *turn) nextReview(consider func(int64)) {
	for i := range t.h.Dogs {
		d := &t.h.Dogs[i]
		if d.Status != Followed {
			continue
		}
		for k := range d.Plan {
			e := &d.Plan[k]
			if e.Status != Ended && e.Review > t.at {
				consider(e.Review)
			}
			if e.Status != Active {
				continue
			}
			for n := range e.Reminders {
				consider(t.overdueAt(&e.Reminders[n]))
			}
		}
	}
}

// unlooked keeps that a reassessment went unanswered.
func (t *turn) unlooked(dog int8, day int32) {
	t.h.Dogs[dog].Unlooked = day
	t.judgeReviews(dog)
}

// judgeReviews raises review due while anything of a dog's is overdue: its
// reassessment, something that comes round, the review of an entry.
func (t *turn) judgeReviews(dog int8) {
	d := &t.h.Dogs[dog]
	list := t.overdue(d)
	if len(list) == 0 {
		t.clearReason(dog, ReviewDue, 0)
		return
	}
	sentence := strings.Join(list[:min(len(list), mostOverdue)], "; ")
	if more := len(list) - mostOverdue; more > 0 {
		sentence += fmt.Sprintf("; and %d more", more)
	}
	if d.Quiet > t.at {
		return
	}
	for _, a := range t.h.Alerts {
		if a.Dog == dog && a.Reason == ReviewDue && a.Sentence == sentence && !a.Cleared {
			return // told already
		}
	}
	t.raise(evidence{dog: dog, reason: ReviewDue, urgency: ForDigest, contact: max(t.h.primary(), 0),
		sentence: sentence, excess: float64(len(list)) * t.r.Limits.ReopenBy})
}

// mostOverdue is how many overdue things one sentence names.
const mostOverdue = 4

// overdue lists what of a dog's is overdue, each with its date.
func (t *turn) overdue(d *Dog) []string {
	var list []string
	if d.Unlooked != 0 {
		list = append(list, "reassessment of "+longDay(d.Unlooked)+" not answered")
	}
	for k := range d.Plan {
		e := &d.Plan[k]
		if e.Status != Ended && e.Review != 0 && e.Review <= t.at {
			list = append(list, fit(e.What, mostThing)+": review date "+longDay(dayOf(e.Review, t.zone()))+" reached")
		}
	}
	d.eachReminder(func(e *Entry, m *Reminder) {
		if m.Missed != 0 {
			list = append(list, m.overdueWords(e)+" was due on "+longDay(m.Missed)+" and is not known to be done")
		}
	})
	return list
}

// mostThing is how much of the name of a thing a sentence holds, in characters.
const mostThing = 40

func (m *Reminder) overdueWords(e *Entry) string {
	what := fit(e.What, mostThing)
	switch m.Kind {
	case RemindInjection:
		return "repeat injection " + what
	case RemindTablets:
		return "collecting more " + what
	case RemindTest:
		return "test for " + what
	}
	return "session of " + what
}

// longDay is a local date as a practitioner reads it.
func longDay(n int32) string {
	d := dateOfDay(n)
	return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC).Format("2 January")
}
