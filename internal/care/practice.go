package care

import (
	"slices"
)

// practice does what staff decided. A refusal changes nothing and says why.
func (t *turn) practice(p *Practice) Reason {
	if p.Enrol == nil && t.h.Enrolled == 0 && !t.h.Stranger {
		return t.refuse("That household is not enrolled.")
	}
	if t.h.Erased != nil && p.needsContact() {
		return t.refuse("The contacts of this household are erased: there is nobody to write to.")
	}
	switch {
	case p.Erase != nil:
		return t.erase(p.By, p.Erase)
	case p.Enrol != nil:
		if refused := t.anew(p); refused != "" {
			return refused
		}
		return t.enrol(p.By, p.Enrol)
	case p.Plan != nil:
		return t.planChange(p.By, p.Plan)
	case p.Ack != nil:
		return t.acknowledge(p.By, p.Ack)
	case p.Close != nil:
		return t.closeAlert(p.By, p.Close)
	case p.Write != nil:
		return t.writeOwner(p.By, p.Write)
	case p.Resume != nil:
		return t.resume(p.By, p.Resume)
	case p.Rung != nil:
		return t.rung(p.By, p.Rung)
	case p.Pause != nil:
		return t.pauseTexts(p.By, p.Pause)
	case p.Consent != nil:
		return t.recordConsent(p.By, p.Consent)
	case p.Contact != nil:
		return t.newContact(p.By, p.Contact)
	case p.Join != nil:
		return t.inviteToJoin(p.By, p.Join)
	default:
		return t.aboutDogAction(p)
	}
}

// aboutDogAction does what staff decided about one dog.
func (t *turn) aboutDogAction(p *Practice) Reason {
	dog := p.dog()
	if dog < 0 || int(dog) >= len(t.h.Dogs) {
		return t.refuse("There is no such dog in this household.")
	}
	d := &t.h.Dogs[dog]
	switch {
	case p.Farewell != nil:
		return t.farewell(p.By, p.Farewell)
	case p.Quiet != nil:
		d.Quiet = p.Quiet.Until
		t.fact(Fact{Kind: FactNote, Dog: dog + 1, Code: "quieted", Number: float64(p.Quiet.Until), By: p.By})
	case p.QuietSign != nil:
		return t.quietSign(p.By, p.QuietSign)
	case p.CheckIn != nil:
		return t.enteredCheckIn(p.By, p.CheckIn)
	case p.Weigh != nil:
		return t.enteredWeight(p.By, p.Weigh)
	case p.Note != nil:
		t.fact(Fact{Kind: FactNote, Dog: dog + 1, Text: p.Note.Text, By: p.By})
	case p.Findings != nil:
		return t.findings(p.By, p.Findings)
	case p.Settings != nil:
		return t.dogSettings(p.By, p.Settings)
	case p.Decide != nil:
		return t.decide(p.By, p.Decide)
	case p.Withdraw != nil:
		return t.withdraw(p.By, p.Withdraw)
	case p.Hold != nil:
		return t.holdDog(p.By, p.Hold)
	case p.Correct != nil:
		return t.correct(p.By, p.Correct)
	case p.House != nil:
		return t.houseAction(p.By, p.House)
	case p.Days != nil:
		return t.offerDays(p.By, p.Days)
	}
	return PracticeDone
}

// dog is the dog an action is about, or -1.
func (p *Practice) dog() int8 {
	switch {
	case p.Farewell != nil:
		return p.Farewell.Dog
	case p.Quiet != nil:
		return p.Quiet.Dog
	case p.QuietSign != nil:
		return p.QuietSign.Dog
	case p.CheckIn != nil:
		return p.CheckIn.Dog
	case p.Weigh != nil:
		return p.Weigh.Dog
	case p.Note != nil:
		return p.Note.Dog
	case p.Findings != nil:
		return p.Findings.Dog
	case p.Settings != nil:
		return p.Settings.Dog
	case p.Decide != nil:
		return p.Decide.Dog
	case p.Withdraw != nil:
		return p.Withdraw.Dog
	case p.Hold != nil:
		return p.Hold.Dog
	case p.Correct != nil:
		return p.Correct.Dog
	case p.House != nil:
		return p.House.Dog
	case p.Days != nil:
		return p.Days.Dog
	}
	return -1
}

// quietSign lets the practitioner ignore a known same-day sign until a date.
func (t *turn) quietSign(by string, q *QuietSign) Reason {
	d := &t.h.Dogs[q.Dog]
	if q.Until == 0 {
		return t.hearSign(by, q)
	}
	ctx := t.screenContext(q.Dog)
	if q.Sign.Urgency(ctx) > 1 {
		return t.refuse("An emergency sign can't be quieted.")
	}
	if q.Until <= t.at {
		return t.refuse("A quieted sign needs an end date in the future.")
	}
	d.Quieted = slices.DeleteFunc(d.Quieted, func(k QuietedSign) bool { return k.Sign == q.Sign || k.Until <= t.at })
	d.Quieted = append(d.Quieted, QuietedSign{Sign: q.Sign, Until: q.Until, By: by})
	t.fact(Fact{Kind: FactSign, Dog: q.Dog + 1, Code: "quieted", Text: string(q.Sign), Number: float64(q.Until), By: by})
	return PracticeDone
}

// hearSign ends a sign's quiet before its date.
func (t *turn) hearSign(by string, q *QuietSign) Reason {
	d := &t.h.Dogs[q.Dog]
	if !d.ignores(q.Sign, t.at) {
		return t.refuse("That sign is not quieted.")
	}
	d.Quieted = slices.DeleteFunc(d.Quieted, func(k QuietedSign) bool { return k.Sign == q.Sign })
	t.fact(Fact{Kind: FactSign, Dog: q.Dog + 1, Code: "heard again", Text: string(q.Sign), By: by})
	return PracticeDone
}

// writeOwner sends staff's own words and hands the conversation to them:
// prompts wait and a lone "2" is not scored, while the screen goes on.
func (t *turn) writeOwner(by string, w *WriteOwner) Reason {
	if w.Contact < 0 || int(w.Contact) >= len(t.h.Contacts) {
		return t.refuse("There is no such contact in this household.")
	}
	c := &t.h.Contacts[w.Contact]
	if w.Text == "" {
		return t.refuse("There is nothing to send.")
	}
	if c.Consent.State == OptedOut {
		return t.refuse(c.Name + " has asked not to be texted. Please ring.")
	}
	id := t.handOver(by, w)
	c.Talk.Handover = t.e.At.Add(t.r.Limits.HandoverFor).Unix()
	t.fact(Fact{Kind: FactWrote, Contact: w.Contact + 1, Text: w.Text, By: by, ID: id})
	return PracticeDone
}

// handOver sends staff's words. Where a question is open, a line before them
// says who writes and that the question waits.
func (t *turn) handOver(by string, w *WriteOwner) string {
	c := &t.h.Contacts[w.Contact]
	o := c.Talk.Open
	if o == nil || isSafety(o.Kind) || c.Consent.State != Agreed || c.Talk.Handover > t.at {
		return t.send(w.Contact, FromPractice, w.Text)
	}
	ctx := t.context(w.Contact, o.Dog)
	ctx.Vars["who"] = t.r.Name
	if p, ok := t.r.Practitioner(by); ok {
		ctx.Vars["who"] = t.locale(ctx.Lang).Someone(p.Name, t.r.Name)
	}
	line := t.r.Scripts.Say("staff", "handover_open", ctx)
	id := t.send(w.Contact, FromPractice, t.r.Scripts.Render(line, c.Lang)+"\n"+w.Text)
	t.fact(Fact{Kind: FactSaid, Contact: w.Contact + 1, Line: &line, ID: id})
	return id
}

// resume gives a conversation back to the scripts.
func (t *turn) resume(by string, r *Resume) Reason {
	if r.Contact < 0 || int(r.Contact) >= len(t.h.Contacts) {
		return t.refuse("There is no such contact in this household.")
	}
	t.h.Contacts[r.Contact].Talk.Handover = 0
	t.endPause(r.Contact, by)
	return PracticeDone
}

// recordConsent keeps a consent given or withdrawn in person or by telephone.
func (t *turn) recordConsent(by string, rc *RecordConsent) Reason {
	if rc.Contact < 0 || int(rc.Contact) >= len(t.h.Contacts) {
		return t.refuse("There is no such contact in this household.")
	}
	if rc.State != Agreed && rc.State != OptedOut && rc.State != Declined {
		return t.refuse("A consent is given, declined or withdrawn.")
	}
	c := &t.h.Contacts[rc.Contact]
	if c.Consent.State == OptedOut && rc.State == Agreed {
		return t.refuse(c.Name + " opted out by text and can only come back by texting START.")
	}
	c.Consent = Consent{State: rc.State, At: t.at, How: rc.How}
	t.fact(Fact{Kind: FactConsent, Contact: rc.Contact + 1, Code: rc.State.String(), Text: rc.How, By: by})
	switch rc.State {
	case Agreed:
		c.Talk.Open = nil
		t.begin(rc.Contact)
	default:
		c.Talk.Open, c.Talk.Suspended, c.Talk.Queue = nil, nil, nil
		t.monitoringEnded(rc.Contact, "asked for the texts to stop")
	}
	return PracticeDone
}
