package main

import (
	"fmt"
	"slices"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/synth"
)

// demoText is one text on somebody's telephone.
type demoText struct {
	At   time.Time
	Mine bool // written by whoever holds the telephone
	Text string
	By   contact.Channel // how it went
	Taps []demoTap       // what can be tapped, where the channel has that

	order int // among all texts of the demo
}

// demoPhone is a telephone of the demo: an owner's, a practitioner's, or that of
// somebody who is not enrolled.
type demoPhone struct {
	w      *demoWorld
	number string
	by     contact.Channel // how whoever holds it writes; "" is by text
	name   string
	about  string // whose dogs, or which role
	texts  []demoText

	owner    *synth.Owner
	player   *synth.Player // nil once a visitor plays
	staff    *demoStaff
	yours    bool // a visitor plays
	practice bool // a practitioner's or the last-resort contact's

	pending int // counts what was about to be answered; a newer text replaces it
}

// phone is the telephone of a number; one that nobody knew begins here.
func (w *demoWorld) phone(number string) *demoPhone {
	p := w.phones[number]
	if p == nil {
		p = &demoPhone{w: w, number: number, name: "Somebody", about: "not enrolled"}
		w.phones[number] = p
	}
	return p
}

func (p *demoPhone) keep(t demoText) {
	p.w.written++
	t.order = p.w.written
	p.texts = append(p.texts, t)
}

// receive shows a text, and lets whoever plays answer it in their own time.
func (p *demoPhone) receive(t demoText) {
	t.At = p.w.now()
	p.keep(t)
	switch {
	case p.player != nil:
		if r, ok := p.player.Hear(t.Text, t.At); ok {
			p.answer(r)
		}
	case p.staff != nil:
		p.staff.read(t.Text)
	}
}

// answer writes an answer when its time comes, unless a newer one replaced it.
func (p *demoPhone) answer(r synth.Reply) {
	p.pending++
	mine := p.pending
	p.w.agenda.add(r.At, func() error {
		if p.player == nil || p.pending != mine {
			return nil
		}
		p.w.turns.means(p.number, r.Meant)
		return p.write(r.Text)
	})
}

// write sends a text to the practice: as a signed request to the webhook, by way
// of the provider.
func (p *demoPhone) write(text string) error {
	if wire := p.w.wire(p.by); wire != nil {
		p.keep(demoText{At: p.w.now(), Mine: true, Text: text, By: p.by})
		return wire.write(p, text)
	}
	p.keep(demoText{At: p.w.now(), Mine: true, Text: text, By: contact.SMS})
	d, err := p.w.provider.From(p.w.ctx, smsprovider.Text{From: p.number, To: p.w.ours, Body: text})
	if err == nil && !d.Taken {
		err = fmt.Errorf("the webhook answered %d", d.Status)
	}
	p.w.turns.means(p.number, nil)
	return err
}

// people invents the caseload and the practitioners, and puts on the agenda what
// they will do by themselves.
func (w *demoWorld) people() {
	w.cohort = synth.NewCohort(synth.CohortOptions{Seed: w.o.seed, Weeks: w.o.weeks})
	for i, r := range w.rules.Practitioners {
		p := w.phone(r.Contacts[0].Value)
		p.name, p.about, p.practice = r.Name, "practitioner", true
		p.staff = newDemoStaff(w, p, r.ID, w.o.seed+uint64(i))
	}
	last := w.phone(w.rules.LastResort.Value)
	last.name, last.about, last.practice = "Last resort", "told when nobody on the rota answers", true
	for i := range w.cohort.Owners {
		w.addOwner(&w.cohort.Owners[i])
	}
	for _, s := range w.cohort.Strangers {
		p := w.phone(s.Address.Value)
		w.agenda.add(w.onDay(0, s.Day, s.Minute), func() error { return p.write(s.Text) })
	}
	w.phone("+447700900999").name = "Yourself"
}

// onDay is a minute of a day so many days after a day of the demo.
func (w *demoWorld) onDay(from, days, minute int) time.Time {
	d := w.began.AddDate(0, 0, from+days)
	return time.Date(d.Year(), d.Month(), d.Day(), minute/60, minute%60, 0, 0, w.rules.Zone)
}

func (w *demoWorld) addOwner(o *synth.Owner) {
	p := w.phone(o.Address.Value)
	p.name, p.owner = o.Name, o
	for i := range o.Dogs {
		if i > 0 {
			p.about += " and "
		} else {
			p.about = ""
		}
		p.about += o.Dogs[i].Enrolled.Name
	}
	p.player = synth.NewPlayer(o, synth.Setting{
		Scripts: w.rules.Scripts, Midnight: w.onDay(o.EnrolledOn, 0, 0), Seed: w.o.seed,
		Practice: map[string]string{
			"practice": w.rules.Name, "vet": w.rules.LeadName(), "phone": w.rules.Phone,
			"emergency": w.rules.Emergency, "person_number": w.rules.PersonNumber, "crisis": w.rules.Crisis,
			"frequency": "once a week",
		},
	})
	w.agenda.add(w.onDay(o.EnrolledOn, 0, o.Minute), func() error { return w.enrol(p) })
	for _, s := range p.player.Says() {
		w.agenda.add(s.At, func() error {
			if p.player == nil {
				return nil
			}
			p.pending++ // what they were about to answer is forgotten
			p.player.Said(s.Text)
			return p.write(s.Text)
		})
	}
	for i, m := range o.Moves {
		w.agenda.add(w.onDay(o.EnrolledOn, m.Day, 11*60+20), func() error {
			if m.ReviewIn > 0 {
				m.Change.Review = w.now().AddDate(0, 0, m.ReviewIn).Unix()
			}
			return w.planChange(p, fmt.Sprintf("move-%d", i), m.Change)
		})
	}
}

// enrol lets the practice enrol an owner, as its enrolment command does. What is
// on the plan already was begun two months before.
func (w *demoWorld) enrol(p *demoPhone) error {
	o := p.owner
	e := care.Enrolment{Invite: true, Owner: care.Owner{
		Name: o.Name, Address: o.Address, ID: w.turns.ID(w.rules.Clinic, o.Address),
		Via: w.rules.Channels[0].Name, OneByOne: o.OneByOne,
	}}
	for i := range o.Dogs {
		d := o.Dogs[i].Enrolled
		d.Plan = slices.Clone(d.Plan)
		for k := range d.Plan {
			d.Plan[k].Started = w.now().AddDate(0, 0, -61).Unix()
			if d.Plan[k].Class != care.NotMedicine {
				d.Plan[k].Review = w.now().AddDate(0, 0, o.Dogs[i].ReviewIn).Unix()
			}
		}
		e.Dogs = append(e.Dogs, d)
	}
	return w.practice(p, "enrol", care.Practice{Enrol: &e})
}

func (w *demoWorld) planChange(p *demoPhone, key string, c care.PlanChange) error {
	return w.practice(p, key, care.Practice{Plan: &c})
}

// practice lets something be done at the practice's own desk.
func (w *demoWorld) practice(p *demoPhone, key string, what care.Practice) error {
	what.By = w.rules.Lead
	id := w.turns.ID(w.rules.Clinic, contact.Address{Channel: contact.SMS, Value: p.number})
	res, err := w.turns.Do(w.ctx, w.rules, id, care.Event{
		Key: fmt.Sprintf("desk/%s/%s", p.number, key), At: w.now(), Practice: &what,
	})
	if err == nil && res.Reason == care.PracticeRefused {
		return fmt.Errorf("the practice's own step was refused: %s", res.Refusal)
	}
	return err
}
