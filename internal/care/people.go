package care

import (
	"strings"

	"gaitpost/dialog"
	"gaitpost/internal/contact"
)

// MaxContacts is how many addresses a household may have.
const MaxContacts = 8

// linkNotKept stands in the record in place of a link.
const linkNotKept = "(a link that only they were sent)"

// joinFor is how long an invitation to join on another channel may be taken, in
// seconds.
const joinFor = 7 * day

// NewContact gives a person of the household another address, or brings in a
// further person.
type NewContact struct {
	// Of is a contact of the person whose address it is, -1 for a further person.
	Of      int8            `cbor:"1,keyasint"`
	Address contact.Address `cbor:"2,keyasint"`
	ID      contact.ID      `cbor:"3,keyasint"`
	Via     string          `cbor:"4,keyasint"`           // the clinic's channel name
	Name    string          `cbor:"5,keyasint,omitempty"` // of a further person
	Lang    string          `cbor:"6,keyasint,omitempty"`
	// Replace: the address named by Of is not used any more.
	Replace bool `cbor:"7,keyasint,omitempty"`
	// AskOld: the person is asked at the old address first. Without it the
	// practice vouches for the new one.
	AskOld bool `cbor:"8,keyasint,omitempty"`
}

// Join invites a person to join on another channel by a code that only they are
// sent.
type Join struct {
	Contact int8   `cbor:"1,keyasint"`
	Code    string `cbor:"2,keyasint"` // from NewJoinCode
	Via     string `cbor:"3,keyasint"` // the clinic's channel to join on
	// Link is what the person opens; it is sent and not kept.
	Link  string `cbor:"4,keyasint,omitempty"`
	Until int64  `cbor:"5,keyasint,omitempty"` // set by the turn
}

// person is the first contact of whose address i is.
func (h *Household) person(i int8) int8 {
	if p := h.Contacts[i].Person; p != 0 {
		return int8(p - 1)
	}
	return i
}

// PersonOf is the first contact of the person whose address contact i is.
func (h *Household) PersonOf(i int8) int8 { return h.person(i) }

// TalksAt reports whether the conversation with the person of contact i goes on
// at that address: it is where we write to them.
func (h *Household) TalksAt(i int8) bool { return h.current(h.person(i)) == i }

// Rings is the number at which the person of contact i can be rung: that address
// where it is a telephone number, else another one of theirs, the newest first.
// "" where none is known; a chat can't be rung.
func (h *Household) Rings(i int8) string {
	if a := h.Contacts[i].Address; isNumber(a) {
		return a.Value
	}
	for k := len(h.Contacts) - 1; k >= 0; k-- {
		c := &h.Contacts[k]
		if h.person(int8(k)) == h.person(i) && isNumber(c.Address) && c.Consent.State != Retired {
			return c.Address.Value
		}
	}
	return ""
}

func isNumber(a contact.Address) bool {
	return a.Channel == contact.SMS || a.Channel == contact.WhatsApp
}

// current is the address at which a person is talked to: of those they agreed
// to, the one where they last wrote; -1 for none.
func (h *Household) current(person int8) int8 {
	best := int8(-1)
	for i := range h.Contacts {
		c := &h.Contacts[i]
		if c.Consent.State != Agreed || h.person(int8(i)) != person {
			continue
		}
		if best < 0 || c.Chosen > h.Contacts[best].Chosen {
			best = int8(i)
		}
	}
	return best
}

// nextWay is another address of the same person that messages may go to, -1 for
// none.
func (h *Household) nextWay(i int8) int8 {
	best := int8(-1)
	for k := range h.Contacts {
		c := &h.Contacts[k]
		if int8(k) == i || c.Consent.State != Agreed || h.person(int8(k)) != h.person(i) {
			continue
		}
		if best < 0 || c.Chosen > h.Contacts[best].Chosen {
			best = int8(k)
		}
	}
	return best
}

// moveTo lets a conversation go on where its person now writes.
func (t *turn) moveTo(to int8) {
	if t.h.Contacts[to].Consent.State != Agreed {
		return // an address that they stopped stays stopped
	}
	from := t.h.current(t.h.person(to))
	if from < 0 || from == to {
		return
	}
	t.carry(from, to)
}

// carry moves a conversation from one address of a person to another.
func (t *turn) carry(from, to int8) {
	a, b := &t.h.Contacts[from], &t.h.Contacts[to]
	heard := b.Talk.LastIn
	sent := b.Talk.LastOut
	b.Talk, a.Talk = a.Talk, Conversation{LastIn: a.Talk.LastIn, LastOut: a.Talk.LastOut}
	b.Talk.LastIn, b.Talk.LastOut = heard, sent
	b.Hold, a.Hold = a.Hold, nil
	b.Chosen = max(t.at, a.Chosen+1)
	t.fact(Fact{Kind: FactConsent, Contact: to + 1, Code: "moved", Text: string(a.Address.Channel) + " to " + string(b.Address.Channel)})
}

// leave ends what is automatic at an address. Where its person has another, the
// conversation goes on there; it returns that address, or -1.
func (t *turn) leave(i int8) int8 {
	next := t.h.nextWay(i)
	if next >= 0 {
		if t.h.Contacts[i].Talk.Open != nil || len(t.h.Contacts[i].Talk.Queue) > 0 || t.h.Contacts[i].Talk.Suspended != nil {
			t.carry(i, next)
		}
		return next
	}
	talk := &t.h.Contacts[i].Talk
	talk.Open, talk.Suspended, talk.Queue = nil, nil, nil
	return -1
}

// stopEverywhere takes a STOP ALL for every address of the person.
func (t *turn) stopEverywhere(s *heard) {
	for k := range t.h.Contacts {
		c := &t.h.Contacts[k]
		if int8(k) == s.contact || t.h.person(int8(k)) != t.h.person(s.contact) || c.Consent.State != Agreed && c.Consent.State != Invited {
			continue
		}
		c.Consent = Consent{State: OptedOut, At: t.at, Words: quote(s.Text), Message: s.ID, How: "by a stop for all channels"}
		c.Talk.Open, c.Talk.Suspended, c.Talk.Queue = nil, nil, nil
		t.fact(Fact{Kind: FactConsent, Contact: int8(k) + 1, Code: OptedOut.String(), Text: s.Text, ID: s.ID})
	}
}

// optedOutLine confirms an opt-out, and says where the person is still written
// to.
func (t *turn) optedOutLine(at, elsewhere int8) dialog.Line {
	ctx := t.context(at, -1)
	if elsewhere < 0 {
		return t.r.Scripts.Say("help", "stop_confirmed", ctx)
	}
	ctx.Vars["channel"] = t.locale(ctx.Lang).Channel(channelName(t.h.Contacts[elsewhere].Address.Channel))
	return t.r.Scripts.Say("help", "stop_here", ctx)
}

// channelName is what owners call a channel.
func channelName(c contact.Channel) string {
	switch c {
	case contact.WhatsApp:
		return "WhatsApp"
	case contact.Telegram:
		return "Telegram"
	default:
		return "text"
	}
}

// tailOf is as much of an address as its owner needs to know it by.
func tailOf(a contact.Address) string { return strings.TrimPrefix(contact.Mask(a), "…") }

// newContact adds an address, at once or after a yes from the old one.
func (t *turn) newContact(by string, n *NewContact) Reason {
	switch {
	case n.Address.IsZero() || n.ID == "" || n.Via == "":
		return t.refuse("A new contact needs its address and the channel it is on.")
	case t.h.contactOf(n.Address) >= 0:
		return t.refuse("That address is in this household already.")
	case len(t.h.Contacts) >= MaxContacts:
		return t.refuse("A household has at most 8 addresses.")
	case n.Of >= int8(len(t.h.Contacts)) || n.Of < -1:
		return t.refuse("There is no such contact in this household.")
	case n.Of < 0 && n.Name == "":
		return t.refuse("A further person needs a name.")
	}
	if n.Of < 0 {
		i := t.addContact(Contact{ID: n.ID, Address: n.Address, Via: n.Via, Name: n.Name, Lang: n.Lang})
		t.fact(Fact{Kind: FactConsent, Contact: i + 1, Code: "added", Text: "another person", By: by})
		t.invite(i)
		return PracticeDone
	}
	old := &t.h.Contacts[n.Of]
	if !n.AskOld {
		t.addAddress(n, "vouched for by the practice", by)
		return PracticeDone
	}
	if old.Consent.State != Agreed {
		return t.refuse(old.Name + " can't be asked at the old address: no texts may go there.")
	}
	pending := *n
	old.Pending = &pending
	t.fact(Fact{Kind: FactConsent, Contact: n.Of + 1, Code: "asked about a new address", By: by})
	t.openPrompt(n.Of, Prompt{Kind: PromptNewContact, Dog: -1, Slot: "newcontact", Due: t.at}, ForReply)
	return PracticeDone
}

// oldAddressAnswered takes the answer to whether a new address is theirs.
func (t *turn) oldAddressAnswered(at int8, o *Open) {
	c := &t.h.Contacts[at]
	n := c.Pending
	c.Pending = nil
	v, ok := o.Session.Answer("theirs")
	switch {
	case n == nil:
	case ok && v.Yes:
		t.addAddress(n, "confirmed from the old address", "")
	default:
		t.raise(evidence{dog: -1, reason: Question, urgency: Today, contact: at,
			sentence: c.Name + " says that the new address is not theirs; nothing was changed"})
	}
}

// addContact adds one and returns its index.
func (t *turn) addContact(c Contact) int8 {
	t.h.Contacts = append(t.h.Contacts, c)
	return int8(len(t.h.Contacts) - 1)
}

// addAddress adds another address of a person. Their consent comes with it:
// they are the same person, and the first line there says how to stop.
func (t *turn) addAddress(n *NewContact, how, by string) {
	person := t.h.person(n.Of)
	p := t.h.Contacts[person]
	agreed := t.h.current(person) >= 0
	i := t.addContact(Contact{ID: n.ID, Address: n.Address, Via: n.Via, Name: p.Name, Lang: p.Lang, Zone: p.Zone, Person: uint8(person + 1)})
	c := &t.h.Contacts[i]
	t.fact(Fact{Kind: FactConsent, Contact: i + 1, Code: "added", Text: how, By: by})
	if !agreed {
		if n.Replace {
			t.retire(n.Of, how)
		}
		t.invite(i)
		return
	}
	c.Consent = Consent{State: Agreed, At: t.at, How: how}
	from := t.h.current(person)
	if n.Replace {
		t.retire(n.Of, how)
	}
	if n.Replace && from == n.Of {
		t.carry(n.Of, i)
	}
	t.sayStep(i, -1, ForReply, "staff", "new_address")
	if n.Replace {
		t.openNext(i, ForReply)
	}
}

// retire ends the use of an address.
func (t *turn) retire(i int8, how string) {
	t.h.Contacts[i].Consent = Consent{State: Retired, At: t.at, How: how}
	t.fact(Fact{Kind: FactConsent, Contact: i + 1, Code: Retired.String(), Text: how})
}

// inviteToJoin sends a person the link that brings them to another channel.
func (t *turn) inviteToJoin(by string, j *Join) Reason {
	if j.Contact < 0 || int(j.Contact) >= len(t.h.Contacts) {
		return t.refuse("There is no such contact in this household.")
	}
	c := &t.h.Contacts[j.Contact]
	switch {
	case j.Code == "" || j.Link == "" || j.Via == "":
		return t.refuse("An invitation to join needs its code, its link and its channel.")
	case c.Consent.State != Agreed:
		return t.refuse(c.Name + " can't be sent a link: no texts may go to that address. Show it to them at the practice instead.")
	case len(t.h.Contacts) >= MaxContacts:
		return t.refuse("A household has at most 8 addresses.")
	}
	kept := *j
	kept.Link, kept.Until = "", t.at+joinFor
	c.Join = &kept
	t.fact(Fact{Kind: FactConsent, Contact: j.Contact + 1, Code: "sent a link to join", By: by})
	ctx := t.context(j.Contact, -1)
	ctx.Vars["link"] = j.Link
	for _, ch := range t.r.Channels {
		if ch.Name == j.Via {
			ctx.Vars["channel"] = t.locale(ctx.Lang).Channel(channelName(ch.Kind))
		}
	}
	line := t.r.Scripts.Say("staff", "join_link", ctx)
	t.say(j.Contact, ForReply, line)
	// The record keeps that a link was sent, and not the link: whoever reads the
	// conversation could join in that person's place.
	line.Vars["link"] = linkNotKept
	return PracticeDone
}

// joinBy takes a code that somebody brought from another address. It is good once,
// for a week, and proves who they are: only they were sent it.
func (t *turn) joinBy(m *MessageIn) Reason {
	code, _ := joinCode(m.Text)
	for i := range t.h.Contacts {
		c := &t.h.Contacts[i]
		if c.Join == nil || !same(c.Join.Code, code) || c.Join.Until <= t.at || t.h.contactOf(m.From) >= 0 {
			continue
		}
		via := c.Join.Via
		c.Join = nil
		t.fact(Fact{Kind: FactWords, Contact: int8(i) + 1, Text: "(joined by link)", ID: m.ID})
		n := NewContact{Of: int8(i), Address: m.From, ID: m.Joiner, Via: via}
		t.addAddress(&n, "joined by the link we sent", "")
		last := int8(len(t.h.Contacts) - 1)
		t.h.Contacts[last].Talk.LastIn = t.at
		t.moveTo(last)
		t.askAgain(last)
		return Joined
	}
	return JoinRefused
}

// askAgain puts the question that stands once more, at another address.
func (t *turn) askAgain(i int8) {
	if o := t.h.Contacts[i].Talk.Open; o != nil {
		t.say(i, ForPrompt, t.r.Scripts.Ask(o.Session, t.dialogContext(i, o.Dog, o.Kind))...)
	}
}

// anotherWay lets a message that did not arrive go by the person's next address,
// and the conversation with it. It reports whether there is one.
func (t *turn) anotherWay(m *Sent, r *Report) bool {
	if m.Late || int(m.Contact) >= len(t.h.Contacts) {
		return false
	}
	next := t.h.nextWay(m.Contact)
	if next < 0 {
		return false
	}
	if r.Dead {
		t.retire(m.Contact, "the provider says that it takes no messages")
	}
	if t.h.current(t.h.person(m.Contact)) == m.Contact || r.Dead {
		t.carry(m.Contact, next)
	}
	switch {
	case len(m.Lines) > 0:
		t.say(next, ForSafety, m.Lines...)
	case m.Purpose == ForPrompt || m.Purpose == ForReply:
		t.askAgain(next)
	}
	return true
}
