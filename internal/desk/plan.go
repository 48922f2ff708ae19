package desk

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
)

// planPage is a dog's plan: what is on it, what might come next, what the
// practice found.
type planPage struct {
	page
	ID       string
	DogIndex int8
	DogName  string
	Status   string
	planPart
	Found    foundPart
	Fill     entryForm // of a new entry
	Begun    string    // what was accepted to get here
	MayMeds  bool
	Choices  planChoices
	FormOpen bool
}

// planPart is what the page of a dog and that of its plan share.
type planPart struct {
	Notes     []string // what stands about the plan as it is
	Wait      string   // why anything new might better wait, "" for nothing
	Areas     []areaPart
	Open      []suggestionLine
	Agreed    []suggestionLine
	Aside     []suggestionLine
	Over      []entryLine // ended or declined, newest first
	Withdrawn []entryLine
	Empty     bool
}

// areaPart is one area of the plan.
type areaPart struct {
	Area    care.Area
	State   care.CoverState
	About   string
	Entries []entryLine
}

// Covered reports whether something is on it.
func (a areaPart) Covered() bool { return len(a.Entries) > 0 }

// entryLine is one thing on the plan as a page shows it.
type entryLine struct {
	care.Entry
	By        string
	State     string
	Kind      string // of medicine, "" for none
	Origin    string // where it comes from, "" for this practice
	May       bool   // the reader may change it
	MayKeep   bool   // the reader may keep its reminders and what was done
	Overdue   bool   // its review is
	Reminders []reminderLine
	Actions   []actionChoice
}

// Held reports whether it waits for the vet.
func (e entryLine) Held() bool { return e.Status == care.Held }

// reminderLine is one reminder of an entry.
type reminderLine struct {
	ID               uint8
	What, When, Note string
	Next, Last       string // dates in words, "" for none
	Missed           string
	Asked            bool // the owner is asked whether it was done
	Injection        bool
}

// suggestionLine is one suggestion as a page shows it.
type suggestionLine struct {
	care.Suggestion
	Key    string // for ids in the page
	May    bool   // the reader may decide
	By     string // who decided
	Begins bool   // accepting leads on to a form
}

type actionChoice struct {
	Action care.PlanAction
	Words  string
}

// planChoices are the lists that the page's forms offer.
type planChoices struct {
	Classes   []classChoice
	Areas     []care.Area
	Sources   []sourceChoice
	Reminders []reminderChoice
	Joints    []string
	Sides     []care.Side
	Grades    []string
	Legs      []care.Leg
	Tests     []care.TestKind
}

type classChoice struct {
	Class care.MedicineClass
	Words string
}

type sourceChoice struct {
	Source care.Source
	Words  string
}

type reminderChoice struct {
	Kind  care.ReminderKind
	Words string
}

// classNames are the kinds of medicine; never a dose.
var classNames = []classChoice{{care.NotMedicine, "not a medicine"}, {care.NSAID, "anti-inflammatory"}, {care.Antibody, "antibody injection"},
	{care.Steroid, "steroid"}, {care.Aspirin, "aspirin"}, {care.OtherMed, "another medicine"}}

func className(c care.MedicineClass) string {
	for _, n := range classNames {
		if n.Class == c && c != care.NotMedicine {
			return n.Words
		}
	}
	return ""
}

var sourceNames = map[care.Source]string{care.FromHere: "this practice", care.FromOutOfHours: "an out-of-hours vet",
	care.FromLeftovers: "leftovers at home", care.FromBought: "bought by the owner", care.FromElsewhere: "elsewhere, or not known"}

var reminderNames = map[care.ReminderKind]string{care.RemindInjection: "repeat injection", care.RemindTablets: "tablets to collect",
	care.RemindTest: "blood or urine test", care.RemindSession: "therapy session", care.RemindExercises: "exercises at home",
	care.RemindSupplement: "supplement", care.RemindWeighIn: "weigh-in", care.RemindOther: "something else, in the note"}

// changesOf are the actions offered for an entry as it stands.
func changesOf(e care.Entry) []actionChoice {
	switch e.Status {
	case care.Held:
		return []actionChoice{{care.PlanRestart, "restart"}, {care.PlanAdjust, "go on, changed"}, {care.PlanStop, "stop"}}
	case care.Ended:
		return []actionChoice{{care.PlanRestart, "restart"}}
	}
	return []actionChoice{{care.PlanAdjust, "change how it is given or done"}, {care.PlanHold, "hold"}, {care.PlanStop, "stop"},
		{care.PlanDecline, "given up by the owner"}}
}

func (d *Desk) planPage(v *visit) error {
	h, i, err := d.loadDog(v)
	if err != nil {
		return err
	}
	p := d.planOf(v, h, i)
	if err := d.trailed(v, account.Entry{Deed: account.SawDog, Household: string(h.ID), Dog: int(i) + 1, Detail: "plan"}); err != nil {
		return err
	}
	return d.render(v, http.StatusOK, "plan", p)
}

func (d *Desk) planOf(v *visit, h *care.Household, i int8) *planPage {
	dog := &h.Dogs[i]
	p := &planPage{page: d.page(v, dog.Name+"’s plan"), ID: string(h.ID), DogIndex: i, DogName: dog.Name, Status: statusNames[dog.Status],
		planPart: d.planPart(v, dog), MayMeds: v.who.Role.Can(account.Prescribe), Choices: choicesFor(v)}
	p.Path = strings.SplitN(p.Path, "?", 2)[0]
	p.Found = foundOf(p.page, dog)
	p.Fill = entryForm{Area: care.AreaActivity}
	if s := p.accepted(v.QueryParam("begin")); s != nil && s.Draft != nil {
		p.Begun, p.FormOpen = s.What, true
		p.Fill = entryForm{Area: s.Draft.Area, What: s.Draft.What, Comfort: s.Draft.Comfort, Why: s.Answer.Why,
			Review: p.Ymd(v.now.AddDate(0, 0, s.Draft.ReviewDays).Unix())}
	}
	return p
}

// accepted is the accepted suggestion of a kind that begins something, or nil.
func (p *planPage) accepted(kind string) *suggestionLine {
	i := slices.IndexFunc(p.Agreed, func(s suggestionLine) bool { return string(s.Kind) == kind && s.Entry == 0 })
	if i < 0 {
		return nil
	}
	return &p.Agreed[i]
}

func choicesFor(v *visit) planChoices {
	c := planChoices{Classes: classNames, Areas: care.Areas, Joints: care.JointNames, Sides: care.Sides,
		Grades: care.LameGrades[:], Legs: care.Legs, Tests: care.TestKinds}
	for _, s := range care.Sources {
		c.Sources = append(c.Sources, sourceChoice{s, sourceNames[s]})
	}
	for _, k := range care.ReminderKinds {
		c.Reminders = append(c.Reminders, reminderChoice{k, reminderNames[k]})
	}
	if !v.who.Role.Can(account.Prescribe) {
		c.Classes = classNames[:1]
		c.Areas = slices.DeleteFunc(slices.Clone(care.Areas), func(a care.Area) bool { return a == care.AreaPain })
	}
	return c
}

// planPart makes what the pages of a dog and of its plan share.
func (d *Desk) planPart(v *visit, dog *care.Dog) planPart {
	r, at := v.clinic.Rules, v.now.Unix()
	p := planPart{Notes: care.PlanNotes(r, dog, v.now), Empty: true}
	for _, c := range care.PlanCover(r, dog, at) {
		a := areaPart{Area: c.Area, State: c.State, About: c.About}
		for _, e := range c.Entries {
			a.Entries = append(a.Entries, d.entryLine(v, dog, e))
		}
		p.Empty = p.Empty && len(a.Entries) == 0
		p.Areas = append(p.Areas, a)
	}
	for _, e := range slices.Backward(dog.Plan) {
		if e.Status == care.Ended {
			p.Over = append(p.Over, d.entryLine(v, dog, e))
		}
	}
	for _, e := range slices.Backward(dog.Withdrawn) {
		p.Withdrawn = append(p.Withdrawn, d.entryLine(v, dog, e))
	}
	p.suggest(d, v, dog)
	return p
}

// suggest sorts the suggestions by what was decided. What is said to vets alone
// is not even counted for others.
func (p *planPart) suggest(d *Desk, v *visit, dog *care.Dog) {
	vet := v.who.Role.Can(account.Prescribe)
	for _, s := range care.Suggest(v.clinic.Rules, dog, v.now.Unix()) {
		if s.Whose == care.VetAlone && !vet {
			continue
		}
		l := suggestionLine{Suggestion: s, Key: fmt.Sprintf("%s-%d", s.Kind, s.Entry), Begins: s.Draft != nil,
			May: v.who.Role.Can(account.ChangePlan) && (vet || s.Whose == care.Anyones)}
		if s.Wait != "" {
			p.Wait = capital(s.Wait) + "."
		}
		if s.Answer != nil {
			l.By = d.nameOf(v, s.Answer.By)
		}
		switch {
		case s.Open():
			p.Open = append(p.Open, l)
		case s.Answer.Verdict == care.Accepted:
			p.Agreed = append(p.Agreed, l)
		default:
			p.Aside = append(p.Aside, l)
		}
	}
}

// aMedicine reports whether only a vet may change an entry.
func aMedicine(e care.Entry) bool { return e.Class != care.NotMedicine || e.Area == care.AreaPain }

func (d *Desk) entryLine(v *visit, dog *care.Dog, e care.Entry) entryLine {
	l := entryLine{Entry: e, By: d.nameOf(v, e.By), Kind: className(e.Class), Actions: changesOf(e)}
	l.MayKeep = v.who.Role.Can(account.ChangePlan)
	l.May = l.MayKeep && (!aMedicine(e) || v.who.Role.Can(account.Prescribe))
	if e.Source != care.FromHere {
		l.Origin = sourceNames[e.Source]
	}
	switch {
	case e.Declined && e.Ended <= e.Started:
		l.State = "declined"
	case e.Declined:
		l.State = "given up"
	case e.Status == care.Ended:
		l.State = "ended"
	case e.Status == care.Held:
		l.State = "held: waits for the vet’s decision"
	default:
		l.State = "active"
		l.Overdue = e.Review != 0 && e.Review < v.now.Unix()
	}
	for _, m := range e.Reminders {
		l.Reminders = append(l.Reminders, reminderOf(v.clinic.Rules, m))
	}
	return l
}

const daySeconds = 24 * 3600

// dayText is a local date, days since 1970, in words; "" for none.
func dayText(n int32) string {
	if n == 0 {
		return ""
	}
	return dayTime(n).Format("2 Jan 2006")
}

func reminderOf(r *care.Rules, m care.Reminder) reminderLine {
	l := reminderLine{ID: m.ID, What: reminderNames[m.Kind], Note: m.Note, Next: dayText(m.Next), Last: dayText(m.Done),
		Missed: dayText(m.Missed), Asked: m.Kind.AsksBack(), Injection: m.Kind == care.RemindInjection}
	if m.Kind == care.RemindOther {
		l.What, l.Note = m.Note, ""
	}
	every := int(m.Every)
	switch {
	case len(m.On) > 0:
		var dates []string
		for _, n := range m.On {
			dates = append(dates, dayText(n))
		}
		l.When = "on " + strings.Join(dates, ", ")
		return l
	case m.Cron != "":
		l.When = "by the cadence " + m.Cron
	default:
		if every == 0 {
			every = r.ReminderRules().EveryDays(m.Kind)
		}
		l.When = "every " + plural(every, "day")
	}
	if m.Until != 0 {
		l.When += " until " + dayText(m.Until)
	}
	return l
}
