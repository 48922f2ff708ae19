package care

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"gaitpost/dialog"
	"gaitpost/dialog/answer"
	"gaitpost/internal/cadence"
	"gaitpost/internal/clinical"
)

// keptWeights is how many weigh-ins a household carries with it; the log keeps
// them all. Weekly for half a year is enough for every rule.
const keptWeights = 26

// implausible reports whether the weight in a text is off by more than a dog
// can change, by a unit or by a decimal point, so that it is asked again. A
// weight that was asked again and repeated is taken.
func (t *turn) implausible(o *Open, s *heard) bool {
	if o.Dog < 0 {
		return false
	}
	r := lexicon(t.h.Contacts[s.contact].Lang).Weight(s.Text, t.unit())
	if !r.OK {
		return false
	}
	next := clinical.WeighIn{At: t.at, Grams: clinical.Grams(r.Grams), Scale: clinical.Home}
	return t.r.WeightRules().Plausible(t.lastWeight(o.Dog), next) != clinical.WeightOK
}

// unit is what a weight without a unit is taken for: pounds only in the region
// that weighs in pounds.
func (t *turn) unit() answer.Unit {
	if t.r.Region == "US" {
		return answer.Pounds
	}
	return answer.Kilograms
}

func (t *turn) lastWeight(dog int8) *clinical.WeighIn {
	w := t.h.Dogs[dog].Weights
	if len(w) == 0 {
		return nil
	}
	last := w[len(w)-1]
	return &last
}

// weighInDone keeps a weigh-in and returns the closing line.
func (t *turn) weighInDone(s *heard, o *Open) []dialog.Line {
	v, ok := o.Session.Answer("weight")
	if !ok || v.NotApplicable || v.Number <= 0 {
		t.note(FactPrompt, o.Dog, "answered", o.Slot+": not weighed")
		return nil
	}
	scale := clinical.Home
	if c, ok := o.Session.Answer("scale"); ok && c.Text == "clinic" {
		scale = clinical.Clinic
	}
	t.weigh(o.Dog, s.contact, clinical.WeighIn{At: t.at, Grams: clinical.Grams(v.Number), Scale: scale})
	return nil
}

// weigh takes a weigh-in into the dog's course and lets the weight rules speak.
func (t *turn) weigh(dog, contact int8, w clinical.WeighIn) {
	d := &t.h.Dogs[dog]
	at := len(d.Weights)
	for at > 0 && d.Weights[at-1].At > w.At { // one that is entered later
		at--
	}
	d.Weights = slices.Insert(d.Weights, at, w)
	if n := len(d.Weights) - keptWeights; n > 0 {
		d.Weights = d.Weights[n:]
	}
	f := Fact{Kind: FactWeight, Dog: dog + 1, Contact: contact + 1, Number: float64(w.Grams), Code: w.Scale.String()}
	if w.At != t.at {
		f.ID = strconv.FormatInt(w.At, 10)
	}
	t.fact(f)
	t.weighedOn(d, w.At)
	t.judgeWeight(dog, max(contact, 0))
}

// weighedOn counts a weight, wherever it was taken, as the dog's weigh-in.
func (t *turn) weighedOn(d *Dog, at int64) {
	due := d.due(PromptWeighIn)
	due.Last = max(due.Last, dayNumber(cadence.DateIn(time.Unix(at, 0), t.zone())))
	if due.At != noDue {
		t.placeAgain(d, PromptWeighIn, t.e.At)
	}
}

// WeightPlan is what the weight rules know of a dog.
func (d *Dog) WeightPlan() clinical.WeightPlan {
	p := clinical.WeightPlan{
		Target: clinical.Grams(d.Target), ScoreAt: d.BCSAt, Score: clinical.BodyScore(d.BCS), OwnerScore: clinical.BodyScore(d.OwnerBCS), Muscle: clinical.Muscle(d.Muscle),
	}
	for _, e := range d.Plan {
		if e.Area == AreaWeight && e.Status == Active {
			p.OnPlan, p.StartedAt = true, e.Started
		}
	}
	return p
}

// judgeWeight raises the weight reason; an unplanned loss the same day.
func (t *turn) judgeWeight(dog, contact int8) {
	d := &t.h.Dogs[dog]
	j := t.r.WeightRules().Judge(d.WeightPlan(), d.Weights, t.at)
	raised := false
	for _, f := range j.Flags {
		sentence, urgency := weightSentence(f), ForDigest
		if sentence == "" {
			continue
		}
		if f.Kind == clinical.WeightLoss {
			urgency = Today
		}
		raised = true
		t.raise(evidence{dog: dog, reason: Weight, urgency: urgency, contact: contact, sentence: sentence})
	}
	if !raised {
		t.clearReason(dog, Weight, 0)
	}
}

// weightSentence says what a weight flag means, with the numbers; "" for flags
// that are shown beside the weight but tell nobody.
func weightSentence(f clinical.WeightFlag) string {
	s := ""
	span := fmt.Sprintf("%.1f to %.1f kg", f.From.Grams.Kilograms(), f.To.Grams.Kilograms())
	switch f.Kind {
	case clinical.WeightGain:
		s = fmt.Sprintf("gained on a loss plan: %s (%.1f %%)", span, -f.Percent)
	case clinical.WeightTooFast:
		s = fmt.Sprintf("losing too fast: %s, %.1f %% a week", span, f.PerWeek)
	case clinical.WeightPlateau:
		s = fmt.Sprintf("no loss in four weeks: %s", span)
	case clinical.WeightLoss:
		s = fmt.Sprintf("unplanned loss: %s (%.1f %%)", span, f.Percent)
	default:
		return ""
	}
	if f.AcrossScales {
		s += "; two different scales"
	}
	return s
}
