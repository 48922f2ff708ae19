package care

import (
	"strings"

	"gaitpost/dialog/answer"
)

// setConsent keeps who agreed to what, when, how and in which words.
func (t *turn) setConsent(s *heard, state ConsentState) {
	c := &t.h.Contacts[s.contact]
	c.Consent = Consent{State: state, At: t.at, Words: quote(s.Text), Message: s.ID, How: "text"}
	t.fact(Fact{Kind: FactConsent, Contact: s.contact + 1, Code: state.String(), Text: s.Text, ID: s.ID})
}

// String returns the state as the record keeps it.
func (s ConsentState) String() string {
	return [...]string{"not invited", "invited", "agreed", "declined", "opted out", "no longer used"}[s]
}

// optOut ends everything automatic to a contact. One confirmation goes out,
// unless the provider has answered the word itself or an emergency reply said
// what is to be said.
func (t *turn) optOut(s *heard) Reason {
	c := &t.h.Contacts[s.contact]
	if c.Consent.State == OptedOut {
		return OptOut
	}
	t.setConsent(s, OptedOut)
	if s.control == answer.ControlOptOutAll {
		t.stopEverywhere(s)
	}
	elsewhere := t.leave(s.contact)
	if s.ProviderOptOut == "" && s.finding.Urgency == 0 {
		t.say(s.contact, ForOptOut, t.optedOutLine(s.contact, elsewhere))
	}
	t.monitoringEnded(s.contact, "asked for the texts to stop")
	return OptOut
}

// monitoringEnded tells the practice that nobody reports on these dogs any
// more; the same day where one is on a medicine.
func (t *turn) monitoringEnded(contact int8, why string) {
	if t.h.primary() >= 0 && t.h.primary() != contact {
		return // somebody else of the household goes on answering
	}
	for i := range t.h.Dogs {
		d := &t.h.Dogs[i]
		if !d.here() {
			continue
		}
		u := ForDigest
		if d.treated() {
			u = Today
		}
		t.raise(evidence{dog: int8(i), reason: Stopped, urgency: u, contact: contact,
			sentence: t.h.Contacts[contact].Name + " " + why + "; no check-ins come in any more"})
	}
}

// optIn brings back somebody who had opted out or declined. A yes in the
// middle of a dialog is an answer, not an opt-in.
func (t *turn) optIn(s *heard) Reason {
	c := &t.h.Contacts[s.contact]
	if c.Consent.State == Agreed || c.Consent.State == Invited {
		return t.converse(s)
	}
	t.setConsent(s, Agreed)
	if s.ProviderOptOut == "" {
		t.sayStep(s.contact, -1, ForReply, "help", "start_confirmed")
	}
	t.begin(s.contact)
	return OptIn
}

// help answers HELP in every state, after an opt-out too. INFO in the middle of
// a check-in is about answering it.
func (t *turn) help(s *heard) Reason {
	step := "help"
	if t.h.Contacts[s.contact].Talk.Open != nil && lower(strings.Trim(s.Text, " .?!")) == "info" {
		step = "info"
	}
	if s.ProviderOptOut == "" {
		t.say(s.contact, ForReply, t.line(s, "help", step))
	}
	return HelpGiven
}

// invitationAnswer takes the answer to the invitation.
func (t *turn) invitationAnswer(s *heard, agree bool) Reason {
	if !agree {
		t.setConsent(s, Declined)
		t.keepForPractice(s, ForDigest, "declined the check-ins")
		return ConsentRefused
	}
	t.setConsent(s, Agreed)
	t.begin(s.contact)
	return ConsentGiven
}

// begin starts a contact's prompts. Where no check-in stands yet the first one
// follows at once: it is the "before" that everything is compared with.
func (t *turn) begin(contact int8) {
	if t.h.primary() != contact {
		return
	}
	for i := range t.h.Dogs {
		d := &t.h.Dogs[i]
		if d.Status != Followed {
			continue
		}
		t.schedule(int8(i))
		if _, any := d.Course.Last(); d.Done == 0 && !any {
			t.h.Contacts[contact].Talk.Queue = append(t.h.Contacts[contact].Talk.Queue,
				Prompt{Kind: PromptCheckIn, Dog: int8(i), Slot: slot(PromptCheckIn, int8(i), t.today()), Due: t.at})
			t.advance(int8(i), PromptCheckIn)
		}
	}
	t.openNext(contact, ForReply)
}

// invite sends the invitation, once.
func (t *turn) invite(contact int8) {
	c := &t.h.Contacts[contact]
	if c.Consent.State != NotInvited {
		return
	}
	c.Consent.State, c.Consent.At = Invited, t.at
	t.fact(Fact{Kind: FactConsent, Contact: contact + 1, Code: Invited.String()})
	dog, _ := t.onlyDog()
	p := Prompt{Kind: PromptInvitation, Dog: dog, Slot: "invitation", Due: t.at}
	if t.outsideQuiet(c, t.at) > t.at { // it waits for the morning like everything automatic
		c.Talk.Queue = insertPrompt(c.Talk.Queue, p)
		return
	}
	t.openPrompt(contact, p, ForPrompt)
}
