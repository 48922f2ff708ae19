package main

import (
	"fmt"
	"math/rand/v2"
	"regexp"
	"strings"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/synth"
)

// demoStaff plays a practitioner: she reads what her telephone shows and answers
// it by text, with a practitioner's delays.
type demoStaff struct {
	w      *demoWorld
	phone  *demoPhone
	id     string
	rng    *rand.Rand
	closes map[string]care.AlertReason // numbers she has yet to close
	seen   map[string]staffItem        // by number, as the texts say
	slow   int                         // emergencies she will not hear at first
}

// staffItem is what she knows of a number.
type staffItem struct {
	dog    string
	reason care.AlertReason
}

func newDemoStaff(w *demoWorld, p *demoPhone, id string, seed uint64) *demoStaff {
	s := &demoStaff{w: w, phone: p, id: id, rng: rand.New(rand.NewPCG(seed, 7)), closes: map[string]care.AlertReason{}, seen: map[string]staffItem{}}
	if id != w.rules.Lead {
		s.slow = 1 // the first emergency of the half year finds her asleep
	}
	return s
}

var (
	staffAlert  = regexp.MustCompile(`(?s)^(NOW|TODAY|DIGEST)[^:]*: (.*?), ([a-z ]+): (.*) Reply (\d+) OK to take it on\.$`)
	staffLine   = regexp.MustCompile(`(?m)^(\d+) (now|today|digest) (.*?), ([a-z ]+): (.*)$`)
	staffHeld   = regexp.MustCompile(`^(\d+) .*not done: This alert holds a medicine \((.+)\)`)
	staffClosed = regexp.MustCompile(`^(\d+) .*not done: That alert is closed already`)
	staffCode   = regexp.MustCompile(`reply (YES \d{4}) to do it`)
)

// read is what she does about a text.
func (s *demoStaff) read(text string) {
	if m := staffCode.FindStringSubmatch(text); m != nil {
		s.text(time.Minute, m[1])
		return
	}
	if m := staffHeld.FindStringSubmatch(text); m != nil {
		s.decide(m[1], m[2])
		return
	}
	if m := staffClosed.FindStringSubmatch(text); m != nil {
		delete(s.closes, m[1])
		return
	}
	if m := staffAlert.FindStringSubmatch(text); m != nil {
		s.takeOn(m[5], m[1] == "NOW", dogIn(m[2]), care.AlertReason(m[3]))
		return
	}
	for _, m := range staffLine.FindAllStringSubmatch(text, -1) {
		s.closeLater(m[1], dogIn(m[3]), care.AlertReason(m[4]), 3*time.Hour)
	}
}

// dogIn is the dog's name in "Tess (Ruth, +44…)".
func dogIn(who string) string {
	name, _, _ := strings.Cut(who, " (")
	return name
}

// takeOn answers an alert: soon for an emergency, when there is a moment for
// the rest.
func (s *demoStaff) takeOn(n string, now bool, dog string, reason care.AlertReason) {
	after := s.minutes(12, 50)
	if now {
		after = s.minutes(2, 7)
		if s.slow > 0 {
			s.slow--
			after = 40 * time.Minute
		}
	}
	s.text(after, n+" OK")
	s.closeLater(n, dog, reason, after+s.minutes(45, 240))
}

func (s *demoStaff) minutes(from, to int) time.Duration {
	return time.Duration(from+s.rng.IntN(to-from)) * time.Minute
}

// text writes to the line, unless somebody else has the telephone by then.
func (s *demoStaff) text(after time.Duration, text string) {
	s.w.agenda.add(s.w.now().Add(after), func() error {
		if s.phone.staff == nil {
			return nil
		}
		return s.phone.write(text)
	})
}

// closeLater closes an alert with what came of it, in her working hours.
func (s *demoStaff) closeLater(n, dog string, reason care.AlertReason, after time.Duration) {
	if _, ok := s.closes[n]; ok {
		return
	}
	s.closes[n], s.seen[n] = reason, staffItem{dog, reason}
	at := s.w.now().Add(after)
	if !s.w.rules.Hours.Open(at) && reason != care.RedFlag {
		if open, ok := s.w.rules.Hours.NextOpening(at); ok {
			at = open.Add(s.minutes(5, 60))
		}
	}
	s.w.agenda.add(at, func() error {
		if _, ok := s.closes[n]; !ok || s.phone.staff == nil {
			return nil
		}
		return s.close(n)
	})
}

func (s *demoStaff) close(n string) error {
	reason := s.closes[n]
	outcome := staffOutcomes[reason]
	switch {
	case reason == care.Silence && s.rng.IntN(3) == 0:
		delete(s.closes, n)
		return s.phone.write(n + " NOREPLY")
	case (reason == care.Rise || reason == care.Level) && s.rng.IntN(2) == 0:
		if err := s.changePlan(s.seen[n].dog, n); err != nil {
			return err
		}
		outcome = "plan"
	case outcome == "":
		outcome = "phoned"
	}
	delete(s.closes, n)
	return s.phone.write(n + " CLOSE " + outcome)
}

// staffOutcomes are what comes of an alert most often; phoned for the rest.
var staffOutcomes = map[care.AlertReason]string{
	care.RedFlag: "sent to emergency care, stable", care.SignAlert: "phoned settled", care.Level: "booked",
	care.Rise: "booked", care.Drift: "booked", care.Jump: "booked", care.Stopped: "none", care.ReviewDue: "booked",
}

// changePlan starts hydrotherapy for a dog that got worse, and adjusts it the next
// time.
func (s *demoStaff) changePlan(dog, n string) error {
	p, d := s.w.owned(dog)
	if p == nil {
		return nil
	}
	action, name := care.PlanStart, d.Enrolled.Name
	if s.w.swims[name] {
		action = care.PlanAdjust
	}
	if s.w.swims == nil {
		s.w.swims = map[string]bool{}
	}
	s.w.swims[name] = true
	return s.w.planChange(p, "staff-"+s.id+"-"+n, care.PlanChange{
		Dog: name, What: "hydrotherapy", Area: care.AreaTherapy, Action: action,
		Comfort: true, Reason: "worse by the index",
	})
}

// decide records what becomes of a held medicine, and then closes the alert.
func (s *demoStaff) decide(n, what string) {
	item := s.seen[n]
	s.w.agenda.add(s.w.now().Add(s.minutes(1, 4)), func() error {
		p, d := s.w.owned(item.dog)
		if p == nil || s.phone.staff == nil {
			return nil
		}
		action, outcome := care.PlanRestart, "phoned"
		switch {
		case d.Course == synth.Reaction:
			action, outcome = care.PlanStop, "reaction"
		case item.reason == care.RedFlag:
			action, outcome = care.PlanStop, staffOutcomes[care.RedFlag]
		}
		key := fmt.Sprintf("held-%s-%s-%d", s.id, n, s.w.now().Unix())
		if err := s.w.planChange(p, key, care.PlanChange{Dog: item.dog, What: what, Action: action, Reason: "decided after a call"}); err != nil {
			return err
		}
		return s.phone.write(n + " CLOSE " + outcome)
	})
}

// owned finds a dog's owner: names are unique in the invented caseload.
func (w *demoWorld) owned(dog string) (*demoPhone, *synth.Dog) {
	for i := range w.cohort.Owners {
		o := &w.cohort.Owners[i]
		for k := range o.Dogs {
			if o.Dogs[k].Enrolled.Name == dog {
				return w.phone(o.Address.Value), &o.Dogs[k]
			}
		}
	}
	return nil, nil
}
