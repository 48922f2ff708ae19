package care

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"gaitpost/dialog"
	"gaitpost/internal/clinical"
	"gaitpost/internal/signs"
)

// laterAfter is when an owner who said "later" is asked again.
const laterAfter = 3 * time.Hour

// checkInDone scores a check-in that has ended, answered or not, and returns
// the line that shows somebody reads it.
func (t *turn) checkInDone(contact int8, o *Open, stale bool) []dialog.Line {
	d := &t.h.Dogs[o.Dog]
	items, carried := itemsOf(o.Session)
	some := answered(items)
	t.missedDoses(contact, o)
	if !some {
		return nil
	}
	d.Missed = 0
	t.clearReason(o.Dog, Silence, 0)
	d.Done++
	d.CarriedLast = carried
	j, ok := t.score(o.Dog, contact, clinical.Reading{
		At: t.at, Items: items, Carried: carried, Before: d.Before || d.Done == 1 && t.at-t.h.Enrolled < 3*24*3600,
	})
	if !ok || stale {
		return nil
	}
	return t.closing(contact, o.Dog, j)
}

// itemsOf reads the answered items of a session, and whether the whole was
// carried over.
func itemsOf(s dialog.Session) (clinical.Items, bool) {
	items := noItems()
	carried, some := true, false
	for _, a := range s.Answers {
		item, ok := clinical.ItemByCode(a.Item)
		if !ok {
			continue
		}
		if a.Value.NotApplicable {
			items[item] = clinical.NotApplicable
			continue
		}
		items[item] = clinical.Level(a.Value.Number)
		some = true
		carried = carried && a.Value.Carried
	}
	return items, some && carried
}

// noItems is a check-in of which nothing is answered yet.
func noItems() clinical.Items {
	var items clinical.Items
	for i := range items {
		items[i] = clinical.Missing
	}
	return items
}

func answered(items clinical.Items) bool {
	return slices.ContainsFunc(items[:], clinical.Level.Answered)
}

// score takes a reading into the dog's course and lets the alert rules speak.
func (t *turn) score(dog, contact int8, r clinical.Reading) (clinical.Judgement, bool) {
	d := &t.h.Dogs[dog]
	r.Day = t.dayOf(contact, r.At)
	j, err := d.Course.Add(t.thresholds(dog), r, t.indexAlertOpen(dog))
	if err != nil {
		t.note(FactNote, dog, "not scored", err.Error())
		return j, false
	}
	kept := j.Reading
	t.fact(Fact{Kind: FactReading, Dog: dog + 1, Contact: contact + 1, Reading: &kept, Number: float64(j.Index.Total),
		Text: d.OwnNumbersText()})
	t.judge(dog, contact, &j)
	t.judgeGain(dog, max(contact, 0))
	return j, true
}

func (t *turn) indexAlertOpen(dog int8) bool {
	return slices.ContainsFunc(t.h.Alerts, func(a Alert) bool {
		return a.Dog == dog && a.IsOpen() &&
			(a.Reason == Level || a.Reason == Rise || a.Reason == Drift || a.Reason == Jump)
	})
}

// judge turns the state of each index rule into alerts.
func (t *turn) judge(dog, contact int8, j *clinical.Judgement) {
	for k := range clinical.SignalCount {
		s := j.Signal(clinical.SignalKind(k))
		reason := indexReasons[k]
		if s.Met {
			t.raise(evidence{dog: dog, reason: reason, urgency: reason.DefaultUrgency(), contact: max(contact, 0),
				excess: worth(j, s), sentence: t.indexSentence(dog, j, s)})
		} else if s.Cleared {
			t.clearReason(dog, reason, 0)
		}
	}
}

// worth is how bad what a rule saw is, in points of the index, on one scale for
// all that a reason can see: a shut reason opens again when this has risen.
func worth(j *clinical.Judgement, s clinical.Signal) float64 {
	n := s.Numbers
	switch s.Reason {
	case clinical.SignalLevel:
		return n.Latest
	case clinical.SignalRise:
		if n.Single {
			return n.Latest - j.Baseline.Value
		}
		return n.Mean - j.Baseline.Value
	case clinical.SignalDrift:
		return j.EWMA - j.Baseline.Value
	default:
		return 25 * (float64(n.Level) - n.ItemBaseline)
	}
}

// indexSentence says why in one sentence, with the numbers.
func (t *turn) indexSentence(dog int8, j *clinical.Judgement, s clinical.Signal) string {
	n := s.Numbers
	base := fmt.Sprintf("usual %.1f", j.Baseline.Value)
	if j.Baseline.Kind.Wide() {
		base += " (provisional)"
	}
	switch s.Reason {
	case clinical.SignalLevel:
		return fmt.Sprintf("index %.1f after %.1f, at or above %.0f twice; %s", n.Latest, n.Previous, n.Threshold, base)
	case clinical.SignalRise:
		if n.Single {
			return fmt.Sprintf("index %.1f, %.1f above %s", n.Latest, n.Latest-j.Baseline.Value, base)
		}
		return fmt.Sprintf("index %.1f, mean of last two %.1f, %.1f above %s", n.Latest, n.Mean, n.Mean-j.Baseline.Value, base)
	case clinical.SignalDrift:
		return fmt.Sprintf("slow rise: average %.1f past limit %.1f; index %.1f, %s", j.EWMA, j.DriftLimit, n.Latest, base)
	default:
		return fmt.Sprintf("%s: %d twice running, usually %.1f; index %.1f", t.itemName(dog, s.Item), n.Level, n.ItemBaseline, j.Index.Total)
	}
}

// itemName names an item to the practitioner; an own activity in the owner's words.
func (t *turn) itemName(dog int8, item clinical.Item) string {
	if item.IsOwn() {
		if own := t.h.Dogs[dog].Own[item-clinical.Own1]; own != "" {
			return own
		}
	}
	return item.String()
}

// missedDoses raises the doses reason.
func (t *turn) missedDoses(contact int8, o *Open) {
	v, ok := o.Session.Answer("doses")
	if !ok || v.NotApplicable || o.Dog < 0 {
		return
	}
	if int(v.Number) < t.r.Limits.MissedDoses {
		return
	}
	t.raise(evidence{dog: o.Dog, reason: Doses, urgency: ForDigest, contact: contact,
		sentence: fmt.Sprintf("%.0f doses missed in a week", v.Number)})
}

// closing picks the line that ends a check-in.
func (t *turn) closing(contact, dog int8, j clinical.Judgement) []dialog.Line {
	ctx := t.context(contact, dog)
	ctx.Vars["reads"] = t.reads(ctx.Lang)
	step := "closing_plain"
	change := float64(j.Index.Total) - j.Baseline.Value
	switch {
	case !j.Index.Scored:
	case j.Before || j.Baseline.Kind == clinical.NoBaseline:
		step = "closing_weak"
	case change >= t.thresholds(dog).MeaningfulChange:
		step = "closing_worse"
	case change <= -t.thresholds(dog).MeaningfulChange:
		if better := t.better(dog); better != "" && !t.hush() {
			step, ctx.Vars["better"] = "closing_better", better
		}
	default:
		step = "closing_usual"
		if better := t.progressNow(dog); better != "" {
			step, ctx.Vars["better"] = "closing_better", better
		}
	}
	return []dialog.Line{t.r.Scripts.Say("checkin", step, ctx)}
}

// itemWords names an item to its owner.
var itemWords = [clinical.ItemCount]string{
	"less limping", "less sore", "quieter nights", "getting up", "the walk", "steps and the car",
}

// better names what improved most since the dog's first reading still carried,
// in the owner's own words where it is their own activity.
func (t *turn) better(dog int8) string {
	d := &t.h.Dogs[dog]
	rs := d.Course.Readings()
	if len(rs) < 2 {
		return ""
	}
	first, last := rs[0], rs[len(rs)-1]
	best, gain := clinical.Item(0), clinical.Level(0)
	for i := range last.Items {
		if !first.Items[i].Answered() || !last.Items[i].Answered() {
			continue
		}
		if g := first.Items[i] - last.Items[i]; g > gain {
			best, gain = clinical.Item(i), g
		}
	}
	switch {
	case gain == 0:
		return ""
	case best.IsOwn():
		return d.Own[best-clinical.Own1]
	default:
		return itemWords[best]
	}
}

// answeredSigns acts on the closed safety questions of a dialog.
func (t *turn) answeredSigns(s *heard, o *Open, res dialog.Result) {
	for _, a := range res.Recorded {
		switch a.Item {
		case "signs":
			switch {
			case s.finding.Urgency != signs.None:
			case a.Value.Yes:
				t.saidYes(s, o, a.Value.Text)
			case t.neitherYesNorNo(s):
				t.keepForPractice(s, ForDigest, "answered whether anything is new")
			}
		case "signs_which":
			t.ticked(s, o, a.Value)
		case "standing_can":
			t.standing(s, o)
		}
	}
	for _, item := range res.Unsettled {
		if item == "signs" { // the open question; somebody should read what was written
			t.keepForPractice(s, ForDigest, "did not say whether anything is new")
			continue
		}
		t.unsettled(s.contact, o)
	}
}

// neitherYesNorNo reports whether an owner answered the open question in words
// that somebody should read.
func (t *turn) neitherYesNorNo(s *heard) bool {
	const fewest = 3 // words; "NO 0" is an answer
	return len(strings.Fields(s.Text)) >= fewest && !lexicon(t.h.Contacts[s.contact].Lang).YesNo(s.Text).OK
}

// saidYes takes a yes to "anything new?". In the owner's own words it is kept
// as it is; bare, it counts as same-day until the list question is answered.
func (t *turn) saidYes(s *heard, o *Open, detail string) {
	sentence := "something new this week, not yet said what"
	if detail != "" {
		sentence = "something new this week: " + quote(s.Text)
	}
	t.raise(evidence{dog: o.Dog, reason: SignAlert, urgency: Today, contact: s.contact,
		signs: []signs.Sign{signs.Unclear}, sentence: sentence})
}

// ticked takes the answer to the closed list: each option is a sign.
func (t *turn) ticked(s *heard, o *Open, v dialog.Value) {
	if v.Kind != dialog.KindChoice { // own words: the screen has read them already
		return
	}
	var found []signs.Sign
	for _, id := range strings.Fields(v.Text) {
		if sign := signs.Sign(id); sign.Known() {
			found = append(found, sign)
		}
	}
	if len(found) > 0 {
		t.screened(s, o, found...)
	}
}

// screened treats a sign that came as an answer like one read from words.
func (t *turn) screened(s *heard, o *Open, found ...signs.Sign) {
	ticked := *s
	ticked.dog = o.Dog
	ticked.finding.Signs = found
	ticked.finding.Reason = "answered the list question"
	ticked.finding.Ask = false
	ctx := t.screenContext(o.Dog)
	ticked.finding.Urgency = signs.None
	for _, f := range found {
		ticked.finding.Urgency = max(ticked.finding.Urgency, f.Urgency(ctx))
	}
	t.safety(&ticked)
}

// standing judges a sudden 4: new and cannot stand or walk is an emergency,
// new and can is same-day, not new is none.
func (t *turn) standing(s *heard, o *Open) {
	isNew, asked := o.Session.Answer("standing_new")
	can, answered := o.Session.Answer("standing_can")
	switch {
	case answered && !can.Yes:
		t.screened(s, o, signs.CannotStand)
	case asked && isNew.Yes:
		t.screened(s, o, signs.Lamer)
	}
}

// unsettled treats a closed safety question left without an answer as a
// same-day sign.
func (t *turn) unsettled(contact int8, o *Open) {
	t.raise(evidence{dog: o.Dog, reason: SignAlert, urgency: Today, contact: contact,
		signs: []signs.Sign{signs.Unclear}, sentence: "a safety question was left unanswered"})
}
