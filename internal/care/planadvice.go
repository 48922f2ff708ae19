package care

import (
	"fmt"
	"slices"
	"time"
)

// apartDays is how far apart two changes must begin for their effects to be
// told apart at all, the same distance at which an effect is marked as mixed.
const apartDays = 14

// PlanAdvice says what the practitioner should know before a change of a dog's
// plan is made: what can't be told apart, what doesn't go together, what is
// missing. Each is one sentence; none of them stands in the way. A change that
// can't be made, or has nothing against it, gives nothing. d stays as it is.
// For several changes at once, apply each with WithPlanChange before asking
// about the next.
func PlanAdvice(r *Rules, d *Dog, change PlanChange, at time.Time) []string {
	on := change.On
	if on == 0 {
		on = at.Unix()
	}
	after, e, refusal := d.changed(r, &change, on)
	if refusal != "" {
		return nil
	}
	var list []string
	if change.begins() {
		list = append(list, r.tooClose(d, e, on)...)
	}
	known := d.cautions()
	for _, c := range after.cautions() {
		if !slices.Contains(known, c) {
			list = append(list, sentenceOf(c))
		}
	}
	if change.gives() {
		list = append(list, d.aboutMedicine(e)...)
	}
	if e.Class == Antibody && change.Batch == "" && (change.gives() || change.Action == PlanDone) {
		list = append(list, fmt.Sprintf("No batch number is given for %s.", e.What))
	}
	return list
}

// WithPlanChange returns the dog as it would be with a change of its plan made,
// and why it can't be, "" where it can. The dog itself stays as it is.
func (d *Dog) WithPlanChange(r *Rules, change PlanChange, at time.Time) (Dog, string) {
	on := change.On
	if on == 0 {
		on = at.Unix()
	}
	after, _, refusal := d.changed(r, &change, on)
	return after, refusal
}

// PlanNotes says what stands about a dog's plan as it is: which two things
// began too close together to tell apart, what doesn't go together, what is
// missing. It is what PlanAdvice said, for as long as it holds.
func PlanNotes(r *Rules, d *Dog, at time.Time) []string {
	var list []string
	running := d.running()
	for i := len(running) - 1; i > 0; i-- {
		a, b := running[i-1], running[i]
		if b.Started-a.Started < apartDays*day && at.Unix()-b.Started < 26*7*day {
			list = append(list, fmt.Sprintf("%s and %s began within two weeks of each other: what either did can't be told apart.", a.What, b.What))
		}
	}
	for _, c := range d.cautions() {
		list = append(list, sentenceOf(c))
	}
	if n, a := d.takenOf(NSAID), d.takenOf(Antibody); n != nil && a != nil {
		list = append(list, besideAntibody(n.What, a.What))
	}
	for _, e := range running {
		if e.Class == Antibody && e.Batch == "" {
			list = append(list, fmt.Sprintf("No batch number is kept for %s.", e.What))
		}
	}
	return list
}

// running are the entries that have not ended, in the order they began.
func (d *Dog) running() []Entry {
	list := slices.DeleteFunc(slices.Clone(d.Plan), func(e Entry) bool { return e.Status == Ended })
	slices.SortStableFunc(list, func(a, b Entry) int { return int(a.Started/day) - int(b.Started/day) })
	return list
}

// takenOf is the entry of a class that may still act, or nil.
func (d *Dog) takenOf(c MedicineClass) *Entry {
	for i := range d.Plan {
		if d.Plan[i].Class == c && d.Plan[i].Status != Ended {
			return &d.Plan[i]
		}
	}
	return nil
}

// begins reports whether a change lets something begin or end, so that its
// effect mixes with what else began or ended near it.
func (p *PlanChange) begins() bool {
	switch p.Action {
	case PlanStart, PlanRestart, PlanStop:
		return true
	case PlanAdjust:
		return p.Comfort
	}
	return false
}

// gives reports whether something is given from now on.
func (p *PlanChange) gives() bool { return p.Action == PlanStart || p.Action == PlanRestart }

// tooClose names what else began or ended within two weeks of a change.
func (r *Rules) tooClose(d *Dog, e *Entry, on int64) []string {
	var list []string
	for _, o := range d.Plan {
		if o.ID == e.ID || !o.wasGiven() {
			continue
		}
		what, when := "began", o.Started
		if o.Status == Ended && abs(o.Ended-on) < abs(o.Started-on) {
			what, when = "ended", o.Ended
		}
		if abs(when-on) >= apartDays*day {
			continue
		}
		list = append(list, fmt.Sprintf("%s %s on %s, less than two weeks from this: what either does can't be told apart.",
			o.What, what, time.Unix(when, 0).In(r.Zone).Format("2 January")))
	}
	return list
}

// wasGiven is false for what was proposed and never begun.
func (e *Entry) wasGiven() bool { return !e.Declined || e.Ended > e.Started }

// aboutMedicine is what is worth knowing of a medicine beside the cautions.
func (d *Dog) aboutMedicine(e *Entry) []string {
	var list []string
	other := map[MedicineClass]MedicineClass{NSAID: Antibody, Antibody: NSAID}[e.Class]
	if o := d.takenOf(other); other != "" && o != nil {
		nsaid, antibody := e.What, o.What
		if e.Class == Antibody {
			nsaid, antibody = antibody, nsaid
		}
		list = append(list, besideAntibody(nsaid, antibody))
	}
	if e.Class != NotMedicine && e.Source != FromHere {
		list = append(list, fmt.Sprintf("%s does not come from this practice (%s): since when it is given, and beside what, is the owner's word alone.", e.What, e.Source))
	}
	return list
}

// besideAntibody is a notice: the two are given together in practice, and watched.
func besideAntibody(nsaid, antibody string) string {
	return fmt.Sprintf("An anti-inflammatory beside an antibody against nerve growth factor: %s and %s. To know, no more.", nsaid, antibody)
}

func abs(n int64) int64 { return max(n, -n) }
