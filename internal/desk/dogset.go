package desk

import (
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"gaitpost/internal/account"
	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
	"gaitpost/internal/clinical"
)

// ownSettings are what is set for one dog, beside the clinic's own.
type ownSettings struct {
	Numbers  []ownNumberLine
	Own      int // numbers that are the dog's own
	Cadences []ownCadenceLine
	Held     *holdLine
	May      struct{ Numbers, Cadences bool }
}

type ownNumberLine struct {
	Key, Name, Unit string
	Min, Max        string
	Clinics, Source string
	Value           string // the dog's own; "" where the clinic's holds
	By              string
	At              int64
}

type ownCadenceLine struct {
	Kind, Name string
	Cron       string // the dog's own; "" where the clinic's holds
	Gap        int
	Clinics    string
	ClinicsGap int
	Next       []stamp
	By         string
	At         int64
}

type holdLine struct {
	Since, Until int64
	Why, By      string
}

// nextOfDog is how many of the next times of a prompt a page shows.
const nextOfDog = 3

func (d *Desk) ownSettings(v *visit, p page, dog *care.Dog) ownSettings {
	s := ownSettings{}
	s.May.Numbers, s.May.Cadences = v.who.Role.Can(account.QuietAlerts), v.who.Role.Can(account.ChangePlan)
	sources := map[string]string{}
	for _, k := range clinic.Explain(v.clinic) {
		sources[k.Key] = k.Source
	}
	r := v.clinic.Rules
	for _, o := range care.OwnThresholds {
		l := ownNumberLine{Key: o.Key, Name: o.Name, Unit: o.Unit, Min: plain(o.Min), Max: plain(o.Max),
			Clinics: plain(o.Of(r.Thresholds)), Source: sources["thresholds.index."+o.Key]}
		if i := slices.IndexFunc(dog.OwnNumbers, func(n care.OwnNumber) bool { return n.Key == o.Key }); i >= 0 {
			n := dog.OwnNumbers[i]
			l.Value, l.By, l.At = plain(n.Value), d.nameOf(v, n.By), n.At
			s.Own++
		}
		s.Numbers = append(s.Numbers, l)
	}
	for _, k := range care.OwnCadences {
		s.Cadences = append(s.Cadences, d.ownCadence(v, p, dog, k))
	}
	if h := dog.Hold; h != nil && dog.Status == care.OnHold {
		s.Held = &holdLine{h.Since, h.Until, h.Reason, d.nameOf(v, h.By)}
	}
	return s
}

func (d *Desk) ownCadence(v *visit, p page, dog *care.Dog, k care.PromptKind) ownCadenceLine {
	r := v.clinic.Rules
	clinics := (&care.Dog{Plan: dog.Plan}).Cadence(r.Cadences, k)
	l := ownCadenceLine{Kind: string(k), Name: dueNames[k], Clinics: clinics.String(), ClinicsGap: clinics.GapDays()}
	for _, o := range dog.OwnCadences {
		if o.Kind == k {
			l.Cron, l.Gap, l.By, l.At = o.Cron, o.Gap, d.nameOf(v, o.By), o.At
		}
	}
	i := slices.IndexFunc(dog.Due, func(due care.Due) bool { return due.Kind == k && due.At > 0 })
	if i < 0 || dog.Status == care.Died || dog.Status == care.Left {
		return l
	}
	c, at := dog.Cadence(r.Cadences, k), time.Unix(dog.Due[i].At, 0)
	for len(l.Next) < nextOfDog && !at.IsZero() {
		l.Next = append(l.Next, p.Stamp(at.Unix()))
		next, _ := c.Next(at, cadence.DateIn(at, r.Zone), r.Zone)
		if at = next; !at.IsZero() {
			at, _ = r.Quiet.Delay(at, r.Zone)
		}
	}
	return l
}

func plain(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }

// thresholds sets the numbers of one dog; an empty field is the clinic's.
func (d *Desk) thresholds(v *visit) error {
	return d.onDog(v, "dog-set", account.SetDog, func(dog int8, p *care.Practice, e *account.Entry) error {
		s := &care.DogSettings{Dog: dog}
		var said []string
		for _, o := range care.OwnThresholds {
			text := strings.TrimSpace(v.FormValue("n-" + o.Key))
			if text == "" {
				s.Numbers = append(s.Numbers, care.SetNumber{Key: o.Key, Clear: true})
				continue
			}
			f, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
			if err != nil || math.IsNaN(f) || math.IsInf(f, 0) {
				return refuse(o.Name + ": “" + shorten(text, 20) + "” is not a number.")
			}
			s.Numbers = append(s.Numbers, care.SetNumber{Key: o.Key, Value: f})
			said = append(said, o.Key+" "+plain(f))
		}
		p.Settings, e.Detail = s, "thresholds: "+strings.Join(said, ", ")
		if len(said) == 0 {
			e.Detail = "thresholds: all the clinic's"
		}
		return nil
	})
}

// cadence sets when one dog's prompts of a kind fall due.
func (d *Desk) cadence(v *visit) error {
	return d.onDog(v, "dog-set", account.SetDog, func(dog int8, p *care.Practice, e *account.Entry) error {
		c := &care.SetDogsCadence{Kind: care.PromptKind(v.FormValue("kind"))}
		if v.FormValue("clear") != "yes" {
			var err error
			if c.Cron, err = needed(v, "cron", 120, "Please give a time in cron's form, like “0 10 * * 2” for Tuesday 10:00."); err != nil {
				return err
			}
			if c.Gap, err = number(v, "gap", cadence.MaxGapDays); err != nil {
				return err
			}
		}
		p.Settings = &care.DogSettings{Dog: dog, Cadence: c}
		e.Detail = string(c.Kind) + ": " + c.Cron
		return nil
	})
}

// hold pauses a dog until a date, or goes on with it.
func (d *Desk) hold(v *visit) error {
	say := "held"
	if v.FormValue("end") == "yes" {
		say = "goes-on"
	}
	return d.onDog(v, say, account.HeldDog, func(dog int8, p *care.Practice, e *account.Entry) (err error) {
		h := &care.HoldDog{Dog: dog}
		p.Hold = h
		h.Until, h.Reason, e.Detail, err = untilAndWhy(v, say == "goes-on")
		return err
	})
}

// pauseTexts leaves one person in peace until a date, or goes on texting them.
func (d *Desk) pauseTexts(v *visit) error {
	id, err := about(v)
	if err != nil {
		return err
	}
	n, err := number(v, "contact", 100)
	if err != nil {
		return err
	}
	say := "texts-paused"
	if v.FormValue("end") == "yes" {
		say = "resumed"
	}
	p := &care.PauseTexts{Contact: int8(n)}
	e := account.Entry{Deed: account.PausedTexts}
	if p.Until, p.Reason, e.Detail, err = untilAndWhy(v, say == "resumed"); err != nil {
		return err
	}
	return d.act(v, deed{id: id, say: say, what: care.Practice{Pause: p}, entry: e})
}

// untilAndWhy reads the end of a pause, the beginning of a date, and its reason.
func untilAndWhy(v *visit, ends bool) (until int64, why, detail string, err error) {
	if ends {
		return 0, "", "ended", nil
	}
	t, err := date(v, "until")
	if err != nil {
		return 0, "", "", err
	}
	if t.IsZero() {
		return 0, "", "", refuse("Please give the date on which it goes on.")
	}
	why, err = needed(v, "why", maxLine, "Please say why, for whoever reads this later.")
	y, m, day := t.Date()
	return time.Date(y, m, day, 0, 0, 0, 0, v.rulesZone()).Unix(), why, "until " + t.Format(time.DateOnly), err
}

// takenOn reads the date on which something was taken; 0 is now.
func takenOn(v *visit) (int64, error) {
	on, err := date(v, "on")
	if err != nil || on.IsZero() || on.Format(time.DateOnly) == v.now.In(v.rulesZone()).Format(time.DateOnly) {
		return 0, err
	}
	return on.Unix(), nil
}

// correctPage is the form to correct or withdraw one check-in.
type correctPage struct {
	page
	ID       string
	DogIndex int8
	DogName  string
	At       int64
	Index    string
	Items    []correctField
	To       string
}

type correctField struct {
	itemField
	Is clinical.Level
}

// Chosen reports whether an answer is the one that was kept.
func (f correctField) Chosen(n int) bool { return int(f.Is) == n }

// Absence is the code of an answer that is no level.
func (f correctField) Absence() string {
	switch f.Is {
	case clinical.NotApplicable:
		return "x"
	case clinical.Missing:
		return "none"
	}
	return ""
}

func (d *Desk) correctPage(v *visit) error {
	h, i, err := d.loadDog(v)
	if err != nil {
		return err
	}
	dog := &h.Dogs[i]
	readings := dog.Course.Readings()
	k := len(readings) - 1 // the newest, where none is named
	if of := v.QueryParam("at"); of != "" {
		k = slices.IndexFunc(readings, func(r clinical.Reading) bool { return strconv.FormatInt(r.At, 10) == of })
		if k < 0 {
			return errNotFound
		}
	}
	p := &correctPage{page: d.page(v, "Correct a check-in of "+dog.Name), ID: string(h.ID), DogIndex: i, DogName: dog.Name,
		Index: "too few answers for an index", To: Prefix + "/h/" + string(h.ID) + "/dogs/" + itoa(int(i))}
	if k < 0 {
		return d.render(v, http.StatusOK, "correct", p)
	}
	p.At = readings[k].At
	if x := readings[k].Index; x.Scored {
		p.Index = "index " + one(float64(x.Total))
	}
	for n, f := range itemFieldsOf(v, dog) {
		p.Items = append(p.Items, correctField{f, readings[k].Items[n]})
	}
	return d.render(v, http.StatusOK, "correct", p)
}

// correct corrects or withdraws a check-in or a weight.
func (d *Desk) correct(v *visit) error {
	id, dog, err := aboutDog(v)
	if err != nil {
		return err
	}
	c := &care.Correction{Dog: dog, Weight: v.FormValue("weight") == "yes", Withdraw: v.FormValue("withdraw") == "yes"}
	if c.At, err = strconv.ParseInt(v.FormValue("at"), 10, 64); err != nil {
		return refuse("This form is incomplete. Load the page again and repeat it.")
	}
	if c.Why, err = needed(v, "why", maxLine, "Please say what was wrong, for whoever reads this later."); err != nil {
		return err
	}
	switch {
	case c.Withdraw:
	case c.Weight:
		c.Grams, err = kilograms(v, "kg")
	default:
		items := clinical.NoAnswers()
		c.Items = &items
		err = itemFields(v, c.Items)
	}
	if err != nil {
		return err
	}
	what := map[bool]string{true: "weight", false: "check-in"}[c.Weight] + " of " + time.Unix(c.At, 0).In(v.rulesZone()).Format(time.DateOnly)
	if c.Withdraw {
		what += " withdrawn"
	}
	return d.act(v, deed{id: id, say: "corrected", toPage: Prefix + "/h/" + string(id) + "/dogs/" + itoa(int(dog)), what: care.Practice{Correct: c},
		entry: account.Entry{Deed: account.Corrected, Dog: int(dog) + 1, Detail: what}})
}

// correctionLine is one thing that staff put right.
type correctionLine struct {
	What, Why, By string
	At            int64
}

// changeable says what of a dog may be set, corrected or withdrawn here.
func (p *dogPage) changeable(d *Desk, v *visit, dog *care.Dog) {
	p.Settings = d.ownSettings(v, p.page, dog)
	for i := range p.Quieted {
		p.Quieted[i].By = d.nameOf(v, p.Quieted[i].By)
	}
	for _, c := range slices.Backward(p.History.record.Corrected) {
		what := map[bool]string{true: "Weight of ", false: "Check-in of "}[c.Weight] + p.Day(c.Of).Text
		if c.Withdrawn {
			what += " withdrawn"
		}
		p.Corrections = append(p.Corrections, correctionLine{what, c.Why, d.nameOf(v, c.By), c.At})
	}
	p.AtHand, p.WeightsAtHand = map[int64]bool{}, map[int64]bool{}
	if !v.who.Role.Can(account.EnterFindings) {
		return
	}
	for _, r := range dog.Course.Readings() {
		p.AtHand[r.At] = true
	}
	for _, w := range dog.Weights {
		p.WeightsAtHand[w.At] = true
	}
}

// Earliest is the first date of which something may still be entered.
func (p page) Earliest() string { return p.now.In(p.zone).AddDate(0, 0, -14).Format(time.DateOnly) }
