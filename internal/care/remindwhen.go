package care

import (
	"fmt"
	"time"

	"gaitpost/internal/cadence"
)

// reminderClock is what it takes to say when a reminder falls.
type reminderClock struct {
	rules ReminderRules
	zone  *time.Location
	start int32 // the local date the plan entry began
	today int32
}

func (r *Rules) reminderClock(e *Entry, at int64, zone *time.Location) reminderClock {
	return reminderClock{
		rules: r.ReminderRules(), zone: zone,
		start: dayOf(e.Started, zone), today: dayOf(at, zone),
	}
}

// dayOf is the local date of an instant as days since 1970.
func dayOf(at int64, zone *time.Location) int32 {
	return dayNumber(cadence.DateIn(time.Unix(at, 0), zone))
}

// after is the first date after a day that the reminder belongs to, 0 for none.
func (m *Reminder) after(c reminderClock, last int32) int32 {
	next := int32(0)
	switch {
	case len(m.On) > 0:
		for _, d := range m.On {
			if d > last && (next == 0 || d < next) {
				next = d
			}
		}
	case m.Cron != "":
		next = m.byCadence(c, last)
	default:
		next = m.byDays(c, last)
	}
	if m.Until != 0 && next > m.Until {
		return 0
	}
	return next
}

func (m *Reminder) byCadence(c reminderClock, last int32) int32 {
	parsed, err := cadence.Parse(m.Cron, int(m.Gap))
	if err != nil { // checked when it was set; an old record may outlive its reader
		return 0
	}
	midnight := cadence.At(dateOfDay(last).AddDays(1), 0, c.zone).Add(-time.Second)
	gapFrom := cadence.LocalDate{}
	if m.Next != 0 || m.Done != 0 {
		gapFrom = dateOfDay(last)
	}
	firing := parsed.NextFiring(midnight, gapFrom, c.zone)
	if firing.At.IsZero() {
		return 0
	}
	return dayNumber(firing.Date)
}

// byDays counts from the day it was last done, or from the entry's start. A
// beat that has passed unheard is left out.
func (m *Reminder) byDays(c reminderClock, last int32) int32 {
	every := int32(m.Every)
	if every == 0 {
		every = int32(c.rules.EveryDays(m.Kind))
	}
	if every <= 0 {
		return 0
	}
	from := max(m.Done, c.start)
	if from > last {
		return from + every
	}
	return from + ((last-from)/every+1)*every
}

// begin places the first date of a reminder that has none yet. Dates before
// today are past.
func (m *Reminder) begin(c reminderClock) {
	if m.Next != 0 {
		return
	}
	m.Stage, m.Meant = m.Kind.first(), 0
	m.Next = m.after(c, max(m.Done, c.today-1))
}

// first is where a new date of a reminder begins.
func (k ReminderKind) first() ReminderStage {
	if k.AsksBack() && k.Ahead() == 0 {
		return StageAsk
	}
	return StageAhead
}

// roll leaves the date that the reminder stands at and goes on to the next.
func (m *Reminder) roll(c reminderClock) {
	m.Next, m.At, m.Meant, m.Stage = m.after(c, max(m.Next, c.today)), 0, 0, m.Kind.first()
}

// doneOn keeps that the thing was done on a day, and counts the next from it.
func (m *Reminder) doneOn(c reminderClock, day int32) {
	at := max(day, m.Next)
	fixed := len(m.On) > 0 || m.Cron != ""
	if !fixed {
		at = day
	}
	was := m.Missed
	m.Done, m.Missed = day, 0
	if fixed && was != 0 && day < m.Next { // what was missed was made up for; the next stands
		return
	}
	m.Next = m.after(c, at)
	m.At, m.Meant, m.Stage = 0, 0, m.Kind.first()
}

// speaksOn is the local date on which the owner next hears of the thing, 0 for
// never: ahead of its day, on it, or after it to ask.
func (m *Reminder) speaksOn() int32 {
	switch {
	case m.Next == 0:
		return 0
	case m.Meant != 0:
		return m.Meant
	case m.Stage == StageAhead:
		return m.Next - int32(m.Kind.Ahead())
	case m.Stage == StageAsk && m.Kind.Ahead() > 0:
		return m.Next + 1
	case m.Stage == StageAsk:
		return m.Next
	}
	return 0
}

// done keeps that one of an entry's reminded things was done, and the batch of
// an injection. It returns why it can't, or "".
func (e *Entry) done(p *PlanChange, c reminderClock, day int32) string {
	m := e.reminder(p.Reminder)
	if m == nil && p.Reminder == 0 && len(e.Reminders) == 1 {
		m = &e.Reminders[0]
	}
	if m == nil {
		return fmt.Sprintf("Say which of the reminders of %s was done.", e.What)
	}
	if p.Batch != "" {
		e.Batch = p.Batch
	}
	m.doneOn(c, day)
	return ""
}
