package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing/fstest"
	"time"

	"gaitpost/dialog"
	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// An invented practice. The numbers are from ranges kept for fiction.
const (
	benchAccount = "AC000000000000000000000000000000be"
	benchToken   = "an invented token of the bench"
	benchNumber  = "+441632960150"
	benchURL     = "https://texts.hillside.example"
	benchHook    = "/hook/hillside/texts"
)

const benchSettings = `id: hillside
name: Hillside Vets
zone: Europe/London
region: GB
phone: 01632 960100
emergency: 01632 960999
person_number: 999
public_url: ` + benchURL + `
hours:
  mon-fri: 08:30-18:30
practitioners:
  - id: lee
    name: Dr Lee
    contacts: "sms: +44 7700 900101"
    digest: yes
last_resort: "sms: +44 7700 900109"
digest: 0 8 * * mon-fri
channels:
  - name: texts
    kind: sms
    account: ` + benchAccount + `
    number: +44 1632 960150
    auth_token_env: TOKEN
`

// practice reads the settings of the invented practice.
func practice() (*clinic.Clinic, error) {
	builtin, err := dialog.Builtin()
	if err != nil {
		return nil, fmt.Errorf("the built-in scripts can't be read: %w", err)
	}
	clinics, problems := clinic.LoadFrom(clinic.Source{
		Files:  fstest.MapFS{"hillside.yaml": {Data: []byte(benchSettings)}},
		Getenv: func(string) string { return benchToken }, Scripts: builtin,
	})
	if clinic.AnyWrong(problems) || len(clinics) != 1 {
		return nil, fmt.Errorf("the bench's own settings: %v", problems)
	}
	return clinics[0], nil
}

// begun is the Monday on which every invented course begins.
var begun = time.Date(2026, 1, 5, 9, 0, 0, 0, time.UTC)

// stage is a household in the middle of a check-in, and what its owner answers
// next.
type stage struct {
	house care.Household
	text  string
	next  *stage // after that answer; nil where the check-in is over
}

// number is the telephone number of household i: from North America's 555-01xx.
func number(i int) contact.Address {
	return contact.Address{Channel: contact.SMS, Value: fmt.Sprintf("+1%d55501%02d", 200+i/100, i%100)}
}

const maxHouseholds = 79_000

// course grows one invented household through weeks of check-ins by the rules
// themselves, and returns the stages of the one that is open at the end. now is
// when it is open.
func course(r *care.Rules, k, weeks int) ([]*stage, time.Time, error) {
	g := &growing{r: r, rng: rand.New(rand.NewPCG(1, uint64(k))), at: begun, owner: ruth()}
	g.enrol(k)
	g.say("yes")
	if err := g.through(weeks); err != nil {
		return nil, g.at, err
	}
	for {
		if err := g.untilAsked(); err != nil {
			return nil, g.at, err
		}
		if g.open().Kind == care.PromptCheckIn {
			break
		}
		g.say(g.answer())
	}
	var stages []*stage
	for slot := g.open().Slot; g.open() != nil && g.open().Slot == slot; {
		s := &stage{house: g.h, text: g.answer()}
		if n := len(stages); n > 0 {
			stages[n-1].next = s
		}
		stages = append(stages, s)
		g.say(s.text)
	}
	return stages, g.at, nil
}

// growing is a household under way.
type growing struct {
	r    *care.Rules
	rng  *rand.Rand
	h    care.Household
	at   time.Time
	next time.Time
	n    int

	// Where the household is kept: nowhere unless these are set.
	store  *store.Store
	owner  care.Owner
	failed error
}

// ruth is the owner of a household that is kept nowhere.
func ruth() care.Owner {
	return care.Owner{Name: "Ruth", Address: number(0), ID: "0000", Via: "texts"}
}

func (g *growing) do(e care.Event) {
	e.At = g.at
	res := g.turn(e)
	g.h, g.next = res.Household, res.Next
	if e.Report != nil {
		return
	}
	for _, m := range res.Send { // the provider says what became of each
		g.do(care.Event{Key: "sms/" + m.ID + "/delivered", Report: &care.Report{Message: m.ID, Fate: care.Delivered}})
	}
}

func (g *growing) turn(e care.Event) care.Result {
	if g.store == nil {
		return care.Turn(g.r, g.h, e)
	}
	res, err := g.store.Do(context.Background(), g.r, g.owner.ID, e)
	if err != nil && g.failed == nil {
		g.failed = err
	}
	return res
}

func (g *growing) enrol(k int) {
	owner := g.owner
	g.h = care.NewHousehold(g.r.Clinic, owner)
	dogs := []care.EnrolledDog{{Name: "Bramble", Sex: care.Male, BCS: 6, Grams: 32_500}}
	if k%3 == 0 {
		dogs[0].Own = [2]string{"the back step", "greeting people"}
	}
	if k%2 == 0 {
		dogs[0].Plan = []care.Entry{{Area: care.AreaPain, What: "carprofen", Class: care.NSAID, Started: begun.Unix()}}
	}
	if k%8 == 1 {
		dogs = append(dogs, care.EnrolledDog{Name: "Moss", Sex: care.Female})
	}
	g.do(care.Event{Key: "enrol", Practice: &care.Practice{By: "lee", Enrol: &care.Enrolment{Owner: owner, Dogs: dogs, Invite: true}}})
}

// through answers everything that is asked until so many more check-ins of the
// first dog are answered.
func (g *growing) through(checkIns int) error {
	for done := 0; done < checkIns; {
		if err := g.untilAsked(); err != nil {
			return err
		}
		o := g.open()
		if o.Kind == care.PromptCheckIn && o.Dog == 0 {
			done++
		}
		for g.open() != nil && g.open().Slot == o.Slot && g.failed == nil {
			g.say(g.answer())
		}
		if g.failed != nil {
			return g.failed
		}
	}
	return nil
}

// say lets the owner write, some minutes later.
func (g *growing) say(text string) {
	g.at = g.at.Add(time.Duration(1+g.rng.IntN(9)) * time.Minute)
	g.n++
	g.do(care.Event{Key: fmt.Sprintf("sms/SM%032x", g.n), Message: &care.MessageIn{
		From: g.owner.Address, Via: "texts", ID: fmt.Sprintf("SM%032x", g.n), Text: text,
	}})
}

func (g *growing) open() *care.Open { return g.h.Contacts[0].Talk.Open }

// untilAsked lets time pass until something is asked.
func (g *growing) untilAsked() error {
	for range 1000 {
		if g.open() != nil {
			return nil
		}
		if g.next.IsZero() {
			break
		}
		if g.at = g.next; g.at.Before(g.next) {
			g.at = g.next
		}
		g.do(care.Event{Tick: &care.Tick{}})
	}
	return errors.New("an invented household is never asked anything")
}

// answer is what an owner writes to the question that stands open: mostly as it
// is meant to be, now and then in words.
func (g *growing) answer() string {
	level := func() int { return min(g.rng.IntN(3), 4) }
	switch step := g.open().Session.Step; {
	case step == "list":
		var levels []string
		for range 6 {
			levels = append(levels, fmt.Sprint(level()))
		}
		if g.h.Dogs[g.open().Dog].Own[0] != "" {
			levels = append(levels, fmt.Sprint(level()), fmt.Sprint(level()))
		}
		return strings.Join(levels, " ")
	case strings.HasPrefix(step, "signs_doses"):
		return g.pick("no, none", "No 0", "nothing new, 0 missed")
	case strings.HasPrefix(step, "signs"), step == "standing_new":
		return g.pick("no", "No nothing new", "nope all good thanks")
	case step == "doses":
		return "0"
	case step == "weight":
		return "32.1 kg"
	case step == "standing_can":
		return "yes"
	default:
		n := level()
		return g.pick(fmt.Sprint(n), fmt.Sprint(n), fmt.Sprintf("about a %d I'd say", n))
	}
}

func (g *growing) pick(words ...string) string { return words[g.rng.IntN(len(words))] }
