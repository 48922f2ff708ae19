package care

import (
	"slices"

	"gaitpost/dialog"
)

// Extras say how often an owner gets what goes beyond monitoring, in days. 0 of
// any leaves it out; the zero value sends none of it.
type Extras struct {
	Lesson     int // between two short lessons of a household, 7 at least
	Summary    int // between two summaries of a dog's course
	Activities int // after consent, until the owner is asked what matters to them
	House      int // after a review that named an awkward place, until it is gone into
}

// DefaultExtras are what a clinic starts with. Apart from a lesson a week and a
// summary a month at most they are common practice, no source.
func DefaultExtras() Extras { return Extras{Lesson: 14, Summary: 28, Activities: 2, House: 2} }

// off reports whether a clinic leaves a kind out. What was placed before it did
// so is not sent either.
func (e Extras) off(k PromptKind) bool {
	switch k {
	case PromptLesson:
		return e.Lesson == 0
	case PromptSummary:
		return e.Summary == 0
	case PromptActivities:
		return e.Activities == 0
	}
	return false // the places at home, once named, are followed up
}

// leastBetweenLessons keeps lessons to one a week, whatever is set.
const leastBetweenLessons = 7

// extras are the prompts that can always be left out: they are placed one by
// one where there is something to say, and not by a cadence.
var extras = []PromptKind{PromptHouse, PromptHouseAgain, PromptActivities, PromptLesson, PromptSummary}

func (k PromptKind) extra() bool { return slices.Contains(extras, k) }

// cheerful reports whether a household is to hear anything that could wait for
// another year: nobody has died lately, no bad-days note is kept, or was
// until lately, nothing is open that somebody should see to today, and nobody asked for quiet.
func (t *turn) cheerful(dog int8) bool {
	const mourning, afterwards = 6 * 7 * day, 2 * 7 * day
	for i := range t.h.Dogs {
		d := &t.h.Dogs[i]
		if d.Days.running() || d.Days != nil && t.at-d.Days.Ended < afterwards || d.Status == Died && t.at-d.Ended < mourning {
			return false
		}
	}
	for i := range t.h.Alerts {
		if a := &t.h.Alerts[i]; a.IsOpen() && (a.Reason == RedFlag || a.Urgency != ForDigest && (a.Dog == dog || a.Dog < 0)) {
			return false
		}
	}
	d, p := &t.h.Dogs[dog], t.h.primary()
	return p >= 0 && d.Status == Followed && d.Quiet <= t.at && t.heldUntil(&t.h.Contacts[p]) <= t.at
}

// placeExtras places what there is to say beyond monitoring, where nothing of
// its kind is placed yet.
func (t *turn) placeExtras(dog int8) {
	if d := &t.h.Dogs[dog]; d.Status != Followed || t.h.primary() < 0 || !t.cheerful(dog) {
		return
	}
	t.placeActivities(dog)
	t.placeHouseAgain(dog)
	t.placeLesson(dog)
	t.placeSummary(dog)
}

// placeExtra sets when a prompt of a kind falls due: on a local date, or on the
// first after it whose hour for prompts is still to come.
func (t *turn) placeExtra(dog int8, k PromptKind, on int32) {
	due := t.h.Dogs[dog].due(k)
	if due.At != noDue {
		return
	}
	on = max(on, dayNumber(t.today()))
	at := t.localTime(dateOfDay(on), t.r.Limits.PromptAt).Unix()
	if at <= t.at {
		on++
		at = t.localTime(dateOfDay(on), t.r.Limits.PromptAt).Unix()
	}
	due.At, due.Date = at, on
}

// placed reports whether a prompt of a kind is placed for the dog.
func (d *Dog) placed(k PromptKind) bool {
	return slices.ContainsFunc(d.Due, func(due Due) bool { return due.Kind == k && due.At != noDue })
}

// openExtra takes an extra that fell due: it reports whether it has dealt with
// it, so that nothing more is opened. What has lost its sense meanwhile is left
// out.
func (t *turn) openExtra(contact int8, c candidate) bool {
	if !c.kind.extra() {
		return false
	}
	if !t.cheerful(c.dog) {
		t.note(FactPrompt, c.dog, "skipped", string(c.kind)+": not now")
		if c.kind == PromptHouse && !t.hush() { // somebody wished for it: it waits
			t.placeExtra(c.dog, PromptHouse, dayNumber(t.today())+7)
		}
		return true
	}
	if t.r.Extras.off(c.kind) {
		return true
	}
	switch c.kind {
	case PromptLesson:
		t.giveLesson(contact, c.dog)
		return true
	case PromptSummary:
		t.giveSummary(contact, c.dog)
		return true
	case PromptActivities:
		d := &t.h.Dogs[c.dog]
		if d.AskedOwn != 0 || d.Own != [2]string{} {
			return true
		}
		d.AskedOwn = t.at // once, answered or not
	case PromptHouseAgain:
		return t.h.Dogs[c.dog].taskDue(dayNumber(t.today())) == nil
	}
	return false
}

// consentDay is the local date on which the household's first person agreed.
func (t *turn) consentDay() int32 {
	p := t.h.primary()
	if p < 0 {
		return 0
	}
	return dayOf(t.h.Contacts[p].Consent.At, t.zone())
}

// extraVars fills in what these dialogs are about.
func (t *turn) extraVars(ctx *dialog.Context, contact, dog int8, kind PromptKind) {
	switch {
	case dog < 0:
	case kind == PromptHouseAgain:
		if h := t.askedTask(contact, dog); h != nil {
			ctx.Vars["thing"] = h.Place.Name()
		}
	case kind == PromptGoodDay:
		if g := t.h.Dogs[dog].Days; g != nil && len(g.Days) <= 1 {
			ctx.Facts["first_evening"] = true
		}
	}
}
