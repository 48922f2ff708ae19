package care

import (
	"slices"
	"time"
)

// longestHold is how far ahead a pause may end.
const longestHold = 366 * day

// Hold is a pause that the practice made: of a dog, or of the texts to one
// person.
type Hold struct {
	Since  int64  `cbor:"1,keyasint"`
	Until  int64  `cbor:"2,keyasint"`
	Reason string `cbor:"3,keyasint,omitempty"`
	By     string `cbor:"4,keyasint,omitempty"`
	// Tell: the owner is told once quiet hours are over.
	Tell bool `cbor:"5,keyasint,omitempty"`
}

// HoldDog pauses a dog until a date; Until 0 goes on at once.
type HoldDog struct {
	Dog    int8   `cbor:"1,keyasint"`
	Until  int64  `cbor:"2,keyasint,omitempty"`
	Reason string `cbor:"3,keyasint,omitempty"`
}

// PauseTexts leaves one person in peace until a date; Until 0 goes on at once.
type PauseTexts struct {
	Contact int8   `cbor:"1,keyasint"`
	Until   int64  `cbor:"2,keyasint,omitempty"`
	Reason  string `cbor:"3,keyasint,omitempty"`
}

// here reports whether a dog is one that messages may be about: a paused one is
// still screened and still raises what cannot wait.
func (d *Dog) here() bool { return d.Status == Followed || d.Status == OnHold }

// holdRefusal says why a pause can't be, "" where it can.
func (t *turn) holdRefusal(until int64, reason string) string {
	switch {
	case until <= t.at:
		return "The end of a pause has to lie in the future."
	case until > t.at+longestHold:
		return "A pause can last a year at most."
	case reason == "":
		return "Please say why, for whoever reads this later."
	}
	return ""
}

// holdDog pauses a dog, changes when the pause ends, or ends it.
func (t *turn) holdDog(by string, p *HoldDog) Reason {
	d := &t.h.Dogs[p.Dog]
	if !d.here() {
		return t.refuse(d.Name + " is not followed any more.")
	}
	if p.Until == 0 {
		if d.Status != OnHold {
			return t.refuse(d.Name + " is not paused.")
		}
		t.resumeDog(p.Dog, by, t.e.At)
		return PracticeDone
	}
	if refusal := t.holdRefusal(p.Until, p.Reason); refusal != "" {
		return t.refuse(refusal)
	}
	hold := Hold{Since: t.at, Until: p.Until, Reason: p.Reason, By: by}
	begins := d.Status == Followed
	if !begins && d.Hold != nil {
		hold.Since, hold.Tell = d.Hold.Since, d.Hold.Tell
	}
	d.Status, d.Hold, d.Missed = OnHold, &hold, 0
	t.fact(Fact{Kind: FactSetting, Dog: p.Dog + 1, Code: "paused", Text: p.Reason, Number: float64(p.Until), By: by})
	t.placeAllAgain(d, time.Unix(p.Until, 0))
	if begins {
		for i := range t.h.Contacts {
			t.takeBack(int8(i), p.Dog)
		}
		d.Hold.Tell = true
		t.tellHeld(p.Dog)
	}
	return PracticeDone
}

// resumeDog lets a dog's prompts go on with the next regular one after an
// instant; "" by is the date that was set.
func (t *turn) resumeDog(dog int8, by string, after time.Time) {
	d := &t.h.Dogs[dog]
	d.Status, d.Hold, d.Missed = Followed, nil, 0
	t.fact(Fact{Kind: FactSetting, Dog: dog + 1, Code: "resumed", By: by})
	if by != "" { // before its date: the prompts were placed after that
		t.placeAllAgain(d, after)
	}
	if t.h.primary() >= 0 {
		t.schedule(dog)
	}
}

// placeAllAgain moves the prompts that would fall due before an instant, or
// that had been moved away, to their first time after it.
func (t *turn) placeAllAgain(d *Dog, after time.Time) {
	for _, k := range OwnCadences {
		if d.due(k).At != noDue {
			t.placeAgain(d, k, after)
		}
	}
	t.scheduleSignsOnly(d)
}

// takeBack takes a dog out of a conversation without a word about what was
// asked. What was answered already counts; safety questions stay.
func (t *turn) takeBack(contact, dog int8) {
	talk := &t.h.Contacts[contact].Talk
	if o := talk.Open; o != nil && o.Dog == dog && !isSafety(o.Kind) {
		talk.Open = nil
		t.keepAnswered(contact, o)
	}
	if o := talk.Suspended; o != nil && o.Dog == dog && !isSafety(o.Kind) {
		talk.Suspended = nil
		t.keepAnswered(contact, o)
	}
	talk.Queue = slices.DeleteFunc(talk.Queue, func(p Prompt) bool { return p.Dog == dog && !isSafety(p.Kind) })
}

// isSafety reports whether a dialog belongs to a sign or a death: no pause
// takes it away.
func isSafety(k PromptKind) bool {
	return k == PromptReached || k == PromptSignCheck || k == PromptFarewell
}

// keepAnswered ends a dialog that the practice took away. Nobody has failed to
// answer it.
func (t *turn) keepAnswered(contact int8, o *Open) {
	switch o.Kind {
	case PromptCheckIn:
		if items, _ := itemsOf(o.Session); answered(items) {
			t.checkInDone(contact, o, true)
		}
	case PromptReassessment:
		t.reassessed(contact, o)
	}
	t.note(FactPrompt, o.Dog, "withdrawn", o.Slot)
}

// tellHeld tells the owner of a dog's pause, once quiet hours are over. It
// reports whether it did.
func (t *turn) tellHeld(dog int8) bool {
	d, p := &t.h.Dogs[dog], t.h.primary()
	if d.Hold == nil || !d.Hold.Tell || p < 0 || t.outsideQuiet(&t.h.Contacts[p], t.at) > t.at {
		return false
	}
	hold := *d.Hold
	hold.Tell = false
	d.Hold = &hold
	t.sayStep(p, dog, ForReply, "staff", "paused_dog")
	return true
}

// tickHold ends the pause of a dog whose date has come, and tells of one that
// began in quiet hours.
func (t *turn) tickHold(dog int8) Reason {
	d := &t.h.Dogs[dog]
	if d.Status != OnHold || d.Hold == nil {
		return ""
	}
	if d.Hold.Until <= t.at {
		t.resumeDog(dog, "", t.e.At)
		return PauseEnded
	}
	if t.tellHeld(dog) {
		return Prompted
	}
	return ""
}

// nextOfHold is when a paused dog needs to be looked at.
func (t *turn) nextOfHold(d *Dog, consider func(int64)) {
	if d.Status != OnHold || d.Hold == nil {
		return
	}
	consider(d.Hold.Until)
	if p := t.h.primary(); p >= 0 && d.Hold.Tell {
		consider(t.outsideQuiet(&t.h.Contacts[p], t.at))
	}
}

// pauseTexts leaves a person in peace until a date. Questions that are open
// are taken back, and what would fall due meanwhile is left out.
func (t *turn) pauseTexts(by string, p *PauseTexts) Reason {
	if p.Contact < 0 || int(p.Contact) >= len(t.h.Contacts) {
		return t.refuse("There is no such contact in this household.")
	}
	c := &t.h.Contacts[p.Contact]
	if p.Until == 0 {
		if c.Talk.Paused <= t.at {
			return t.refuse(c.Name + "'s texts are not paused.")
		}
		t.endPause(p.Contact, by)
		return PracticeDone
	}
	if refusal := t.holdRefusal(p.Until, p.Reason); refusal != "" {
		return t.refuse(refusal)
	}
	if c.Consent.State != Agreed {
		return t.refuse(c.Name + " is not being texted.")
	}
	begins := c.Talk.Paused <= t.at
	c.Talk.Paused = p.Until
	c.Hold = &Hold{Since: t.at, Until: p.Until, Reason: p.Reason, By: by}
	t.fact(Fact{Kind: FactSetting, Contact: p.Contact + 1, Code: "texts paused", Text: p.Reason, Number: float64(p.Until), By: by})
	for i := range t.h.Dogs {
		t.takeBack(p.Contact, int8(i))
		t.leaveOut(p.Contact, int8(i), time.Unix(p.Until, 0))
	}
	if begins && t.outsideQuiet(c, t.at) <= t.at {
		t.sayStep(p.Contact, -1, ForReply, "staff", "paused")
	}
	return PracticeDone
}

// leaveOut places a dog's prompts after an instant, where they go to this
// person.
func (t *turn) leaveOut(contact, dog int8, after time.Time) {
	d := &t.h.Dogs[dog]
	if d.Status != Followed || t.h.primary() != contact {
		return
	}
	d.Missed = 0
	t.placeAllAgain(d, after)
}

// endPause goes on texting a person: with the next regular prompt where the
// practice had made the pause.
func (t *turn) endPause(contact int8, by string) {
	c := &t.h.Contacts[contact]
	if c.Talk.Paused > t.at {
		t.fact(Fact{Kind: FactSetting, Contact: contact + 1, Code: "texts resumed", By: by})
		if c.Hold != nil && c.Hold.Until == c.Talk.Paused {
			for i := range t.h.Dogs {
				t.leaveOut(contact, int8(i), t.e.At)
			}
		}
	}
	c.Talk.Paused, c.Hold = 0, nil
}
