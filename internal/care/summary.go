package care

import (
	"slices"

	"gaitpost/dialog"
	"gaitpost/internal/clinical"
)

const (
	summaryReadings = 2   // check-ins of the time a summary is about, at least
	itemBetter      = .75 // answer steps that an item must have changed to be named
	summaryNamed    = 2   // things named as better or as harder, each
)

// placeSummary places a dog's next summary: some weeks after consent, then after
// the last one.
func (t *turn) placeSummary(dog int8) {
	d := &t.h.Dogs[dog]
	if t.r.Extras.Summary == 0 || d.placed(PromptSummary) || len(t.lately(dog)) < summaryReadings {
		return
	}
	from := t.consentDay()
	if d.Summed != 0 {
		from = dayOf(d.Summed, t.zone())
	}
	t.placeExtra(dog, PromptSummary, from+int32(t.r.Extras.Summary))
}

// lately are the scored check-ins since the last summary would have been.
func (t *turn) lately(dog int8) []clinical.Reading {
	from := t.at - int64(t.r.Extras.Summary)*day
	return slices.DeleteFunc(t.h.Dogs[dog].Course.Readings(), func(r clinical.Reading) bool { return r.At < from })
}

// giveSummary sends an owner a plain word on how the last weeks went: what
// changed on the plan, what is easier by name, what is harder. No figures, no
// promise, no diagnosis.
func (t *turn) giveSummary(contact, dog int8) {
	lines := t.summary(contact, dog)
	if len(lines) == 0 {
		return
	}
	t.say(contact, ForPrompt, lines...)
	t.h.Dogs[dog].Summed = t.at
	t.note(FactPrompt, dog, "sent", slot(PromptSummary, dog, t.today()))
}

// summary is what there is to say, nil where too little was answered.
func (t *turn) summary(contact, dog int8) []dialog.Line {
	recent := t.lately(dog)
	if len(recent) < summaryReadings {
		return nil
	}
	better, harder := t.moved(dog, recent)
	ctx := t.context(contact, dog)
	line := func(step string) dialog.Line { return t.r.Scripts.Say(string(PromptSummary), step, ctx) }
	lines := []dialog.Line{line("opening")}
	if what := t.newOnPlan(dog, recent[0].At); what != "" {
		ctx.Vars["thing"] = what
		lines = append(lines, line("new"))
	}
	for _, b := range better {
		ctx.Vars["better"] = b
		lines = append(lines, line("easier"))
	}
	if len(better) == 0 && len(harder) == 0 {
		lines = append(lines, line("steady"))
	}
	if t.losing(dog) {
		lines = append(lines, line("lighter"))
	}
	for _, b := range harder {
		ctx.Vars["better"] = b
		lines = append(lines, line("harder"))
	}
	if len(harder) > 0 {
		return append(lines, line("reads_harder"))
	}
	return append(lines, line("reads"))
}

// moved names the items that the last weeks' answers show as better and as
// harder than the dog's usual, the most changed first.
func (t *turn) moved(dog int8, recent []clinical.Reading) (better, harder []string) {
	type change struct {
		item clinical.Item
		by   float64 // answer steps, above 0 better
	}
	d, th := &t.h.Dogs[dog], t.thresholds(dog)
	var all []change
	for i := range clinical.ItemCount {
		item := clinical.Item(i)
		usual, kind := d.Course.ItemBaseline(th, item)
		if now, ok := meanOf(recent, item); ok && kind != clinical.NoBaseline {
			all = append(all, change{item, usual - now})
		}
	}
	slices.SortStableFunc(all, func(a, b change) int {
		switch {
		case a.by > b.by:
			return -1
		case a.by < b.by:
			return 1
		}
		return 0
	})
	for _, c := range all {
		if c.by >= itemBetter && len(better) < summaryNamed {
			better = append(better, t.ownersName(dog, c.item))
		}
	}
	for _, c := range slices.Backward(all) {
		if c.by <= -itemBetter && len(harder) < summaryNamed {
			harder = append(harder, t.ownersName(dog, c.item))
		}
	}
	return better, harder
}

// plainNames are the items as an owner speaks of them.
var plainNames = [clinical.ItemCount]string{"limping", "soreness", "the nights", "getting up", "the walk", "steps and the car"}

func (t *turn) ownersName(dog int8, i clinical.Item) string {
	if i.IsOwn() {
		return t.itemName(dog, i)
	}
	return plainNames[i]
}

// meanOf is the mean answer to an item; false where it was not answered often
// enough to say anything.
func meanOf(rs []clinical.Reading, item clinical.Item) (float64, bool) {
	sum, n := 0, 0
	for _, r := range rs {
		if l := r.Items[item]; l.Answered() {
			sum += int(l)
			n++
		}
	}
	if n < summaryReadings {
		return 0, false
	}
	return float64(sum) / float64(n), true
}

// newOnPlan is what began on the plan since an instant and still goes on, "" for
// nothing.
func (t *turn) newOnPlan(dog int8, since int64) string {
	d := &t.h.Dogs[dog]
	for i := len(d.Plan) - 1; i >= 0; i-- {
		if e := &d.Plan[i]; e.Status == Active && e.Started >= since && e.Started > t.h.Enrolled {
			return e.What
		}
	}
	return ""
}

// losing reports whether a dog on a loss plan comes down as it should.
func (t *turn) losing(dog int8) bool {
	d := &t.h.Dogs[dog]
	if !d.onLossPlan() || len(d.Weights) == 0 {
		return false
	}
	j := t.r.WeightRules().Judge(d.WeightPlan(), d.Weights, t.at)
	return j.Pace.Status != clinical.PaceUnknown && (j.Pace.Band == clinical.PaceInBand || j.Pace.Band == clinical.PaceProgress)
}
