package desk

import (
	"crypto/sha256"
	"encoding/base64"
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"gaitpost/internal/account"
	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
)

// entryForm is what the form of an entry holds.
type entryForm struct {
	Area    care.Area
	What    string
	Why     string
	Review  string // a date as a field holds it
	Comfort bool
}

// confirmPage shows what is to be known about a change before it is made.
type confirmPage struct {
	page
	ID       string
	DogIndex int8
	DogName  string
	Change   string // in words
	Advice   []string
	Fields   []formField // the form again
	Told     string
	Back     string
}

type formField struct{ Name, Value string }

// plan changes a dog's plan. What is to be known about a change is shown first
// and has to be seen; it never stands in the way.
func (d *Desk) plan(v *visit) error {
	h, i, err := d.loadDog(v)
	if err != nil {
		return err
	}
	dog := &h.Dogs[i]
	p := &care.PlanChange{Dog: dog.Name, Action: care.PlanAction(v.FormValue("action")), Comfort: v.FormValue("comfort") == "yes"}
	if err := planFields(v, dog, p); err != nil {
		return err
	}
	if err := mayChange(v, dog, p); err != nil {
		return err
	}
	if unexplained(p) {
		return refuse("Please say why, for whoever reads this later.")
	}
	advice := care.PlanAdvice(v.clinic.Rules, dog, *p, v.now)
	if told := digestOf(advice); len(advice) > 0 && v.FormValue("told") != told {
		return d.confirm(v, h, i, p, advice)
	}
	to := planAt(h, i)
	if v.FormValue("from") != "" {
		to = ""
	}
	return d.act(v, deed{id: h.ID, say: "planned", toPage: to, what: care.Practice{Plan: p},
		entry: account.Entry{Deed: account.Planned, Dog: int(i) + 1, Detail: string(p.Action) + " " + p.What}})
}

func planAt(h *care.Household, i int8) string {
	return Prefix + "/h/" + string(h.ID) + "/dogs/" + itoa(int(i)) + "/plan"
}

// digestOf stands for the sentences that were shown: where they are others by
// the time the form comes back, they are shown again.
func digestOf(advice []string) string {
	sum := sha256.Sum256([]byte(strings.Join(advice, "\n")))
	return base64.RawURLEncoding.EncodeToString(sum[:9])
}

func (d *Desk) confirm(v *visit, h *care.Household, i int8, p *care.PlanChange, advice []string) error {
	c := &confirmPage{page: d.page(v, "Before this is done"), ID: string(h.ID), DogIndex: i, DogName: p.Dog, Advice: advice,
		Told: digestOf(advice), Change: capital(string(p.Action)) + ": " + p.What, Back: back(v)}
	form, err := v.FormParams()
	if err != nil {
		return refuse("The form could not be read. Load the page again and repeat it.")
	}
	for name, values := range form {
		if name == "told" {
			continue
		}
		for _, value := range values {
			c.Fields = append(c.Fields, formField{name, value})
		}
	}
	slices.SortFunc(c.Fields, func(a, b formField) int { return strings.Compare(a.Name, b.Name) })
	return d.render(v, http.StatusOK, "planconfirm", c)
}

// mayChange refuses what is not the reader's to change: a medicine is a vet's.
// Reminders of one, and that it was given or collected, others may keep too.
func mayChange(v *visit, dog *care.Dog, p *care.PlanChange) error {
	medicine := p.Area == care.AreaPain || p.Class != care.NotMedicine
	if e := entryOf(dog, p.Entry); e != nil {
		medicine = aMedicine(*e) && p.Action != care.PlanReminders && p.Action != care.PlanDone
	}
	if permit := v.who.Role.May(account.Prescribe); medicine && permit != account.Allowed {
		return &refusal{403, permit.Sentence()}
	}
	return nil
}

func entryOf(dog *care.Dog, id uint16) *care.Entry {
	i := slices.IndexFunc(dog.Plan, func(e care.Entry) bool { return e.ID == id })
	if i < 0 {
		return nil
	}
	return &dog.Plan[i]
}

// planFields reads a change of plan. Which fields it has depends on what is done.
func planFields(v *visit, dog *care.Dog, p *care.PlanChange) (err error) {
	entry, err := number(v, "entry", math.MaxUint16)
	if err != nil {
		return err
	}
	p.Entry = uint16(entry)
	if p.Reason, err = text(v, "reason", maxLine); err != nil {
		return err
	}
	if p.Batch, err = text(v, "batch", 60); err != nil {
		return err
	}
	if p.On, err = past(v, "on"); err != nil {
		return err
	}
	if p.Action == care.PlanStart || p.Action == care.PlanDetails {
		if err := detailFields(v, p); err != nil {
			return err
		}
	}
	if p.Entry == 0 {
		return newFields(v, p)
	}
	e := entryOf(dog, p.Entry)
	if e == nil || p.Action == care.PlanStart {
		return errNotFound
	}
	if p.Action != care.PlanDetails || p.What == "" {
		p.What = e.What
	}
	p.Area, p.Class = e.Area, e.Class
	switch p.Action {
	case care.PlanDetails:
		p.On, p.Clear = 0, cleared(e, p)
	case care.PlanReminders:
		p.Reminders, err = reminderFields(v, e)
	case care.PlanDone:
		id, bad := number(v, "reminder", math.MaxUint8)
		p.Reminder, err = uint8(id), bad
	}
	return err
}

// unexplained reports whether a change that needs a reason came without one.
func unexplained(p *care.PlanChange) bool {
	switch p.Action {
	case care.PlanStop, care.PlanHold, care.PlanDecline:
		return p.Reason == ""
	}
	return false
}

// past reads the day something took effect: never one to come. Zero for none.
func past(v *visit, name string) (int64, error) {
	on, err := date(v, name)
	if err != nil || on.IsZero() {
		return 0, err
	}
	if on.After(v.now.Add(24 * time.Hour)) {
		return 0, refuse("That date is still to come. Record a change once it has happened.")
	}
	return min(on.Unix(), v.now.Unix()), nil
}

// detailFields reads what is written about an entry.
func detailFields(v *visit, p *care.PlanChange) (err error) {
	if p.What, err = text(v, "what", 60); err != nil {
		return err
	}
	if clinic.NamesDose(p.What) {
		return refuse("A dose is not kept here: give the name alone.")
	}
	if p.Why, err = text(v, "why", maxLine); err != nil {
		return err
	}
	if p.Who, err = text(v, "who", 60); err != nil {
		return err
	}
	p.Source = care.Source(v.FormValue("source"))
	if !slices.Contains(care.Sources, p.Source) {
		return refuse("Please choose where it comes from.")
	}
	if v.FormValue("review") != "" {
		review, err := date(v, "review")
		if err != nil {
			return err
		}
		p.Review = review.Unix()
	}
	return nil
}

// cleared lists the details that a form left empty and that were not.
func cleared(e *care.Entry, p *care.PlanChange) []string {
	var list []string
	for name, emptied := range map[string]bool{"why": e.Why != "" && p.Why == "", "who": e.Who != "" && p.Who == "",
		"review": e.Review != 0 && p.Review == 0, "batch": e.Batch != "" && p.Batch == "",
		"comfort": e.Comfort && !p.Comfort, "source": e.Source != care.FromHere && p.Source == care.FromHere} {
		if emptied {
			list = append(list, name)
		}
	}
	slices.Sort(list)
	return list
}

// newFields reads what something new is: what, in which area, and which kind of
// medicine.
func newFields(v *visit, p *care.PlanChange) (err error) {
	if p.Action != care.PlanStart && p.Action != care.PlanDecline {
		return refuse("Please choose what on the plan this is about.")
	}
	if p.What, err = needed(v, "what", 60, "Please say what was started."); err != nil {
		return err
	}
	p.Area, p.Class = care.Area(v.FormValue("area")), care.MedicineClass(v.FormValue("class"))
	if !slices.Contains(care.Areas, p.Area) {
		return refuse("Please choose an area of the plan.")
	}
	if !slices.Contains(medicineClasses, p.Class) {
		return refuse("Please choose what kind of medicine it is.")
	}
	if kind := v.FormValue("remind"); kind != "" && p.Action == care.PlanStart {
		m, err := reminderField(v, care.ReminderKind(kind))
		if err != nil {
			return err
		}
		p.Reminders = []care.Reminder{m}
	}
	return nil
}

var medicineClasses = []care.MedicineClass{care.NotMedicine, care.NSAID, care.Antibody, care.Steroid, care.Aspirin, care.OtherMed}

// reminderFields is an entry's list of reminders as a form changes it: one
// added, or one taken away.
func reminderFields(v *visit, e *care.Entry) ([]care.Reminder, error) {
	drop, err := number(v, "drop", math.MaxUint8)
	if err != nil {
		return nil, err
	}
	list := slices.Clone(e.Reminders)
	if drop != 0 {
		return slices.DeleteFunc(list, func(m care.Reminder) bool { return int(m.ID) == drop }), nil
	}
	m, err := reminderField(v, care.ReminderKind(v.FormValue("remind")))
	return append(list, m), err
}

// reminderField reads one reminder: every so many days, or on dates, or as the
// clinic has it for its kind.
func reminderField(v *visit, kind care.ReminderKind) (care.Reminder, error) {
	m := care.Reminder{Kind: kind}
	if !kind.Known() {
		return m, refuse("Please choose what to be reminded of.")
	}
	every, err := number(v, "every", 731)
	if err != nil {
		return m, err
	}
	m.Every = int16(every)
	if m.Note, err = text(v, "remark", 60); err != nil {
		return m, err
	}
	for _, s := range strings.FieldsFunc(v.FormValue("dates"), func(c rune) bool { return c == ',' || c == ' ' || c == '\n' || c == '\r' }) {
		d, err := cadence.ParseLocalDate(s)
		if err != nil {
			return m, refuse("“" + shorten(s, 20) + "” is not a date. Write dates like 2026-03-31, with commas between them.")
		}
		m.On = append(m.On, int32(cadence.Date(1970, 1, 1).DaysUntil(d)))
	}
	return m, nil
}

// withdraw takes an entry off that was entered in error.
func (d *Desk) withdraw(v *visit) error {
	h, i, err := d.loadDog(v)
	if err != nil {
		return err
	}
	n, err := number(v, "entry", math.MaxUint16)
	if err != nil {
		return err
	}
	e := entryOf(&h.Dogs[i], uint16(n))
	if e == nil {
		return errNotFound
	}
	if permit := v.who.Role.May(account.Prescribe); aMedicine(*e) && permit != account.Allowed {
		return &refusal{403, permit.Sentence()}
	}
	why, err := needed(v, "why", maxLine, "Please say what was wrong about the entry.")
	if err != nil {
		return err
	}
	return d.act(v, deed{id: h.ID, say: "withdrawn", what: care.Practice{Withdraw: &care.Withdraw{Dog: i, Entry: e.ID, Why: why}},
		entry: account.Entry{Deed: account.Planned, Dog: int(i) + 1, Detail: "withdrew " + e.What + ", entered in error"}})
}

// suggestion keeps a practitioner's word on a suggestion. Accepting one that
// begins something leads on to the form, filled in so far as is known.
func (d *Desk) suggestion(v *visit) error {
	h, i, err := d.loadDog(v)
	if err != nil {
		return err
	}
	c := &care.Decide{Dog: i, Kind: care.SuggestionKind(v.FormValue("kind"))}
	entry, err := number(v, "entry", math.MaxUint16)
	if err != nil {
		return err
	}
	c.Entry = uint16(entry)
	list := care.Suggest(v.clinic.Rules, &h.Dogs[i], v.now.Unix())
	k := slices.IndexFunc(list, func(s care.Suggestion) bool { return s.Kind == c.Kind && s.Entry == c.Entry })
	if k < 0 {
		return refuse("That suggestion no longer stands: what it rests on has changed.")
	}
	if permit := v.who.Role.May(account.Prescribe); list[k].Whose != care.Anyones && permit != account.Allowed {
		return &refusal{403, permit.Sentence()}
	}
	if c.Why, err = needed(v, "why", maxLine, "Please say why in a word, for whoever reads this later."); err != nil {
		return err
	}
	until, err := date(v, "until")
	if err != nil {
		return err
	}
	if !until.IsZero() {
		c.Until = until.Unix()
	}
	say, to := "declined", planAt(h, i)
	c.Verdict = care.Rejected
	if v.FormValue("verdict") == "accept" {
		c.Verdict, say = care.Accepted, "accepted"
		if list[k].Draft != nil {
			to += "?begin=" + string(c.Kind)
		}
	}
	return d.act(v, deed{id: h.ID, say: say, toPage: to, what: care.Practice{Decide: c},
		entry: account.Entry{Deed: account.Planned, Dog: int(i) + 1, Detail: c.Verdict.String() + " the suggestion: " + list[k].What}})
}

// findings keeps what the practitioner found: what stands is what the form says.
func (d *Desk) findings(v *visit) error {
	return d.onDog(v, "found", account.Found, func(dog int8, p *care.Practice, _ *account.Entry) error {
		f := &care.Findings{Dog: dog, Whole: v.FormValue("whole") == "yes"}
		var err error
		if f.Text, err = text(v, "text", maxNote); err != nil {
			return err
		}
		if f.BCS, f.Muscle, err = bodyFields(v); err != nil {
			return err
		}
		if err := standFields(v, f); err != nil {
			return err
		}
		if f.Text == "" && !f.Whole && f.BCS == 0 && f.Muscle == 0 && len(f.Tests) == 0 && f.Struck == nil && f.Examined == 0 {
			return refuse("There are no findings to record.")
		}
		p.Findings = f
		return nil
	})
}

// standFields reads joints, lameness, other diseases, a test and the day of the
// examination.
func standFields(v *visit, f *care.Findings) error {
	form, err := v.FormParams()
	if err != nil {
		return refuse("The form could not be read. Load the page again and repeat it.")
	}
	for _, j := range form["joint"] {
		side, name, _ := strings.Cut(j, " ")
		f.Joints = append(f.Joints, care.Joint{Side: care.Side(side), Name: name})
	}
	grade, err := number(v, "grade", len(care.LameGrades)-1)
	if err != nil {
		return err
	}
	f.Lameness = care.Lameness{Grade: care.LameGrade(grade), Leg: care.Leg(v.FormValue("leg"))}
	diseases, err := text(v, "diseases", maxText)
	if err != nil {
		return err
	}
	for _, s := range strings.Split(diseases, "\n") {
		if s = strings.TrimSpace(s); s != "" {
			f.Diseases = append(f.Diseases, shorten(s, 80))
		}
	}
	if f.Examined, err = past(v, "examined"); err != nil {
		return err
	}
	return testFields(v, f)
}

// testFields reads a test that was done, or one that was entered in error.
func testFields(v *visit, f *care.Findings) error {
	kind := care.TestKind(v.FormValue("test"))
	if kind == "" {
		return nil
	}
	t := care.Test{Kind: kind}
	var err error
	if strike := v.FormValue("struck"); strike != "" {
		n, err := number(v, "struck", math.MaxInt64)
		f.Struck = &care.Test{Kind: kind, On: int64(n)}
		return err
	}
	if t.On, err = past(v, "test-on"); err != nil {
		return err
	}
	next, err := date(v, "test-next")
	if err != nil {
		return err
	}
	if !next.IsZero() {
		t.Next = next.Unix()
	}
	if t.Remark, err = text(v, "test-remark", maxLine); err != nil {
		return err
	}
	f.Tests = []care.Test{t}
	return nil
}
