package care

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// planChange starts, stops, holds, restarts or adjusts an entry of the plan, or
// changes what is written about it.
func (t *turn) planChange(by string, p *PlanChange) Reason {
	dog := t.dogNamed(p.Dog)
	if dog < 0 {
		return t.refuse(fmt.Sprintf("There is no dog called %q in this household.", p.Dog))
	}
	d := &t.h.Dogs[dog]
	on := p.On
	if on == 0 {
		on = t.at
	}
	if p.Action == PlanDone && on > t.at {
		return t.refuse("What was done can't lie in the future.")
	}
	advice := PlanAdvice(t.r, d, *p, t.e.At)
	after, e, refusal := d.changed(t.r, p, on)
	if refusal != "" {
		return t.refuse(refusal)
	}
	if e.By == "" || p.Action == PlanStart {
		e.By = by
	}
	moved := e.Review != 0 && e.Review != reviewOf(d.entry(e.ID))
	*d = after
	d.Unsaid = d.Unsaid && p.Action == PlanDecline
	t.fact(Fact{Kind: FactPlan, Dog: dog + 1, Code: string(p.Action), Text: e.What, ID: string(e.Class), By: by, Number: float64(on)})
	if len(advice) > 0 {
		t.fact(Fact{Kind: FactNote, Dog: dog + 1, Code: "plan advice", Text: strings.Join(advice, " "), By: by})
	}
	t.afterPlanChange(dog, e, p, on)
	if moved && e.Status != Ended {
		t.reviewSet(dog, e)
	}
	return PracticeDone
}

func reviewOf(e *Entry) int64 {
	if e == nil {
		return 0
	}
	return e.Review
}

// changed is the dog with a change of its plan made, the entry that was
// changed, and why the change can't be made, "" where it can. on is when it
// takes effect. d stays as it is.
func (d *Dog) changed(r *Rules, p *PlanChange, on int64) (Dog, *Entry, string) {
	after := *d
	after.Plan = clonePlan(d.Plan)
	e := after.entry(p.Entry)
	if p.Action == PlanStart || p.Action == PlanDecline && e == nil && after.named(p.What) == nil {
		if strings.TrimSpace(p.What) == "" {
			return after, nil, "Say what goes on the plan."
		}
		after.Plan = append(after.Plan, Entry{ID: after.nextEntryID(), Area: p.Area, What: p.What, Class: p.Class,
			Started: on, Comfort: p.Comfort, Why: p.Reason, Batch: p.Batch, Who: p.Who, Source: p.Source, Review: p.Review})
		e = &after.Plan[len(after.Plan)-1]
		if p.Why != "" {
			e.Why, e.Reason = p.Why, p.Reason
		}
	}
	if e == nil {
		if e = after.named(p.What); e == nil {
			return after, nil, fmt.Sprintf("%s has no %q on the plan.", d.Name, p.What)
		}
	}
	if p.Action == PlanDone {
		zone := r.Zone
		c := r.reminderClock(e, on, zone)
		return after, e, e.done(p, c, dayOf(on, zone))
	}
	return after, e, e.apply(p, on)
}

func clonePlan(plan []Entry) []Entry {
	out := slices.Clone(plan)
	for i := range out {
		out[i].Reminders = slices.Clone(out[i].Reminders)
	}
	return out
}

// apply does to an entry what a change says. It returns why it can't, or "".
func (e *Entry) apply(p *PlanChange, on int64) string {
	switch p.Action {
	case PlanStart:
		return e.setReminders(p.Reminders)
	case PlanStop:
		e.Status, e.Ended, e.Reason = Ended, on, p.Reason
	case PlanHold:
		e.Status, e.Reason = Held, p.Reason
	case PlanRestart:
		e.Status, e.Started, e.Ended, e.Reason, e.Declined = Active, on, 0, p.Reason, false
		if p.Batch != "" {
			e.Batch = p.Batch
		}
		e.restartReminders()
	case PlanAdjust:
		e.Status, e.Reason = Active, p.Reason
	case PlanDecline:
		e.Status, e.Ended, e.Reason, e.Declined = Ended, on, p.Reason, true
	case PlanDetails:
		return e.details(p)
	case PlanReminders:
		return e.setReminders(p.Reminders)
	default:
		return fmt.Sprintf("%q is not a plan change: use %s.", p.Action, actionList())
	}
	return ""
}

func actionList() string {
	words := make([]string, len(PlanActions))
	for i, a := range PlanActions {
		words[i] = string(a)
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}

// details changes what is written about an entry: what is given replaces, what
// Clear names is emptied.
func (e *Entry) details(p *PlanChange) string {
	for _, name := range p.Clear {
		if !e.empty(name) {
			return fmt.Sprintf("%q is not a detail that can be emptied: why, who, review, batch, comfort or source.", name)
		}
	}
	set := func(field *string, value string) {
		if value != "" {
			*field = value
		}
	}
	set(&e.Why, p.Why)
	set(&e.Who, p.Who)
	set(&e.Batch, p.Batch)
	set((*string)(&e.Source), string(p.Source))
	if p.Entry == e.ID { // by number: a name can then be mended
		set(&e.What, p.What)
	}
	if p.Review != 0 {
		e.Review = p.Review
	}
	if p.On != 0 {
		e.Started = p.On
	}
	e.Comfort = e.Comfort || p.Comfort
	return ""
}

func (e *Entry) empty(name string) bool {
	switch name {
	case "why":
		e.Why = ""
	case "who":
		e.Who = ""
	case "review":
		e.Review = 0
	case "batch":
		e.Batch = ""
	case "comfort":
		e.Comfort = false
	case "source":
		e.Source = FromHere
	default:
		return false
	}
	return true
}

// OpensStretch reports whether a change begins a new stretch of the dog's
// course: one that was marked as expected to change comfort, and that changes
// what the dog gets rather than what is written about it.
func (p *PlanChange) OpensStretch() bool {
	switch p.Action {
	case PlanStart, PlanStop, PlanRestart, PlanAdjust:
		return p.Comfort
	}
	return false
}

// afterPlanChange opens a stretch where comfort should change, places the
// signs-only texts of a new or restarted medicine and the reassessment.
func (t *turn) afterPlanChange(dog int8, e *Entry, p *PlanChange, on int64) {
	d := &t.h.Dogs[dog]
	if e.Class != NotMedicine && p.gives() {
		d.Before = false
	}
	if p.OpensStretch() {
		d.Course.BeginStretchUnder(t.thresholds(dog), on, true)
	}
	t.scheduleSignsOnly(d)
	t.judgePlan(dog)
	if e.Status != Active {
		t.stopReminding(dog, e.ID)
	}
	t.placeReminders(d)
	t.judgeReviews(dog)
	switch p.Action {
	case PlanStart, PlanStop, PlanRestart, PlanAdjust:
		t.reassessAfterChange(d)
	}
}

func (t *turn) dogNamed(name string) int8 {
	for i := range t.h.Dogs {
		if lower(t.h.Dogs[i].Name) == lower(name) {
			return int8(i)
		}
	}
	return -1
}

// named is the newest entry of that name that has not ended, or nil.
func (d *Dog) named(what string) *Entry {
	for i := len(d.Plan) - 1; i >= 0; i-- {
		if lower(d.Plan[i].What) == lower(what) && d.Plan[i].Status != Ended {
			return &d.Plan[i]
		}
	}
	return nil
}

// sentenceOf gives a clause a capital and a full stop.
func sentenceOf(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return ""
	}
	return string(unicode.ToUpper(r)) + s[n:] + "."
}
