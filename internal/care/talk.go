package care

import (
	"fmt"
	"slices"
	"strconv"

	"gaitpost/dialog"
	"gaitpost/dialog/answer"
	"gaitpost/internal/cadence"
)

// slot names a prompt for ever: kind, dog and the local date it belongs to. A
// second tick, a second replica or a restart finds it and sends nothing.
func slot(kind PromptKind, dog int8, date cadence.LocalDate) string {
	return string(kind) + "/" + strconv.Itoa(int(dog)) + "/" + date.String()
}

func (t *turn) today() cadence.LocalDate { return cadence.DateIn(t.e.At, t.zone()) }

// openPrompt starts a dialog with a contact. It comes before an open one that
// matters less, and waits behind any other.
func (t *turn) openPrompt(contact int8, p Prompt, purpose Purpose) {
	talk := &t.h.Contacts[contact].Talk
	if o := talk.Open; o != nil && talk.Suspended == nil && precedence(p.Kind) < precedence(o.Kind) && !t.safetyOpen(o) {
		talk.Suspended, talk.Open = o, nil
	}
	if o := talk.Open; o != nil && t.yields(o, p) && talk.Handover <= t.at {
		t.standBack(contact)
	}
	if talk.Open != nil || talk.Handover > t.at {
		talk.Queue = insertPrompt(talk.Queue, p)
		return
	}
	if p.Kind == PromptHouseAgain && t.h.Dogs[p.Dog].taskDue(dayNumber(t.today())) == nil {
		return // settled while it waited
	}
	ctx := t.dialogContext(contact, p.Dog, p.Kind)
	session, lines, err := t.r.Scripts.Begin(string(p.Kind), t.form(p), ctx)
	if err != nil {
		t.note(FactPrompt, p.Dog, "skipped", p.Slot+": no script")
		return
	}
	talk.Open = &Open{Session: session, Kind: p.Kind, Dog: p.Dog, Slot: p.Slot,
		BegunAt: t.at, AskedAt: t.at, Alert: p.Alert}
	t.bindTask(talk.Open)
	// Form and person, so that what a form costs can be counted.
	t.fact(Fact{Kind: FactPrompt, Dog: p.Dog + 1, Contact: contact + 1, Code: "sent", Text: p.Slot, Number: 1 + float64(session.Form)})
	t.say(contact, purpose, lines...)
	if !session.Open() { // a script that only says something
		talk.Open = nil
		t.openNext(contact, purpose)
	}
}

// interrupt puts a prompt that cannot wait before the dialog that is open.
func (t *turn) interrupt(contact int8, p Prompt) {
	talk := &t.h.Contacts[contact].Talk
	if talk.Open != nil && talk.Open.Kind != p.Kind {
		talk.Suspended, talk.Open = talk.Open, nil
	}
	handover := talk.Handover
	talk.Handover = 0
	t.openPrompt(contact, p, ForSafety)
	talk.Handover = handover
}

// openNext goes on with what waits: first a dialog that was interrupted, then
// the queue.
func (t *turn) openNext(contact int8, purpose Purpose) {
	talk := &t.h.Contacts[contact].Talk
	if talk.Open != nil || talk.Handover > t.at {
		return
	}
	if o := talk.Suspended; o != nil {
		if !t.freeFor(o.Kind, purpose) {
			return
		}
		talk.Open, talk.Suspended = o, nil
		if o.BegunAt+seconds(t.limits(o).CloseAfter) <= t.at {
			t.closeStale(contact, o)
			t.openNext(contact, purpose)
			return
		}
		t.countOpened(o.Kind, purpose)
		o.AskedAt, o.Reminded = t.at, true // asking again is the reminder
		t.say(contact, purpose, t.r.Scripts.Ask(o.Session, t.dialogContext(contact, o.Dog, o.Kind))...)
		return
	}
	for len(talk.Queue) > 0 {
		p := talk.Queue[0]
		if !t.freeFor(p.Kind, purpose) {
			return
		}
		talk.Queue = slices.Clone(talk.Queue[1:])
		if p.Dog >= 0 && t.h.Dogs[p.Dog].Status != Followed && !(t.h.Dogs[p.Dog].here() && isSafety(p.Kind)) {
			continue
		}
		if purpose == ForPrompt && t.outOfWindow(contact, p.Kind, p.Due, dayOf(p.Due, t.zone())) {
			t.dropped(p.Dog, p.Kind, p.Slot)
			continue
		}
		t.openPrompt(contact, p, purpose)
		t.countOpened(p.Kind, purpose)
		return
	}
}

// insertPrompt keeps the queue in the order prompts compete: safety, check-in,
// what belongs to a medicine, weigh-in, the longer review.
func insertPrompt(queue []Prompt, p Prompt) []Prompt {
	for _, q := range queue {
		if q.Slot == p.Slot && q.Kind == p.Kind {
			return queue
		}
	}
	at := len(queue)
	for i, q := range queue {
		if precedence(p.Kind) < precedence(q.Kind) {
			at = i
			break
		}
	}
	return slices.Insert(slices.Clone(queue), at, p)
}

// form is how a prompt asks: one question at a time for the first check-ins and
// for whoever prefers it, else all at once.
func (t *turn) form(p Prompt) dialog.Form {
	if p.Kind != PromptCheckIn || p.Dog < 0 {
		return dialog.OneByOne
	}
	d := &t.h.Dogs[p.Dog]
	if d.OneByOne || int(d.Done) < t.r.Limits.OneByOneFirst {
		return dialog.OneByOne
	}
	return dialog.AllAtOnce
}

func (t *turn) dialogContext(contact, dog int8, kind PromptKind) dialog.Context {
	ctx := t.context(contact, dog)
	if t.unit() == answer.Pounds {
		ctx.Facts["pounds"] = true
	}
	if kind == PromptSignsOnly && dog >= 0 {
		if e := t.h.Dogs[dog].newest(); e != nil {
			ctx.Vars["medicine"] = e.What
		}
	}
	t.reminderVars(&ctx, contact, kind)
	t.extraVars(&ctx, contact, dog, kind)
	if n := t.h.Contacts[contact].Pending; kind == PromptNewContact && n != nil {
		ctx.Vars["channel"] = t.locale(ctx.Lang).Channel(channelName(n.Address.Channel))
		ctx.Vars["tail"] = tailOf(n.Address)
	}
	if kind == PromptFarewell {
		for i, d := range t.followedDogs() {
			if i < 9 {
				ctx.Vars[fmt.Sprintf("dog%d", i+1)] = t.h.Dogs[d].Name
			}
		}
	}
	return ctx
}

// followedDogs lists the dogs that are followed or paused, by index.
func (t *turn) followedDogs() []int8 {
	var list []int8
	for i := range t.h.Dogs {
		if t.h.Dogs[i].here() {
			list = append(list, int8(i))
		}
	}
	return list
}

// reply gives a text to the dialog that is open.
func (t *turn) reply(s *heard) Reason {
	o := t.h.Contacts[s.contact].Talk.Open
	res := t.take(s, o)
	reason := t.outcomeOf(s, o, res)
	closing := t.afterReply(s, o, res)
	t.say(s.contact, t.replyPurpose(o), append(res.Say, closing...)...)
	if t.h.Contacts[s.contact].Talk.Open != o { // something more urgent came in between
		return reason
	}
	if res.Done {
		t.h.Contacts[s.contact].Talk.Open = nil
		if o.Kind == PromptInvitation {
			agree, _ := o.Session.Answer("agree")
			return t.invitationAnswer(s, agree.Yes)
		}
		if o.Entry != 0 {
			t.askNextReminder(s.contact)
		}
		if o.Kind == PromptHouseAgain {
			t.askNextTask(s.contact, o.Dog)
		}
		t.openNext(s.contact, ForReply)
	}
	return reason
}

// feedSilently lets an open dialog keep what an urgent message answers in
// passing, without asking on: the safety reply stands alone.
func (t *turn) feedSilently(s *heard) {
	o := t.h.Contacts[s.contact].Talk.Open
	if o == nil || o.Kind == PromptInvitation || o.Kind == PromptFarewell {
		return
	}
	res := t.take(s, o)
	t.afterReply(s, o, res)
	if res.Done {
		t.h.Contacts[s.contact].Talk.Open = nil
	}
}

// take runs the engine and keeps the answers it read.
func (t *turn) take(s *heard, o *Open) dialog.Result {
	ctx := t.dialogContext(s.contact, o.Dog, o.Kind)
	ctx.Sign = s.finding.Urgency != 0
	if o.Kind == PromptWeighIn {
		ctx.Facts["implausible"] = t.implausible(o, s)
	}
	res := t.r.Scripts.Reply(o.Session, ctx, s.Text)
	o.Session = res.Session
	o.AskedAt, o.Later = t.at, 0
	for _, a := range res.Recorded {
		t.fact(Fact{Kind: FactAnswer, Dog: o.Dog + 1, Contact: s.contact + 1,
			Code: a.Item, Number: a.Value.Number, Text: valueText(a.Value)})
	}
	return res
}

// valueText keeps what a number alone does not say.
func valueText(v dialog.Value) string {
	switch {
	case v.NotApplicable:
		return "x"
	case v.Carried:
		return "same"
	case v.Kind == dialog.KindYesNo && v.Yes:
		return "yes"
	case v.Kind == dialog.KindYesNo:
		return "no"
	case v.Kind == dialog.KindText || v.Kind == dialog.KindChoice:
		return v.Text
	}
	return ""
}

// outcomeOf turns what the engine made of a reply into the turn's reason, and
// keeps for the practice what was no answer.
func (t *turn) outcomeOf(s *heard, o *Open, res dialog.Result) Reason {
	switch res.Reason {
	case dialog.NotForDialog:
		if !smallTalk(s.Text) && s.finding.Urgency == 0 {
			urgency, what := t.wants(s)
			t.keepForPractice(s, urgency, what)
			t.sayReads(s, "message_received")
		}
		return MessageKept
	case dialog.MovedOn:
		if s.finding.Urgency == 0 && len(s.Text) > 2 {
			t.keepForPractice(s, ForDigest, "answered in words we could not read")
		}
		return AskedAgain
	case dialog.Unclear:
		return AskedAgain
	case dialog.Postponed:
		o.Later = t.e.At.Add(laterAfter).Unix()
		return Answered
	case dialog.Away:
		t.keepForPractice(s, ForDigest, "is away this week")
		return Answered
	}
	if res.Done {
		return Finished
	}
	return Answered
}

// afterReply does what answers mean beyond the dialog, and what its end means.
// It returns the closing lines.
func (t *turn) afterReply(s *heard, o *Open, res dialog.Result) []dialog.Line {
	t.answeredSigns(s, o, res)
	if !res.Done {
		return nil
	}
	switch o.Kind {
	case PromptReached:
		v, ok := o.Session.Answer("reached")
		t.reachedAnswer(o.Alert, ok && v.Yes)
	case PromptCheckIn:
		return t.checkInDone(s.contact, o, false)
	case PromptSignsOnly:
		t.note(FactPrompt, o.Dog, "answered", o.Slot)
	case PromptWeighIn:
		return t.weighInDone(s, o)
	case PromptFarewell:
		t.farewellAnswer(s, o)
	case PromptSignCheck:
		t.signChecked(o)
	case PromptNewContact:
		t.oldAddressAnswered(s.contact, o)
	case PromptReassessment:
		t.reassessed(s.contact, o)
	case PromptInjection, PromptTablets, PromptTest, PromptSession:
		t.reminderAnswered(s.contact, o)
	case PromptHouse:
		return t.houseDone(s.contact, o)
	case PromptHouseAgain:
		t.houseAgainDone(s.contact, o)
	case PromptActivities:
		return t.activitiesDone(s.contact, o)
	case PromptGoodDay:
		return t.dayDone(s.contact, o)
	}
	return nil
}

func (t *turn) replyPurpose(o *Open) Purpose {
	if o.Kind == PromptReached || o.Kind == PromptSignCheck || t.safetyOpen(o) {
		return ForSafety
	}
	return ForReply
}
