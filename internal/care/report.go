package care

import "fmt"

// CodeLate is the code of a report on a message that we dropped ourselves, past
// its time.
const CodeLate = "late"

// report takes a provider's word on a message. Reports arrive out of order and
// more than once; a fate never moves backwards.
func (t *turn) report(r *Report) Reason {
	var m *Sent
	for i := range t.h.Sent {
		if t.h.MessageID(t.h.Sent[i]) == r.Message {
			m = &t.h.Sent[i]
		}
	}
	if r.OptedOut {
		return t.providerOptOut(r, m)
	}
	if m == nil || r.Fate <= m.Fate {
		return FateStale
	}
	m.Fate, m.Late = r.Fate, r.Code == CodeLate
	if m.Code = ""; m.Undelivered() {
		m.Code = r.Code
	}
	t.fact(Fact{Kind: FactFate, Contact: m.Contact + 1, ID: r.Message, Code: r.Fate.String(), Text: r.Code})
	if r.Fate == Failed {
		t.notDelivered(m, r)
	}
	return FateRecorded
}

// MessageID is the whole id of a message that a household was sent.
func (h *Household) MessageID(s Sent) string { return string(h.ID) + "-" + s.ID }

// Undelivered reports whether a message did not arrive, or may not have.
func (s Sent) Undelivered() bool { return s.Fate == Failed || s.Fate == Unknown }

// rung keeps what staff did about a message that did not arrive.
func (t *turn) rung(by string, r *Rung) Reason {
	for i := range t.h.Sent {
		m := &t.h.Sent[i]
		if t.h.MessageID(*m) != r.Message {
			continue
		}
		if m.Rung != 0 {
			return t.refuse("Somebody has dealt with that message already.")
		}
		m.Rung = t.at
		t.fact(Fact{Kind: FactRung, Contact: m.Contact + 1, ID: r.Message, Text: r.Note, By: by})
		return PracticeDone
	}
	return t.refuse("That message is too old to be followed any more, or there is none.")
}

// String returns the fate as the record keeps it.
func (f Fate) String() string {
	return [...]string{"queued", "unknown", "sent", "failed", "delivered", "read"}[f]
}

// notDelivered acts on a message that did not arrive: a safety reply goes up
// the chain, a dead number means that monitoring has ended.
func (t *turn) notDelivered(m *Sent, r *Report) {
	if a := t.alert(m.Alert); m.Alert != 0 && a != nil && a.Urgency == Now {
		t.notReached(a, "the safety reply was not delivered")
	}
	if t.anotherWay(m, r) {
		return
	}
	switch {
	case r.Dead:
		t.ended(m.Contact, "can't be reached by text: the number takes none")
	case t.failedRunning(m.Contact) >= 2:
		t.ended(m.Contact, fmt.Sprintf("can't be reached by text: %d messages running were not delivered", t.failedRunning(m.Contact)))
	}
}

func (t *turn) ended(contact int8, why string) {
	if int(contact) < len(t.h.Contacts) {
		t.monitoringEnded(contact, why)
	}
}

// failedRunning counts the latest messages to a contact that failed without
// one in between that arrived.
func (t *turn) failedRunning(contact int8) int {
	n := 0
	for i := len(t.h.Sent) - 1; i >= 0; i-- {
		s := t.h.Sent[i]
		if s.Contact != contact || s.Fate < SentOut || s.Late {
			continue
		}
		if s.Fate != Failed {
			break
		}
		n++
	}
	return n
}

// providerOptOut takes the provider's refusal as what it is: the person opted
// out there.
func (t *turn) providerOptOut(r *Report, m *Sent) Reason {
	contact := int8(0)
	if m != nil {
		contact, m.Fate, m.Code = m.Contact, Failed, r.Code
	}
	if int(contact) >= len(t.h.Contacts) {
		return FateStale
	}
	c := &t.h.Contacts[contact]
	if c.Consent.State == OptedOut {
		return FateRecorded
	}
	c.Consent = Consent{State: OptedOut, At: t.at, How: "at the provider"}
	t.fact(Fact{Kind: FactConsent, Contact: contact + 1, Code: OptedOut.String(), Text: "at the provider", ID: r.Message})
	t.leave(contact)
	t.monitoringEnded(contact, "opted out at the provider")
	if m != nil && m.Alert != 0 {
		if a := t.alert(m.Alert); a != nil && a.Urgency == Now {
			t.notReached(a, "the safety reply was not delivered")
		}
	}
	return FateRecorded
}
