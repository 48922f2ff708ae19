package care

import (
	"slices"
	"strings"
)

// Suggestion is something of a dog's plan that is not covered or has grown old,
// and what might be looked at next. It is for practitioners, never for owners:
// it proposes, they decide. It names no medicine and no dose.
type Suggestion struct {
	Kind   SuggestionKind
	Area   Area   // "" for what belongs to no area: scores, an examination
	Entry  uint16 // the entry of the plan that it is about, 0 for none
	What   string // what might be done, as a short imperative
	Reason string // why, in one sentence with the numbers
	Source string // where that comes from; NoSource for facts of the trade
	Whose  Whose
	// Wait is why it might better wait, "" for nothing.
	Wait string
	// Draft is what accepting fills into the form of a new entry; nil where
	// accepting begins nothing new. It never holds a medicine.
	Draft *Draft
	// Basis is what it rests on, and Level a figure of 0 to 100 that would make
	// it more pressing: a declined suggestion comes back when the one changes or
	// the other rises by the meaningful change.
	Basis string
	Level float64
	// Answer is what was decided about it and still holds; nil while it is open.
	Answer *Decision
}

// SuggestionKind says what a suggestion is about; it is stored and never changes.
type SuggestionKind string

// The kinds.
const (
	SuggestPain          SuggestionKind = "pain-relief"       // none on the plan
	SuggestHeld          SuggestionKind = "held-medicine"     // waits for the vet
	SuggestPainAgain     SuggestionKind = "pain-relief-again" // stays high under what there is
	SuggestElsewhere     SuggestionKind = "from-elsewhere"    // given, and not from this practice
	SuggestInjection     SuggestionKind = "injection-effect"  // no gain after the second one
	SuggestDose          SuggestionKind = "dose-review"       // long stable
	SuggestBlood         SuggestionKind = "blood-test"
	SuggestReview        SuggestionKind = "review" // of one entry
	SuggestWeight        SuggestionKind = "body-weight"
	SuggestThin          SuggestionKind = "thin"
	SuggestWeigh         SuggestionKind = "weigh-in"
	SuggestCondition     SuggestionKind = "body-condition" // not scored, or long ago
	SuggestMuscle        SuggestionKind = "muscle"
	SuggestExamine       SuggestionKind = "examination"
	SuggestActivity      SuggestionKind = "activity"
	SuggestHome          SuggestionKind = "home"
	SuggestTherapy       SuggestionKind = "therapy"
	SuggestSupplement    SuggestionKind = "supplement"
	SuggestOneSupplement SuggestionKind = "one-supplement" // several at once
)

// Whose a suggestion is.
type Whose string

const (
	Anyones    Whose = ""            // any practitioner who may change the plan
	VetDecides Whose = "vet decides" // others see it
	VetAlone   Whose = "vet alone"   // nobody else is told
)

// NoSource is the source of what the trade knows and nobody has published.
const NoSource = "common practice, no source"

// Draft is the beginning of an entry.
type Draft struct {
	Area       Area
	What       string // a plain name to begin with, "" where it is the vet's to say
	Comfort    bool   // expected to change comfort
	ReviewDays int    // proposed days until the review
}

// Decision is what a practitioner decided about a suggestion.
type Decision struct {
	Kind    SuggestionKind `cbor:"1,keyasint"`
	Entry   uint16         `cbor:"2,keyasint,omitempty"`
	Verdict Verdict        `cbor:"3,keyasint"`
	At      int64          `cbor:"4,keyasint"`
	By      string         `cbor:"5,keyasint,omitempty"`
	Why     string         `cbor:"6,keyasint,omitempty"`
	Until   int64          `cbor:"7,keyasint,omitempty"` // it holds until then; 0: until its basis changes
	Basis   string         `cbor:"8,keyasint,omitempty"`
	Level   float64        `cbor:"9,keyasint,omitempty"`
}

// Verdict on a suggestion.
type Verdict uint8

const (
	Accepted Verdict = iota + 1
	Rejected         // declined
)

func (v Verdict) String() string {
	return map[Verdict]string{Accepted: "accepted", Rejected: "declined"}[v]
}

// agreedFor is how long an accepted suggestion counts as being seen to; after
// that it opens again by itself where nothing came of it.
const agreedFor = 8 * 7 * day

// Suggest lists what might come next for a dog, pain relief first, with what
// was decided about each. The areas of a plan are no ladder: the rest of the
// order is that of the list of areas. It changes nothing.
func Suggest(r *Rules, d *Dog, at int64) []Suggestion {
	if d.Status == Died || d.Status == Left {
		return nil
	}
	l := lookAt(r, d, at)
	return l.suggest()
}

func (l *look) suggest() []Suggestion {
	for _, rule := range suggestionRules {
		rule(l)
	}
	for i := range l.list {
		s := &l.list[i]
		s.Answer = l.d.answerTo(l.r, s, l.at)
		s.Reason = sentenceOf(strings.TrimSuffix(s.Reason, ".")) // a name may open it as it was written
		if s.Draft != nil && s.Wait == "" {
			s.Wait = l.justBegun()
		}
	}
	return l.list
}

// Open reports whether nobody has decided about it, or what was decided holds
// no longer.
func (s *Suggestion) Open() bool { return s.Answer == nil }

// answerTo is the decision that still holds about a suggestion, or nil.
func (d *Dog) answerTo(r *Rules, s *Suggestion, at int64) *Decision {
	for i := range d.Decisions {
		a := &d.Decisions[i]
		if a.Kind != s.Kind || a.Entry != s.Entry || a.Basis != s.Basis {
			continue
		}
		until := a.Until
		if until == 0 && a.Verdict == Accepted {
			until = a.At + agreedFor
		}
		if (until == 0 || at < until) && s.Level-a.Level < d.Thresholds(r.Thresholds).MeaningfulChange {
			return a
		}
	}
	return nil
}

// Decide is a practitioner's word on a suggestion.
type Decide struct {
	Dog     int8           `cbor:"1,keyasint"`
	Kind    SuggestionKind `cbor:"2,keyasint"`
	Entry   uint16         `cbor:"3,keyasint,omitempty"`
	Verdict Verdict        `cbor:"4,keyasint"`
	Why     string         `cbor:"5,keyasint"`
	Until   int64          `cbor:"6,keyasint,omitempty"` // 0: until what it rests on changes
}

// decide keeps a word on a suggestion. It begins nothing: accepting one only
// says so, and the entry is made by whoever makes it.
func (t *turn) decide(by string, c *Decide) Reason {
	d := &t.h.Dogs[c.Dog]
	i := slices.IndexFunc(Suggest(t.r, d, t.at), func(s Suggestion) bool { return s.Kind == c.Kind && s.Entry == c.Entry })
	switch {
	case i < 0:
		return t.refuse("That suggestion no longer stands: what it rests on has changed.")
	case c.Verdict != Accepted && c.Verdict != Rejected:
		return t.refuse("A suggestion is accepted or declined.")
	case strings.TrimSpace(c.Why) == "":
		return t.refuse("Please say why in a word, for whoever reads this later.")
	case c.Until != 0 && c.Until <= t.at:
		return t.refuse("The date until which this holds has to lie in the future.")
	}
	s := Suggest(t.r, d, t.at)[i]
	kept := slices.DeleteFunc(slices.Clone(d.Decisions), func(o Decision) bool { return o.Kind == c.Kind && o.Entry == c.Entry })
	d.Decisions = append(kept, Decision{Kind: c.Kind, Entry: c.Entry, Verdict: c.Verdict, At: t.at, By: by,
		Why: c.Why, Until: c.Until, Basis: s.Basis, Level: s.Level})
	t.fact(Fact{Kind: FactSuggestion, Dog: c.Dog + 1, Code: c.Verdict.String(), Text: s.What + ": " + c.Why,
		ID: string(c.Kind), Number: float64(c.Until), By: by})
	return PracticeDone
}

// CoverState says how an area of the plan stands.
type CoverState string

const (
	CoverRunning CoverState = "covered"
	CoverStale   CoverState = "review due"
	CoverHeld    CoverState = "held"        // waits for the vet
	CoverNone    CoverState = "not covered" // nothing is on the plan
	CoverWaits   CoverState = "waits"       // nothing yet, and not before comfort allows
	CoverIdle    CoverState = "not needed"  // nothing is on the plan, and nothing calls for it
	CoverAside   CoverState = "decided against"
)

// AreaCover is one area of a dog's plan.
type AreaCover struct {
	Area    Area
	State   CoverState
	Entries []Entry // that have not ended
	About   string  // in a sentence, for an area without entries
}

// Areas of a plan, in the order they are shown. None of them is a ladder, but
// pain relief is always looked at first.
var Areas = []Area{AreaPain, AreaWeight, AreaActivity, AreaHome, AreaTherapy, AreaSupplement}

// PlanCover says for each area of a dog's plan how it stands.
func PlanCover(r *Rules, d *Dog, at int64) []AreaCover {
	l := lookAt(r, d, at)
	if d.Status != Died && d.Status != Left {
		l.suggest()
	}
	list := make([]AreaCover, 0, len(Areas))
	for _, a := range Areas {
		list = append(list, l.cover(a))
	}
	return list
}

// Uncovered are the areas of a dog's plan with nothing on them that something
// speaks for.
func Uncovered(r *Rules, d *Dog, at int64) []Area {
	var list []Area
	for _, c := range PlanCover(r, d, at) {
		if c.State == CoverNone || c.State == CoverWaits {
			list = append(list, c.Area)
		}
	}
	return list
}

func (l *look) cover(a Area) AreaCover {
	c := AreaCover{Area: a, State: CoverRunning}
	for _, e := range l.d.Plan {
		if e.Area != a || e.Status == Ended {
			continue
		}
		c.Entries = append(c.Entries, e)
		switch {
		case e.Status == Held:
			c.State = CoverHeld
		case e.Review != 0 && e.Review < l.at && c.State == CoverRunning:
			c.State = CoverStale
		}
	}
	if len(c.Entries) > 0 {
		return c
	}
	c.State, c.About = l.without(a)
	for i := range l.list {
		s := &l.list[i]
		if s.Area != a || s.Kind == SuggestReview {
			continue
		}
		c.State, c.About = CoverNone, s.Reason
		if s.Answer != nil && s.Answer.Verdict == Rejected {
			c.State, c.About = CoverAside, "Decided against on "+l.r.date(s.Answer.At)+": "+s.Answer.Why
		}
		break
	}
	return c
}
