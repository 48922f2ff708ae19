package care

import "gaitpost/internal/signs"

// WhichDog is a question that was put to an owner of several dogs: whose sign
// it was.
type WhichDog struct {
	Alert   uint16 `cbor:"1,keyasint"`
	Contact int8   `cbor:"2,keyasint,omitempty"`
	At      int64  `cbor:"3,keyasint"`
}

// whichDogWithin is how long a dog's name answers the question.
const whichDogWithin = 2 * day

// asksWhichDog reports whether a sign could be any of several dogs', and the
// owner may be asked. In an emergency nothing is asked: they are to ring.
func (t *turn) asksWhichDog(s *heard) bool {
	return s.dog < 0 && t.followed() > 1 && s.finding.Urgency == signs.SameDay && !s.finding.Ask &&
		!s.optsOut() && t.h.Contacts[s.contact].Consent.State == Agreed
}

// toldWhichDog takes a message that names one dog as the answer whose sign it
// was: the alert becomes that dog's, and what its plan says follows. It reports
// whether the message was such an answer and nothing else.
func (t *turn) toldWhichDog(s *heard) bool {
	w := t.h.WhichDog
	if w == nil || w.Contact != s.contact || t.at-w.At > whichDogWithin {
		return false
	}
	dog := t.namedDog(s.Text)
	if dog < 0 || s.finding.Urgency != signs.None {
		return false
	}
	t.h.WhichDog = nil
	a := t.alert(w.Alert)
	if a == nil || !a.IsOpen() || a.Dog >= 0 {
		return false
	}
	s.dog = dog
	t.itIs(a, s)
	return true
}

// itIs gives an alert its dog. Where that dog has one of the same reason open
// already, the evidence joins it and the nameless one ends.
func (t *turn) itIs(a *Alert, s *heard) {
	about := *s
	about.finding.Signs = a.Signs
	said := "; it is " + t.h.Dogs[s.dog].Name
	for i := range t.h.Alerts {
		if b := &t.h.Alerts[i]; b.Dog == s.dog && b.Reason == a.Reason && b.IsOpen() {
			joined := evidence{dog: s.dog, reason: a.Reason, urgency: a.Urgency, sentence: a.Sentence + said, signs: a.Signs, contact: s.contact}
			a.State, a.Closed, a.Outcome, a.Tell = ClosedAlert, t.at, NoAction, 0
			t.alertFact(a, "closed", "one with the alert of "+t.h.Dogs[s.dog].Name)
			t.join(b, joined)
			t.sayWhose(&about)
			t.hold(b, &about)
			return
		}
	}
	a.Dog, a.Sentence, a.Updated = s.dog, a.Sentence+said, t.at
	t.alertFact(a, "asked", "")
	t.signFacts(&about)
	t.sayWhose(&about) // first: what is held is not being taken
	t.hold(a, &about)
}

// sayWhose thanks the owner, with what the plan of that dog asks for.
func (t *turn) sayWhose(s *heard) {
	ctx := t.context(s.contact, s.dog)
	ctx.Vars["reads"] = t.reads(ctx.Lang)
	lines := t.nextDose(s)
	t.say(s.contact, ForSafety, append(lines, t.r.Scripts.Say("safety", "told_which_dog", ctx))...)
}
