package desk

import (
	"fmt"
	"slices"
	"strings"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/record"
	"gaitpost/internal/store"
)

// logLength is how many of a household's last turns a page reads. A household
// that has more is shown from there on, and says so.
const logLength = 3000

// history is what a household's record says of one dog, as a page shows it. The
// record itself is read by package record alone.
type history struct {
	record    record.History
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
	Minutes               int
	Notes                 []string
}

type noteLine struct {
	At   int64
	By   string
	Text string
	BCS  float64
}

// recordInput is a household and its log as package record takes them.
func recordInput(r *care.Rules, h *care.Household, dog int8, entries []store.LogEntry, cut bool) record.Input {
	in := record.Input{Rules: r, Household: h, Dog: int(dog), Cut: cut, Entries: make([]record.Entry, len(entries))}
	for i, e := range entries {
		in.Entries[i] = record.Entry{At: e.At, Event: e.Event, Facts: e.Facts, Refusal: e.Refusal}
	}
	return in
}

// historyOf reads what a record says of a dog.
func historyOf(r *care.Rules, h *care.Household, dog int8, entries []store.LogEntry, cut bool) history {
	kept, err := record.HistoryOf(recordInput(r, h, dog, entries, cut))
	if err != nil {
		return history{} // there is no such dog, and nothing is said of it
	}
	x := history{record: kept, Readings: kept.Readings, Cut: cut, Who: map[int64]string{}}
	for _, c := range kept.CheckIns {
		x.checkIn(&c)
	}
	for _, b := range kept.Baselines {
		x.Baselines = append(x.Baselines, BaselineSpan(b))
	}
	for _, w := range kept.Weights {
		x.Weights = append(x.Weights, weightLine{w.At, int64(w.Grams), w.Scale, w.By})
	}
	for _, c := range kept.Changes {
		x.Changes = append(x.Changes, planLine(c))
	}
	for _, a := range slices.Backward(kept.Alerts) {
		x.Alerts = append(x.Alerts, alertLineOf(a))
	}
	x.Findings, x.Notes = noteLines(kept.Findings), noteLines(kept.Notes)
	return x
}

func (x *history) checkIn(c *record.CheckIn) {
	r := c.Reading
	switch c.State {
	case record.Waiting:
		return
	case record.Missed:
		x.Points = append(x.Points, IndexPoint{At: c.At, Missed: true})
		return
	case record.ByStaff:
		x.Who[r.At] = c.Who
	}
	x.Points = append(x.Points, IndexPoint{
		At: r.At, Scored: r.Index.Scored, Index: float64(r.Index.Total), Pain: float64(r.Index.Pain),
		Mobility: float64(r.Index.Mobility), HasPain: r.Index.PainScored, HasMob: r.Index.MobilityScored,
		Carried: r.Carried, Before: r.Before, Alert: c.Alert,
	})
}

// unreachedNote is what stands beside an alert whose owner was rung in vain.
const unreachedNote = "couldn't reach the owner"

func alertLineOf(a *record.Alert) alertLine {
	l := alertLine{N: a.N, Opened: a.Opened, Acked: a.Acked, Closed: a.Closed, Reason: reasonName(string(a.Reason)), Sentence: capital(a.Sentence),
		AckedBy: a.AckedBy, By: a.By, Urgency: urgencyNames[a.Urgency], Joined: a.Joined, Minutes: a.Minutes, Notes: a.Notes}
	if slices.Contains(care.Outcomes, a.Outcome) {
		l.Outcome = string(a.Outcome)
	}
	if a.Unreached > 0 && !slices.Contains(l.Notes, unreachedNote) {
		l.Notes = append(slices.Clone(l.Notes), unreachedNote)
	}
	return l
}

// noteLines are remarks, newest first.
func noteLines(remarks []record.Remark) []noteLine {
	var list []noteLine
	for _, r := range slices.Backward(remarks) {
		list = append(list, noteLine(r))
	}
	return list
}

func reasonName(id string) string {
	if n := reasonNames[care.AlertReason(id)]; n != "" {
		return n
	}
	return capital(id)
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
func (x *history) effects(r *care.Rules, d *care.Dog) []effectLine {
	var list []effectLine
	for _, j := range x.record.Effects(d.Thresholds(r.Thresholds), d) {
		list = append(list, effectText(planLine(j.Change), j.Effect))
	}
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
