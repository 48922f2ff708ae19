package care

import (
	"slices"
	"time"

	"gaitpost/dialog"
	"gaitpost/internal/cadence"
)

// mostSaid is how many things that are only said go into one message.
const mostSaid = 3

// reminderRef points at a reminder of a dog's plan entry.
type reminderRef struct {
	dog      int8
	entry    uint16
	reminder uint8
}

func (t *turn) entryOf(r reminderRef) *Entry { return t.h.Dogs[r.dog].entry(r.entry) }

func (t *turn) reminderOf(r reminderRef) *Reminder { return t.entryOf(r).reminder(r.reminder) }

// prompt is the kind of prompt that speaks of a reminder; what is only said
// has the rank of its kind.
func (m *Reminder) prompt() PromptKind {
	switch m.Kind {
	case RemindInjection:
		return PromptInjection
	case RemindTablets:
		return PromptTablets
	case RemindTest:
		return PromptTest
	case RemindSession:
		return PromptSession
	case RemindExercises:
		return PromptExercises
	}
	return PromptReminder
}

func (t *turn) remindedBy(r reminderRef) PromptKind { return t.reminderOf(r).prompt() }

// eachReminder calls do for every reminder that may be sent: of a dog that is
// followed, of an entry that is active.
func (t *turn) eachReminder(do func(reminderRef, *Entry, *Reminder)) {
	for i := range t.h.Dogs {
		d := &t.h.Dogs[i]
		if d.Status == Followed {
			d.eachReminder(func(e *Entry, m *Reminder) { do(reminderRef{int8(i), e.ID, m.ID}, e, m) })
		}
	}
}

func (d *Dog) eachReminder(do func(*Entry, *Reminder)) {
	for k := range d.Plan {
		e := &d.Plan[k]
		if e.Status != Active {
			continue
		}
		for n := range e.Reminders {
			do(e, &e.Reminders[n])
		}
	}
}

// placeReminders sets when the owner next hears of each of a dog's reminders,
// where that is not set yet.
func (t *turn) placeReminders(d *Dog) {
	d.eachReminder(t.placeReminder)
}

func (t *turn) placeReminder(e *Entry, m *Reminder) {
	c := t.r.reminderClock(e, t.at, t.zone())
	m.begin(c)
	if m.At != 0 || m.Next == 0 || m.Stage == StageOver {
		return
	}
	if m.Stage == StageAhead && m.Kind.AsksBack() && c.today > m.Next {
		m.Stage = StageAsk
	}
	day := max(m.speaksOn(), c.today)
	if m.At = t.reminderTime(m, day); m.At <= t.at {
		m.At = t.reminderTime(m, day+1)
	}
}

// reminderTime is the instant on a local date at which a reminder goes out: its
// own cadence's, else the clinic's hour for prompts.
func (t *turn) reminderTime(m *Reminder, day int32) int64 {
	date := dateOfDay(day)
	if m.Cron != "" && m.Kind.Ahead() == 0 {
		if c, err := cadence.Parse(m.Cron, 0); err == nil {
			f := c.NextFiring(cadence.At(date, 0, t.zone()).Add(-time.Second), cadence.LocalDate{}, t.zone())
			if f.Date == date {
				at, _ := t.r.Quiet.Delay(f.At, t.zone())
				return at.Unix()
			}
		}
	}
	return t.localTime(date, t.r.Limits.PromptAt).Unix()
}

// tendReminders brings reminders that are due to where the day finds them: what
// was to be said ahead of a day that has passed is asked about instead, what
// has lost its sense is dropped, and a weigh-in becomes the weigh-in's own.
func (t *turn) tendReminders() {
	today := dayNumber(t.today())
	t.eachReminder(func(r reminderRef, e *Entry, m *Reminder) {
		t.placeReminder(e, m)
		if m.At == 0 || m.At > t.at {
			return
		}
		switch {
		case m.Kind == RemindExercises && t.hush():
			t.reminderFact(r, e, m, "dropped", "good and bad days are being noted")
			m.roll(t.r.reminderClock(e, t.at, t.zone()))
			t.placeReminder(e, m)
		case m.Kind == RemindWeighIn:
			t.weighInReminded(r, e, m)
		case m.Stage != StageAhead:
		case m.Kind.AsksBack() && today > m.Next:
			t.reminderFact(r, e, m, "dropped", "its day has passed")
			m.Stage, m.At, m.Meant = StageAsk, 0, 0
			t.placeReminder(e, m)
		case !m.Kind.AsksBack() && today > m.Next+m.prompt().window():
			t.reminderFact(r, e, m, "dropped", "no free day")
			m.roll(t.r.reminderClock(e, t.at, t.zone()))
			t.placeReminder(e, m)
		}
	})
}

// weighInReminded lets the weigh-in fall due, unless the dog was just weighed.
func (t *turn) weighInReminded(r reminderRef, e *Entry, m *Reminder) {
	const lately = 5 * day
	if w := t.lastWeight(r.dog); w != nil && t.at-w.At < lately {
		t.reminderFact(r, e, m, "dropped", "weighed lately")
	} else {
		due := t.h.Dogs[r.dog].due(PromptWeighIn)
		if due.At == noDue || due.At > t.at {
			due.At, due.Date = t.at, dayNumber(t.today())
		}
		t.reminderFact(r, e, m, "said", "")
	}
	m.roll(t.r.reminderClock(e, t.at, t.zone()))
	t.placeReminder(e, m)
}

// dueReminders lists the reminders that are due now, in the order they compete.
func (t *turn) dueReminders() []reminderRef {
	var list []reminderRef
	t.eachReminder(func(r reminderRef, _ *Entry, m *Reminder) {
		if m.At != 0 && m.At <= t.at {
			list = append(list, r)
		}
	})
	slices.SortStableFunc(list, func(a, b reminderRef) int {
		return precedence(t.remindedBy(a)) - precedence(t.remindedBy(b))
	})
	return list
}

// openReminders sends what is due as one message: what is only said, and the
// first of what is asked. It returns what it left for another time.
func (t *turn) openReminders(contact int8, list []reminderRef, purpose Purpose) []reminderRef {
	var lines []dialog.Line
	var left []reminderRef
	var open *Open
	said := 0
	for _, r := range list {
		m := t.reminderOf(r)
		switch {
		case m.Stage != StageAhead && open == nil:
			asked, more := t.askReminder(contact, r)
			open, lines = asked, append(lines, more...)
		case m.Stage == StageAhead && said < mostSaid:
			said++
			lines = append(t.sayReminder(contact, r), lines...)
		default:
			left = append(left, r)
		}
	}
	talk := &t.h.Contacts[contact].Talk
	if open != nil { // what is only said leaves open what was open
		if talk.Open != nil {
			talk.Suspended = talk.Open
		}
		talk.Open = open
	}
	t.say(contact, purpose, lines...)
	return left
}

// sayReminder are the lines for one thing that is only said, and goes on to
// what the owner hears next of it.
func (t *turn) sayReminder(contact int8, r reminderRef) []dialog.Line {
	e, m := t.entryOf(r), t.reminderOf(r)
	ctx := t.context(contact, r.dog)
	t.thingVars(&ctx, e, m.Next, m.Note)
	lines := []dialog.Line{t.r.Scripts.Say(string(PromptReminder), string(m.Kind), ctx)}
	if m.Note != "" && m.Kind != RemindOther {
		lines = append(lines, t.r.Scripts.Say(string(PromptReminder), "note", ctx))
	}
	t.note(FactPrompt, r.dog, "sent", slot(m.prompt(), r.dog, dateOfDay(m.Next)))
	t.reminderFact(r, e, m, "said", "")
	m.At, m.Meant = 0, 0
	if m.Kind.AsksBack() {
		m.Stage = StageAsk
	} else {
		m.roll(t.r.reminderClock(e, t.at, t.zone()))
	}
	t.placeReminder(e, m)
	return lines
}

// askReminder opens the question whether a thing was done. Should nobody
// answer, it is already set when it is asked once more.
func (t *turn) askReminder(contact int8, r reminderRef) (*Open, []dialog.Line) {
	e, m := t.entryOf(r), t.reminderOf(r)
	ctx := t.context(contact, r.dog)
	t.thingVars(&ctx, e, m.Next, m.Note)
	kind := m.prompt()
	name := slot(kind, r.dog, dateOfDay(m.Next))
	session, lines, err := t.r.Scripts.Begin(string(kind), dialog.OneByOne, ctx)
	if err != nil {
		t.reminderFact(r, e, m, "dropped", "no script")
		t.missed(r, e, m)
		return nil, nil
	}
	open := &Open{Session: session, Kind: kind, Dog: r.dog, Slot: name, BegunAt: t.at, AskedAt: t.at,
		Entry: r.entry, Reminder: r.reminder, About: m.Next}
	t.note(FactPrompt, r.dog, "sent", name)
	t.reminderFact(r, e, m, "asked", "")
	again := m.Stage == StageAgain
	m.At, m.Meant, m.Stage = 0, 0, StageOver
	if !again {
		m.Stage, m.Meant = StageAgain, dayNumber(t.today())+int32(t.r.ReminderRules().AskAgain)
		m.At = t.reminderTime(m, m.Meant)
	}
	return open, lines
}

// askNextReminder goes on, in the same conversation, with what else was to be
// asked that day.
func (t *turn) askNextReminder(contact int8) {
	if t.h.Contacts[contact].Talk.Open != nil {
		return
	}
	today := dayNumber(t.today())
	var list []reminderRef
	t.eachReminder(func(r reminderRef, _ *Entry, m *Reminder) {
		if m.Stage == StageAsk && m.At != 0 && (m.At <= t.at || m.Meant != 0 && m.Meant <= today) {
			list = append(list, r)
		}
	})
	if len(list) > 0 {
		t.openReminders(contact, list[:1], ForReply)
	}
}

// reminderAnswered takes what an owner said of a thing that was due, or that
// they said nothing.
func (t *turn) reminderAnswered(contact int8, o *Open) {
	e := t.h.Dogs[o.Dog].entry(o.Entry)
	if e == nil || e.reminder(o.Reminder) == nil || e.Status != Active {
		return
	}
	r, m := reminderRef{o.Dog, o.Entry, o.Reminder}, e.reminder(o.Reminder)
	v, ok := o.Session.Answer("done")
	switch {
	case ok && v.Yes:
		t.reminderFact(r, e, m, "done", "")
		t.heardDone(e, m, o)
		if how, ok := o.Session.Answer("how"); ok && how.Text == "sore" {
			t.raise(evidence{dog: o.Dog, reason: Question, urgency: ForDigest, contact: contact,
				sentence: "sore or stiff after " + e.What})
		}
		t.judgeReviews(o.Dog)
	case ok:
		t.reminderFact(r, e, m, "not done", "")
		t.noMore(r, e, m)
	default:
		t.reminderFact(r, e, m, "unanswered", "")
		t.noMore(r, e, m)
	}
}

// heardDone counts the next from the day the thing was done. Asked the day
// after, an owner means its own day; asked again, today.
func (t *turn) heardDone(e *Entry, m *Reminder, o *Open) {
	c := t.r.reminderClock(e, t.at, t.zone())
	day := o.About
	if m.Stage == StageOver || c.today > o.About+2 {
		day = c.today
	}
	if o.About != m.Next { // the one before the one that is now ahead
		m.Done, m.Missed = max(m.Done, o.About), 0
		return
	}
	m.doneOn(c, day)
	t.placeReminder(e, m)
}

// noMore makes it the practice's to see what was asked twice in vain.
func (t *turn) noMore(r reminderRef, e *Entry, m *Reminder) {
	if m.Stage == StageOver && m.Missed == 0 {
		t.missed(r, e, m)
		t.judgeReviews(r.dog)
	}
}

// missed keeps that a thing was not done by its time. What has a date or a
// cadence of its own comes round again all the same.
func (t *turn) missed(r reminderRef, e *Entry, m *Reminder) {
	t.reminderFact(r, e, m, "overdue", "")
	m.Missed, m.Stage, m.At, m.Meant = m.Next, StageOver, 0, 0
	if len(m.On) > 0 || m.Cron != "" {
		m.roll(t.r.reminderClock(e, t.at, t.zone()))
		t.placeReminder(e, m)
	}
}

// stopReminding ends what is going on about an entry that is held or has ended.
func (t *turn) stopReminding(dog int8, entry uint16) {
	about := func(o *Open) bool { return o != nil && o.Dog == dog && o.Entry == entry }
	for i := range t.h.Contacts {
		talk := &t.h.Contacts[i].Talk
		if about(talk.Open) {
			t.note(FactPrompt, dog, "closed", talk.Open.Slot)
			talk.Open = nil
		}
		if about(talk.Suspended) {
			t.note(FactPrompt, dog, "closed", talk.Suspended.Slot)
			talk.Suspended = nil
		}
	}
}

// restartReminders begins an entry's reminders anew.
func (e *Entry) restartReminders() {
	for i := range e.Reminders {
		m := &e.Reminders[i]
		m.Next, m.At, m.Meant, m.Missed, m.Stage = 0, 0, 0, 0, StageAhead
	}
}

// reminderVars fills in what a reminder dialog is about.
func (t *turn) reminderVars(ctx *dialog.Context, contact int8, kind PromptKind) {
	talk := &t.h.Contacts[contact].Talk
	for _, o := range []*Open{talk.Open, talk.Suspended} {
		if o == nil || o.Entry == 0 || o.Kind != kind {
			continue
		}
		if e := t.h.Dogs[o.Dog].entry(o.Entry); e != nil {
			t.thingVars(ctx, e, o.About, "")
			return
		}
	}
}

func (t *turn) thingVars(ctx *dialog.Context, e *Entry, on int32, note string) {
	ctx.Vars["thing"], ctx.Vars["note"] = e.What, note
	ctx.Vars["date"] = t.locale(ctx.Lang).DayDate(middayOf(on))
}

// middayOf is a local date as an instant that has it.
func middayOf(n int32) time.Time {
	d := dateOfDay(n)
	return time.Date(d.Year, d.Month, d.Day, 12, 0, 0, 0, time.UTC)
}

func (t *turn) reminderFact(r reminderRef, e *Entry, m *Reminder, code, why string) {
	text := string(m.Kind) + ": " + e.What
	if why != "" {
		text += ": " + why
	}
	t.fact(Fact{Kind: FactReminder, Dog: r.dog + 1, Code: code, Text: text,
		Number: float64(t.localTime(dateOfDay(m.Next), t.r.Limits.PromptAt).Unix())})
}

// nextReminder considers when a dog's reminders next matter.
func (t *turn) nextReminder(d *Dog, hold int64, consider func(int64)) {
	for k := range d.Plan {
		if d.Plan[k].Status != Active {
			continue
		}
		for _, m := range d.Plan[k].Reminders {
			if m.At != 0 {
				consider(max(m.At, hold))
			}
		}
	}
}
