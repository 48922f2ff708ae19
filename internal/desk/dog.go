package desk

import (
	"html/template"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
	"gaitpost/internal/signs"
	"gaitpost/internal/store"
)

// dogPage is everything about one dog.
type dogPage struct {
	householdPart
	DogIndex   int8
	Row        row
	Word       string
	StatusText string
	Sex        string
	Own        [2]string
	Meaningful float64
	SDC        float64
	Sigma      float64
	SigmaOwn   bool
	Threshold  float64
	BaseKind   string
	Beginning  string // until when bedding-in lasts

	History history
	Drawing template.HTML
	Recent  []IndexPoint // newest first, for the table
	Older   int
	Grid    grid
	Weight  weightPart
	Plan    planPart
	Found   foundPart
	Home    homePart
	Days    daysPart
	// Progress is how what matters to the owner has gone.
	Progress []ownLine
	Effects  []effectLine
	Quiet    int64
	Quieted  []quietLine
	SameDay  []signs.Sign
	Due      []dueLine
	Papers   []Paper
	BCS      int
	Muscle   string
	Ref      string
	Target   string

	Settings      ownSettings
	AtHand        map[int64]bool // check-ins that can be corrected, by their instant
	WeightsAtHand map[int64]bool
	Corrections   []correctionLine
	// InTexts says which names texts write otherwise, and how.
	InTexts []string
}

// householdPart is what the pages of a dog and of a household share.
type householdPart struct {
	page
	ID       string
	Contacts []contactLine
	Reach    reach
	Others   []row
	Alerts   []alertView
	Talk     []talkLine
	Hidden   int // earlier messages, not shown
	AllTalk  bool
	Stranger bool
	Cut      bool
}

type contactLine struct {
	N         int8
	Name      string
	Phone     string // "" for an address that can't be rung
	Beside    string // which of several addresses, "" for the only one
	Consent   string
	State     care.ConsentState
	ConsentAt int64
	Words     string
	How       string
	Handover  int64 // until when staff talk to this person
	Paused    int64
	PausedWhy string
	Waiting   int
	LastIn    int64
}

var consentNames = map[care.ConsentState]string{care.NotInvited: "not invited yet", care.Invited: "invited, no answer yet",
	care.Agreed: "has agreed to texts", care.Declined: "has declined", care.OptedOut: "has opted out: not texted",
	care.Retired: "no longer used"}

// shared fills in what the pages of a dog and of a household share.
func (d *Desk) shared(v *visit, h *care.Household, title string, entries []store.LogEntry) householdPart {
	p := householdPart{page: d.page(v, title), ID: string(h.ID), Stranger: h.Stranger, AllTalk: v.QueryParam("talk") == "all"}
	p.Live = string(h.ID)
	for i, c := range h.Contacts {
		l := contactLine{N: int8(i), Name: c.Name, Phone: ringsHere(h, int8(i)), Consent: consentNames[c.Consent.State], State: c.Consent.State,
			ConsentAt: c.Consent.At, Words: c.Consent.Words, How: c.Consent.How, Waiting: len(c.Talk.Queue), LastIn: c.Talk.LastIn}
		if l.Name == "" {
			l.Name = "Unknown number"
		}
		if len(h.Contacts) > 1 {
			l.Beside = kindNames[c.Address.Channel] + " " + contact.Mask(c.Address)
		}
		if c.Talk.Handover > v.now.Unix() {
			l.Handover = c.Talk.Handover
		}
		if c.Talk.Paused > v.now.Unix() {
			l.Paused = c.Talk.Paused
			if c.Hold != nil && c.Hold.Until == c.Talk.Paused {
				l.PausedWhy = c.Hold.Reason
			}
		}
		p.Contacts = append(p.Contacts, l)
	}
	p.Reach = reachOf(v, h)
	p.Talk = d.conversation(v, h, entries)
	if n := len(p.Talk) - shownLines; n > 0 && !p.AllTalk {
		p.Hidden, p.Talk = n, p.Talk[n:]
	}
	p.Alerts = d.openAlerts(v, []care.Household{*h})
	return p
}

// ringsHere is the number of an address that can be rung itself, "" for others.
func ringsHere(h *care.Household, i int8) string {
	if n := h.Rings(i); n == h.Contacts[i].Address.Value {
		return n
	}
	return ""
}

// record reads a household's log, its last logLength turns.
func (d *Desk) record(v *visit, id contact.ID) ([]store.LogEntry, error) {
	return d.Store.ReadLog(v.ctx(), v.clinic.Rules.Clinic, id, -logLength, logLength)
}

func (d *Desk) dog(v *visit) error {
	h, i, err := d.loadDog(v)
	if err != nil {
		return err
	}
	entries, err := d.record(v, h.ID)
	if err != nil {
		return err
	}
	dog := &h.Dogs[i]
	p := &dogPage{householdPart: d.shared(v, h, dog.Name, entries), DogIndex: i, Papers: d.papers(h.ID, i)}
	p.Alerts = slices.DeleteFunc(p.Alerts, func(a alertView) bool { return a.Dog != i && a.Dog >= 0 })
	for k := range h.Dogs {
		if int8(k) != i {
			p.Others = append(p.Others, rowOf(v.clinic.Rules, h, int8(k), v.now))
		}
	}
	cut := h.Seq > uint64(len(entries))
	p.Cut = cut
	p.History = historyOf(v.clinic.Rules, h, i, entries, cut)
	for k := range p.History.Findings {
		p.History.Findings[k].By = d.nameOf(v, p.History.Findings[k].By)
	}
	for k := range p.History.Alerts {
		a := &p.History.Alerts[k]
		a.By, a.AckedBy = d.nameOf(v, a.By), d.nameOf(v, a.AckedBy)
	}
	for k := range p.History.Notes {
		p.History.Notes[k].By = d.nameOf(v, p.History.Notes[k].By)
	}
	p.describe(v.clinic.Rules, h, dog)
	p.course(v.clinic.Rules, dog)
	p.Plan, p.Found = d.planPart(v, dog), foundOf(p.page, dog)
	p.Home, p.Days, p.Progress = d.homeOf(v, dog), d.daysOf(v, dog), ownLines(v.clinic.Rules, dog)
	p.Effects = p.History.effects(v.clinic.Rules, dog)
	p.draw(d, v, dog)
	p.changeable(d, v, dog)
	if err := d.trailed(v, account.Entry{Deed: account.SawDog, Household: string(h.ID), Dog: int(i) + 1}); err != nil {
		return err
	}
	return d.render(v, http.StatusOK, "dog", p)
}

func (d *Desk) papers(id contact.ID, dog int8) []Paper {
	var list []Paper
	for _, p := range d.Papers {
		p.URL = strings.NewReplacer("{household}", string(id), "{dog}", itoa(int(dog))).Replace(p.URL)
		list = append(list, p)
	}
	return list
}

func (p *dogPage) describe(r *care.Rules, h *care.Household, dog *care.Dog) {
	p.Row = rowOf(r, h, p.DogIndex, p.now)
	p.Meaningful = r.Thresholds.MeaningfulChange
	p.Word = p.Row.Word(p.Meaningful)
	p.StatusText = statusNames[dog.Status]
	p.Sex = map[care.Sex]string{care.Male: "male", care.Female: "female"}[dog.Sex]
	if p.Sex != "" && dog.Entire {
		p.Sex += ", entire"
	}
	p.Own, p.BCS, p.Ref = dog.Own, int(dog.BCS), dog.Ref
	p.Muscle = muscleNames[dog.Muscle]
	if dog.Target > 0 {
		p.Target = strings.TrimSuffix(kg(dog.Target), " kg")
	}
	p.InTexts = namesInTexts(h, dog)
	if dog.Quiet > p.now.Unix() {
		p.Quiet = dog.Quiet
	}
	for _, q := range dog.Quieted {
		if q.Until > p.now.Unix() {
			p.Quieted = append(p.Quieted, quietLine{q.Sign.Label(), string(q.Sign), q.Until, q.By})
		}
	}
	for _, s := range signs.All() {
		if s.Urgency(signs.Context{}) == signs.SameDay && s != signs.Unclear {
			p.SameDay = append(p.SameDay, s)
		}
	}
	for _, due := range dog.Due {
		if due.At > 0 && dog.Status == care.Followed {
			p.Due = append(p.Due, dueLine{dueNames[due.Kind], due.At})
		}
	}
	slices.SortFunc(p.Due, func(a, b dueLine) int { return int(a.At - b.At) })
}

type quietLine struct {
	Sign  string
	Code  string
	Until int64
	By    string
}

type dueLine struct {
	What string
	At   int64
}

var dueNames = map[care.PromptKind]string{care.PromptCheckIn: "Check-in", care.PromptSignsOnly: "Signs-only text after a medicine",
	care.PromptWeighIn: "Weigh-in", care.PromptReassessment: "Reassessment",
	care.PromptHouse: "Round the house", care.PromptHouseAgain: "Awkward place asked again", care.PromptActivities: "What matters to the owner",
	care.PromptLesson: "Short lesson", care.PromptSummary: "Summary to the owner"}

var muscleNames = [...]string{"", "normal", "mild loss", "moderate loss", "severe loss"}

// course says what the index is held against.
func (p *dogPage) course(r *care.Rules, dog *care.Dog) {
	t := dog.Thresholds(r.Thresholds)
	p.Sigma, p.SigmaOwn = dog.Course.Sigma(t)
	p.SDC = clinical.SmallestDetectable(p.Sigma)
	b := dog.Course.Baseline(t)
	switch {
	case b.Kind == clinical.BeforeTreatment:
		p.BaseKind = "from before treatment only; weak"
	case b.Earlier:
		p.BaseKind = "of the stretch before the last change, until this one has its own"
	case b.Kind == clinical.Provisional:
		p.BaseKind = "provisional: " + plural(b.N, "check-in")
	case b.Kind == clinical.Full:
		p.BaseKind = "mean of " + plural(b.N, "settled check-in")
	}
	if b.Kind != clinical.NoBaseline {
		p.Threshold = b.Value + t.RiseMean
		if b.Kind.Wide() {
			p.Threshold += t.ProvisionalExtra
		}
	}
	if until := dog.Course.BeddingInUntil(t); until > p.now.Unix() && dog.Course.BeddingIn {
		p.Beginning = p.Day(until).Text
	}
	points := slices.Clone(p.History.Points)
	slices.Reverse(points)
	p.Older = max(len(points)-tableLength, 0)
	p.Recent = points[:len(points)-p.Older]
	p.Grid = gridOf(p.page, t, dog, p.History.Readings)
}

// tableLength is how many check-ins the table behind a drawing lists at most.
const tableLength = 104

// grid is the items of the last check-ins, a column each.
type grid struct {
	Columns []stamp
	Rows    []gridRow
}

type gridRow struct {
	Name, Half string
	Usual      string
	Cells      []cell
}

// cell is one answer: its figure, or why there is none.
type cell struct {
	Text  string
	Level int // 0 to 4, -1 for none
}

const gridColumns = 12

func gridOf(p page, t clinical.Thresholds, dog *care.Dog, readings []clinical.Reading) grid {
	if n := len(readings) - gridColumns; n > 0 {
		readings = readings[n:]
	}
	var g grid
	for _, r := range readings {
		g.Columns = append(g.Columns, p.Day(r.At))
	}
	for i := range clinical.ItemCount {
		item := clinical.Item(i)
		row := gridRow{Name: capital(itemName(dog, item)), Half: item.Half().String(), Usual: "–"}
		if usual, kind := dog.Course.ItemBaseline(t, item); kind != clinical.NoBaseline {
			row.Usual = one(usual)
		}
		for _, r := range readings {
			row.Cells = append(row.Cells, cellOf(r.Items[item]))
		}
		g.Rows = append(g.Rows, row)
	}
	return g
}

func cellOf(l clinical.Level) cell {
	switch {
	case l.Answered():
		return cell{strconv.Itoa(int(l)), int(l)}
	case l == clinical.NotApplicable:
		return cell{"×", -1}
	default:
		return cell{"·", -1}
	}
}

// itemName is an item as this dog's owner knows it.
func itemName(dog *care.Dog, i clinical.Item) string {
	switch {
	case i == clinical.Own1 && dog.Own[0] != "":
		return dog.Own[0]
	case i == clinical.Own2 && dog.Own[1] != "":
		return dog.Own[1]
	case i.IsOwn():
		return itemNames[i] + " (not chosen)"
	default:
		return itemNames[i]
	}
}

func (p *dogPage) draw(d *Desk, v *visit, dog *care.Dog) {
	rules := v.clinic.Rules.WeightRules()
	p.Weight = weightOf(p.page, rules, dog, p.History.Weights)
	if d.Drawings.Weight != nil && len(dog.Weights) > 0 {
		plan := dog.WeightPlan()
		p.Weight.Drawing = d.Drawings.Weight(WeightInput{Title: dog.Name + ": weight", Zone: v.rulesZone(), WeighIns: weighIns(p.History.Weights),
			Judged: p.Weight.Judged, OnPlan: plan.OnPlan, PlanFrom: plan.StartedAt, Low: rules.PaceLow, High: rules.PaceHigh})
	}
	if d.Drawings.Index == nil || len(p.History.Points) == 0 {
		return
	}
	in := IndexInput{Title: dog.Name + ": index over time", Zone: v.rulesZone(), Points: p.History.Points, Baselines: p.History.Baselines,
		Threshold: p.Threshold, SDC: p.SDC, From: p.History.Points[0].At, To: p.History.Points[len(p.History.Points)-1].At}
	for _, c := range p.History.Changes {
		in.Changes = append(in.Changes, Mark{c.At, capital(c.Action) + " " + c.What})
		if c.Comfort {
			in.Bedding = append(in.Bedding, Span{c.At, c.At + int64(v.clinic.Rules.Thresholds.BeddingInDays)*int64(24*time.Hour/time.Second)})
		}
	}
	p.Drawing = d.Drawings.Index(in)
}

// household is the page of a household: its people, what was texted, its dogs.
func (d *Desk) household(v *visit) error {
	id, err := about(v)
	if err != nil {
		return err
	}
	h, err := d.load(v, id)
	if err != nil {
		return err
	}
	entries, err := d.record(v, h.ID)
	if err != nil {
		return err
	}
	title := "Unknown number"
	if len(h.Contacts) > 0 && h.Contacts[0].Name != "" {
		title = h.Contacts[0].Name
	}
	p := d.shared(v, h, title, entries)
	p.Others = rowsOf(v.clinic.Rules, h, v.now)
	p.Cut = h.Seq > uint64(len(entries))
	if err := d.trailed(v, account.Entry{Deed: account.SawDog, Household: string(h.ID)}); err != nil {
		return err
	}
	return d.render(v, http.StatusOK, "household", &p)
}
