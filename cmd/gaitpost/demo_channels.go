package main

import (
	"crypto/rand"
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// demoKindNames are the channels as the page calls them.
var demoKindNames = map[contact.Channel]string{
	contact.SMS: "Text message", contact.WhatsApp: "WhatsApp", contact.Telegram: "Telegram", contact.Relay: "Gateway",
}

// channel lets a visitor choose how a telephone writes. Where the household has
// no such address yet, the practice adds it, as at its desk: by a link for
// Telegram, by its own word for the rest. The conversation moves when the owner
// writes there.
func (p *demoPage) channel(form url.Values) (string, error) {
	phone := p.w.phones[form.Get("from")]
	kind := contact.Channel(form.Get("channel"))
	wire := p.w.wire(kind)
	switch {
	case phone == nil || phone.practice:
		return "There is no such telephone of an owner.", nil
	case kind != contact.SMS && wire == nil:
		return "There is no such channel.", nil
	}
	phone.taken()
	if kind == contact.SMS {
		phone.by = kind
		return "Texts from here go by text message.", nil
	}
	joined, err := p.w.reaches(phone, wire.address(phone))
	if err != nil {
		return "", err
	}
	if joined != knownThere {
		return p.bring(phone, wire, joined)
	}
	phone.by = kind
	return "What is written here goes by " + demoKindNames[kind] + " now, and the conversation with it.", nil
}

// whereabouts is what a household knows of an address.
type whereabouts int

const (
	notEnrolled whereabouts = iota
	notAgreed               // nobody may add an address for them by themselves
	unknownThere
	knownThere
)

// reaches says what the household of a telephone knows of an address.
func (w *demoWorld) reaches(phone *demoPhone, a contact.Address) (whereabouts, error) {
	h, err := w.householdOf(phone)
	if err != nil || h == nil {
		return notEnrolled, err
	}
	for i := range h.Contacts {
		if h.Contacts[i].Address == a {
			return knownThere, nil
		}
	}
	if h.Contacts[0].Consent.State != care.Agreed {
		return notAgreed, nil
	}
	return unknownThere, nil
}

// householdOf loads the household of a telephone, nil where it is not enrolled.
func (w *demoWorld) householdOf(phone *demoPhone) (*care.Household, error) {
	if phone.owner == nil {
		return nil, nil
	}
	id := w.turns.ID(w.rules.Clinic, contact.Address{Channel: contact.SMS, Value: phone.number})
	l, err := w.turns.Load(w.ctx, w.rules.Clinic, id)
	if err != nil || len(l.Household.Contacts) == 0 {
		return nil, err
	}
	return &l.Household, nil
}

// bring brings a telephone to a channel that its household is not on yet.
func (p *demoPage) bring(phone *demoPhone, wire demoWire, known whereabouts) (string, error) {
	name := demoKindNames[wire.kind()]
	switch {
	case known == notEnrolled && wire.kind() != contact.Telegram:
		phone.by = wire.kind()
		return "Nobody is enrolled with this telephone; what it writes goes by " + name + " now.", nil
	case known == notEnrolled:
		phone.by = wire.kind()
		return "Nobody is enrolled with this telephone; what it writes goes by Telegram now, without a link of the practice's.", nil
	case known == notAgreed:
		return "This owner has not agreed to texts, or has stopped them: no further address is added. Answer the invitation first.", nil
	case wire.kind() == contact.Telegram:
		if err := p.w.invite(phone, fmt.Sprintf("join-%d", p.step())); err != nil {
			return "", err
		}
		return "The practice has sent a link. Tap it to join on Telegram.", p.w.settle()
	}
	ch, ok := p.w.channelOf(wire.kind())
	if !ok {
		return "There is no such channel.", nil
	}
	a := wire.address(phone)
	n := &care.NewContact{Of: 0, Address: a, ID: p.w.turns.ID(p.w.rules.Clinic, a), Via: ch.Name}
	if err := p.w.practice(phone, fmt.Sprintf("address-%d", p.step()), care.Practice{Contact: n}); err != nil {
		return "", err
	}
	phone.by = wire.kind()
	return "The practice has added " + name + " for " + phone.name + ". Write there, and the conversation moves with you.", p.w.settle()
}

// step counts what was recorded on the page.
func (p *demoPage) step() int {
	p.recorded++
	return p.recorded
}

// invite lets the practice send the link to join on Telegram.
func (w *demoWorld) invite(phone *demoPhone, key string) error {
	ch, ok := w.channelOf(contact.Telegram)
	h, err := w.householdOf(phone)
	if err != nil || !ok || h == nil {
		return errors.Join(err, errors.New("nobody can be sent a link"))
	}
	random := make([]byte, 16)
	if _, err := rand.Read(random); err != nil {
		return errors.New("no code could be made for a link")
	}
	code := care.NewJoinCode(h.ID, random)
	at := int8(0)
	for i := range h.Contacts {
		if h.PersonOf(int8(i)) == 0 && h.TalksAt(int8(i)) {
			at = int8(i)
		}
	}
	return w.practice(phone, key, care.Practice{Join: &care.Join{
		Contact: at, Code: code, Via: ch.Name, Link: "https://t.me/" + ch.Address + "?start=" + code,
	}})
}

func (w *demoWorld) channelOf(kind contact.Channel) (care.Channel, bool) {
	for _, ch := range w.rules.Channels {
		if ch.Kind == kind {
			return ch, true
		}
	}
	return care.Channel{}, false
}

// taken makes a telephone the visitor's.
func (p *demoPhone) taken() {
	p.player, p.staff = nil, nil
	p.yours = true
}

// tap lets a visitor tap something on a telephone.
func (p *demoPage) tap(form url.Values) (string, error) {
	phone := p.w.phones[form.Get("from")]
	text, err1 := strconv.Atoi(form.Get("text"))
	nth, err2 := strconv.Atoi(form.Get("choice"))
	if phone == nil || err1 != nil || err2 != nil {
		return "There is nothing like that to tap.", nil
	}
	t, tap, ok := phone.tappable(text, nth)
	if !ok {
		return "That can't be tapped any more.", nil
	}
	phone.taken()
	if tap.Kind == "link" {
		phone.by = contact.Telegram
		return "", p.tapped(phone, p.w.wire(contact.Telegram), demoTap{Label: "Start", Reply: "/start " + tap.Reply})
	}
	phone.by = t.By
	return "", p.tapped(phone, p.w.wire(t.By), tap)
}

func (p *demoPage) tapped(phone *demoPhone, wire demoWire, tap demoTap) error {
	if wire == nil {
		return errors.New("nothing can be tapped on this channel")
	}
	phone.keep(demoText{At: p.w.now(), Mine: true, Text: tap.Label, By: wire.kind()})
	if err := wire.tap(phone, tap); err != nil {
		return err
	}
	return p.w.settle()
}

// tappable finds a choice of a text on the telephone. The answers to a question
// can be tapped while it is the newest thing said there.
func (p *demoPhone) tappable(order, nth int) (demoText, demoTap, bool) {
	for i := range p.texts {
		t := p.texts[i]
		if taps := p.taps(i); t.order == order && nth >= 0 && nth < len(taps) {
			return t, taps[nth], true
		}
	}
	return demoText{}, demoTap{}, false
}

// taps are what can be tapped on the i-th text.
func (p *demoPhone) taps(i int) []demoTap {
	t := p.texts[i]
	if t.Mine {
		return nil
	}
	if _, code, found := strings.Cut(t.Text, "?start="); found && strings.Contains(t.Text, "https://t.me/") {
		code, _, _ = strings.Cut(code, " ")
		return []demoTap{{Label: "Open the link in Telegram", Reply: code, Kind: "link"}}
	}
	for _, later := range p.texts[i+1:] {
		if later.By == t.By || later.Mine {
			return nil
		}
	}
	return t.Taps
}
