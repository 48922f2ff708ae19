package care

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"gaitpost/dialog"
	"gaitpost/internal/signs"
)

// safety answers what the screen found, tells the practice, and holds a
// medicine that the sign may belong to. It returns "" when nothing was found.
func (t *turn) safety(s *heard) Reason {
	f := &s.finding
	if f.Person {
		t.sayStep(s.contact, s.dog, ForSafety, "safety", "person")
	}
	if s.comfort() {
		return t.kindWord(s)
	}
	switch f.Urgency {
	case signs.Emergency:
		return t.emergency(s)
	case signs.SameDay:
		return t.sameDay(s)
	}
	return ""
}

// emergency gives the numbers at once and sets the clock for asking whether a
// vet has been reached.
func (t *turn) emergency(s *heard) Reason {
	lines := []dialog.Line{t.safetyLine(s, "emergency")}
	if s.optsOut() || t.h.Contacts[s.contact].Consent.State == OptedOut {
		lines = append(lines, t.safetyLine(s, "after_optout"))
	}
	lines = append(lines, t.nextDose(s)...)
	id := t.say(s.contact, ForSafety, lines...)
	i := t.raise(evidence{
		dog: s.dog, reason: RedFlag, urgency: Now, contact: s.contact, signs: s.finding.Signs,
		sentence: t.signSentence(s),
	})
	t.signFacts(s)
	a := &t.h.Alerts[i]
	t.hold(a, s)
	if a.Reached != ReachedVet && a.Ask == 0 {
		a.Ask = t.e.At.Add(t.r.Limits.FollowUpAfter).Unix()
	}
	t.tieTo(id, a.N)
	t.askIfUnsure(s, a.N)
	return RedFlagRaised
}

// sameDay asks the owner to ring the practice today and tells the practice.
func (t *turn) sameDay(s *heard) Reason {
	if rest := t.unquieted(s); len(rest) == 0 {
		t.note(FactSign, s.dog, "quieted", strings.Join(signCodes(s.finding.Signs), " "))
		s.finding.Urgency = signs.None
		return ""
	}
	step := "sameday_open"
	if !t.r.Hours.Open(t.e.At) {
		step = "sameday_closed"
		if t.cannotWait(s.finding.Signs) {
			step = "sameday_cannot_wait"
		}
	}
	lines := append([]dialog.Line{t.line(s, "safety", step)}, t.nextDose(s)...)
	which := t.asksWhichDog(s)
	if which {
		lines = append(lines, t.line(s, "safety", "ask_which_dog"))
	}
	id := t.say(s.contact, ForSafety, lines...)
	i := t.raise(evidence{
		dog: s.dog, reason: SignAlert, urgency: Today, contact: s.contact, signs: s.finding.Signs,
		sentence: t.signSentence(s),
	})
	t.signFacts(s)
	t.hold(&t.h.Alerts[i], s)
	t.tieTo(id, t.h.Alerts[i].N)
	if which {
		t.h.WhichDog = &WhichDog{Alert: t.h.Alerts[i].N, Contact: s.contact, At: t.at}
	}
	t.askIfUnsure(s, t.h.Alerts[i].N)
	return SignRaised
}

// askIfUnsure puts one closed question where the screen was unsure. The higher
// urgency holds meanwhile.
func (t *turn) askIfUnsure(s *heard, alert uint16) {
	if !s.finding.Ask || s.optsOut() || t.h.Contacts[s.contact].Consent.State != Agreed {
		return
	}
	t.interrupt(s.contact, Prompt{Kind: PromptSignCheck, Dog: s.dog, Due: t.at, Alert: alert,
		Slot: fmt.Sprintf("signcheck/%d", alert)})
}

// signChecked adds the answer to the closed question to its alert. A no does
// not close it: a person does.
func (t *turn) signChecked(o *Open) {
	a := t.alert(o.Alert)
	v, ok := o.Session.Answer("now")
	if a == nil || !a.IsOpen() || !ok {
		return
	}
	said := "; the owner says it is not happening now"
	if v.Yes {
		said = "; the owner says it is happening now"
	}
	a.Sentence = strings.Replace(a.Sentence, " (unsure, asked)", "", 1) + said
	t.alertFact(a, "asked", "")
	if v.Yes && a.Urgency == Now {
		a.State, a.Acked = OpenAlert, 0
		t.tell(a, NoticeWorse)
	}
}

// unquieted are the signs that the practitioner has not agreed to ignore.
func (t *turn) unquieted(s *heard) []signs.Sign {
	if s.dog < 0 || len(s.finding.Signs) == 0 {
		return []signs.Sign{signs.Unclear}
	}
	var rest []signs.Sign
	for _, sign := range s.finding.Signs {
		if !t.h.Dogs[s.dog].ignores(sign, t.at) {
			rest = append(rest, sign)
		}
	}
	return rest
}

// cannotWait reports whether a sign should not wait for an opening that is
// far off.
func (t *turn) cannotWait(found []signs.Sign) bool {
	at, ok := t.r.Hours.NextOpening(t.e.At)
	if ok && at.Sub(t.e.At) <= t.r.Limits.LateOpening {
		return false
	}
	return slices.ContainsFunc(found, signs.Sign.CannotWaitOvernight)
}

// safetyLine is a safety text in its form for open or closed hours.
func (t *turn) safetyLine(s *heard, step string) dialog.Line {
	if step == "emergency" {
		step = "emergency_open"
		if !t.r.Hours.Open(t.e.At) {
			step = "emergency_closed"
		}
	}
	return t.line(s, "safety", step)
}

func (t *turn) line(s *heard, script, step string) dialog.Line {
	ctx := t.context(s.contact, s.dog)
	ctx.Vars["opens"] = t.opens(ctx.Lang)
	return t.r.Scripts.Say(script, step, ctx)
}

// nextDose is the one thing ever said about a medicine: not to give the next
// dose of the one a sign belongs to before speaking to the practice.
func (t *turn) nextDose(s *heard) []dialog.Line {
	nsaid := slices.ContainsFunc(s.finding.Signs, signs.Sign.BelongsToNSAID)
	antibody := slices.ContainsFunc(s.finding.Signs, signs.Sign.BelongsToAntibody)
	var lines []dialog.Line
	if s.dog < 0 || t.h.Dogs[s.dog].Unsaid {
		if nsaid {
			lines = append(lines, t.line(s, "safety", "next_dose_if"))
		}
		return lines
	}
	d := &t.h.Dogs[s.dog]
	if e := d.taking(NSAID); nsaid && e != nil {
		lines = append(lines, t.doseLine(s, "next_dose_named", e.What))
	}
	if e := d.taking(Aspirin); nsaid && e != nil {
		lines = append(lines, t.doseLine(s, "next_dose_named", e.What))
	}
	if e := d.taking(Antibody); antibody && e != nil {
		lines = append(lines, t.doseLine(s, "next_dose_injection", e.What))
	}
	return lines
}

func (t *turn) doseLine(s *heard, step, medicine string) dialog.Line {
	ctx := t.context(s.contact, s.dog)
	ctx.Vars["medicine"] = medicine
	return t.r.Scripts.Say("safety", step, ctx)
}

// hold stops reminders and dose questions of a suspected medicine until the
// vet records what to do. The alert stays open meanwhile.
func (t *turn) hold(a *Alert, s *heard) {
	if s.dog < 0 {
		return
	}
	d := &t.h.Dogs[s.dog]
	for i := range d.Plan {
		e := &d.Plan[i]
		if e.Status != Active || !mayCause(e, s.finding.Signs) {
			continue
		}
		e.Status, e.Reason = Held, "suspected: "+signLabels(s.finding.Signs)
		a.Held = append(a.Held[:len(a.Held):len(a.Held)], e.ID)
		t.fact(Fact{Kind: FactPlan, Dog: s.dog + 1, Code: "held", Text: e.What, Alert: a.N})
		t.stopReminding(s.dog, e.ID)
	}
}

// kindWord answers talk of putting to sleep, or an owner in despair: one kind
// line and the number, no advice, and cheerful texts pause.
func (t *turn) kindWord(s *heard) Reason {
	step, what := "putting_to_sleep", "speaks of putting to sleep"
	if s.finding.Distress {
		step, what = "despair", "sounds in despair"
		if t.r.Crisis != "" {
			step = "despair_crisis"
		}
	}
	t.sayStep(s.contact, s.dog, ForSafety, "safety", step)
	t.keepForPractice(s, Today, what)
	talk := &t.h.Contacts[s.contact].Talk
	talk.Paused = max(talk.Paused, t.e.At.Add(t.r.Limits.DespairPause).Unix())
	t.skipEvening()
	if s.finding.Urgency == signs.Emergency {
		return t.emergency(s)
	}
	return MessageKept
}

// signFacts keeps each sign in the record.
func (t *turn) signFacts(s *heard) {
	for _, sign := range s.finding.Signs {
		t.fact(Fact{Kind: FactSign, Dog: s.dog + 1, Contact: s.contact + 1, Code: string(sign), Text: s.finding.Reason})
	}
}

func (t *turn) signSentence(s *heard) string {
	what := signLabels(s.finding.Signs)
	if what == "" {
		what = "something new"
	}
	if s.finding.Ask {
		what += " (unsure, asked)"
	}
	if s.dog < 0 && t.followed() > 1 {
		what += ", dog not named"
	}
	what += t.onPlan(s.dog, s.finding.Signs)
	return fmt.Sprintf("%s. %s wrote: %s", what, t.h.Contacts[s.contact].Name, quote(s.Text))
}

// onPlan names what the dog is on that a sign may belong to, and a steroid,
// which hides some signs and brings others.
func (t *turn) onPlan(dog int8, found []signs.Sign) string {
	if dog < 0 {
		return ""
	}
	d := &t.h.Dogs[dog]
	var on []string
	for i := range d.Plan {
		if e := &d.Plan[i]; e.Status != Ended && (mayCause(e, found) || e.Class == Steroid) {
			on = append(on, fit(e.What, mostThing)+" since "+longDay(dayOf(e.Started, t.zone())))
		}
	}
	if len(on) == 0 {
		return ""
	}
	return "; on " + strings.Join(on, " and ")
}

// mayCause reports whether a sign may belong to a medicine of the plan.
func mayCause(e *Entry, found []signs.Sign) bool {
	switch e.Class {
	case NSAID, Aspirin:
		return slices.ContainsFunc(found, signs.Sign.BelongsToNSAID)
	case Antibody:
		return slices.ContainsFunc(found, signs.Sign.BelongsToAntibody)
	}
	return false
}

func signLabels(found []signs.Sign) string {
	labels := make([]string, 0, len(found))
	for _, s := range found {
		if s == signs.Unclear && len(found) > 1 { // the others say it better
			continue
		}
		if l := s.Label(); l != "" {
			labels = append(labels, l)
		}
	}
	return strings.Join(labels, ", ")
}

func signCodes(found []signs.Sign) []string {
	codes := make([]string, len(found))
	for i, s := range found {
		codes[i] = string(s)
	}
	return codes
}

// tieTo lets the fate of a message count for an alert.
func (t *turn) tieTo(message string, alert uint16) {
	for i := range t.h.Sent {
		if t.h.MessageID(t.h.Sent[i]) == message {
			t.h.Sent[i].Alert = alert
		}
	}
}

// reachedAnswer takes the answer to "have you reached a vet?".
func (t *turn) reachedAnswer(alert uint16, reached bool) {
	a := t.alert(alert)
	if a == nil {
		return
	}
	if reached {
		a.Reached = ReachedVet
		t.alertFact(a, "vet reached", "")
		return
	}
	t.notReached(a, "the owner has not reached a vet")
}

// notReached goes up the chain: NO, silence and an undelivered reply all mean
// that nobody may be looking after the dog.
func (t *turn) notReached(a *Alert, why string) {
	if !a.IsOpen() || a.Reached == NotReached {
		return
	}
	a.Reached = NotReached
	a.State, a.Acked = OpenAlert, 0
	if !strings.HasSuffix(a.Sentence, why) {
		a.Sentence += "; " + why
	}
	t.alertFact(a, "vet not reached", why)
	t.tellNext(a, NoticeNotReached)
}

// beforeQuiet is the latest instant within a window that is not in the
// contact's quiet hours.
func (t *turn) beforeQuiet(c Contact, window time.Duration) time.Time {
	end := t.e.At.Add(window)
	q := t.r.Quiet
	if q.From == q.To {
		return end
	}
	zone := t.r.zoneOf(c)
	local := t.e.At.In(zone)
	start := time.Date(local.Year(), local.Month(), local.Day(), int(q.From)/60, int(q.From)%60, 0, 0, zone)
	if !start.After(t.e.At) {
		start = start.AddDate(0, 0, 1)
	}
	if start.Before(end) {
		return start
	}
	return end
}
