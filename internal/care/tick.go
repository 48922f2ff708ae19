package care

import (
	"fmt"
	"slices"
	"time"

	"gaitpost/dialog"
	"gaitpost/internal/signs"
)

// tick does everything that is due at the event's instant, most urgent first.
func (t *turn) tick() Reason {
	if t.h.Erased != nil && t.h.Erased.Until <= t.at {
		return RecordEnded
	}
	reason := NothingDue
	did := func(r Reason) {
		if reason == NothingDue && r != "" {
			reason = r
		} else if r != "" {
			reason = Woken
		}
	}
	for i := range t.h.Alerts {
		did(t.tickAlert(&t.h.Alerts[i]))
	}
	for i := range t.h.Dogs {
		did(t.tickHold(int8(i)))
	}
	for i := range t.h.Contacts {
		did(t.tickTalk(int8(i)))
	}
	for i := range t.h.Dogs {
		did(t.tickDays(int8(i)))
	}
	t.tickReviews()
	if p := t.h.primary(); p >= 0 {
		did(t.tickPrompts(p))
	}
	return reason
}

// tickAlert tells the next in line of an alert, or asks the owner whether a vet
// has been reached.
func (t *turn) tickAlert(a *Alert) Reason {
	if !a.IsOpen() {
		return ""
	}
	reason := Reason("")
	if a.Ask != 0 && a.Ask <= t.at {
		t.askReached(a)
		reason = FollowedUp
	}
	if r := t.tellAgain(a); r != "" {
		reason = r
	}
	return reason
}

// tellAgain tells the next in line where an alert's time to be told has come.
func (t *turn) tellAgain(a *Alert) Reason {
	if a.Tell == 0 || a.Tell > t.at || a.State == Acknowledged {
		if a.State == Acknowledged && a.Tell <= t.at {
			a.Tell = 0
		}
		return ""
	}
	kind := NoticeNew
	switch {
	case a.Outcome == CouldNotReach:
		kind = NoticeDueAgain
	case a.Urgency == Now:
		kind = NoticeUnanswered
	}
	if a.Urgency == Now {
		t.tellNext(a, kind)
		return Escalated
	}
	a.Tell = 0
	t.notice(a, kind, t.firstInLine())
	return Escalated
}

// askReached asks the owner once whether a vet has been reached; without a
// contact to ask, the chain goes on.
func (t *turn) askReached(a *Alert) {
	a.Ask = 0
	if a.Reached != NotAsked {
		return
	}
	a.Reached = Asking
	if int(a.Contact) >= len(t.h.Contacts) || t.h.Stranger {
		return
	}
	t.interrupt(a.Contact, Prompt{Kind: PromptReached, Dog: a.Dog,
		Slot: fmt.Sprintf("reached/%d", a.N), Due: t.at, Alert: a.N})
}

// deadlines lists when an open dialog next needs something: its safety
// question, an answer that was put off, the one reminder, its end. Reminders
// wait for quiet hours to pass; safety does not.
func (t *turn) deadlines(c *Contact, o *Open) []int64 {
	if o.Kind == PromptReached {
		return []int64{o.AskedAt + seconds(t.r.Limits.FollowUpWait)}
	}
	var list []int64
	if t.safetyOpen(o) && o.Alert == 0 {
		list = append(list, o.AskedAt+seconds(t.r.Limits.SafetyQuestionAfter))
	}
	if o.Kind == PromptInvitation {
		return list // it waits for its answer; nothing more is sent
	}
	hold, limits := t.heldUntil(c), t.limits(o)
	switch {
	case o.Later != 0:
		list = append(list, t.outsideQuiet(c, max(o.Later, hold)))
	case !o.Reminded && limits.RemindAfter > 0:
		list = append(list, t.outsideQuiet(c, max(t.nudgeAt(o, limits), hold)))
	}
	return append(list, o.BegunAt+seconds(limits.CloseAfter))
}

// limits are the waits of an open dialog: the script's own, and for the
// check-in what the clinic has set.
func (t *turn) limits(o *Open) dialog.Limits {
	l := dialog.Limits{CloseAfter: t.r.Limits.CloseAfter, SafetyAfter: t.r.Limits.SafetyQuestionAfter}
	if script, ok := t.r.Scripts.Script(o.Session.Script); ok {
		l = script.Limits()
	}
	if o.Kind == PromptCheckIn {
		l.RemindAfter, l.CloseAfter = t.r.Limits.RemindAfter, t.r.Limits.CloseAfter
	}
	if l.CloseAfter <= 0 {
		l.CloseAfter = t.r.Limits.CloseAfter
	}
	return l
}

func seconds(d time.Duration) int64 { return int64(d / time.Second) }

func (t *turn) outsideQuiet(c *Contact, at int64) int64 {
	moved, _ := t.r.Quiet.Delay(time.Unix(at, 0), t.r.zoneOf(*c))
	return moved.Unix()
}

// safetyOpen reports whether a dialog stands at a closed safety question.
func (t *turn) safetyOpen(o *Open) bool {
	script, ok := t.r.Scripts.Script(o.Session.Script)
	return ok && script.OpenSafetyQuestion(o.Session)
}

// tickTalk keeps one conversation moving.
func (t *turn) tickTalk(contact int8) Reason {
	c := &t.h.Contacts[contact]
	o := c.Talk.Open
	if o == nil {
		if c.mayBeAsked() && t.heldUntil(c) <= t.at && t.outsideQuiet(c, t.at) <= t.at {
			if t.openNext(contact, ForPrompt); c.Talk.Open != nil {
				return Prompted
			}
		}
		return ""
	}
	if o.Kind == PromptReached {
		if o.AskedAt+seconds(t.r.Limits.FollowUpWait) > t.at {
			return ""
		}
		c.Talk.Open = nil
		if a := t.alert(o.Alert); a != nil && a.Reached == Asking {
			t.notReached(a, "no answer whether a vet has been reached")
		}
		t.openNext(contact, ForPrompt)
		return Escalated
	}
	if t.safetyOpen(o) && o.Alert == 0 && o.AskedAt+seconds(t.r.Limits.SafetyQuestionAfter) <= t.at {
		t.safetyUnanswered(contact, o)
		return SafetyUnanswered
	}
	if o.Kind == PromptInvitation {
		return ""
	}
	return t.tickOpen(contact, o)
}

// tickOpen reminds once, comes back to who said "later", and closes.
func (t *turn) tickOpen(contact int8, o *Open) Reason {
	c, limits := &t.h.Contacts[contact], t.limits(o)
	if o.BegunAt+seconds(limits.CloseAfter) <= t.at {
		t.closeStale(contact, o)
		return ClosedStale
	}
	if t.heldUntil(c) > t.at || t.outsideQuiet(c, t.at) > t.at {
		return ""
	}
	ctx := t.dialogContext(contact, o.Dog, o.Kind)
	if o.Later != 0 && o.Later <= t.at {
		o.Later, o.AskedAt = 0, t.at
		t.note(FactPrompt, o.Dog, "reminded", o.Slot)
		t.say(contact, ForPrompt, t.r.Scripts.Ask(o.Session, ctx)...)
		return Reminded
	}
	if !o.Reminded && o.Later == 0 && limits.RemindAfter > 0 && t.nudgeAt(o, limits) <= t.at && !t.outranked(o) {
		if t.makeRoom(contact, o) {
			return Prompted
		}
		o.Reminded = true
		t.note(FactPrompt, o.Dog, "reminded", o.Slot)
		t.say(contact, ForPrompt, t.r.Scripts.Remind(o.Session, ctx)...)
		return Reminded
	}
	return ""
}

// safetyUnanswered makes a same-day sign of a closed safety question that
// nobody answered.
func (t *turn) safetyUnanswered(contact int8, o *Open) {
	i := t.raise(evidence{dog: o.Dog, reason: SignAlert, urgency: Today, contact: contact,
		signs: []signs.Sign{signs.Unclear}, sentence: "a safety question has gone unanswered for " + hours(t.r.Limits.SafetyQuestionAfter)})
	if i >= 0 {
		o.Alert = t.h.Alerts[i].N // said once
	}
}

func hours(d time.Duration) string { return fmt.Sprintf("%g hours", d.Hours()) }

// closeStale ends a dialog that was never finished; what was answered counts.
func (t *turn) closeStale(contact int8, o *Open) {
	t.h.Contacts[contact].Talk.Open = nil
	t.note(FactPrompt, o.Dog, "closed", o.Slot)
	if o.Dog < 0 || t.h.Dogs[o.Dog].Status != Followed {
		return
	}
	switch o.Kind {
	case PromptCheckIn:
		if items, _ := itemsOf(o.Session); answered(items) {
			t.checkInDone(contact, o, true)
			return
		}
		t.unanswered(contact, o.Dog)
	case PromptReassessment:
		if len(o.Session.Answers) == 0 {
			t.unlooked(o.Dog, dayOf(o.BegunAt, t.zone()))
			return
		}
		t.reassessed(contact, o)
	case PromptInjection, PromptTablets, PromptTest, PromptSession:
		t.reminderAnswered(contact, o)
	case PromptHouseAgain:
		t.houseAgainDone(contact, o)
	case PromptGoodDay:
		t.dayUnanswered(contact, o)
	case PromptSignsOnly:
		t.raise(evidence{dog: o.Dog, reason: Silence, urgency: ForDigest, contact: contact,
			sentence: "the question about signs after a new medicine went unanswered"})
	}
}

// unanswered counts check-ins running that nobody answered.
func (t *turn) unanswered(contact, dog int8) {
	d := &t.h.Dogs[dog]
	d.Missed++
	if int(d.Missed) < t.r.Limits.SilentCheckIns {
		return
	}
	t.raise(evidence{dog: dog, reason: Silence, urgency: ForDigest, contact: contact,
		sentence: fmt.Sprintf("%d check-ins running unanswered", d.Missed)})
}

// nudgeAt is when an open dialog is reminded of: not on a day on which another
// conversation was opened.
func (t *turn) nudgeAt(o *Open, l dialog.Limits) int64 {
	at := o.BegunAt + seconds(l.RemindAfter)
	if o.Kind.neverWaits() || len(t.h.Opened) == 0 {
		return at
	}
	if day := dayOf(max(at, t.at), t.zone()); slices.Contains(t.h.Opened, day) && day != dayOf(o.BegunAt, t.zone()) {
		return t.nextDayAt(at)
	}
	return at
}

// outranked reports whether something that is due now comes before an open
// dialog: it then has the day.
func (t *turn) outranked(o *Open) bool {
	for _, d := range t.dueNow() {
		if precedence(d.kind) < precedence(o.Kind) {
			return true
		}
	}
	for _, r := range t.dueReminders() {
		if precedence(t.remindedBy(r)) < precedence(o.Kind) {
			return true
		}
	}
	return false
}
