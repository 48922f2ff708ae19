package main

import (
	"cmp"
	"net/url"
	"slices"
	"time"

	"gaitpost/internal/contact"
	"gaitpost/internal/desk"
)

// demoView is what the page shows.
type demoView struct {
	Practice, Clock, Machine string
	Said                     string
	Owner, Staff             demoPhoneView
	Latest                   []demoRecentView
	Desk                     string // its address
	DeskAs, DeskPassword     string
}

// demoPhoneView is one telephone on the page.
type demoPhoneView struct {
	Role, OtherRole, Other string // which form field it answers to, and the other telephone's
	Title, Prompt          string
	Number                 string
	Yours                  bool
	Choices                []demoChoice
	Texts                  []demoTextView
	Held                   []demoHeld
	Channels               []demoChannelView // that the telephone can write by; nil for the practice's
}

// demoChannelView is one channel of a telephone.
type demoChannelView struct {
	Kind, Name string
	Chosen     bool
}

type demoChoice struct {
	Number, Name, About string
	Chosen              bool
}

type demoTextView struct {
	Day, Clock, Text string
	Mine             bool
	By               string // the channel, where the telephone has used another than texts
	Order            int
	Taps             []demoTap
}

// demoRecent is a text with the telephone it stands on.
type demoRecent struct {
	demoText
	phone *demoPhone
}

type demoRecentView struct{ Link, Clock, Who, Text string }

func (p *demoPage) view(q url.Values) demoView {
	owners, staff := p.sides()
	owner, practitioner := chosen(owners, q.Get("owner")), chosen(staff, q.Get("staff"))
	now := p.w.now()
	v := demoView{
		Practice: p.w.rules.Name, Clock: clockText(now), Machine: now.Format(time.RFC3339), Said: q.Get("said"),
		Owner: p.phoneView(owner, owners), Staff: p.phoneView(practitioner, staff),
	}
	v.Desk, v.DeskAs, v.DeskPassword = desk.Prefix, demoAccounts[0].ID, p.desk.password
	v.Owner.Role, v.Owner.OtherRole, v.Owner.Other = "owner", "staff", practitioner.number
	v.Owner.Title, v.Owner.Prompt = "An owner's telephone", "Write as "+owner.name
	v.Owner.Held = p.held(owner)
	for _, kind := range demoKinds {
		v.Owner.Channels = append(v.Owner.Channels, demoChannelView{string(kind), demoKindNames[kind],
			cmp.Or(owner.by, contact.SMS) == kind})
	}
	v.Staff.Role, v.Staff.OtherRole, v.Staff.Other = "staff", "owner", owner.number
	v.Staff.Title, v.Staff.Prompt = "The practitioner's telephone", "Answer: LIST, 3, 3 OK, 3 CLOSE phoned"
	for _, r := range p.latest() {
		v.Latest = append(v.Latest, p.recentView(r, owner, practitioner))
	}
	return v
}

// sides are the telephones of owners (and of whoever is not enrolled), by dog,
// and those of the practice.
func (p *demoPage) sides() (owners, staff []*demoPhone) {
	for _, phone := range p.w.phones {
		if phone.practice {
			staff = append(staff, phone)
		} else {
			owners = append(owners, phone)
		}
	}
	slices.SortFunc(staff, func(a, b *demoPhone) int { return cmp.Compare(a.number, b.number) })
	slices.SortFunc(owners, func(a, b *demoPhone) int {
		return cmp.Or(cmp.Compare(a.name, b.name), cmp.Compare(a.number, b.number))
	})
	return owners, staff
}

// chosen is the telephone of a number, or the first.
func chosen(phones []*demoPhone, number string) *demoPhone {
	for _, p := range phones {
		if p.number == number {
			return p
		}
	}
	return phones[0]
}

func (p *demoPage) phoneView(phone *demoPhone, all []*demoPhone) demoPhoneView {
	v := demoPhoneView{Number: phone.number, Yours: phone.yours}
	for _, other := range all {
		v.Choices = append(v.Choices, demoChoice{other.number, other.name, other.about, other == phone})
	}
	first := max(0, len(phone.texts)-demoShown)
	several := slices.ContainsFunc(phone.texts, func(t demoText) bool { return t.By != contact.SMS })
	day := ""
	for i, t := range phone.texts[first:] {
		tv := demoTextView{Clock: t.At.Format("15:04"), Text: t.Text, Mine: t.Mine, Order: t.order, Taps: phone.taps(first + i)}
		if several {
			tv.By = demoKindNames[t.By]
		}
		if d := t.At.Format("Monday 2 January"); d != day {
			tv.Day, day = d, d
		}
		v.Texts = append(v.Texts, tv)
	}
	return v
}

func (p *demoPage) recentView(r demoRecent, owner, staff *demoPhone) demoRecentView {
	link := url.Values{"owner": {owner.number}, "staff": {staff.number}}
	if r.phone.practice {
		link.Set("staff", r.phone.number)
	} else {
		link.Set("owner", r.phone.number)
	}
	who := "to " + r.phone.name
	if r.Mine {
		who = r.phone.name
	}
	text := []rune(r.Text)
	if len(text) > 90 {
		text = append(text[:87], '.', '.', '.')
	}
	return demoRecentView{Link: "/?" + link.Encode(), Clock: r.At.Format("Mon 15:04"), Who: who, Text: string(text)}
}
