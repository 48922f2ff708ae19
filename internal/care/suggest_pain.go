package care

import (
	"fmt"
	"slices"
	"strings"

	"gaitpost/internal/clinical"
)

func (l *look) heldMedicines() {
	for _, e := range l.d.Plan {
		if e.Status != Held {
			continue
		}
		why := ""
		if e.Reason != "" {
			why = " (" + e.Reason + ")"
		}
		l.add(Suggestion{Kind: SuggestHeld, Area: e.Area, Entry: e.ID, Whose: VetDecides, Source: sourceStop, Basis: "held: " + e.Reason,
			What:   "Decide about " + e.What + ": restart, change or stop",
			Reason: e.What + " is held" + why + " and nobody reminds of it until a vet decides."})
	}
}

func (l *look) painRelief() {
	if slices.ContainsFunc(l.running(AreaPain), func(e Entry) bool { return e.Source != FromLeftovers && e.Source != FromBought }) {
		return // what a vet has not looked at is no pain relief
	}
	s := Suggestion{Kind: SuggestPain, Area: AreaPain, Whose: VetDecides, Source: sourceStepwise, Level: l.pain,
		What: "Look at pain relief first; only a vet prescribes", Basis: l.tried(AreaPain),
		Draft:  &Draft{Area: AreaPain, Comfort: true, ReviewDays: recheckDays},
		Reason: "No pain relief is on " + l.d.Name + "'s plan; " + l.figures() + "."}
	l.add(s)
}

// elsewhere lists what is given and came from somebody else.
func (l *look) elsewhere() {
	for _, e := range l.d.Plan {
		if e.Status == Ended || e.Source == FromHere || e.Class == NotMedicine && e.Area != AreaPain && e.Area != AreaSupplement {
			continue
		}
		l.add(Suggestion{Kind: SuggestElsewhere, Area: e.Area, Entry: e.ID, Whose: VetDecides, Source: sourceBeside, Basis: string(e.Source),
			What:   "Look at " + e.What + " beside the rest",
			Reason: fmt.Sprintf("%s is given since %s and comes from elsewhere (%s).", e.What, l.r.date(e.Started), e.Source)})
	}
}

// painAgain looks at pain relief that has not brought a dog down.
func (l *look) painAgain() {
	running := l.running(AreaPain)
	if len(running) == 0 {
		return
	}
	state, lowest, n := clinical.StaysHigh(l.now, l.past)
	if state != clinical.NoGainStays {
		return
	}
	var names []string
	for _, e := range running {
		names = append(names, e.What)
	}
	l.add(Suggestion{Kind: SuggestPainAgain, Area: AreaPain, Whose: VetDecides, Source: sourceRecheck, Level: lowest,
		Basis: strings.Join(names, ", "), What: "Look at pain relief again",
		Reason: fmt.Sprintf("The index stayed at %.1f or above on %d check-ins over %d weeks with %s on the plan.",
			lowest, n, l.now.StaysWeeks, strings.Join(names, " and "))})
}

// injection judges a monthly antibody once two were given.
func (l *look) injection() {
	for _, e := range l.d.Plan {
		if e.Class != Antibody || e.Status != Active || l.since(e.Started) < secondDose {
			continue
		}
		effect := l.d.Effect(l.now, e)
		if effect.BeforeN == 0 || effect.AfterN == 0 || effect.MeanGain >= l.now.MeaningfulChange {
			continue
		}
		l.add(Suggestion{Kind: SuggestInjection, Area: AreaPain, Entry: e.ID, Whose: VetDecides, Source: sourceAntibody, Basis: "two injections",
			What: "Judge " + e.What + " after its second dose",
			Reason: fmt.Sprintf("%d days after the first injection the mean index is %.1f, before it %.1f; %.0f points would be meaningful.",
				l.since(e.Started), effect.MeanAfter, effect.MeanBefore, l.now.MeaningfulChange)})
	}
}

// dose is said of dogs that have been stable and comfortable for long: to vets
// alone, since nobody else may think of changing a dose.
func (l *look) dose() {
	e := l.d.medicine()
	if e == nil || l.since(e.Started) < doseDays || l.since(l.d.Course.StretchAt) < stableOver {
		return
	}
	n, mean, highest := l.lately()
	base := l.d.Course.Baseline(l.now)
	if n < stableN || base.Kind != clinical.Full || mean >= l.now.StaysAt || highest-base.Value >= l.now.MeaningfulChange {
		return
	}
	l.add(Suggestion{Kind: SuggestDose, Area: AreaPain, Entry: e.ID, Whose: VetAlone, Source: NoSource, Level: mean,
		Basis: fmt.Sprintf("stable, %d half years", l.since(e.Started)/doseDays),
		What:  "Review whether " + e.What + " is still right as it is given",
		Reason: fmt.Sprintf("%s has run for %d weeks and the index is stable: %.1f on average and at most %.1f on %d check-ins over %d weeks, baseline %.1f.",
			e.What, l.since(e.Started)/7, mean, highest, n, stableOver/7, base.Value)})
}

// lately counts the check-ins that a stable dog is judged by, with their mean
// and highest index.
func (l *look) lately() (n int, mean, highest float64) {
	for _, x := range l.past {
		if x.Index.Scored && !x.Before && l.since(x.At) <= stableOver {
			n++
			mean += float64(x.Index.Total)
			highest = max(highest, float64(x.Index.Total))
		}
	}
	return n, mean / float64(max(n, 1)), highest
}

// blood says when a dog on an anti-inflammatory has gone without a blood test.
func (l *look) blood() {
	e := l.d.taking(NSAID)
	if e == nil {
		return
	}
	found := l.d.Standing()
	last, known := l.newestBlood(&found)
	s := Suggestion{Kind: SuggestBlood, Area: AreaPain, Entry: e.ID, Whose: VetDecides, Source: sourceRecheck, What: "Blood test"}
	ran := l.since(e.Started)
	every, risk := int64(bloodDays), ""
	if len(found.Diseases) > 0 {
		every, s.Source = bloodRiskDays, sourceAtRisk
		risk = " with " + strings.Join(found.Diseases, ", ") + " beside it"
	}
	switch {
	case !known:
		s.Source, s.Basis = sourceOwners, fmt.Sprintf("none, %d half years", ran/bloodDays)
		s.Reason = fmt.Sprintf("%s began %s and no blood test is recorded, before or since.", e.What, ago(ran))
	case last.Next != 0 && l.at > last.Next:
		s.Basis = fmt.Sprintf("due %d, %d half years", last.Next, l.since(last.Next)/bloodDays)
		s.Reason = fmt.Sprintf("The next blood test was due on %s, %s; %s has run for %s.", l.r.date(last.Next), ago(l.since(last.Next)), e.What, days(ran))
	case last.Next != 0:
		return
	case last.On < e.Started && ran > recheckDays:
		s.Basis = fmt.Sprintf("before %d, %d half years", e.Started, ran/bloodDays)
		s.Reason = fmt.Sprintf("The last blood test, on %s, was before %s began %s; one is advised 2 to 4 weeks after a start.", l.r.date(last.On), e.What, ago(ran))
	case l.since(last.On) > every:
		s.Basis = fmt.Sprintf("last %d, %d intervals", last.On, l.since(last.On)/every)
		s.Reason = fmt.Sprintf("The last blood test was on %s, %s, and %s has run for %s%s.", l.r.date(last.On), ago(l.since(last.On)), e.What, days(ran), risk)
	default:
		return
	}
	l.add(s)
}

// newestBlood is the newest blood test: one that was recorded, or a reminded
// test that was done since.
func (l *look) newestBlood(f *Found) (Test, bool) {
	last, known := f.Newest(TestBlood)
	for _, e := range l.d.Plan {
		for _, m := range e.Reminders {
			if on := int64(m.Done) * day; m.Kind == RemindTest && m.Done != 0 && on > last.On {
				last, known = Test{Kind: TestBlood, On: on}, true
			}
		}
	}
	return last, known
}
