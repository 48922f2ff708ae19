package care

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"gaitpost/internal/clinical"
)

// enteredWithin is how far back a check-in or a weight may be entered, by the
// date it was taken on.
const enteredWithin = 14 * day

// Correction corrects or withdraws a check-in or a weight that was kept wrongly.
// What was kept first stays in the record.
type Correction struct {
	Dog      int8            `cbor:"1,keyasint"`
	At       int64           `cbor:"2,keyasint"`           // the instant of what is wrong
	Weight   bool            `cbor:"3,keyasint,omitempty"` // a weight, not a check-in
	Withdraw bool            `cbor:"4,keyasint,omitempty"`
	Items    *clinical.Items `cbor:"5,keyasint,omitempty"` // the right answers
	Grams    int64           `cbor:"6,keyasint,omitempty"` // the right weight
	Why      string          `cbor:"7,keyasint"`
}

// enteredOn is when something that staff enter was taken, or why it can't be.
func (t *turn) enteredOn(on int64) (at int64, refusal string) {
	const half = day / 2 // a date is its noon
	switch {
	case on == 0:
		return t.at, ""
	case on > t.at:
		return 0, "That date is still to come."
	case on < t.at-enteredWithin-half:
		return 0, "What was taken more than 14 days ago can't be entered any more. Please write it as a note."
	}
	return on, ""
}

// enteredCheckIn scores a check-in taken by telephone or on paper.
func (t *turn) enteredCheckIn(by string, c *EnteredCheckIn) Reason {
	d := &t.h.Dogs[c.Dog]
	if !d.here() {
		return t.refuse(d.Name + " is not followed any more.")
	}
	if _, err := clinical.IndexOf(c.Items); err != nil {
		return t.refuse("An answer is out of range: use 0 to 4, or leave it out.")
	}
	at, refusal := t.enteredOn(c.On)
	if refusal != "" {
		return t.refuse(refusal)
	}
	entered := Fact{Kind: FactPrompt, Dog: c.Dog + 1, Code: "entered", Text: c.Who, By: by}
	reading := clinical.Reading{At: at, Items: c.Items, Before: c.Before || d.Before}
	if refusal := t.enterReading(c.Dog, reading, entered); refusal != "" {
		return t.refuse(refusal)
	}
	d.Missed = 0
	d.Done++
	d.CarriedLast = false
	t.clearReason(c.Dog, Silence, 0)
	t.answeredOtherwise(c.Dog)
	if len(c.Signs) > 0 {
		t.enteredSigns(c)
	}
	if int(c.Doses) >= t.r.Limits.MissedDoses {
		t.raise(evidence{dog: c.Dog, reason: Doses, urgency: ForDigest,
			sentence: fmt.Sprintf("%d doses missed in a week", c.Doses)})
	}
	return PracticeDone
}

// enterReading takes a reading into the course: as the newest, or among those
// that are known already. It says why it can't be.
func (t *turn) enterReading(dog int8, r clinical.Reading, entered Fact) (refusal string) {
	d, contact := &t.h.Dogs[dog], t.h.primary()
	last, any := d.Course.Last()
	if !any || r.At >= last.At {
		t.fact(entered)
		t.score(dog, contact, r)
		return ""
	}
	r.Day = t.dayOf(contact, r.At)
	j, err := d.Course.Revise(t.thresholds(dog), clinical.Revision{In: &r, Incomplete: d.Forgot, AlertOpen: t.indexAlertOpen(dog)})
	if err != nil {
		return revisionRefusal(err)
	}
	t.fact(entered)
	r.Index, _ = clinical.IndexOf(r.Items)
	t.fact(Fact{Kind: FactReading, Dog: dog + 1, Contact: contact + 1, Reading: &r, Number: float64(r.Index.Total), Text: d.OwnNumbersText()})
	t.judgeAgain(dog, contact, j)
	return ""
}

// dayOf is the calendar day of an instant where a contact lives.
func (t *turn) dayOf(contact int8, at int64) int32 {
	zone := t.r.Zone
	if contact >= 0 {
		zone = t.r.zoneOf(t.h.Contacts[contact])
	}
	_, offset := time.Unix(at, 0).In(zone).Zone()
	return clinical.LocalDay(at, offset)
}

// answeredOtherwise takes back a check-in that the owner was asked for and that
// staff have entered instead.
func (t *turn) answeredOtherwise(dog int8) {
	for i := range t.h.Contacts {
		talk := &t.h.Contacts[i].Talk
		for _, o := range []**Open{&talk.Open, &talk.Suspended} {
			if *o != nil && (*o).Kind == PromptCheckIn && (*o).Dog == dog && !t.safetyOpen(*o) {
				t.note(FactPrompt, dog, "withdrawn", (*o).Slot)
				*o = nil
			}
		}
		talk.Queue = slices.DeleteFunc(talk.Queue, func(p Prompt) bool { return p.Kind == PromptCheckIn && p.Dog == dog })
	}
}

func revisionRefusal(err error) string {
	switch {
	case errors.Is(err, clinical.ErrNoReading):
		return "There is no such check-in, or it has been withdrawn already."
	case errors.Is(err, clinical.ErrEarlierStretch):
		return "The plan has changed since, and the course from before that change is closed. Please write it as a note."
	case errors.Is(err, clinical.ErrForgotten):
		return "The course reaches too far back to be worked out again: only the newest check-in can still be changed. Please write it as a note."
	case errors.Is(err, clinical.ErrSameDay):
		return "There is a check-in of that day already. Correct that one instead."
	default:
		return "That check-in can't be worked into the course. Please write it as a note."
	}
}

// judgeAgain lets the alert rules speak on the newest check-in of a course that
// was changed. An alert that the changed course would not have raised stays for
// a person to close, and says so.
func (t *turn) judgeAgain(dog, contact int8, j *clinical.Judgement) {
	met := map[AlertReason]bool{}
	now := "there is no check-in left that counts"
	if j != nil {
		t.judge(dog, contact, j)
		for k, reason := range indexReasons {
			met[reason] = j.Signal(clinical.SignalKind(k)).Met
		}
		now = fmt.Sprintf("index now %.1f, usual %.1f", j.Index.Total, j.Baseline.Value)
	}
	for i := range t.h.Alerts {
		a := &t.h.Alerts[i]
		if a.Dog != dog || !a.IsOpen() || !slices.Contains(indexReasons[:], a.Reason) || met[a.Reason] {
			continue
		}
		first, _, _ := strings.Cut(a.Sentence, correctedSince)
		a.Sentence, a.Updated = first+correctedSince+now, t.at
		t.alertFact(a, "joined", "")
	}
	t.judgeGain(dog, max(contact, 0))
}

const correctedSince = "; a check-in was entered or corrected since: "

// indexReasons are the reasons that read the index, by clinical.SignalKind.
var indexReasons = [clinical.SignalCount]AlertReason{Level, Rise, Drift, Jump}

// enteredSigns raises signs told to staff. Nobody is texted: they were on the
// telephone.
func (t *turn) enteredSigns(c *EnteredCheckIn) {
	ctx := t.screenContext(c.Dog)
	ev := evidence{dog: c.Dog, reason: SignAlert, urgency: Today, signs: c.Signs,
		sentence: signLabels(c.Signs) + t.onPlan(c.Dog, c.Signs) + ", told to the practice"}
	for _, s := range c.Signs {
		if s.Urgency(ctx) > 1 {
			ev.reason, ev.urgency = RedFlag, Now
		}
	}
	t.raise(ev)
}

// enteredWeight keeps a weight that staff took, or were told.
func (t *turn) enteredWeight(by string, w *EnteredWeight) Reason {
	if w.Grams <= 0 || clinical.Grams(w.Grams) > clinical.MaxGrams {
		return t.refuse(weightRange)
	}
	d := &t.h.Dogs[w.Dog]
	at, refusal := t.enteredOn(w.On)
	if refusal == "" && len(d.Weights) == keptWeights && at < d.Weights[0].At {
		refusal = "That weight is older than all that are kept at hand. Please write it as a note."
	}
	if refusal != "" {
		return t.refuse(refusal)
	}
	if w.BCS != 0 && at >= d.BCSAt {
		d.BCS, d.BCSAt = w.BCS, at
	}
	if w.Muscle != 0 && at >= d.MuscleAt {
		d.Muscle, d.MuscleAt = w.Muscle, at
	}
	n := len(t.out.Facts)
	t.weigh(w.Dog, -1, clinical.WeighIn{At: at, Grams: clinical.Grams(w.Grams), Scale: w.Scale})
	t.out.Facts[n].By = by
	return PracticeDone
}

const weightRange = "A dog's weight is above 0 and at most 200 kg."

// correct puts right, or withdraws, what was kept wrongly.
func (t *turn) correct(by string, c *Correction) Reason {
	if strings.TrimSpace(c.Why) == "" {
		return t.refuse("Please say what was wrong, for whoever reads this later.")
	}
	if c.Weight {
		return t.correctWeight(by, c)
	}
	return t.correctCheckIn(by, c)
}

func (t *turn) correctCheckIn(by string, c *Correction) Reason {
	d := &t.h.Dogs[c.Dog]
	was, ok := d.readingAt(c.At)
	if !ok {
		return t.refuse(revisionRefusal(clinical.ErrNoReading))
	}
	v := clinical.Revision{Out: c.At, Incomplete: d.Forgot, AlertOpen: t.indexAlertOpen(c.Dog)}
	right := was
	code := "check-in withdrawn"
	if !c.Withdraw {
		if c.Items == nil || *c.Items == was.Items {
			return t.refuse("Nothing was changed: the answers are as they were.")
		}
		index, err := clinical.IndexOf(*c.Items)
		if err != nil {
			return t.refuse("An answer is out of range: use 0 to 4, or leave it out.")
		}
		right.Items, right.Index, right.Carried = *c.Items, index, false
		v.In, code = &right, "check-in"
	}
	full := len(d.Course.Readings()) == clinical.KeptReadings
	j, err := d.Course.Revise(t.thresholds(c.Dog), v)
	if err != nil {
		return t.refuse(revisionRefusal(err))
	}
	d.Forgot = d.Forgot || full
	t.fact(Fact{Kind: FactCorrected, Dog: c.Dog + 1, Code: code, Text: c.Why, By: by, Reading: &right, Number: float64(was.Index.Total)})
	t.judgeAgain(c.Dog, t.h.primary(), j)
	return PracticeDone
}

func (d *Dog) readingAt(at int64) (clinical.Reading, bool) {
	for _, r := range d.Course.Readings() {
		if r.At == at {
			return r, true
		}
	}
	return clinical.Reading{}, false
}

func (t *turn) correctWeight(by string, c *Correction) Reason {
	d := &t.h.Dogs[c.Dog]
	i := slices.IndexFunc(d.Weights, func(w clinical.WeighIn) bool { return w.At == c.At })
	if i < 0 {
		return t.refuse("There is no such weight at hand, or it has been withdrawn already.")
	}
	was := d.Weights[i]
	f := Fact{Kind: FactCorrected, Dog: c.Dog + 1, Code: "weight withdrawn", Text: c.Why, By: by,
		ID: strconv.FormatInt(c.At, 10), Number: float64(was.Grams)}
	switch {
	case c.Withdraw:
		d.Weights = slices.Delete(d.Weights, i, i+1)
	case c.Grams <= 0 || clinical.Grams(c.Grams) > clinical.MaxGrams:
		return t.refuse(weightRange)
	case clinical.Grams(c.Grams) == was.Grams:
		return t.refuse("Nothing was changed: the weight is as it was.")
	default:
		d.Weights[i].Grams = clinical.Grams(c.Grams)
		f.Code, f.Number = "weight", float64(c.Grams)
	}
	t.fact(f)
	t.judgeWeight(c.Dog, max(t.h.primary(), 0))
	return PracticeDone
}
