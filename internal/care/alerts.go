package care

import (
	"fmt"
	"slices"

	"gaitpost/internal/signs"
)

// evidence is one reason to tell the practice something.
type evidence struct {
	dog      int8
	reason   AlertReason
	urgency  Urgency
	sentence string
	excess   float64
	signs    []signs.Sign
	contact  int8
	item     int8 // clinical item plus one, for a jump
}

// staysShut reports whether a closed alert of this reason keeps the reason
// shut until its condition clears or worsens. The others are events: each new
// one is news.
func (r AlertReason) staysShut() bool {
	switch r {
	case Level, Rise, Drift, Jump, NoGain, Weight, Silence, ReviewDue, Caution:
		return true
	default:
		return false
	}
}

// raise opens an alert, lets evidence join an open one, or leaves a shut
// reason shut. It returns the alert's place in t.h.Alerts, or -1.
func (t *turn) raise(ev evidence) int {
	if t.quieted(ev) {
		t.fact(Fact{Kind: FactAlert, Dog: ev.dog + 1, Code: "quieted", Text: string(ev.reason)})
		return -1
	}
	for i := range t.h.Alerts {
		a := &t.h.Alerts[i]
		if a.Dog != ev.dog || a.Reason != ev.reason || a.Item != ev.item {
			continue
		}
		if a.IsOpen() {
			t.join(a, ev)
			return i
		}
		if a.Reason.staysShut() && !a.Cleared {
			if ev.excess < a.Excess+t.r.Limits.ReopenBy {
				return -1
			}
			t.h.Alerts = slices.Delete(t.h.Alerts, i, i+1)
			break
		}
	}
	return t.open(ev)
}

func (t *turn) quieted(ev evidence) bool {
	if ev.dog < 0 || ev.reason == RedFlag || ev.reason == SignAlert {
		return false
	}
	return t.h.Dogs[ev.dog].Quiet > t.at
}

func (t *turn) open(ev evidence) int {
	t.h.AlertSeq++
	a := Alert{
		N: t.h.AlertSeq, Dog: ev.dog, Reason: ev.reason, Urgency: ev.urgency,
		Opened: t.at, Updated: t.at, Sentence: ev.sentence, Excess: ev.excess,
		Signs: ev.signs, Contact: ev.contact, Item: ev.item,
	}
	t.h.Alerts = append(t.h.Alerts, a)
	i := len(t.h.Alerts) - 1
	t.alertFact(&t.h.Alerts[i], "opened", "")
	t.tell(&t.h.Alerts[i], NoticeNew)
	return i
}

// join adds evidence to an open alert, and tells again when it got worse.
func (t *turn) join(a *Alert, ev evidence) {
	worse := ev.urgency > a.Urgency || ev.excess >= a.Excess+t.r.Limits.ReopenBy || newSigns(a.Signs, ev.signs)
	a.Updated, a.Cleared = t.at, false
	a.Joined++
	a.Sentence = ev.sentence
	a.Urgency = max(a.Urgency, ev.urgency)
	a.Excess = max(a.Excess, ev.excess)
	a.Contact = ev.contact
	for _, s := range ev.signs {
		if !slices.Contains(a.Signs, s) {
			a.Signs = append(a.Signs[:len(a.Signs):len(a.Signs)], s)
		}
	}
	t.alertFact(a, "joined", "")
	if worse {
		a.State, a.Acked = OpenAlert, 0
		t.tell(a, NoticeWorse)
	}
}

func newSigns(known, seen []signs.Sign) bool {
	for _, s := range seen {
		if !slices.Contains(known, s) {
			return true
		}
	}
	return false
}

// tell lets the right person hear of an alert at the right time: a now alert
// at once, a today alert at once in opening hours and else at opening, the rest
// in the digest.
func (t *turn) tell(a *Alert, kind NoticeKind) {
	switch {
	case a.Urgency == Now:
		a.Step = 0
		t.tellNext(a, kind)
	case a.Urgency == Today && t.r.Hours.Open(t.e.At):
		a.Tell = 0
		t.notice(a, kind, t.firstInLine())
	case a.Urgency == Today:
		a.Tell = t.nextOpening()
	default:
		a.Tell = 0
	}
}

func (t *turn) nextOpening() int64 {
	at, ok := t.r.Hours.NextOpening(t.e.At)
	if !ok { // a clinic that never opens: tell at once rather than never
		return t.at
	}
	return at.Unix()
}

func (t *turn) firstInLine() string {
	if chain := t.r.Chain(t.e.At); len(chain) > 0 {
		return chain[0]
	}
	return ""
}

// tellNext tells the next in line and sets when the one after hears of it. The
// end of the chain is the last-resort contact.
func (t *turn) tellNext(a *Alert, kind NoticeKind) {
	chain := t.r.Chain(t.e.At)
	to := "" // last resort
	if int(a.Step) < len(chain) {
		to = chain[a.Step]
	}
	t.notice(a, kind, to)
	a.Tell = 0
	if int(a.Step) < len(chain) {
		a.Tell = t.at + int64(t.r.Limits.EscalateAfter.Seconds())
	}
	a.Step++
}

func (t *turn) notice(a *Alert, kind NoticeKind, to string) {
	key := fmt.Sprintf("%s/%d/%s/%d/%d", t.h.ID, a.N, kind, t.h.Seq, a.Step)
	if !t.joinNotice(a, kind, to) {
		t.out.Notices = append(t.out.Notices, Notice{
			Key: key, To: to, At: t.e.At, What: kind, Item: t.h.Item(*a),
		})
	}
	who := to
	if who == "" {
		who = "last resort"
	}
	t.fact(Fact{Kind: FactAlert, Dog: a.Dog + 1, Code: "told", Text: string(kind), Alert: a.N, By: who})
}

// joinNotice adds an alert to a notice of the same turn about the same dog: one
// check-in that meets two rules is one text.
func (t *turn) joinNotice(a *Alert, kind NoticeKind, to string) bool {
	for i := range t.out.Notices {
		n := &t.out.Notices[i]
		if n.To == to && n.What == kind && n.Item.DogIndex == a.Dog && a.Urgency == Today && n.Item.Urgency == Today {
			n.Item.Sentence += "; " + string(a.Reason) + ": " + a.Sentence
			return true
		}
	}
	return false
}

// Item is an alert as a practitioner reads it.
func (h *Household) Item(a Alert) Item {
	it := Item{
		Household: h.ID, Alert: a.N, Reason: a.Reason, Urgency: a.Urgency,
		State: a.State, Sentence: a.Sentence, At: a.Updated, DogIndex: a.Dog,
	}
	if a.Dog >= 0 {
		it.Dog = h.Dogs[a.Dog].Name
	}
	if int(a.Contact) < len(h.Contacts) {
		it.Owner, it.Phone = h.Contacts[a.Contact].Name, h.Rings(int8(a.Contact))
	}
	return it
}

// OpenItems lists the household's open alerts as a practitioner reads them.
func (h *Household) OpenItems() []Item {
	var items []Item
	for _, a := range h.Alerts {
		if a.IsOpen() {
			items = append(items, h.Item(a))
		}
	}
	return items
}

func (t *turn) alertFact(a *Alert, code, note string) {
	t.fact(Fact{
		Kind: FactAlert, Dog: a.Dog + 1, Code: code, Text: a.Sentence,
		Alert: a.N, By: a.By, ID: string(a.Reason), Number: float64(a.Urgency),
	})
	if note != "" {
		t.fact(Fact{Kind: FactNote, Dog: a.Dog + 1, Text: note, Alert: a.N, By: a.By})
	}
}

// clearReason marks that a reason's condition no longer holds, which lets a
// shut reason open anew later.
func (t *turn) clearReason(dog int8, reason AlertReason, item int8) {
	for i := range t.h.Alerts {
		a := &t.h.Alerts[i]
		if a.Dog == dog && a.Reason == reason && a.Item == item && !a.Cleared {
			a.Cleared = true
			t.alertFact(a, "cleared", "")
		}
	}
}

// alert returns the alert with a number.
func (t *turn) alert(n uint16) *Alert {
	for i := range t.h.Alerts {
		if t.h.Alerts[i].N == n {
			return &t.h.Alerts[i]
		}
	}
	return nil
}

// acknowledge keeps that somebody has taken an alert on.
func (t *turn) acknowledge(by string, act *AlertAction) Reason {
	a := t.alert(act.Alert)
	if a == nil || !a.IsOpen() {
		return t.refuse("That alert is closed already.")
	}
	a.State, a.Acked, a.By = Acknowledged, t.at, by
	if a.Urgency == Now || a.Tell <= t.at {
		a.Tell = 0
	}
	a.Note = act.Note
	t.alertFact(a, "acknowledged", act.Note)
	t.minutes(a, by, act)
	return PracticeDone
}

// minutes keeps how long staff say they took over an alert.
func (t *turn) minutes(a *Alert, by string, act *AlertAction) {
	if act.Minutes > 0 {
		t.fact(Fact{Kind: FactMinutes, Dog: a.Dog + 1, Alert: a.N, By: by, Number: float64(min(act.Minutes, MaxMinutes))})
	}
}

// closeAlert ends an alert with what came of it.
func (t *turn) closeAlert(by string, act *AlertAction) Reason {
	a := t.alert(act.Alert)
	switch {
	case a == nil || !a.IsOpen():
		return t.refuse("That alert is closed already.")
	case !slices.Contains(Outcomes, act.Outcome):
		return t.refuse(fmt.Sprintf("%q is not an outcome. Use one of: %s.", act.Outcome, outcomeList()))
	}
	a.By, a.Note = by, act.Note
	if act.Outcome == CouldNotReach {
		return t.dueAgain(a, act)
	}
	if held := t.stillHeld(a); held != "" {
		return t.refuse(fmt.Sprintf("This alert holds a medicine (%s). Record restart, change or stop first.", held))
	}
	a.State, a.Closed, a.Outcome = ClosedAlert, t.at, act.Outcome
	a.Tell, a.Ask = 0, 0
	t.fact(Fact{Kind: FactAlert, Dog: a.Dog + 1, Code: "closed", Text: string(act.Outcome), Alert: a.N, By: by, ID: string(a.Reason)})
	if act.Note != "" {
		t.fact(Fact{Kind: FactNote, Dog: a.Dog + 1, Text: act.Note, Alert: a.N, By: by})
	}
	t.minutes(a, by, act)
	dog := a.Dog
	if act.Outcome == DogDied && dog >= 0 {
		t.die(dog, t.h.primary(), by)
	}
	return PracticeDone
}

// dueAgain brings an alert back whose owner could not be reached: after the
// escalation wait for a now alert, at the next opening for the rest.
func (t *turn) dueAgain(a *Alert, act *AlertAction) Reason {
	a.State, a.Acked, a.Outcome = OpenAlert, 0, CouldNotReach
	a.Tell = t.nextOpening()
	if a.Urgency == Now {
		a.Tell = t.at + int64(t.r.Limits.EscalateAfter.Seconds())
	} else if t.r.Hours.Open(t.e.At) {
		a.Tell = t.at + 2*3600 // the same day, while there is somebody to ring
	}
	t.alertFact(a, "couldn't reach", act.Note)
	t.minutes(a, a.By, act)
	return PracticeDone
}

func (t *turn) stillHeld(a *Alert) string {
	if a.Dog < 0 {
		return ""
	}
	for _, e := range t.h.Dogs[a.Dog].Plan {
		if e.Status == Held && slices.Contains(a.Held, e.ID) {
			return e.What
		}
	}
	return ""
}

func (t *turn) refuse(sentence string) Reason {
	t.out.Refusal = sentence
	return PracticeRefused
}

func outcomeList() string {
	s := ""
	for i, o := range Outcomes {
		if i > 0 {
			s += ", "
		}
		s += string(o)
	}
	return s
}
