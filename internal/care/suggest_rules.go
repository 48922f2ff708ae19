package care

import (
	"fmt"
	"slices"
	"strings"

	"gaitpost/internal/clinical"
)

// Where the rules come from. Figures marked so were written from memory and are
// to be checked before they are quoted.
const (
	sourceStepwise = "Gruen et al., AAHA Pain Management Guidelines, J Am Anim Hosp Assoc 2022;58:55-76 (the steps from memory)"
	sourceRecheck  = "BSAVA Guide to Pain Management, chronic pain, 2019"
	sourceAtRisk   = "AAHA/AAFP Pain Management Guidelines, J Am Anim Hosp Assoc 2015;51:67-84 (intervals from memory)"
	sourceOwners   = "US FDA, Advice to Dog Owners Whose Pets Take NSAIDs"
	sourceStop     = "US FDA leaflet for owners of dogs on NSAIDs: stop on suspicion, and call the vet"
	sourceAntibody = "EU/UK summary of product characteristics of the monthly anti-NGF antibody"
	sourceBeside   = "AAHA/AAFP Pain Management Guidelines 2015: care with anything that acts like an anti-inflammatory or a steroid beside one"
	sourceWeight   = "Marshall et al., Vet Res Commun 2010;34:241-253; 10 % over ideal for each point above 5"
	sourceWeigh    = "AAHA weight management guidelines 2014 and 2021 (from memory)"
	sourceScore    = "ideal is 4 to 5 of 9: Laflamme, Canine Practice 1997;22(4):10-15 (from memory)"
)

// How long things stay good, in days. Those without a source are common
// practice.
const (
	recheckDays   = 28   // a first blood test after the start: 2 to 4 weeks (BSAVA 2019)
	bloodDays     = 182  // afterwards every 6 to 12 months (BSAVA 2019)
	bloodRiskDays = 120  // every 2 to 4 months in dogs at risk (AAHA/AAFP 2015)
	scoreDays     = 182  // body and muscle condition
	scoreLossDays = 84   // the same on a weight-loss plan
	examineDays   = 182  // an examination
	weighDays     = 28   // a weigh-in on a loss plan: every 2, later every 2 to 4 weeks (AAHA)
	doseDays      = 182  // long stable
	noReviewDays  = 182  // something that runs without a date for its review
	secondDose    = 56   // two monthly injections
	settleDays    = 14   // two starts closer than this can't be told apart
	stableOver    = 84   // days that a stable dog is looked at over
	stableN       = 6    // check-ins it takes
	plumpFrom     = 6    // body condition from which weight is worth a conversation
	thinTo        = 3    // body condition that is said to the practitioner
	levelPoints   = 25.0 // points of the index for one step of an item
)

// suggestionRules in the order of what they give: pain relief first.
var suggestionRules = []func(*look){
	(*look).heldMedicines, (*look).painRelief, (*look).elsewhere, (*look).painAgain, (*look).injection, (*look).dose, (*look).blood,
	(*look).weight, (*look).weighIn, (*look).activity, (*look).home, (*look).therapy, (*look).supplements,
	(*look).reviews, (*look).condition, (*look).muscle, (*look).examination,
}

// look is one look at a dog.
type look struct {
	past []clinical.Reading
	r    *Rules
	d    *Dog
	at   int64
	now  clinical.Thresholds // those of this dog
	last *clinical.Reading   // the newest check-in that was scored, nil for none
	pain float64             // mean of the pain half over the last two that were
	list []Suggestion
}

func lookAt(r *Rules, d *Dog, at int64) *look {
	l := &look{r: r, d: d, at: at, now: d.Thresholds(r.Thresholds), past: d.Course.Readings()}
	l.course()
	return l
}

func (l *look) add(s Suggestion) { l.list = append(l.list, s) }

// course looks at the last check-ins.
func (l *look) course() {
	n, sum := 0, 0.0
	for i := len(l.past) - 1; i >= 0 && n < 2; i-- {
		x := &l.past[i]
		if !x.Index.Scored {
			continue
		}
		if l.last == nil {
			l.last = x
		}
		if l.last.At-x.At <= int64(l.now.RunningDays)*day {
			n, sum = n+1, sum+float64(x.Index.Pain)
		}
	}
	if n > 0 {
		l.pain = sum / float64(n)
	}
}

// figures are the newest index and its halves, as a part of a sentence.
func (l *look) figures() string {
	if l.last == nil {
		return "no check-in has been scored yet"
	}
	return fmt.Sprintf("index %.1f, pain %.1f and mobility %.1f of 100 on %s",
		l.last.Index.Total, l.last.Index.Pain, l.last.Index.Mobility, l.r.date(l.last.At))
}

// answered is the newest answer to an item, and whether there is one.
func (l *look) answered(i clinical.Item) (int, bool) {
	if l.last == nil || !l.last.Items[i].Answered() {
		return 0, false
	}
	return int(l.last.Items[i]), true
}

// running are the entries of an area that have not ended.
func (l *look) running(a Area) []Entry {
	return slices.DeleteFunc(slices.Clone(l.d.Plan), func(e Entry) bool { return e.Area != a || e.Status == Ended })
}

// tried counts everything an area ever had on the plan.
func (l *look) tried(a Area) string {
	n := 0
	for _, e := range l.d.Plan {
		if e.Area == a {
			n++
		}
	}
	return fmt.Sprintf("%s, %d so far", a, n)
}

func (l *look) since(at int64) int64 { return (l.at - at) / day }

// justBegun says what was started so lately that anything started now could
// not be told apart from it.
func (l *look) justBegun() string {
	for _, e := range slices.Backward(l.d.Plan) {
		if e.Status != Ended && e.Started > 0 && e.Started <= l.at && l.since(e.Started) < settleDays {
			return fmt.Sprintf("%s began %s: two things started within two weeks can't be told apart", e.What, ago(l.since(e.Started)))
		}
	}
	return ""
}

// ago says how many days back something was.
func ago(n int64) string {
	if n == 0 {
		return "today"
	}
	return days(n) + " ago"
}

func days(n int64) string {
	if n == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%d days", n)
}

func (l *look) weight() {
	bcs := l.d.BCS
	s := Suggestion{Area: AreaWeight, Basis: fmt.Sprintf("body condition %d", bcs)}
	switch {
	case bcs >= plumpFrom && len(l.running(AreaWeight)) == 0:
		s.Kind, s.Source, s.What = SuggestWeight, sourceWeight, "Talk about body weight"
		s.Draft = &Draft{Area: AreaWeight, What: "weight loss", Comfort: false, ReviewDays: recheckDays}
		s.Reason = fmt.Sprintf("Body condition %d of 9%s; %s", bcs, l.scored(l.d.BCSAt), l.overweight())
	case bcs != 0 && bcs <= thinTo:
		s.Kind, s.Source, s.Whose, s.What = SuggestThin, sourceScore, VetDecides, "Look into the low body condition"
		s.Reason = fmt.Sprintf("Body condition %d of 9%s is below ideal, which is 4 to 5.", bcs, l.scored(l.d.BCSAt))
	default:
		return
	}
	l.add(s)
}

func (l *look) scored(at int64) string {
	if at == 0 {
		return ""
	}
	return " (" + l.r.date(at) + ")"
}

// overweight says how far above the worked-out target a dog is.
func (l *look) overweight() string {
	if n := len(l.d.Weights); n > 0 {
		w := l.d.Weights[n-1].Grams
		if target, ok := clinical.TargetWeight(w, clinical.BodyScore(l.d.BCS)); ok && w > target {
			return fmt.Sprintf("%.1f kg is %.1f kg above a worked-out target of %.1f kg.", float64(w)/1000, float64(w-target)/1000, float64(target)/1000)
		}
	}
	return "no weight is known to work a target out from."
}

// weighIn says when a dog on a loss plan has not been weighed for long.
func (l *look) weighIn() {
	if !l.d.onLossPlan() {
		return
	}
	s := Suggestion{Kind: SuggestWeigh, Area: AreaWeight, Source: sourceWeigh, What: "Weigh " + l.d.Name,
		Basis: "never", Reason: "Weight loss is on the plan and no weight is known."}
	if n := len(l.d.Weights); n > 0 {
		last := l.d.Weights[n-1].At
		if l.since(last) <= weighDays {
			return
		}
		s.Basis = fmt.Sprintf("last %d, %d intervals", last, l.since(last)/weighDays)
		s.Reason = fmt.Sprintf("Weight loss is on the plan and the last weigh-in was on %s, %s.", l.r.date(last), ago(l.since(last)))
	}
	l.add(s)
}

func (l *look) activity() {
	if len(l.running(AreaActivity)) > 0 {
		return
	}
	s := Suggestion{Kind: SuggestActivity, Area: AreaActivity, Source: sourceStepwise, Basis: l.tried(AreaActivity),
		What: "Talk through paced daily exercise", Reason: "No paced exercise is on the plan; " + l.figures() + ".",
		Draft: &Draft{Area: AreaActivity, What: "paced daily walks", Comfort: true, ReviewDays: recheckDays}}
	if n, ok := l.answered(clinical.Walking); ok {
		s.Level = float64(n) * levelPoints
		s.Reason = fmt.Sprintf("No paced exercise is on the plan; the owner gave the usual walk %d of 4 on %s.", n, l.r.date(l.last.At))
	}
	l.add(s)
}

// home goes by the places that the owner finds awkward.
func (l *look) home() {
	if len(l.running(AreaHome)) > 0 {
		return
	}
	s := Suggestion{Kind: SuggestHome, Area: AreaHome, Source: NoSource, Basis: l.tried(AreaHome),
		What: "Ask about the awkward places at home", Draft: &Draft{Area: AreaHome, ReviewDays: settleDays},
		Reason: "Nothing at home is on the plan and no awkward place has been told yet."}
	if n, ok := l.answered(clinical.Steps); ok {
		s.Level = float64(n) * levelPoints
		s.Reason = fmt.Sprintf("Nothing at home is on the plan; the owner gave steps, car and sofa %d of 4 on %s.", n, l.r.date(l.last.At))
	}
	if w := l.d.Awkward; w != nil {
		s.What, s.Basis = "Ease the awkward places at home", fmt.Sprintf("told %d", w.At)
		s.Reason = fmt.Sprintf("The owner named %s as awkward on %s, and nothing at home is on the plan.", quote(w.Text), l.r.date(w.At))
	}
	l.add(s)
}

// comfort says why therapy should wait, "" where comfort allows it.
func (l *look) comfort() string {
	i := slices.IndexFunc(l.list, func(s Suggestion) bool { return s.Kind == SuggestPain })
	switch {
	case i >= 0 && l.d.answerTo(l.r, &l.list[i], l.at) == nil:
		return "Pain relief is looked at first."
	case l.last == nil:
		return "Waits for a first check-in to say how comfortable " + l.d.Name + " is."
	case l.pain >= l.now.LevelAt:
		return fmt.Sprintf("Once comfort allows: pain is %.1f of 100 on average over the last check-ins, %.0f or more is high.", l.pain, l.now.LevelAt)
	}
	return ""
}

func (l *look) therapy() {
	if len(l.running(AreaTherapy)) > 0 || l.comfort() != "" {
		return
	}
	l.add(Suggestion{Kind: SuggestTherapy, Area: AreaTherapy, Source: NoSource, Basis: l.tried(AreaTherapy), Level: float64(l.last.Index.Mobility),
		What:   "Think of physiotherapy, hydrotherapy or exercises",
		Draft:  &Draft{Area: AreaTherapy, What: "physiotherapy", Comfort: true, ReviewDays: 2 * recheckDays},
		Reason: fmt.Sprintf("No therapy is on the plan and comfort allows it: pain %.1f of 100 on average over the last check-ins, mobility %.1f.", l.pain, l.last.Index.Mobility)})
}

// supplements: one, on the vet's advice.
func (l *look) supplements() {
	running := l.running(AreaSupplement)
	s := Suggestion{Area: AreaSupplement, Whose: VetDecides, Source: NoSource, Basis: l.tried(AreaSupplement)}
	switch {
	case len(running) == 0:
		s.Kind, s.What = SuggestSupplement, "Think of one supplement, if the vet advises it"
		s.Draft = &Draft{Area: AreaSupplement, Comfort: true, ReviewDays: stableOver}
		s.Reason = "No supplement is on the plan; " + l.figures() + "."
	case len(running) > 1:
		var names []string
		for _, e := range running {
			names = append(names, e.What)
		}
		s.Kind, s.What = SuggestOneSupplement, "Settle on one supplement"
		s.Reason = fmt.Sprintf("%d supplements run at once (%s): which of them does anything can't be told.", len(running), strings.Join(names, ", "))
	default:
		return
	}
	l.add(s)
}

// reviews lists entries that were to be looked at again.
func (l *look) reviews() {
	for _, e := range l.d.Plan {
		s := Suggestion{Kind: SuggestReview, Area: e.Area, Entry: e.ID, Source: NoSource, What: "Review " + e.What}
		if e.Class != NotMedicine || e.Area == AreaPain {
			s.Whose = VetDecides
		}
		ran := l.since(e.Started)
		switch {
		case e.Status != Active:
			continue
		case e.Review != 0 && e.Review < l.at:
			s.Basis = fmt.Sprintf("due %d", e.Review)
			s.Reason = fmt.Sprintf("%s was to be reviewed on %s, %s.", e.What, l.r.date(e.Review), ago(l.since(e.Review)))
		case e.Review == 0 && s.Whose == Anyones && e.Area != AreaWeight && ran > noReviewDays:
			s.Basis = fmt.Sprintf("no date, %d half years", ran/noReviewDays)
			s.Reason = fmt.Sprintf("%s has run for %d weeks and has no date for a review.", e.What, ran/7)
		default:
			continue
		}
		l.add(s)
	}
}

// condition asks for a body condition score where there is none or an old one.
func (l *look) condition() {
	s := Suggestion{Kind: SuggestCondition, Source: NoSource, What: "Score body condition"}
	every := int64(scoreDays)
	if l.d.onLossPlan() {
		every = scoreLossDays
	}
	switch {
	case l.d.BCS == 0:
		s.Basis, s.Reason = "never", "Body condition has not been scored here."
		if o := l.d.OwnerBCS; o != 0 {
			s.Basis = fmt.Sprintf("never, owner's %d", o)
			s.Reason = fmt.Sprintf("Body condition has not been scored here; the owner's words put it near %d of 9.", o)
		}
	case l.d.BCSAt != 0 && l.since(l.d.BCSAt) > every:
		s.Basis = fmt.Sprintf("last %d, %d intervals", l.d.BCSAt, l.since(l.d.BCSAt)/every)
		s.Reason = fmt.Sprintf("Body condition, %d of 9, was scored on %s, %s.", l.d.BCS, l.r.date(l.d.BCSAt), ago(l.since(l.d.BCSAt)))
	default:
		return
	}
	l.add(s)
}

// muscle likewise.
func (l *look) muscle() {
	s := Suggestion{Kind: SuggestMuscle, Source: NoSource, What: "Feel muscle condition"}
	switch {
	case l.d.Muscle == 0:
		s.Basis, s.Reason = "never", "Muscle condition has not been recorded here."
	case l.d.MuscleAt != 0 && l.since(l.d.MuscleAt) > scoreDays:
		s.Basis = fmt.Sprintf("last %d, %d intervals", l.d.MuscleAt, l.since(l.d.MuscleAt)/scoreDays)
		s.Reason = fmt.Sprintf("Muscle condition, %s, was recorded on %s, %s.", MuscleWords[l.d.Muscle], l.r.date(l.d.MuscleAt), ago(l.since(l.d.MuscleAt)))
	default:
		return
	}
	l.add(s)
}

// examination speaks only where one is on record: enrolment may have followed
// one that nobody entered.
func (l *look) examination() {
	at := l.d.Standing().Examined
	if at == 0 || l.since(at) <= examineDays {
		return
	}
	l.add(Suggestion{Kind: SuggestExamine, Source: NoSource, What: "Examine " + l.d.Name,
		Basis:  fmt.Sprintf("last %d, %d intervals", at, l.since(at)/examineDays),
		Reason: fmt.Sprintf("The last examination on record was on %s, %s.", l.r.date(at), ago(l.since(at)))})
}

// without is how an area stands that has nothing on it and no suggestion.
func (l *look) without(a Area) (CoverState, string) {
	switch a {
	case AreaTherapy:
		return CoverWaits, l.comfort()
	case AreaWeight:
		if l.d.BCS != 0 {
			return CoverIdle, fmt.Sprintf("Body condition %d of 9: nothing to lose.", l.d.BCS)
		}
		return CoverNone, "Nothing is recorded; body condition has not been scored."
	}
	return CoverNone, "Nothing is recorded."
}
