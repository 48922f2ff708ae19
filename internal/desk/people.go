package desk

import (
	"errors"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// reach is how the people of a household are reached.
type reach struct {
	People []person
	// Ways are the clinic's channels on which an address can be added, Links
	// those that people join themselves by a link.
	Ways, Links []way
	Full        bool // no further address fits
}

// way is one of the clinic's channels, in words.
type way struct{ Name, Kind string }

// person is one human being of a household and every address of theirs.
type person struct {
	N         int8 // their first address
	Name      string
	Addresses []addressLine
	At        int8 // where they can be asked or sent a link, -1 for nowhere
}

// addressLine is one address. It is shown masked: nobody needs it whole to tell
// two apart.
type addressLine struct {
	N         int8
	Kind      string
	Shown     string
	Consent   string
	State     care.ConsentState
	Since     int64
	How       string
	Here      bool // the conversation goes on here
	Waits     string
	LinkUntil int64
}

// kindNames are the channels as staff call them.
var kindNames = map[contact.Channel]string{contact.SMS: "Text message", contact.WhatsApp: "WhatsApp",
	contact.Telegram: "Telegram", contact.Relay: "Gateway"}

func reachOf(v *visit, h *care.Household) reach {
	r := reach{Full: len(h.Contacts) >= care.MaxContacts}
	for _, ch := range v.clinic.Rules.Channels {
		w := way{ch.Name, kindNames[ch.Kind] + " (" + ch.Name + ")"}
		switch ch.Kind {
		case contact.Telegram:
			r.Links = append(r.Links, w)
		case contact.SMS, contact.WhatsApp, contact.Relay: // the rest are for practitioners
			r.Ways = append(r.Ways, w)
		}
	}
	for i := range h.Contacts {
		n := int8(i)
		if h.PersonOf(n) == n {
			r.People = append(r.People, personOf(v, h, n))
		}
	}
	return r
}

func personOf(v *visit, h *care.Household, n int8) person {
	p := person{N: n, Name: h.Contacts[n].Name, At: -1}
	if p.Name == "" {
		p.Name = "Unknown number"
	}
	for i := range h.Contacts {
		c := &h.Contacts[i]
		if h.PersonOf(int8(i)) != n {
			continue
		}
		l := addressLine{N: int8(i), Kind: kindNames[c.Address.Channel], Shown: contact.Mask(c.Address), Consent: consentNames[c.Consent.State],
			State: c.Consent.State, Since: c.Consent.At, How: c.Consent.How, Here: h.TalksAt(int8(i))}
		if c.Pending != nil {
			l.Waits = contact.Mask(c.Pending.Address)
		}
		if c.Join != nil && c.Join.Until > v.now.Unix() {
			l.LinkUntil = c.Join.Until
		}
		if l.Here {
			p.At = l.N
		}
		p.Addresses = append(p.Addresses, l)
	}
	return p
}

// addContact gives a person another address, or brings in a further person, who
// is invited first.
func (d *Desk) addContact(v *visit) error {
	id, err := d.known(v)
	if err != nil {
		return err
	}
	a, ch, err := readAddress(v)
	if err != nil {
		return err
	}
	n := &care.NewContact{Of: -1, Address: a, ID: d.Store.ID(v.clinic.Rules.Clinic, a), Via: ch.Name}
	say, detail := "invited", "another person"
	switch how := v.FormValue("how"); {
	case v.FormValue("of") == "":
		if n.Name, err = needed(v, "name", maxName, "Please give the first name of the person who is invited."); err != nil {
			return err
		}
	case how != "vouched" && how != "ask":
		return refuse("Please say how it is known that the address is theirs.")
	default:
		of, err := number(v, "of", care.MaxContacts)
		if err != nil {
			return err
		}
		n.Of, n.AskOld, n.Replace = int8(of), how == "ask", v.FormValue("replace") == "yes"
		say, detail = addedAs(n)
	}
	return d.reached(v, deed{id: id, say: say, what: care.Practice{Contact: n},
		entry: account.Entry{Deed: account.Readdressed, Detail: detail + ": " + kindNames[a.Channel] + " " + contact.Mask(a)}})
}

// known reads the household that an address names, which must be one of the
// reader's clinic: before anything is said about the form.
func (d *Desk) known(v *visit) (contact.ID, error) {
	id, err := about(v)
	if err == nil {
		_, err = d.load(v, id)
	}
	return id, err
}

// maxName is the longest first name.
const maxName = 40

// addedAs is the notice and the trail's words for another address of a person.
func addedAs(n *care.NewContact) (say, detail string) {
	say, detail = "address-added", "another address"
	if n.Replace {
		detail = "a new address instead of the old"
	}
	if n.AskOld {
		return "address-asked", detail + ", asked at the old one"
	}
	return say, detail
}

// readAddress reads an address and the channel it is on. Its refusals never
// repeat the address.
func readAddress(v *visit) (contact.Address, care.Channel, error) {
	ch, err := channelOf(v)
	if err != nil {
		return contact.Address{}, ch, err
	}
	s, err := needed(v, "address", maxLine, "Please give the number.")
	if err != nil {
		return contact.Address{}, ch, err
	}
	a, _, err := contact.Parse(ch.Kind, s, v.clinic.Rules.Region)
	if err != nil {
		return a, ch, refuse("That address can't be used: " + err.Error() + ".")
	}
	return a, ch, nil
}

func channelOf(v *visit) (care.Channel, error) {
	for _, ch := range v.clinic.Rules.Channels {
		if ch.Name == v.FormValue("via") {
			return ch, nil
		}
	}
	return care.Channel{}, refuse("Please choose the channel.")
}

// sendLink sends a person the link by which they join on Telegram. The code in it
// goes to them alone and is never shown here.
func (d *Desk) sendLink(v *visit) error {
	id, err := d.known(v)
	if err != nil {
		return err
	}
	ch, err := channelOf(v)
	switch {
	case err != nil:
		return err
	case ch.Kind != contact.Telegram:
		return refuse("Nobody joins by a link on that channel. Add their number there instead.")
	}
	n, err := number(v, "contact", care.MaxContacts)
	if err != nil {
		return err
	}
	random := make([]byte, 16)
	if _, err := d.Random.Read(random); err != nil {
		return errors.New("no code could be made for a link")
	}
	code := care.NewJoinCode(id, random)
	j := &care.Join{Contact: int8(n), Code: code, Via: ch.Name, Link: "https://t.me/" + ch.Address + "?start=" + code}
	return d.reached(v, deed{id: id, say: "link-sent", what: care.Practice{Join: j},
		entry: account.Entry{Deed: account.Readdressed, Detail: "sent a link to join on " + ch.Name}})
}

// reached lets a deed about addresses happen.
func (d *Desk) reached(v *visit, t deed) error {
	err := d.act(v, t)
	if errors.Is(err, store.ErrContactTaken) {
		return refuse("That address belongs to another household. Nothing was changed.")
	}
	return err
}
