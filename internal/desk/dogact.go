package desk

import (
	"math"
	"strconv"
	"strings"
	"time"

	"gaitpost/dialog"
	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/signs"
)

// onDog does a deed about the dog in the address.
func (d *Desk) onDog(v *visit, say string, what account.Deed, fill func(dog int8, p *care.Practice, e *account.Entry) error) error {
	id, dog, err := aboutDog(v)
	if err != nil {
		return err
	}
	t := deed{id: id, say: say, entry: account.Entry{Deed: what, Dog: int(dog) + 1}}
	if err := fill(dog, &t.what, &t.entry); err != nil {
		return err
	}
	return d.act(v, t)
}

func (d *Desk) note(v *visit) error {
	return d.onDog(v, "noted", account.Noted, func(dog int8, p *care.Practice, _ *account.Entry) error {
		s, err := needed(v, "note", maxNote, "There is nothing in the note.")
		p.Note = &care.Note{Dog: dog, Text: s}
		return err
	})
}

// bodyFields reads body and muscle condition, 0 where they were not given.
func bodyFields(v *visit) (bcs, muscle uint8, err error) {
	b, err := number(v, "bcs", 9)
	if err != nil {
		return 0, 0, err
	}
	m, err := number(v, "muscle", 4)
	return uint8(b), uint8(m), err
}

func (d *Desk) weigh(v *visit) error {
	return d.onDog(v, "weighed", account.Weighed, func(dog int8, p *care.Practice, _ *account.Entry) error {
		grams, err := kilograms(v, "kg")
		if err != nil {
			return err
		}
		if grams == 0 {
			return refuse("Please enter the weight in kilograms.")
		}
		w := &care.EnteredWeight{Dog: dog, Grams: grams, Scale: clinical.Clinic}
		if v.FormValue("scale") == clinical.Home.String() {
			w.Scale = clinical.Home
		}
		if w.BCS, w.Muscle, err = bodyFields(v); err != nil {
			return err
		}
		if w.On, err = takenOn(v); err != nil {
			return err
		}
		p.Weigh = w
		return nil
	})
}

// kilograms reads a weight with a decimal point or comma; 0 for an empty field.
func kilograms(v *visit, name string) (int64, error) {
	s := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(v.FormValue(name)), "kg"))
	if s == "" {
		return 0, nil
	}
	f, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	if err != nil || math.IsNaN(f) || f <= 0 || f > 200 {
		return 0, refuse("“" + shorten(s, 20) + "” is not a dog's weight in kilograms, above 0 and at most 200.")
	}
	return int64(clinical.GramsOf(f)), nil
}

// details changes what was enrolled of a dog: own activities, target, reference.
func (d *Desk) details(v *visit) error {
	h, dog, err := d.loadDog(v)
	if err != nil {
		return err
	}
	if len(h.Contacts) == 0 {
		return errNotFound
	}
	e := care.EnrolledDog{Name: h.Dogs[dog].Name}
	for i, name := range []string{"own1", "own2"} {
		if e.Own[i], err = text(v, name, 24); err != nil {
			return err
		}
		if _, lost := dialog.InTexts(e.Own[i]); lost != "" {
			return refuse("“" + lost + "” can't be written in a text message. Please describe the activity without it.")
		}
	}
	if e.Ref, err = text(v, "ref", 40); err != nil {
		return err
	}
	if e.Target, err = kilograms(v, "target"); err != nil {
		return err
	}
	c := h.Contacts[0]
	enrol := &care.Enrolment{Dogs: []care.EnrolledDog{e},
		Owner: care.Owner{Name: c.Name, Address: c.Address, ID: c.ID, Lang: c.Lang, Zone: c.Zone, Via: c.Via}}
	return d.act(v, deed{id: h.ID, say: "details", what: care.Practice{Enrol: enrol},
		entry: account.Entry{Deed: account.Found, Dog: int(dog) + 1, Detail: "details"}})
}

// quiet quiets everything of a dog but emergencies and same-day signs.
func (d *Desk) quiet(v *visit) error {
	say := "quieted"
	if v.FormValue("end") == "yes" {
		say = "loud"
	}
	return d.onDog(v, say, account.Quieted, func(dog int8, p *care.Practice, e *account.Entry) error {
		q := &care.QuietDog{Dog: dog}
		p.Quiet = q
		if say == "loud" {
			e.Detail = "ended"
			return nil
		}
		until, err := ahead(v, "until", 366)
		q.Until, e.Detail = until.Unix(), "until "+v.FormValue("until")
		return err
	})
}

func (d *Desk) quietSign(v *visit) error {
	say := "quiet-sign"
	if v.FormValue("end") == "yes" {
		say = "sign-heard"
	}
	return d.onDog(v, say, account.QuietedSign, func(dog int8, p *care.Practice, e *account.Entry) error {
		s := signs.Sign(v.FormValue("sign"))
		if !s.Known() {
			return refuse("Please choose a sign.")
		}
		if say == "sign-heard" {
			p.QuietSign, e.Detail = &care.QuietSign{Dog: dog, Sign: s}, s.Label()+" heard again"
			return nil
		}
		until, err := ahead(v, "until", 183)
		p.QuietSign = &care.QuietSign{Dog: dog, Sign: s, Until: until.Unix()}
		e.Detail = s.Label() + " until " + v.FormValue("until")
		return err
	})
}

// ahead reads a date that has to lie ahead, by at most so many days.
func ahead(v *visit, name string, days int) (time.Time, error) {
	t, err := date(v, name)
	switch {
	case err != nil:
		return t, err
	case t.IsZero():
		return t, refuse("Please give an end date: nothing is quieted for good.")
	case !t.After(v.now):
		return t, refuse("The end date has to lie in the future.")
	case t.After(v.now.AddDate(0, 0, days)):
		return t, refuse("The end date can be at most " + strconv.Itoa(days) + " days away.")
	}
	return t, nil
}

func (d *Desk) farewell(v *visit) error {
	return d.onDog(v, "farewell", account.RecordedEnd, func(dog int8, p *care.Practice, _ *account.Entry) error {
		if v.FormValue("sure") != "yes" {
			return refuse("Tick the box to record the death: it ends every prompt for this dog.")
		}
		p.Farewell = &care.Farewell{Dog: dog}
		return nil
	})
}

func (d *Desk) undoFarewell(v *visit) error {
	return d.onDog(v, "undone", account.UndidEnd, func(dog int8, p *care.Practice, _ *account.Entry) error {
		p.Farewell = &care.Farewell{Dog: dog, Undo: true}
		return nil
	})
}

// write sends an owner staff's own words.
func (d *Desk) write(v *visit) error {
	id, err := about(v)
	if err != nil {
		return err
	}
	n, err := number(v, "contact", 100)
	if err != nil {
		return err
	}
	s, err := needed(v, "text", maxText, "There is nothing to send.")
	if err != nil {
		return err
	}
	return d.act(v, deed{id: id, say: "sent", what: care.Practice{Write: &care.WriteOwner{Contact: int8(n), Text: s}},
		entry: account.Entry{Deed: account.Wrote}})
}

func (d *Desk) resume(v *visit) error {
	id, err := about(v)
	if err != nil {
		return err
	}
	n, err := number(v, "contact", 100)
	if err != nil {
		return err
	}
	return d.act(v, deed{id: id, say: "resumed", what: care.Practice{Resume: &care.Resume{Contact: int8(n)}},
		entry: account.Entry{Deed: account.Resumed}})
}

// consent keeps what somebody said in person or on the telephone.
func (d *Desk) consent(v *visit) error {
	id, err := about(v)
	if err != nil {
		return err
	}
	n, err := number(v, "contact", 100)
	if err != nil {
		return err
	}
	how, err := needed(v, "how", maxLine, "Please say how consent was given or taken back, like “by telephone, 3 March”.")
	if err != nil {
		return err
	}
	state, ok := map[string]care.ConsentState{"agreed": care.Agreed, "declined": care.Declined, "opted out": care.OptedOut}[v.FormValue("state")]
	if !ok {
		return refuse("Please choose whether consent was given, declined or taken back.")
	}
	return d.act(v, deed{id: id, say: "consent", what: care.Practice{Consent: &care.RecordConsent{Contact: int8(n), State: state, How: how}},
		entry: account.Entry{Deed: account.Consented, Detail: v.FormValue("state")}})
}
