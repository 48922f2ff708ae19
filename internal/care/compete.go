package care

import (
	"slices"
	"time"

	"gaitpost/internal/cadence"
)

// inOrder is how prompts compete, the first before all others: safety,
// check-in, what belongs to a medicine and tests, other reminders, weigh-in,
// the longer review, exercises, lesson, summary.
var inOrder = []PromptKind{PromptReached, PromptFarewell, PromptSignCheck, PromptNewContact, PromptInvitation,
	PromptGoodDay, PromptCheckIn, PromptSignsOnly, PromptInjection, PromptTablets, PromptTest,
	PromptSession, PromptReminder, PromptWeighIn, PromptReassessment, PromptActivities,
	PromptHouse, PromptHouseAgain, PromptExercises, PromptLesson, PromptSummary}

func precedence(k PromptKind) int { return slices.Index(inOrder, k) }

// neverWaits reports whether a prompt neither counts against what we may open
// with a household nor waits for it: safety, and the invitation, before which
// there is nothing to count. Nor does the evening question that an owner took on.
func (k PromptKind) neverWaits() bool {
	return precedence(k) <= precedence(PromptInvitation) || k == PromptGoodDay
}

// window is how many days after its own a prompt may still be opened; what
// finds no free day inside it is dropped, and the log says so.
func (k PromptKind) window() int32 {
	switch k {
	case PromptCheckIn:
		return 3 // the next is near
	case PromptSignsOnly:
		return 6 // the next is a week after it
	case PromptReassessment, PromptHouse, PromptHouseAgain, PromptActivities:
		return 14
	case PromptExercises:
		return 2
	}
	return 7
}

// countOpened keeps that we opened a conversation today. What follows on an
// owner's own message is part of the conversation that is going on.
func (t *turn) countOpened(k PromptKind, p Purpose) {
	if !k.neverWaits() && (p == ForPrompt || t.e.Message == nil) {
		t.countDay(dayNumber(t.today()))
	}
}

func (t *turn) countDay(day int32) {
	kept := slices.DeleteFunc(slices.Clone(t.h.Opened), func(d int32) bool { return d <= day-7 || d == day })
	t.h.Opened = append(kept, day)
}

// conversationDay is the local date that a conversation about what is due now
// counts for: today, and where a clock change has pushed a late evening's
// prompt past midnight, the date it was meant for.
func (t *turn) conversationDay(list []candidate, first PromptKind) int32 {
	const night = 3 // hours
	today := dayNumber(t.today())
	for _, d := range list {
		if d.kind == first && t.h.Dogs[d.dog].due(d.kind).Date == today-1 && t.e.At.In(t.zone()).Hour() < night {
			return today - 1
		}
	}
	return today
}

// freeFor reports whether a prompt may be opened now. What answers an owner, or
// is safety, always may.
func (t *turn) freeFor(k PromptKind, p Purpose) bool {
	return p != ForPrompt || k.neverWaits() || t.freeOn(k, dayNumber(t.today()))
}

// freeOn reports whether one more conversation may be opened with the household
// on a local date: the first of that day, within the clinic's number for any
// seven days, and leaving room in them for the check-ins and the questions
// about signs that are to come.
func (t *turn) freeOn(k PromptKind, day int32) bool {
	most := t.r.ReminderRules().PerWeek
	if slices.Contains(t.h.Opened, day) || t.openedSince(day-7)+1 > most {
		return false
	}
	if precedence(k) > precedence(PromptCheckIn) && t.nudgedOn(day) {
		return false
	}
	if t.laterOn(k, day) {
		return false
	}
	ahead := t.aheadOf(k, day)
	for i, u := range ahead {
		if t.openedSince(u-7)+1+i+1 > most {
			return false
		}
	}
	return true
}

// laterOn reports whether something that comes before a prompt falls due later
// on a date: the day is then not the prompt's.
func (t *turn) laterOn(k PromptKind, day int32) bool {
	for i := range t.h.Dogs {
		d := &t.h.Dogs[i]
		if d.Status != Followed {
			continue
		}
		for _, due := range d.Due {
			if due.At > t.at && precedence(due.Kind) < precedence(k) && dayOf(due.At, t.zone()) == day {
				return true
			}
		}
	}
	found := false
	t.eachReminder(func(_ reminderRef, _ *Entry, m *Reminder) {
		found = found || m.At > t.at && precedence(m.prompt()) < precedence(k) && dayOf(m.At, t.zone()) == day
	})
	return found
}

// nudgedOn reports whether the household has heard from us unasked on a date:
// the reminder of a conversation opened before.
func (t *turn) nudgedOn(day int32) bool {
	for i := len(t.h.Sent) - 1; i >= 0 && t.at-t.h.Sent[i].At < 2*24*3600; i-- {
		if s := t.h.Sent[i]; s.Purpose == ForPrompt && s.At < t.at && dayOf(s.At, t.zone()) == day {
			return true
		}
	}
	return false
}

// openedSince counts the days after a date on which a conversation was opened.
func (t *turn) openedSince(day int32) int {
	n := 0
	for _, d := range t.h.Opened {
		if d > day {
			n++
		}
	}
	return n
}

// aheadOf lists the dates in the week after a day that belong to what comes
// before a prompt and must not be crowded out by it, earliest first. Two dogs'
// check-ins take two days where the first goes unanswered.
func (t *turn) aheadOf(k PromptKind, day int32) []int32 {
	var list []int32
	add := func(u int32) {
		for slices.Contains(list, u) {
			u++
		}
		if u > day && u < day+7 {
			list = append(list, u)
		}
	}
	for i := range t.h.Dogs {
		d := &t.h.Dogs[i]
		if d.Status != Followed {
			continue
		}
		for _, due := range d.Due {
			if due.At != noDue && precedence(due.Kind) < precedence(k) && (due.Kind == PromptCheckIn || due.Kind == PromptSignsOnly) {
				add(dayOf(due.At, t.zone()))
			}
		}
	}
	for i := range t.h.Contacts {
		for _, p := range t.h.Contacts[i].Talk.Queue {
			if p.Kind == PromptCheckIn && precedence(k) > precedence(PromptCheckIn) {
				add(day + 1)
			}
		}
	}
	slices.Sort(list)
	return list
}

// freeFrom is when what waits in a conversation may next be opened, Unix
// seconds; 0 for at once.
func (t *turn) freeFrom(c *Contact) int64 {
	kind := PromptKind("")
	switch {
	case c.Talk.Suspended != nil:
		kind = c.Talk.Suspended.Kind
	case len(c.Talk.Queue) > 0:
		kind = c.Talk.Queue[0].Kind
	}
	if kind == "" || kind.neverWaits() {
		return 0
	}
	today := t.today()
	if t.freeOn(kind, dayNumber(today)) {
		return 0
	}
	for n := 1; n < 7; n++ {
		if date := today.AddDays(n); t.freeOn(kind, dayNumber(date)) {
			return t.localTime(date, t.r.Limits.PromptAt).Unix()
		}
	}
	return t.localTime(today.AddDays(7), t.r.Limits.PromptAt).Unix()
}

// nextDayAt is the same time of day, tomorrow.
func (t *turn) nextDayAt(at int64) int64 {
	local := time.Unix(at, 0).In(t.zone())
	m := cadence.MinuteOfDay(local.Hour()*60 + local.Minute())
	return t.localTime(t.today().AddDays(1), m).Unix()
}

// outOfWindow reports whether a prompt that was meant for a date has waited too
// long. While staff had the conversation, or the owner asked for quiet, it was
// not the week that was full.
func (t *turn) outOfWindow(contact int8, k PromptKind, due int64, meant int32) bool {
	talk := &t.h.Contacts[contact].Talk
	if k.neverWaits() || talk.Handover >= due || talk.Paused >= due {
		return false
	}
	return dayNumber(t.today()) > meant+k.window()
}

// dropped keeps that a prompt was never sent, and why.
func (t *turn) dropped(dog int8, k PromptKind, name string) {
	t.note(FactPrompt, dog, "skipped", name+": no free day")
	switch {
	case dog < 0:
	case k == PromptReassessment:
		t.unlooked(dog, dayNumber(t.today()))
	case k == PromptSignsOnly:
		t.raise(evidence{dog: dog, reason: Silence, urgency: ForDigest, contact: max(t.h.primary(), 0),
			sentence: "the question about signs after a new medicine could not be asked: no free day"})
	}
}

// candidate is one prompt that is due now.
type candidate struct {
	kind PromptKind
	dog  int8
}

// tickPrompts opens with the primary contact what is due: of what competes for
// the day only the first kind, for every dog. The rest waits for the next day.
func (t *turn) tickPrompts(contact int8) Reason {
	c := &t.h.Contacts[contact]
	if t.heldUntil(c) > t.at {
		return ""
	}
	defer t.placeAll()
	t.tendReminders()
	list, reminders := t.dueNow(), t.dueReminders()
	if len(list) == 0 && len(reminders) == 0 {
		return ""
	}
	if until := t.outsideQuiet(c, t.at); until > t.at {
		t.wait(list, reminders, func(int64) int64 { return until })
		return DeferredQuiet
	}
	reason := Reason("")
	if left := t.skipLate(contact, list); len(left) < len(list) {
		list, reason = left, SkippedLate
	}
	first := PromptKind("")
	for _, d := range list {
		if first == "" || precedence(d.kind) < precedence(first) {
			first = d.kind
		}
	}
	remind := false
	for _, m := range reminders {
		if k := t.remindedBy(m); first == "" || precedence(k) < precedence(first) {
			first, remind = k, true
		}
	}
	if first == "" {
		return reason
	}
	t.eveningYields(contact)
	day := t.conversationDay(list, first)
	if !t.mayBegin(c, first) || !t.freeOn(first, day) {
		t.wait(list, reminders, t.nextDayAt)
		return WaitsForDay
	}
	if t.beginDay(contact, first, list, reminders, remind) {
		t.countDay(day)
	}
	return Prompted
}

// placeAll places what is to come by the rules in force.
func (t *turn) placeAll() {
	for i := range t.h.Dogs {
		if t.h.Dogs[i].Status == Followed {
			t.placeByRules(&t.h.Dogs[i])
			t.placeExtras(int8(i))
		}
	}
}

// beginDay opens the day's conversation, and lets the rest wait. It reports
// whether anything was sent.
func (t *turn) beginDay(contact int8, first PromptKind, list []candidate, reminders []reminderRef, remind bool) bool {
	sent := len(t.out.Send)
	var rest []candidate
	if remind {
		reminders = t.openReminders(contact, reminders, ForPrompt)
		rest = list
	} else {
		for _, d := range list {
			if d.kind != first {
				rest = append(rest, d)
				continue
			}
			t.promptDue(contact, d)
		}
	}
	t.wait(rest, reminders, t.nextDayAt)
	return len(t.out.Send) > sent
}

// mayBegin reports whether nothing that matters as much is going on.
func (t *turn) mayBegin(c *Contact, k PromptKind) bool {
	o := c.Talk.Open
	if o == nil {
		return true
	}
	if o.Kind == k && o.Entry == 0 {
		return true // last time's was never finished, or another dog's goes behind it
	}
	return c.Talk.Suspended == nil && precedence(k) < precedence(o.Kind) && !t.safetyOpen(o)
}

// dueNow lists the prompts of all dogs that are due.
func (t *turn) dueNow() []candidate {
	var list []candidate
	for i := range t.h.Dogs {
		if t.h.Dogs[i].Status != Followed {
			continue
		}
		for _, due := range t.h.Dogs[i].Due {
			if due.At != noDue && due.At <= t.at {
				list = append(list, candidate{due.Kind, int8(i)})
			}
		}
	}
	return list
}

// wait moves what is due on, keeping the date it was meant for.
func (t *turn) wait(list []candidate, reminders []reminderRef, to func(int64) int64) {
	for _, d := range list {
		due := t.h.Dogs[d.dog].due(d.kind)
		if due.Date == 0 {
			due.Date = dayOf(due.At, t.zone())
		}
		due.At = to(due.At)
	}
	for _, ref := range reminders {
		m := t.reminderOf(ref)
		if m.Meant == 0 {
			m.Meant = dayOf(m.At, t.zone())
		}
		m.At = to(m.At)
	}
}

// skipLate leaves out what has come too late: hours after its time, since
// nobody looked, or days after it, since no day was free.
func (t *turn) skipLate(contact int8, list []candidate) []candidate {
	c := &t.h.Contacts[contact]
	var left []candidate
	for _, d := range list {
		due := *t.h.Dogs[d.dog].due(d.kind)
		meant := due.Date
		if meant == 0 {
			meant = dayOf(due.At, t.zone())
		}
		name := slot(d.kind, d.dog, dateOfDay(meant))
		late := t.at-due.At > seconds(t.r.Limits.PromptWindow) && c.Talk.Handover < due.At && c.Talk.Paused < due.At
		switch {
		case late:
			t.advance(d.dog, d.kind)
			t.note(FactPrompt, d.dog, "skipped", name+": too late")
		case t.outOfWindow(contact, d.kind, due.At, meant):
			t.advance(d.dog, d.kind)
			t.dropped(d.dog, d.kind, name)
		default:
			left = append(left, d)
		}
	}
	return left
}

// promptDue sends a prompt that fell due.
func (t *turn) promptDue(contact int8, d candidate) {
	c := &t.h.Contacts[contact]
	due := *t.h.Dogs[d.dog].due(d.kind)
	date := t.today()
	if due.Date != 0 {
		date = dateOfDay(due.Date)
	}
	t.advance(d.dog, d.kind)
	if t.openExtra(contact, d) {
		return
	}
	if o := c.Talk.Open; o != nil && o.Kind == d.kind && o.Dog == d.dog {
		t.closeStale(contact, o) // last time's was never finished
	}
	t.openPrompt(contact, Prompt{Kind: d.kind, Dog: d.dog, Slot: slot(d.kind, d.dog, date), Due: due.At}, ForPrompt)
}
