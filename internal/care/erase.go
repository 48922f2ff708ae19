package care

import (
	"strings"
	"time"

	"gaitpost/internal/contact"
)

// DefaultKeepYears is how long a clinical record is kept after an erasure where
// the clinic sets nothing: common practice, no source. Local rules come first.
const DefaultKeepYears = 7

// Erasure takes an owner's contacts and all messaging away. It can't be undone.
type Erasure struct {
	Why string `cbor:"1,keyasint"` // as the owner may read it
	// At and Until are set where an earlier erasure is made again, after a backup
	// was restored: when it was asked for, and until when the record is kept.
	At    int64 `cbor:"2,keyasint,omitempty"`
	Until int64 `cbor:"3,keyasint,omitempty"`
}

// Erased says that a household's contacts are gone, and until when its clinical
// record is kept.
type Erased struct {
	At    int64  `cbor:"1,keyasint"`
	Until int64  `cbor:"2,keyasint"`
	By    string `cbor:"3,keyasint,omitempty"`
	Why   string `cbor:"4,keyasint,omitempty"`
}

// theOwner stands wherever a name was.
const theOwner = "the owner"

// keepUntil is the retention date of a record whose owner asks at an instant.
func (r *Rules) keepUntil(at time.Time) int64 {
	years := r.KeepYears
	if years <= 0 {
		years = DefaultKeepYears
	}
	return at.AddDate(years, 0, 0).Unix()
}

// KeptUntil is when a record goes whose owner's contacts are erased at an instant.
func (r *Rules) KeptUntil(at time.Time) time.Time { return time.Unix(r.keepUntil(at), 0).UTC() }

// erase removes the contacts. Places in the list stay, since the record counts
// by them; what was in them goes. Nothing is sent.
func (t *turn) erase(by string, e *Erasure) Reason {
	switch {
	case t.h.Erased != nil:
		return t.refuse("The contacts of this household are erased already.")
	case strings.TrimSpace(e.Why) == "":
		return t.refuse("Please say why the contacts are erased; the owner may read it.")
	}
	gone := Erased{At: t.at, Until: t.r.keepUntil(t.e.At), By: by, Why: e.Why}
	if e.At != 0 {
		gone.At, gone.Until = e.At, e.Until
	}
	names := t.h.Names()
	for i := range t.h.Contacts {
		t.h.Contacts[i] = Contact{Person: t.h.Contacts[i].Person, Consent: Consent{State: Retired, At: t.at, How: "erased"}}
	}
	for i := range t.h.Alerts {
		a := &t.h.Alerts[i]
		a.Sentence, a.Ask = withoutNames(a.Sentence, names), 0
	}
	for i := range t.h.Sent {
		t.h.Sent[i].Lines = nil
	}
	t.h.Floods, t.h.Opened, t.h.WhichDog, t.h.Erased = nil, nil, nil, &gone
	t.fact(Fact{Kind: FactConsent, Contact: 1, Code: "erased", Text: e.Why, By: by, Number: float64(gone.Until)})
	return PracticeDone
}

// anew takes up a household whose contacts were erased, on a new consent.
func (t *turn) anew(p *Practice) Reason {
	if t.h.Erased == nil {
		return ""
	}
	if strings.TrimSpace(p.Anew) == "" {
		return t.refuse("This owner's contacts were erased on their request. Enrol again only with a new consent, and say how it was given.")
	}
	t.h.Erased = nil
	if len(t.h.Contacts) > 0 {
		t.h.Contacts[0] = Contact{ID: p.Enrol.Owner.ID, Address: p.Enrol.Owner.Address}
	}
	t.fact(Fact{Kind: FactConsent, Contact: 1, Code: "came back", Text: p.Anew, By: p.By})
	return ""
}

// needsContact reports what can't be done for a household without contacts.
func (p *Practice) needsContact() bool {
	return p.Write != nil || p.Resume != nil || p.Pause != nil || p.Consent != nil || p.Contact != nil || p.Join != nil
}

// fromErased takes a message from a number whose contacts were erased, as from
// any stranger: it is screened, an emergency is answered, and the number isn't kept.
func (t *turn) fromErased(m *MessageIn) Reason {
	if len(t.h.Contacts) == 0 {
		t.h.Contacts = []Contact{{}}
	}
	was := t.h.Contacts[0]
	t.h.Contacts[0] = Contact{Address: m.From, Via: m.Via, Consent: was.Consent}
	t.fact(Fact{Kind: FactWords, Contact: 1, Text: m.Text, ID: m.ID})
	reason := t.stranger(t.listen(0, m))
	t.h.Contacts[0] = was
	return reason
}

// Names are those by which the household's people are known, longest first.
func (h *Household) Names() []string {
	var names []string
	for _, c := range h.Contacts {
		if c.Name != "" {
			names = append(names, c.Name)
		}
	}
	return names
}

// withoutNames takes names out of a sentence of ours.
func withoutNames(s string, names []string) string {
	for _, n := range names {
		s = strings.ReplaceAll(s, n, theOwner)
	}
	return s
}

// WithoutContacts takes a household's names and numbers off a line, and reports
// whether there were any.
func (l *Line) WithoutContacts(id contact.ID, names []string) bool {
	any := false
	for i := range l.Numbers {
		item := &l.Numbers[i].Item
		if item.Household == id && (item.Owner != "" || item.Phone != "") {
			any = true
			item.Owner, item.Phone, item.Sentence = "", "", withoutNames(item.Sentence, names)
		}
	}
	return any
}

// WithoutContacts is an event as it is kept once contacts are erased: no address,
// no name, no code. What people wrote stays: names and numbers within it can't be
// found by a machine.
func (e Event) WithoutContacts() Event {
	if e.Message != nil {
		m := *e.Message
		m.From, m.Joiner = contact.Address{}, ""
		m.Refs = nil // a picture of a home can show whose it is
		e.Message = &m
	}
	if e.Practice == nil {
		return e
	}
	p := *e.Practice
	if p.Enrol != nil {
		enrol := *p.Enrol
		enrol.Owner = Owner{Lang: enrol.Owner.Lang, Via: enrol.Owner.Via}
		p.Enrol = &enrol
	}
	if p.Contact != nil {
		p.Contact = &NewContact{Of: p.Contact.Of, Via: p.Contact.Via, Replace: p.Contact.Replace, AskOld: p.Contact.AskOld}
	}
	if p.Join != nil {
		p.Join = &Join{Contact: p.Join.Contact, Via: p.Join.Via, Until: p.Join.Until}
	}
	e.Practice = &p
	return e
}

// WithoutNames are facts as they are kept once contacts are erased: our own
// sentences without the names, what people wrote as it is.
func WithoutNames(facts []Fact, names []string) []Fact {
	out := make([]Fact, len(facts))
	for i, f := range facts {
		if f.Kind == FactAlert {
			f.Text = withoutNames(f.Text, names)
		}
		if f.Line != nil {
			line := *f.Line
			line.Vars = varsWithout(line.Vars, names)
			f.Line = &line
		}
		out[i] = f
	}
	return out
}

func varsWithout(vars map[string]string, names []string) map[string]string {
	if vars == nil {
		return nil
	}
	out := make(map[string]string, len(vars))
	for k, v := range vars {
		switch k {
		case "link":
			v = ""
		case "owner":
			v = theOwner
		default:
			for _, n := range names {
				if v == n {
					v = theOwner
				}
			}
		}
		out[k] = v
	}
	return out
}
