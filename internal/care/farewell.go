package care

import "fmt"

// deathReported ends every prompt for a dog that has died, with one kind line.
// With several dogs and no name all prompts wait until one gentle question
// settles which.
func (t *turn) deathReported(s *heard) Reason {
	dog := s.dog
	if named := t.namedDog(s.Text); named >= 0 {
		dog = named
	} else if t.followed() > 1 {
		dog = -1
	}
	if dog < 0 && t.followed() > 1 {
		talk := &t.h.Contacts[s.contact].Talk
		talk.Open, talk.Suspended, talk.Queue = nil, nil, nil
		t.interrupt(s.contact, Prompt{Kind: PromptFarewell, Dog: -1, Slot: "farewell", Due: t.at})
		s.dog = -1
		t.keepForPractice(s, Today, "may have lost one of the dogs")
		return DeathReported
	}
	if dog < 0 {
		return t.converse(s)
	}
	t.die(dog, s.contact, "")
	return DeathReported
}

// namedDog is the one dog that a text names, or -1.
func (t *turn) namedDog(text string) int8 {
	found := int8(-1)
	for i := range t.h.Dogs {
		if t.h.Dogs[i].here() && mentions(lower(text), lower(t.h.Dogs[i].Name)) {
			if found >= 0 {
				return -1
			}
			found = int8(i)
		}
	}
	return found
}

// farewellAnswer takes the answer to the question which dog has died.
func (t *turn) farewellAnswer(s *heard, o *Open) {
	t.h.Contacts[s.contact].Talk.Open = nil
	dogs := t.followedDogs()
	v, ok := o.Session.Answer("which_dog")
	if n := int(v.Number); ok && n >= 1 && n <= len(dogs) {
		t.die(dogs[n-1], s.contact, "")
		return
	}
	if named := t.namedDog(s.Text); named >= 0 {
		t.die(named, s.contact, "")
	}
}

// die records a dog's death and tells the practice. by is staff, "" the owner.
func (t *turn) die(dog, contact int8, by string) {
	d := &t.h.Dogs[dog]
	if d.Status == Died {
		return
	}
	t.endDays(dog, "died", by)
	d.Status, d.Ended, d.Hold = Died, t.at, nil
	t.fact(Fact{Kind: FactDied, Dog: dog + 1, By: by})
	for i := range t.h.Contacts {
		t.dropPrompts(int8(i), dog)
	}
	if by == "" && contact >= 0 {
		t.sayStep(contact, dog, ForReply, "farewell", "goodbye")
	}
	t.closeForDeath(dog, by)
	urgency := ForDigest
	if d.treated() {
		urgency = Today
	}
	if by == "" {
		t.raise(evidence{dog: dog, reason: Stopped, urgency: urgency, contact: max(contact, 0),
			sentence: fmt.Sprintf("%s's owner writes that %s has died; all prompts have ended. Undo if this is wrong", d.Name, d.Name)})
	}
}

// closeForDeath closes what was open about a dog; its owner is not to be rung
// about an index. A red flag stays for a person to close.
func (t *turn) closeForDeath(dog int8, by string) {
	for i := range t.h.Alerts {
		a := &t.h.Alerts[i]
		if a.Dog != dog || !a.IsOpen() || a.Reason == RedFlag {
			continue
		}
		a.State, a.Closed, a.Outcome, a.By, a.Tell, a.Ask = ClosedAlert, t.at, DogDied, by, 0, 0
		t.alertFact(a, "closed", "")
	}
}

// dropPrompts takes a dog out of a conversation.
func (t *turn) dropPrompts(contact, dog int8) {
	talk := &t.h.Contacts[contact].Talk
	if talk.Open != nil && talk.Open.Dog == dog {
		talk.Open = nil
	}
	if talk.Suspended != nil && talk.Suspended.Dog == dog {
		talk.Suspended = nil
	}
	var rest []Prompt
	for _, p := range talk.Queue {
		if p.Dog != dog {
			rest = append(rest, p)
		}
	}
	talk.Queue = rest
}

// farewell records a death told to staff, or undoes one recorded in error.
func (t *turn) farewell(by string, f *Farewell) Reason {
	if f.Dog < 0 || int(f.Dog) >= len(t.h.Dogs) {
		return t.refuse("There is no such dog in this household.")
	}
	d := &t.h.Dogs[f.Dog]
	if !f.Undo {
		if d.Status == Died {
			return t.refuse(d.Name + " is already recorded as having died.")
		}
		t.die(f.Dog, t.h.primary(), by)
		return PracticeDone
	}
	if d.Status != Died {
		return t.refuse(d.Name + " is not recorded as having died.")
	}
	d.Status, d.Ended = Followed, 0
	d.Due = nil
	t.schedule(f.Dog)
	t.fact(Fact{Kind: FactDied, Dog: f.Dog + 1, Code: "undone", By: by})
	for i := range t.h.Alerts {
		a := &t.h.Alerts[i]
		if a.Dog == f.Dog && a.Reason == Stopped && a.IsOpen() {
			a.State, a.Closed, a.Outcome, a.By, a.Tell = ClosedAlert, t.at, FalseAlarm, by, 0
			t.alertFact(a, "closed", "undone")
		}
	}
	if p := t.h.primary(); p >= 0 {
		t.sayStep(p, f.Dog, ForReply, "farewell", "undone")
	}
	return PracticeDone
}
