package care

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"gaitpost/dialog"
	"gaitpost/internal/cadence"
)

// DayMark is what an owner called a day.
type DayMark uint8

const (
	DayUnsaid DayMark = iota
	GoodDay
	MixedDay
	BadDay
)

func (m DayMark) String() string { return [...]string{"not said", "good", "in between", "bad"}[m] }

// DayNote is one evening's answer.
type DayNote struct {
	On   int32   `cbor:"1,keyasint"` // local date, days since 1970
	Mark DayMark `cbor:"2,keyasint,omitempty"`
	Said string  `cbor:"3,keyasint,omitempty"` // the owner's own words
}

// GoodDays is a note of good and bad days that an owner keeps for a while at
// the practitioner's suggestion: one question an evening, and nothing made of
// it but a row of days.
type GoodDays struct {
	Since int64     `cbor:"1,keyasint"`
	Until int32     `cbor:"2,keyasint"` // the last evening that is asked about, days since 1970
	By    string    `cbor:"3,keyasint,omitempty"`
	At    int64     `cbor:"4,keyasint,omitempty"` // when the next question goes out; 0: no more
	Days  []DayNote `cbor:"5,keyasint,omitempty"` // oldest first, one for each evening asked
	Ended int64     `cbor:"6,keyasint,omitempty"`
	// Why it ended: "kept to its end", "owner", "practice" or "died".
	Why string `cbor:"7,keyasint,omitempty"`
}

const (
	defaultNoteWeeks  = 3
	maxNoteWeeks      = 8
	maxDayWords       = 160
	eveningAt         = cadence.MinuteOfDay(18*60 + 30) // one evening question; quiet hours apply last
	noteLateAfter     = 3 * 3600                        // seconds: an evening that was missed is not asked about at night
	noteEndedByItself = "kept to its end"
)

// OfferDays begins a note of good and bad days, or ends it.
type OfferDays struct {
	Dog   int8  `cbor:"1,keyasint"`
	Weeks uint8 `cbor:"2,keyasint,omitempty"` // 1 to 8, 0 for 3
	End   bool  `cbor:"3,keyasint,omitempty"`
}

// running reports whether evenings are still asked about.
func (g *GoodDays) running() bool { return g != nil && g.Ended == 0 }

// Running reports whether evenings are still asked about.
func (g *GoodDays) Running() bool { return g.running() }

// Count says how many evenings bore a mark.
func (g *GoodDays) Count(m DayMark) int {
	n := 0
	for _, d := range g.Days {
		if d.Mark == m {
			n++
		}
	}
	return n
}

// offerDays begins or ends a note as the practitioner wishes.
func (t *turn) offerDays(by string, o *OfferDays) Reason {
	d := &t.h.Dogs[o.Dog]
	if o.End {
		if !d.Days.running() {
			return t.refuse("No good and bad days are being noted for " + d.Name + ".")
		}
		t.endDays(o.Dog, "practice", by)
		return PracticeDone
	}
	weeks := int(o.Weeks)
	if weeks == 0 {
		weeks = defaultNoteWeeks
	}
	switch {
	case !d.here():
		return t.refuse(d.Name + " is not followed any more.")
	case d.Days.running():
		return t.refuse("Good and bad days are being noted already.")
	case weeks > maxNoteWeeks:
		return t.refuse(fmt.Sprintf("Such a note is kept for %d weeks at most.", maxNoteWeeks))
	case t.h.primary() < 0:
		return t.refuse("Nobody of this household has agreed to texts.")
	}
	first := dayNumber(t.today())
	if t.evening(first) <= t.at {
		first++
	}
	d.Days = &GoodDays{Since: t.at, Until: first + int32(weeks*7) - 1, By: by, At: t.evening(first)}
	t.hushed()
	t.fact(Fact{Kind: FactNote, Dog: o.Dog + 1, Code: "good days begun", Number: float64(t.localTime(dateOfDay(d.Days.Until), eveningAt).Unix()), By: by})
	return PracticeDone
}

// evening is the instant of a local date's question.
func (t *turn) evening(on int32) int64 { return t.localTime(dateOfDay(on), eveningAt).Unix() }

// hushed takes everything that could wait out of the household's conversations:
// what was placed, and what is open or queued.
func (t *turn) hushed() {
	for i := range t.h.Dogs {
		for k := range t.h.Dogs[i].Due {
			if due := &t.h.Dogs[i].Due[k]; due.Kind.hushable() {
				due.At, due.Date = noDue, 0
			}
		}
	}
	for i := range t.h.Contacts {
		talk := &t.h.Contacts[i].Talk
		if talk.Open != nil && talk.Open.Kind.extra() {
			talk.Open = nil
		}
		if talk.Suspended != nil && talk.Suspended.Kind.extra() {
			talk.Suspended = nil
		}
		var rest []Prompt
		for _, p := range talk.Queue {
			if !p.Kind.hushable() {
				rest = append(rest, p)
			}
		}
		talk.Queue = rest
	}
}

// hushable reports whether a prompt is left out while good and bad days are
// noted: whatever is neither a check-in nor belongs to a medicine or to safety.
func (k PromptKind) hushable() bool { return k.extra() || k == PromptExercises }

// hush reports whether the household keeps a note of good and bad days, so that
// it hears nothing that asks more of a dog or praises.
func (t *turn) hush() bool {
	for i := range t.h.Dogs {
		if t.h.Dogs[i].Days.running() {
			return true
		}
	}
	return false
}

// tickDays asks about an evening that has come. What it can't ask, it leaves
// out: nobody is asked afterwards.
func (t *turn) tickDays(dog int8) Reason {
	d := &t.h.Dogs[dog]
	if !d.Days.running() || d.Days.At == 0 || d.Days.At > t.at || d.Status != Followed {
		return ""
	}
	g := *d.Days
	d.Days = &g
	on := dayOf(g.At, t.zone())
	late := t.at-g.At > noteLateAfter
	t.nextEvening(dog, on)
	p := t.h.primary()
	if late || p < 0 || t.daysWait(p) {
		return t.daysOver(dog, p)
	}
	g = *d.Days
	g.Days = append(g.Days[:len(g.Days):len(g.Days)], DayNote{On: on})
	d.Days = &g
	c := &t.h.Contacts[p]
	if o := c.Talk.Open; o != nil && o.Kind == PromptGoodDay && o.Dog == dog {
		c.Talk.Open = nil // yesterday's was never answered
	}
	t.openPrompt(p, Prompt{Kind: PromptGoodDay, Dog: dog, Slot: slot(PromptGoodDay, dog, dateOfDay(on)), Due: t.at}, ForPrompt)
	return Prompted
}

// eveningYields closes last evening's question, should it still be open, before
// something else has the day: it must not hold up a check-in.
func (t *turn) eveningYields(contact int8) {
	if o := t.h.Contacts[contact].Talk.Open; o != nil && o.Kind == PromptGoodDay && dayOf(o.BegunAt, t.zone()) < dayNumber(t.today()) {
		t.closeStale(contact, o)
	}
}

// daysWait reports whether an evening is left out: staff have the conversation,
// the practice paused the texts, an emergency is open, or something that
// matters more is being asked.
func (t *turn) daysWait(p int8) bool {
	c := &t.h.Contacts[p]
	if c.Talk.Handover > t.at || c.Hold != nil && c.Hold.Until > t.at {
		return true
	}
	for i := range t.h.Alerts {
		if a := &t.h.Alerts[i]; a.Reason == RedFlag && a.IsOpen() {
			return true
		}
	}
	o := c.Talk.Open
	return o != nil && (o.Kind != PromptGoodDay && o.Kind.neverWaits() || t.safetyOpen(o) || c.Talk.Suspended != nil && o.Kind != PromptGoodDay)
}

// nextEvening sets when the next evening is asked about.
func (t *turn) nextEvening(dog int8, on int32) {
	g := *t.h.Dogs[dog].Days
	if g.At = 0; on < g.Until {
		g.At = t.evening(on + 1)
		if g.At <= t.at {
			g.At = t.evening(dayNumber(t.today()) + 1)
		}
	}
	t.h.Dogs[dog].Days = &g
}

// daysOver ends a note whose last evening could not be asked about.
func (t *turn) daysOver(dog, contact int8) Reason {
	if t.h.Dogs[dog].Days.At != 0 {
		return ""
	}
	t.endDays(dog, noteEndedByItself, "")
	t.tellDays(dog, contact)
	return ""
}

// skipEvening leaves an owner who is in despair alone for the evening.
func (t *turn) skipEvening() {
	for i := range t.h.Dogs {
		d := &t.h.Dogs[i]
		if d.Days.running() && d.Days.At != 0 && d.Days.At-t.at < day {
			t.nextEvening(int8(i), dayOf(d.Days.At, t.zone()))
			if d.Days.At == 0 {
				t.daysOver(int8(i), max(t.h.primary(), 0))
			}
		}
	}
}

// dayDone keeps what the owner calls the day, ends the note where they have had
// enough, and says thank you after its last evening.
func (t *turn) dayDone(contact int8, o *Open) []dialog.Line {
	d := &t.h.Dogs[o.Dog]
	if d.Days == nil {
		return nil
	}
	v, _ := o.Session.Answer("day")
	if v.Text == "enough" {
		t.endDays(o.Dog, "owner", "")
		t.tellDays(o.Dog, contact)
		return nil
	}
	g := *d.Days
	g.Days = append([]DayNote(nil), g.Days...)
	if n := len(g.Days); n > 0 {
		note := &g.Days[n-1]
		note.Mark = map[string]DayMark{"good": GoodDay, "mixed": MixedDay, "bad": BadDay}[v.Text]
		if v.Kind == dialog.KindText {
			note.Said, note.Mark = cutWords(v.Text, maxDayWords), dayInWords(v.Text, d.Name)
		}
	}
	d.Days = &g
	if g.At != 0 || !g.running() {
		return nil
	}
	t.endDays(o.Dog, noteEndedByItself, "")
	t.tellDays(o.Dog, contact)
	return []dialog.Line{t.r.Scripts.Say(string(PromptGoodDay), "last", t.context(contact, o.Dog))}
}

// beside are words that say nothing of a day by themselves.
var beside = strings.Fields("a an the it its was has had he she they his her day one today been really very pretty quite so fairly for thanks thank you of")

// dayInWords reads an owner's own words of a day, where but for words beside it
// they are one plain word. Whatever says more is kept as it is and not judged.
func dayInWords(text, dog string) DayMark {
	words := strings.FieldsFunc(lower(text), func(r rune) bool { return !unicode.IsLetter(r) })
	words = slices.DeleteFunc(words, func(w string) bool { return slices.Contains(beside, w) || w == lower(dog) })
	if len(words) != 1 {
		return DayUnsaid
	}
	switch words[0] {
	case "good", "great", "nice", "lovely", "fine":
		return GoodDay
	case "bad", "poor", "awful", "terrible", "hard":
		return BadDay
	case "ok", "okay", "mixed", "middling":
		return MixedDay
	}
	return DayUnsaid
}

// dayUnanswered is an evening that nobody answered: it stays unsaid.
func (t *turn) dayUnanswered(contact int8, o *Open) {
	if g := t.h.Dogs[o.Dog].Days; g.running() && g.At == 0 {
		t.endDays(o.Dog, noteEndedByItself, "")
		t.tellDays(o.Dog, contact)
	}
}

// endDays ends a note. Nothing is sent.
func (t *turn) endDays(dog int8, why, by string) {
	d := &t.h.Dogs[dog]
	if !d.Days.running() {
		return
	}
	g := *d.Days
	g.At, g.Ended, g.Why = 0, t.at, why
	d.Days = &g
	for i := range t.h.Contacts {
		talk := &t.h.Contacts[i].Talk
		if o := talk.Open; o != nil && o.Kind == PromptGoodDay && o.Dog == dog && why != "owner" && why != noteEndedByItself {
			talk.Open = nil
		}
	}
	t.fact(Fact{Kind: FactNote, Dog: dog + 1, Code: "good days ended", Text: why, By: by})
}

// tellDays lets the practice know that a note has come to its end, and how it
// went.
func (t *turn) tellDays(dog, contact int8) {
	g := t.h.Dogs[dog].Days
	t.raise(evidence{dog: dog, reason: Question, urgency: ForDigest, contact: max(contact, 0),
		sentence: fmt.Sprintf("the note of good and bad days has ended (%s): %d good, %d in between, %d bad, %d not said",
			g.Why, g.Count(GoodDay), g.Count(MixedDay), g.Count(BadDay), g.Count(DayUnsaid))})
}
