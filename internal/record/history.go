package record

import (
	"errors"
	"slices"
	"strings"

	"gaitpost/internal/care"
	"gaitpost/internal/chart"
	"gaitpost/internal/clinical"
	"gaitpost/internal/signs"
)

// History is what a log says of one dog: the one reading of it that the desk,
// the papers, the exports and the figures share.
type History struct {
	// CheckIns are those that were asked or entered, oldest first.
	CheckIns  []CheckIn
	Readings  []clinical.Reading // of CheckIns, in the same order
	Baselines []Baseline         // as they held, oldest first
	Weights   []Weight           // oldest first
	Changes   []Change           // of the plan, oldest first
	Alerts    []*Alert           // oldest first
	Findings  []Remark
	Notes     []Remark
	Words     []Said
	Corrected []Corrected // by staff, oldest first
	Cut       bool        // the log began before the first entry that was read
}

// CheckInState says what became of a check-in.
type CheckInState uint8

const (
	// Answered by the owner, or whoever answered in the owner's place.
	Answered CheckInState = iota
	// ByStaff: taken by telephone or on paper and entered by staff. It counts
	// as answered, and a question that it stands in for was not missed.
	ByStaff
	// Missed: asked, and closed without an answer from anybody.
	Missed
	// Waiting: asked, and neither answered nor closed yet.
	Waiting
)

// CheckIn is one check-in. At is the instant of its reading, and of the
// question where there is no reading.
type CheckIn struct {
	At      int64 // Unix seconds
	Asked   int64 // when the owner was asked; 0: nobody was
	Ended   int64 // when it was answered, entered or closed; 0 while it waits
	State   CheckInState
	Reading clinical.Reading // of an answered one
	Alert   bool             // an alert about the index opened with it
	Who, By string           // who answered and who entered it, of ByStaff
}

// Baseline is a baseline while it held.
type Baseline struct {
	From, To int64
	Value    float64
	Kind     clinical.BaselineKind
}

// Weight is one weigh-in, and who entered it; "" for the owner.
type Weight struct {
	clinical.WeighIn
	By string
}

// Change is one change of plan. At is when it took effect.
type Change struct {
	At               int64
	Action, What, By string
	Comfort          bool // it was expected to change comfort
	Class            care.MedicineClass
}

// Alert is one alert and what became of it.
type Alert struct {
	N             uint16
	Opened        int64
	Told          int64 // when somebody was first told; 0: only a digest
	FirstAcked    int64
	Acked, Closed int64
	Reason        care.AlertReason
	Urgency       care.Urgency
	Sentence      string
	Outcome       care.Outcome
	AckedBy, By   string
	Joined        int // more evidence since it opened
	Unreached     int // calls that reached nobody
	Notes         []string
	Minutes       int // that staff say it took; 0: nobody said
}

// Remark is something staff wrote about a dog.
type Remark struct {
	At       int64
	By, Text string
	BCS      float64 // given with a finding; 0 for none
}

// Said is one message of a person of the household.
type Said struct {
	At    int64
	Who   string
	Text  string
	Signs []string
}

// HistoryOf reads what a log says of a dog. Errors wrap ErrNoDog.
func HistoryOf(in Input) (History, error) {
	if _, err := in.dog(); err != nil {
		return History{}, err
	}
	return in.history(), nil
}

// AlertsOf reads every alert of a household, of all its dogs and of none, oldest
// first.
func AlertsOf(entries []Entry) []*Alert {
	b := alertBook{}
	for i := range entries {
		for k := range entries[i].Facts {
			b.take(&entries[i].Facts[k], entries[i].At.Unix())
		}
	}
	return b.list
}

// alertBook follows alerts by their numbers, which are a household's own.
type alertBook struct {
	list []*Alert
	byN  map[uint16]*Alert
}

// take reads one fact, if it is about an alert, and returns one that it opened.
func (b *alertBook) take(f *care.Fact, at int64) *Alert {
	a := b.byN[f.Alert]
	switch {
	case f.Kind == care.FactMinutes && a != nil:
		a.Minutes += int(f.Number)
	case f.Kind != care.FactAlert:
	case f.Code == "opened":
		a = &Alert{N: f.Alert, Opened: at, Reason: care.AlertReason(f.ID), Urgency: care.Urgency(f.Number), Sentence: f.Text}
		if b.byN == nil {
			b.byN = map[uint16]*Alert{}
		}
		b.byN[f.Alert], b.list = a, append(b.list, a)
		return a
	case a != nil:
		a.follow(f, at)
	}
	return nil
}

// follow keeps what became of an alert.
func (a *Alert) follow(f *care.Fact, at int64) {
	switch f.Code {
	case "joined":
		a.Joined++
		a.Sentence, a.Urgency = f.Text, max(a.Urgency, care.Urgency(f.Number))
	case "told":
		if a.Told == 0 {
			a.Told = at
		}
	case "acknowledged":
		if a.Acked == 0 {
			a.FirstAcked = at
		}
		a.Acked, a.AckedBy = at, f.By
	case "couldn't reach":
		a.Unreached++
	case "closed":
		a.Closed, a.By, a.Outcome = at, f.By, care.Outcome(f.Text)
	}
}

// reader walks through a log for one dog.
type reader struct {
	in      *Input
	dog     int8
	h       History
	course  clinical.Course
	asked   int64 // when the check-in was asked that has no answer yet; 0: none
	closing int64 // the same, of one that this turn closes
	who     CheckIn
	alerts  alertBook
	index   map[uint16]bool // index alerts that are open
}

func (in *Input) history() History {
	x := reader{in: in, dog: int8(in.Dog), index: map[uint16]bool{}}
	x.h.Cut = in.Cut
	x.course.BeginStretchUnder(in.Rules.Thresholds, in.Household.Enrolled, false)
	for i := range in.Entries {
		x.entry(&in.Entries[i])
	}
	x.finish()
	return x.h
}

func (x *reader) entry(e *Entry) {
	at := e.At.Unix()
	x.who = CheckIn{}
	for i := range e.Facts {
		f := &e.Facts[i]
		if f.Kind == care.FactWords {
			x.words(e, f)
		}
		if f.Dog != x.dog+1 {
			continue
		}
		switch f.Kind {
		case care.FactPrompt:
			x.prompt(f, at)
		case care.FactReading:
			x.reading(f, at)
		case care.FactWeight:
			x.weight(f, at)
		case care.FactCorrected:
			x.corrected(f, at)
		case care.FactPlan:
			x.plan(e, f)
		case care.FactAlert, care.FactMinutes:
			x.alert(f, at)
		case care.FactFinding:
			x.h.Findings = append(x.h.Findings, Remark{at, f.By, f.Text, f.Number})
		case care.FactNote:
			x.note(f, at)
		}
	}
	x.missed(at)
}

// prompt follows a check-in from its question on.
func (x *reader) prompt(f *care.Fact, at int64) {
	if f.Code == "entered" {
		x.who = CheckIn{State: ByStaff, Who: f.Text, By: f.By}
		return
	}
	if !strings.HasPrefix(f.Text, string(care.PromptCheckIn)+"/") {
		return
	}
	switch f.Code {
	case "sent":
		x.missed(at) // the one before it was closed in the same turn
		x.asked = at
	case "closed":
		x.closing, x.asked = x.asked, 0
	case "withdrawn": // by the practice: nobody failed to answer
		x.asked = 0
	}
}

// missed keeps that a check-in was closed unanswered, unless staff entered one
// for it while it was open or shortly before it was asked.
func (x *reader) missed(at int64) {
	const just = 3 * 24 * 3600
	asked := x.closing
	if x.closing = 0; asked == 0 {
		return
	}
	if n := len(x.h.CheckIns); n > 0 {
		if last := &x.h.CheckIns[n-1]; last.State == ByStaff && last.Asked == 0 && asked-last.Ended < just {
			last.Asked = asked
			return
		}
	}
	x.h.CheckIns = append(x.h.CheckIns, CheckIn{At: asked, Asked: asked, Ended: at, State: Missed})
}

func (x *reader) reading(f *care.Fact, at int64) {
	if f.Reading == nil {
		return
	}
	r := *f.Reading
	c := x.who // by whom, where staff entered it
	c.At, c.Ended, c.Reading, c.Asked = r.At, at, r, max(x.asked, x.closing)
	x.asked, x.closing = 0, 0
	n := len(x.h.CheckIns) - 1
	if n >= 0 && r.Day != 0 && x.h.CheckIns[n].State < Missed && x.h.CheckIns[n].Reading.Day == r.Day && x.h.CheckIns[n].Reading.Before == r.Before {
		c.Asked = max(c.Asked, x.h.CheckIns[n].Asked)
		x.h.CheckIns[n] = c // a second one that day takes the first one's place
	} else {
		x.h.CheckIns = append(x.h.CheckIns, c)
	}
	if x.in.Cut {
		return // a course from the middle on would have other baselines
	}
	_, err := x.course.Add(x.in.Rules.Thresholds, r, len(x.index) > 0)
	if errors.Is(err, clinical.ErrBeforeLast) { // entered later, and worked in
		_, err = x.course.Revise(x.in.Rules.Thresholds, clinical.Revision{In: &r, AlertOpen: len(x.index) > 0})
	}
	if err == nil {
		x.baseline(r.At)
	}
}

// baseline keeps the spans over which one baseline held.
func (x *reader) baseline(at int64) {
	b := x.course.Baseline(x.in.Rules.Thresholds)
	if b.Kind == clinical.NoBaseline {
		return
	}
	if n := len(x.h.Baselines); n > 0 {
		last := &x.h.Baselines[n-1]
		last.To = at
		if last.Value == b.Value && last.Kind == b.Kind {
			return
		}
	}
	x.h.Baselines = append(x.h.Baselines, Baseline{From: at, To: at, Value: b.Value, Kind: b.Kind})
}

func (x *reader) plan(e *Entry, f *care.Fact) {
	switch care.PlanAction(f.Code) {
	case care.PlanDetails, care.PlanReminders, care.PlanDone, care.PlanDecline:
		return // nothing that the dog gets has changed
	case care.PlanWithdraw: // Number: since when it was on the plan, in error
		x.h.Changes = slices.DeleteFunc(x.h.Changes, func(c Change) bool {
			return strings.EqualFold(c.What, f.Text) && c.At >= int64(f.Number)
		})
		return
	}
	c := Change{At: e.At.Unix(), Action: f.Code, What: f.Text, By: f.By, Class: care.MedicineClass(f.ID)}
	if f.Number > 0 {
		c.At = int64(f.Number)
	}
	if p := e.Event.Practice; p != nil {
		switch {
		case p.Plan != nil:
			c.Comfort = p.Plan.OpensStretch()
			if c.Comfort {
				x.course.BeginStretchUnder(x.in.Rules.Thresholds, c.At, true)
			}
		case p.Enrol != nil:
			c.Comfort, c.By = x.enrolled(p.Enrol, f.Text), p.By
		}
	}
	x.h.Changes = append(x.h.Changes, c)
}

// enrolled tells whether a thing that was on the plan at enrolment was expected
// to change comfort.
func (x *reader) enrolled(e *care.Enrolment, what string) bool {
	name := x.in.Household.Dogs[x.dog].Name
	for _, d := range e.Dogs {
		for _, entry := range d.Plan {
			if strings.EqualFold(d.Name, name) && entry.What == what {
				return entry.Comfort
			}
		}
	}
	return false
}

var indexReasons = []care.AlertReason{care.Level, care.Rise, care.Drift, care.Jump}

func (x *reader) alert(f *care.Fact, at int64) {
	opened := x.alerts.take(f, at)
	if opened != nil {
		x.h.Alerts = append(x.h.Alerts, opened)
	}
	switch {
	case opened != nil && slices.Contains(indexReasons, opened.Reason):
		x.index[f.Alert] = true
		if n := len(x.h.CheckIns); n > 0 {
			x.h.CheckIns[n-1].Alert = true
		}
	case f.Code == "closed":
		delete(x.index, f.Alert)
	}
}

func (x *reader) note(f *care.Fact, at int64) {
	if f.Code != "" || f.Text == "" {
		return
	}
	if a := x.alerts.byN[f.Alert]; f.Alert != 0 && a != nil {
		a.Notes = append(a.Notes, f.Text)
		return
	}
	x.h.Notes = append(x.h.Notes, Remark{At: at, By: f.By, Text: f.Text})
}

// words keeps a message unless the turn shows that it was about another dog.
func (x *reader) words(e *Entry, words *care.Fact) {
	s := Said{At: e.At.Unix(), Who: x.in.owner(words.Contact), Text: words.Text}
	mine, others := false, false
	for i := range e.Facts {
		f := &e.Facts[i]
		if f.Dog > 0 && (f.Kind == care.FactAnswer || f.Kind == care.FactSign) {
			mine, others = mine || f.Dog == x.dog+1, others || f.Dog != x.dog+1
		}
		if f.Kind == care.FactSign && f.Dog == x.dog+1 && signs.Sign(f.Code).Known() {
			s.Signs = append(s.Signs, signs.Sign(f.Code).Label())
		}
	}
	if mine || !others {
		x.h.Words = append(x.h.Words, s)
	}
}

// finish falls back on what the household itself carries where the log that was
// read does not reach back.
func (x *reader) finish() {
	d, t := &x.in.Household.Dogs[x.dog], x.in.Rules.Thresholds
	if x.asked != 0 {
		x.h.CheckIns = append(x.h.CheckIns, CheckIn{At: x.asked, Asked: x.asked, State: Waiting})
	}
	slices.SortStableFunc(x.h.CheckIns, func(a, b CheckIn) int { return int(a.At - b.At) })
	for _, c := range x.h.CheckIns {
		if c.State < Missed {
			x.h.Readings = append(x.h.Readings, c.Reading)
		}
	}
	slices.SortStableFunc(x.h.Changes, func(a, b Change) int { return int(a.At - b.At) })
	if len(x.h.Weights) < len(d.Weights) {
		x.h.Weights = nil
		for _, w := range d.Weights {
			x.h.Weights = append(x.h.Weights, Weight{WeighIn: w})
		}
	}
	b := d.Course.Baseline(t)
	if n := len(x.h.CheckIns); x.in.Cut && n > 0 && b.Kind != clinical.NoBaseline {
		x.h.Baselines = []Baseline{{From: x.h.CheckIns[0].At, To: x.h.CheckIns[n-1].At, Value: b.Value, Kind: b.Kind}}
	}
}

// points are the check-ins as a drawing shows them: those that wait for their
// answer are not there yet.
func (h *History) points() []chart.Point {
	list := make([]chart.Point, 0, len(h.CheckIns))
	for _, c := range h.CheckIns {
		r := c.Reading
		switch c.State {
		case Waiting:
		case Missed:
			list = append(list, chart.Point{At: c.At, Missed: true})
		default:
			list = append(list, chart.Point{At: c.At, Value: float64(r.Index.Total), Scored: r.Index.Scored, Before: r.Before, Same: r.Carried, Alert: c.Alert,
				Pain: float64(r.Index.Pain), HasPain: r.Index.PainScored, Mobility: float64(r.Index.Mobility), HasMobility: r.Index.MobilityScored})
		}
	}
	return list
}

func (h *History) baselines() []chart.Baseline {
	list := make([]chart.Baseline, len(h.Baselines))
	for i, b := range h.Baselines {
		list[i] = chart.Baseline{From: b.From, To: b.To, Value: b.Value, Weak: b.Kind.Wide()}
	}
	return list
}

// count is how many check-ins ended so.
func (h *History) count(states ...CheckInState) int {
	n := 0
	for _, c := range h.CheckIns {
		if slices.Contains(states, c.State) {
			n++
		}
	}
	return n
}

// WeighIns are the weights without who entered them.
func (h *History) WeighIns() []clinical.WeighIn {
	list := make([]clinical.WeighIn, len(h.Weights))
	for i, w := range h.Weights {
		list[i] = w.WeighIn
	}
	return list
}

// itemNames are the items of the check-in in a word or two.
var itemNames = [clinical.ItemCount]string{"limping", "soreness", "night", "getting up", "walking", "steps", "own 1", "own 2"}

// itemName is an item as this dog's owner knows it; "" for an activity that was
// never chosen.
func itemName(d *care.Dog, i clinical.Item) string {
	if i.IsOwn() {
		return d.Own[i-clinical.Own1]
	}
	return itemNames[i]
}
