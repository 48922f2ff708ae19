package record

import (
	"slices"
	"strings"

	"gaitpost/internal/care"
	"gaitpost/internal/chart"
	"gaitpost/internal/clinical"
	"gaitpost/internal/signs"
)

// history is what a log says of one dog.
type history struct {
	points    []chart.Point
	readings  []clinical.Reading
	entered   map[int64]entered // by instant: who answered a reading that staff entered
	baselines []chart.Baseline
	weights   []weighIn
	changes   []change
	alerts    []*alert
	findings  []remark
	notes     []remark
	words     []said
}

type entered struct{ who, by string }

type weighIn struct {
	clinical.WeighIn
	by string
}

// change is one change of plan.
type change struct {
	at      int64
	action  string
	what    string
	by      string
	comfort bool
}

// alert is one alert and what became of it.
type alert struct {
	n                     uint16
	opened, acked, closed int64
	reason                care.AlertReason
	sentence, outcome     string
	ackedBy, by           string
	notes                 []string
}

type remark struct {
	at       int64
	by, text string
}

// said is one message of a person of the household.
type said struct {
	at    int64
	who   string
	text  string
	signs []string
}

// reader walks through a log for one dog.
type reader struct {
	in     *Input
	dog    int8
	h      history
	course clinical.Course
	asked  int64 // when the check-in was asked that has no answer yet; 0: none
	alerts map[uint16]*alert
	index  map[uint16]bool // index alerts that are open
}

func (in *Input) history() history {
	x := reader{in: in, dog: int8(in.Dog), alerts: map[uint16]*alert{}, index: map[uint16]bool{}}
	x.h.entered = map[int64]entered{}
	x.course.BeginStretchUnder(in.Rules.Thresholds, in.Household.Enrolled, false)
	for i := range in.Entries {
		x.entry(&in.Entries[i])
	}
	x.finish()
	return x.h
}

func (x *reader) entry(e *Entry) {
	at := e.At.Unix()
	closed, who := false, entered{}
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
			closed = closed || x.prompt(f, at)
			if f.Code == "entered" {
				who = entered{f.Text, f.By}
			}
		case care.FactReading:
			x.reading(f)
			if f.Reading != nil && who != (entered{}) {
				x.h.entered[f.Reading.At] = who
			}
		case care.FactWeight:
			scale, _ := clinical.ScaleByCode(f.Code)
			x.h.weights = append(x.h.weights, weighIn{clinical.WeighIn{At: at, Grams: clinical.Grams(f.Number), Scale: scale}, f.By})
		case care.FactPlan:
			x.plan(e, f)
		case care.FactAlert:
			x.alert(f, at)
		case care.FactFinding:
			x.h.findings = append(x.h.findings, remark{at, f.By, f.Text})
		case care.FactNote:
			x.note(f, at)
		}
	}
	if closed && x.asked != 0 && !x.answeredBefore() {
		x.h.points = append(x.h.points, chart.Point{At: x.asked, Missed: true})
	}
	if closed {
		x.asked = 0
	}
}

// answeredBefore tells whether a check-in came just before the one that was
// closed unanswered, by telephone perhaps: then nothing is missing.
func (x *reader) answeredBefore() bool {
	const just = 3 * 24 * 3600
	n := len(x.h.readings)
	return n > 0 && x.asked-x.h.readings[n-1].At < just
}

// prompt follows a check-in from its question on; it reports whether one was
// closed.
func (x *reader) prompt(f *care.Fact, at int64) bool {
	if !strings.HasPrefix(f.Text, string(care.PromptCheckIn)+"/") {
		return false
	}
	if f.Code == "sent" {
		x.asked = at
	}
	return f.Code == "closed"
}

func (x *reader) reading(f *care.Fact) {
	if f.Reading == nil {
		return
	}
	r := *f.Reading
	x.asked = 0
	pt := chart.Point{At: r.At, Value: float64(r.Index.Total), Scored: r.Index.Scored, Before: r.Before, Same: r.Carried,
		Pain: float64(r.Index.Pain), HasPain: r.Index.PainScored, Mobility: float64(r.Index.Mobility), HasMobility: r.Index.MobilityScored}
	n, k := len(x.h.readings)-1, len(x.h.points)-1
	if n >= 0 && r.Day != 0 && x.h.readings[n].Day == r.Day && x.h.readings[n].Before == r.Before {
		x.h.readings[n], x.h.points[k] = r, pt // a second one that day takes the first one's place
	} else {
		x.h.readings, x.h.points = append(x.h.readings, r), append(x.h.points, pt)
	}
	if x.in.Cut {
		return // a course from the middle on would have other baselines
	}
	if _, err := x.course.Add(x.in.Rules.Thresholds, r, len(x.index) > 0); err == nil {
		x.baseline(r.At)
	}
}

// baseline keeps the spans over which one baseline held.
func (x *reader) baseline(at int64) {
	b := x.course.Baseline(x.in.Rules.Thresholds)
	if b.Kind == clinical.NoBaseline {
		return
	}
	if n := len(x.h.baselines); n > 0 {
		last := &x.h.baselines[n-1]
		last.To = at
		if last.Value == b.Value && last.Weak == b.Kind.Wide() {
			return
		}
	}
	x.h.baselines = append(x.h.baselines, chart.Baseline{From: at, To: at, Value: b.Value, Weak: b.Kind.Wide()})
}

func (x *reader) plan(e *Entry, f *care.Fact) {
	c := change{at: e.At.Unix(), action: f.Code, what: f.Text, by: f.By}
	if f.Number > 0 {
		c.at = int64(f.Number)
	}
	if p := e.Event.Practice; p != nil {
		switch {
		case p.Plan != nil:
			c.comfort = p.Plan.Comfort && p.Plan.Action != care.PlanHold
			if c.comfort {
				x.course.BeginStretchUnder(x.in.Rules.Thresholds, c.at, true)
			}
		case p.Enrol != nil:
			c.comfort, c.by = x.enrolled(p.Enrol, f.Text), p.By
		}
	}
	x.h.changes = append(x.h.changes, c)
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

func (x *reader) alert(f *care.Fact, at int64) {
	a := x.alerts[f.Alert]
	if a == nil && f.Code != "opened" {
		return
	}
	switch f.Code {
	case "opened":
		reason := care.AlertReason(f.ID)
		a = &alert{n: f.Alert, opened: at, reason: reason, sentence: f.Text}
		x.alerts[f.Alert] = a
		x.h.alerts = append(x.h.alerts, a)
		if slices.Contains([]care.AlertReason{care.Level, care.Rise, care.Drift, care.Jump}, reason) {
			x.index[f.Alert] = true
			if n := len(x.h.points); n > 0 {
				x.h.points[n-1].Alert = true
			}
		}
	case "joined":
		a.sentence = f.Text
	case "acknowledged":
		a.acked, a.ackedBy = at, f.By
	case "closed":
		a.closed, a.by, a.outcome = at, f.By, f.Text
		delete(x.index, f.Alert)
	}
}

func (x *reader) note(f *care.Fact, at int64) {
	if f.Code != "" || f.Text == "" {
		return
	}
	if a := x.alerts[f.Alert]; f.Alert != 0 && a != nil {
		a.notes = append(a.notes, f.Text)
		return
	}
	x.h.notes = append(x.h.notes, remark{at, f.By, f.Text})
}

// words keeps a message unless the turn shows that it was about another dog.
func (x *reader) words(e *Entry, words *care.Fact) {
	s := said{at: e.At.Unix(), who: x.in.owner(words.Contact), text: words.Text}
	mine, others := false, false
	for i := range e.Facts {
		f := &e.Facts[i]
		if f.Dog > 0 && (f.Kind == care.FactAnswer || f.Kind == care.FactSign) {
			mine, others = mine || f.Dog == x.dog+1, others || f.Dog != x.dog+1
		}
		if f.Kind == care.FactSign && f.Dog == x.dog+1 && signs.Sign(f.Code).Known() {
			s.signs = append(s.signs, signs.Sign(f.Code).Label())
		}
	}
	if mine || !others {
		x.h.words = append(x.h.words, s)
	}
}

// finish falls back on what the household itself carries where the log that was
// read does not reach back.
func (x *reader) finish() {
	d, t := &x.in.Household.Dogs[x.dog], x.in.Rules.Thresholds
	slices.SortStableFunc(x.h.changes, func(a, b change) int { return int(a.at - b.at) })
	if len(x.h.weights) < len(d.Weights) {
		x.h.weights = nil
		for _, w := range d.Weights {
			x.h.weights = append(x.h.weights, weighIn{WeighIn: w})
		}
	}
	b := d.Course.Baseline(t)
	if n := len(x.h.points); x.in.Cut && n > 0 && b.Kind != clinical.NoBaseline {
		x.h.baselines = []chart.Baseline{{From: x.h.points[0].At, To: x.h.points[n-1].At, Value: b.Value, Weak: b.Kind.Wide()}}
	}
}

func (h *history) weighIns() []clinical.WeighIn {
	list := make([]clinical.WeighIn, len(h.weights))
	for i, w := range h.weights {
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
