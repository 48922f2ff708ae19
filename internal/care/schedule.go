package care

import (
	"time"

	"gaitpost/internal/cadence"
	"gaitpost/internal/clinical"
)

// noDue marks a prompt that does not fall due by itself.
const noDue = 0

// dayNumber is a local date as days since 1970.
func dayNumber(d cadence.LocalDate) int32 {
	return int32(cadence.Date(1970, 1, 1).DaysUntil(d))
}

func dateOfDay(n int32) cadence.LocalDate {
	if n == 0 {
		return cadence.LocalDate{}
	}
	return cadence.Date(1970, 1, 1).AddDays(int(n))
}

// zone is where the household's prompts are timed: its primary contact's zone.
func (t *turn) zone() *time.Location {
	if p := t.h.primary(); p >= 0 {
		return t.r.zoneOf(t.h.Contacts[p])
	}
	return t.r.Zone
}

// schedule sets when each kind of prompt of a dog next falls due, where
// nothing is set yet.
func (t *turn) schedule(dog int8) {
	d := &t.h.Dogs[dog]
	for _, kind := range []PromptKind{PromptCheckIn, PromptWeighIn, PromptReassessment} {
		if due := d.due(kind); due.At == noDue {
			if kind == PromptReassessment && due.Last == 0 {
				due.Last = dayNumber(t.today())
			}
			t.place(due, t.cadenceOf(d, kind), t.e.At)
		}
	}
	t.scheduleSignsOnly(d)
	t.placeReminders(d)
	t.placeExtras(dog)
}

// cadenceOf is when a kind of prompt falls due for a dog.
func (t *turn) cadenceOf(d *Dog, k PromptKind) cadence.Cadence { return d.Cadence(t.r.Cadences, k) }

// place sets the next due time by a cadence; quiet hours apply last.
func (t *turn) place(due *Due, c cadence.Cadence, after time.Time) {
	if c.IsZero() {
		due.At = noDue
		return
	}
	firing := c.NextFiring(after, dateOfDay(due.Last), t.zone())
	if firing.At.IsZero() {
		due.At = noDue
		return
	}
	at, _ := t.r.Quiet.Delay(firing.At, t.zone())
	due.At, due.Date = at.Unix(), dayNumber(firing.Date)
}

// advance notes that a prompt of a kind went out today and sets the next one.
func (t *turn) advance(dog int8, k PromptKind) {
	d := &t.h.Dogs[dog]
	due := d.due(k)
	if due.Last = due.Date; due.Date == 0 {
		due.Last = dayNumber(t.today())
	}
	due.Date = 0
	if k.extra() {
		due.At = noDue
		return
	}
	if k == PromptSignsOnly {
		t.scheduleSignsOnly(d)
		return
	}
	t.place(due, t.cadenceOf(d, k), t.e.At)
}

// scheduleSignsOnly places the next signs-only text: so many days after each
// new or restarted medicine, at the clinic's hour for prompts.
func (t *turn) scheduleSignsOnly(d *Dog) {
	next, on := int64(noDue), int32(0)
	due := d.due(PromptSignsOnly)
	waiting := *due // one that gave its day to something else
	for _, e := range d.Plan {
		if e.Class == NotMedicine || e.Status != Active {
			continue
		}
		start := cadence.DateIn(time.Unix(e.Started, 0), t.zone())
		for _, days := range t.r.Limits.SignsOnlyDays {
			date := start.AddDays(days)
			at := t.localTime(date, t.r.Limits.PromptAt).Unix()
			if waiting.At > at && waiting.Date == dayNumber(date) {
				at = waiting.At
			}
			if dayNumber(date) <= due.Last || at <= t.at {
				continue
			}
			if next == noDue || at < next {
				next, on = at, dayNumber(date)
			}
		}
	}
	due.At, due.Date = next, on
}

// localTime is an instant on a local date; a missing time of an existing date
// is the first instant after the gap, and quiet hours apply last.
func (t *turn) localTime(d cadence.LocalDate, m cadence.MinuteOfDay) time.Time {
	at, _ := t.r.Quiet.Delay(cadence.At(d, m, t.zone()), t.zone())
	return at
}

// reassessAfterChange brings the reassessment forward to four weeks after a
// change of plan.
func (t *turn) reassessAfterChange(d *Dog) {
	due := d.due(PromptReassessment)
	date := t.today().AddDays(t.r.Thresholds.BeddingInDays)
	at := t.localTime(date, t.r.Limits.PromptAt).Unix()
	if due.At == noDue || at < due.At {
		due.At, due.Date = at, dayNumber(date)
	}
}

// rank orders the caseload: who needs somebody sooner comes first. 400 and
// more: a now alert nobody has taken on; 300: one that is acknowledged; 200
// and 150: today alerts; 100: something for the digest; below: the index.
func (t *turn) rank() float64 {
	top := 0.0
	for _, a := range t.h.Alerts {
		if !a.IsOpen() {
			continue
		}
		top = max(top, alertRank(a))
	}
	worst := clinical.Score(0)
	for i := range t.h.Dogs {
		d := &t.h.Dogs[i]
		if d.Status != Followed {
			continue
		}
		if last, ok := d.Course.Last(); ok {
			worst = max(worst, last.Index.Total)
		}
	}
	return top + float64(worst)/2
}

// OpenRank is the least rank of a household with an open alert.
const OpenRank = 100

func alertRank(a Alert) float64 {
	acked := a.State == Acknowledged
	switch {
	case a.Urgency == Now && !acked:
		return 400
	case a.Urgency == Now:
		return 300
	case a.Urgency == Today && !acked:
		return 200
	case a.Urgency == Today:
		return 150
	default:
		return OpenRank
	}
}

// next is when this household must be looked at again without being asked.
func (t *turn) next() time.Time {
	soonest := int64(0)
	consider := func(at int64) {
		if at > 0 && (soonest == 0 || at < soonest) {
			soonest = at
		}
	}
	for i := range t.h.Alerts {
		if t.h.Alerts[i].IsOpen() {
			consider(t.h.Alerts[i].Tell)
			consider(t.h.Alerts[i].Ask)
		}
	}
	for i := range t.h.Dogs {
		t.nextOfHold(&t.h.Dogs[i], consider)
		if g := t.h.Dogs[i].Days; g.running() && t.h.Dogs[i].Status == Followed {
			consider(g.At)
		}
	}
	for i := range t.h.Contacts {
		t.nextOfTalk(&t.h.Contacts[i], consider)
	}
	if p := t.h.primary(); p >= 0 {
		hold := t.heldUntil(&t.h.Contacts[p])
		for i := range t.h.Dogs {
			if t.h.Dogs[i].Status != Followed {
				continue
			}
			for _, due := range t.h.Dogs[i].Due {
				if due.At != noDue {
					consider(max(due.At, hold))
				}
			}
			t.nextReminder(&t.h.Dogs[i], hold, consider)
		}
	}
	t.nextReview(consider)
	if t.h.Erased != nil {
		consider(t.h.Erased.Until)
	}
	if soonest == 0 {
		return time.Time{}
	}
	// What is due already and was not done in this turn is done in the next, a
	// second later: a household must come to rest between two looks.
	return time.Unix(max(soonest, t.at+1), 0).UTC()
}

// emergencyHold is how long prompts wait while an emergency is open: nobody
// wants to be asked about the sofa that week.
const emergencyHold = 7 * day

// heldUntil is until when prompts to a contact wait: a handover, a pause, an
// emergency that nobody has closed.
func (t *turn) heldUntil(c *Contact) int64 {
	until := max(c.Talk.Handover, c.Talk.Paused)
	for i := range t.h.Alerts {
		if a := &t.h.Alerts[i]; a.Reason == RedFlag && a.IsOpen() {
			until = max(until, a.Opened+emergencyHold)
		}
	}
	return until
}

func (t *turn) nextOfTalk(c *Contact, consider func(int64)) {
	if o := c.Talk.Open; o != nil {
		for _, at := range t.deadlines(c, o) {
			consider(at)
		}
	}
	if c.Talk.Handover > t.at {
		consider(c.Talk.Handover)
	}
	if c.Talk.Paused > t.at && (len(c.Talk.Queue) > 0 || c.Talk.Open != nil) {
		consider(c.Talk.Paused)
	}
	if c.mayBeAsked() {
		consider(t.outsideQuiet(c, max(t.heldUntil(c), t.at+1, t.freeFrom(c))))
	}
}
