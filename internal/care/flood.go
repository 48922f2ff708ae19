package care

import (
	"fmt"
	"slices"

	"gaitpost/internal/signs"
)

// Flooded is the reason of a message that was one too many: it is kept and was
// screened like any other, and nothing answered it.
const Flooded Reason = "flooded"

// Flood is the token bucket of one contact's messages. It lies in the household,
// so that it is one for all processes and costs no trip of its own.
type Flood struct {
	Contact int8  `cbor:"1,keyasint"`
	Full    int64 `cbor:"2,keyasint"` // when the bucket is full again, Unix seconds
	// Told: the practice was told of this flood.
	Told bool `cbor:"3,keyasint,omitempty"`
}

// admit takes one token from a contact's bucket and reports whether there was
// one. A bucket that is full again is forgotten.
func (t *turn) admit(contact int8) bool {
	size, each := int64(t.r.Limits.FloodBurst), int64(t.r.Limits.FloodRefill.Seconds())
	if size <= 0 {
		return true // switched off
	}
	t.h.Floods = slices.DeleteFunc(slices.Clone(t.h.Floods), func(f Flood) bool { return f.Full <= t.at })
	f := t.flood(contact)
	if f == nil {
		t.h.Floods = append(t.h.Floods, Flood{Contact: contact, Full: t.at})
		f = &t.h.Floods[len(t.h.Floods)-1]
	}
	if f.Full+each > t.at+size*each {
		return false
	}
	f.Full += each
	return true
}

func (t *turn) flood(contact int8) *Flood {
	for i := range t.h.Floods {
		if t.h.Floods[i].Contact == contact {
			return &t.h.Floods[i]
		}
	}
	return nil
}

// heedAnyway reports what is answered however many messages came before: signs,
// a death, despair, and whoever wants the texts to stop.
func (s *heard) heedAnyway() bool {
	f := &s.finding
	return f.Urgency != signs.None || f.Person || f.Death || s.comfort() || s.optsOut()
}

// flooded keeps a message that was one too many, and tells the practice of the
// first one.
func (t *turn) flooded(s *heard) Reason {
	f := t.flood(s.contact)
	if f.Told {
		return Flooded
	}
	f.Told = true
	who := t.h.Contacts[s.contact].Name
	if t.h.Stranger || who == "" {
		who = "a number that is not enrolled"
	}
	t.raise(evidence{dog: -1, reason: Question, urgency: Today, contact: s.contact, sentence: fmt.Sprintf(
		"%s has sent more than %d messages in a short time. What comes now is kept and watched for danger signs, and not answered; the last one: %s",
		who, t.r.Limits.FloodBurst, quote(s.Text))})
	return Flooded
}
