package desk

import (
	"fmt"
	"slices"
	"strings"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/store"
)

// logLength is how many of a household's last turns a page reads. A household
// that has more is shown from there on, and says so.
const logLength = 3000

// history is what a household's record says of one dog.
type history struct {
	Points    []IndexPoint
	Readings  []clinical.Reading
	Who       map[int64]string // who answered a reading that staff entered, by its instant
	Baselines []BaselineSpan
	Weights   []weightLine
	Changes   []planLine
	Alerts    []alertLine // newest first
	Findings  []noteLine  // newest first
	Notes     []noteLine  // newest first
	Cut       bool        // the record is longer than what was read
}

type weightLine struct {
	At    int64
	Grams int64
	Scale clinical.Scale
	By    string
}

// Kg is the weight for people.
func (w weightLine) Kg() string { return kg(w.Grams) }

// ScaleName says where the dog was weighed.
func (w weightLine) ScaleName() string {
	if w.Scale == clinical.Clinic {
		return "at the practice"
	}
	return "at home"
}

type planLine struct {
	At               int64
	Action, What, By string
	Comfort          bool
	Class            care.MedicineClass
}

// alertLine is what became of one alert.
type alertLine struct {
	N                     uint16
	Opened, Acked, Closed int64
	Reason, Sentence      string
	AckedBy, By, Outcome  string
	Urgency               string
	Joined                int
	Notes                 []string
}

type noteLine struct {
	At   int64
	By   string
	Text string
	BCS  float64
}

// reader walks through a record.
type reader struct {
	rules   *care.Rules
	dog     int8
	name    string
	h       history
	course  clinical.Course
	asked   int64 // when the check-in was asked that has no answer yet; 0: none
	alerts  map[uint16]*alertLine
	indexOn map[uint16]bool // index alerts that are open
}

// historyOf reads what a record says of a dog.
func historyOf(r *care.Rules, h *care.Household, dog int8, entries []store.LogEntry, cut bool) history {
	x := &reader{rules: r, dog: dog, name: h.Dogs[dog].Name, alerts: map[uint16]*alertLine{}, indexOn: map[uint16]bool{}}
	x.h.Cut, x.h.Who = cut, map[int64]string{}
	x.course.BeginStretchUnder(r.Thresholds, h.Enrolled, false)
	for i := range entries {
		x.entry(&entries[i])
	}
	x.finish(h)
	return x.h
}

func (x *reader) entry(e *store.LogEntry) {
	at, closed, who := e.At.Unix(), false, ""
	for i := range e.Facts {
		f := &e.Facts[i]
		if f.Dog != x.dog+1 {
			continue
		}
		switch f.Kind {
		case care.FactPrompt:
			closed = closed || x.prompt(f, at)
			if f.Code == "entered" {
				who = f.Text
			}
		case care.FactReading:
			x.reading(f, at)
			if who != "" && f.Reading != nil {
				x.h.Who[f.Reading.At] = who
			}
		case care.FactWeight:
			x.weight(f, at)
		case care.FactPlan:
			x.plan(e, f, at)
		case care.FactAlert:
			x.alert(f, at)
		case care.FactFinding:
			x.h.Findings = append(x.h.Findings, noteLine{At: at, By: f.By, Text: f.Text, BCS: f.Number})
		case care.FactNote:
			x.note(f, at)
		}
	}
	if closed && x.asked != 0 {
		x.h.Points = append(x.h.Points, IndexPoint{At: x.asked, Missed: true})
		x.asked = 0
	}
}

// prompt follows a check-in from its question on. It reports whether one was
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

func (x *reader) reading(f *care.Fact, at int64) {
	if f.Reading == nil {
		return
	}
	r := *f.Reading
	x.asked = 0
	if n := len(x.h.Readings); n > 0 && r.Day != 0 && x.h.Readings[n-1].Day == r.Day {
		x.h.Readings[n-1] = r // a second one that day takes the first one's place
		x.h.Points[len(x.h.Points)-1] = pointOf(r)
	} else {
		x.h.Readings = append(x.h.Readings, r)
		x.h.Points = append(x.h.Points, pointOf(r))
	}
	if x.h.Cut {
		return // a course from the middle on would have other baselines
	}
	if _, err := x.course.Add(x.rules.Thresholds, r, len(x.indexOn) > 0); err == nil {
		x.baseline(at)
	}
}

func pointOf(r clinical.Reading) IndexPoint {
	return IndexPoint{
		At: r.At, Scored: r.Index.Scored, Index: float64(r.Index.Total), Pain: float64(r.Index.Pain),
		Mobility: float64(r.Index.Mobility), HasPain: r.Index.PainScored, HasMob: r.Index.MobilityScored,
		Carried: r.Carried, Before: r.Before,
	}
}

func (x *reader) baseline(at int64) {
	b := x.course.Baseline(x.rules.Thresholds)
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
	x.h.Baselines = append(x.h.Baselines, BaselineSpan{From: at, To: at, Value: b.Value, Kind: b.Kind})
}

func (x *reader) weight(f *care.Fact, at int64) {
	scale, _ := clinical.ScaleByCode(f.Code)
	x.h.Weights = append(x.h.Weights, weightLine{At: at, Grams: int64(f.Number), Scale: scale, By: f.By})
}

func (x *reader) plan(e *store.LogEntry, f *care.Fact, at int64) {
	on := at
	if f.Number > 0 {
		on = int64(f.Number)
	}
	p := planLine{At: on, Action: f.Code, What: f.Text, By: f.By, Class: care.MedicineClass(f.ID)}
	if e.Event.Practice != nil && e.Event.Practice.Plan != nil {
		p.Comfort = e.Event.Practice.Plan.Comfort && f.Code != string(care.PlanHold)
	}
	if p.Comfort {
		x.course.BeginStretchUnder(x.rules.Thresholds, on, true)
	}
	x.h.Changes = append(x.h.Changes, p)
}

var indexReasons = []care.AlertReason{care.Level, care.Rise, care.Drift, care.Jump}

func (x *reader) alert(f *care.Fact, at int64) {
	a := x.alerts[f.Alert]
	if a == nil && f.Code != "opened" {
		return
	}
	switch f.Code {
	case "opened":
		x.alerts[f.Alert] = &alertLine{N: f.Alert, Opened: at, Reason: reasonName(f.ID), Sentence: capital(f.Text),
			Urgency: urgencyNames[care.Urgency(f.Number)]}
		if slices.Contains(indexReasons, care.AlertReason(f.ID)) {
			x.indexOn[f.Alert] = true
			if n := len(x.h.Points); n > 0 {
				x.h.Points[n-1].Alert = true
			}
		}
	case "joined":
		a.Joined++
		a.Sentence = capital(f.Text)
	case "acknowledged":
		a.Acked, a.AckedBy = at, f.By
	case "closed":
		a.Closed, a.By = at, f.By
		if slices.Contains(care.Outcomes, care.Outcome(f.Text)) {
			a.Outcome = f.Text
		}
		delete(x.indexOn, f.Alert)
	case "couldn't reach":
		a.Notes = append(a.Notes, "couldn't reach the owner")
	}
}

func reasonName(id string) string {
	if n := reasonNames[care.AlertReason(id)]; n != "" {
		return n
	}
	return capital(id)
}

func (x *reader) note(f *care.Fact, at int64) {
	if f.Code != "" || f.Text == "" {
		return
	}
	if a := x.alerts[f.Alert]; f.Alert != 0 && a != nil {
		a.Notes = append(a.Notes, f.Text)
		return
	}
	x.h.Notes = append(x.h.Notes, noteLine{At: at, By: f.By, Text: f.Text})
}

func (x *reader) finish(h *care.Household) {
	for _, a := range x.alerts {
		x.h.Alerts = append(x.h.Alerts, *a)
	}
	slices.SortFunc(x.h.Alerts, func(a, b alertLine) int { return int(b.N) - int(a.N) })
	slices.Reverse(x.h.Findings)
	slices.Reverse(x.h.Notes)
	slices.SortStableFunc(x.h.Changes, func(a, b planLine) int { return int(a.At - b.At) })
	d := &h.Dogs[x.dog]
	if x.h.Cut || len(x.h.Weights) < len(d.Weights) {
		x.h.Weights = nil
		for _, w := range d.Weights {
			x.h.Weights = append(x.h.Weights, weightLine{At: w.At, Grams: int64(w.Grams), Scale: w.Scale})
		}
	}
	if b := d.Course.Baseline(x.rules.Thresholds); x.h.Cut && b.Kind != clinical.NoBaseline && len(x.h.Points) > 0 {
		x.h.Baselines = []BaselineSpan{{From: x.h.Points[0].At, To: x.h.Points[len(x.h.Points)-1].At, Value: b.Value, Kind: b.Kind}}
	}
}

// effectLine is what one change that was meant to change comfort did.
type effectLine struct {
	At              int64
	What, Verdict   string
	Before, After   string
	Gain, NAP       string
	Caveats         []string
	HasBoth, HasNAP bool
}

var verdictNames = map[clinical.EffectVerdict]string{
	clinical.EffectTooFew: "too few check-ins to say", clinical.EffectBetter: "better by more than a meaningful change",
	clinical.EffectWorse: "worse by more than a meaningful change", clinical.EffectSmall: "a small change",
	clinical.EffectUnclear: "no clear change",
}

// effects judges every change that was meant to change comfort, newest first.
func (h *history) effects(r *care.Rules, d *care.Dog) []effectLine {
	sigma, _ := d.Course.Sigma(r.Thresholds)
	var list []effectLine
	for i, c := range h.Changes {
		if !c.Comfort {
			continue
		}
		ch := clinical.Change{At: c.At, Alters: true}
		for k, o := range h.Changes {
			if k != i {
				ch.OtherStart = append(ch.OtherStart, o.At)
			}
			if o.Comfort && o.At < c.At {
				ch.Since = o.At
			}
			if o.Comfort && o.At > c.At && ch.Until == 0 {
				ch.Until = o.At
			}
		}
		list = append(list, effectText(c, clinical.EffectOf(r.Thresholds, sigma, h.Readings, ch)))
	}
	slices.Reverse(list)
	return list
}

func effectText(c planLine, e clinical.Effect) effectLine {
	l := effectLine{At: c.At, What: capital(c.Action) + " " + c.What, Verdict: verdictNames[e.Verdict],
		Before: fmt.Sprintf("%.1f (%s)", e.MeanBefore, plural(e.BeforeN, "check-in")),
		After:  fmt.Sprintf("%.1f (%s)", e.MeanAfter, plural(e.AfterN, "check-in"))}
	if e.BeforeN == 0 {
		l.Before = "–"
	}
	if e.AfterN == 0 {
		l.After = "–"
	}
	if e.BeforeN > 0 && e.AfterN > 0 {
		l.HasBoth, l.Gain = true, signed(-e.MeanGain)
	}
	if e.Overlap.Pairs > 0 {
		l.HasNAP, l.NAP = true, fmt.Sprintf("%.2f", e.Overlap.NAP)
	}
	for _, c := range e.Caveats {
		l.Caveats = append(l.Caveats, c.Text())
	}
	return l
}

// signed writes a change of the index with its sign: + is worse.
func signed(f float64) string {
	s := fmt.Sprintf("%+.1f", f)
	return strings.Replace(s, "-", "−", 1)
}
