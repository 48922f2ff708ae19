package clinical

// WeightFlagKind is something about a weight that the practitioner should read.
type WeightFlagKind uint8

// The kinds.
const (
	WeightGain         WeightFlagKind = iota // on a loss plan, heavier
	WeightTooFast                            // on a loss plan, more than 2 % a week over two weeks or more
	WeightPlateau                            // on a loss plan, no loss in four weeks
	WeightLoss                               // off plan: a loss that nobody planned; to be told today
	WeightThin                               // body score of 3 or less
	WeightScaleChanged                       // the latest two weigh-ins are on different scales
)

// String gives the kind's stable code.
func (k WeightFlagKind) String() string {
	return [...]string{"gain", "too-fast", "plateau", "unplanned-loss", "thin", "scale-changed", "?"}[min(int(k), 6)]
}

// Certainty says by which of the two ways a flag stands.
type Certainty uint8

// The ways.
const (
	BeyondScaleError Certainty = iota // the difference is more than the scales' error
	OnTwoWeighIns                     // less, and seen on two weigh-ins running
	NoDifference                      // the flag is about there being none
)

// String gives the way's stable code.
func (c Certainty) String() string {
	return [...]string{"beyond-scale-error", "on-two-weigh-ins", "no-difference", "?"}[min(int(c), 3)]
}

// WeightFlag is one raised flag with what a sentence about it needs.
type WeightFlag struct {
	Kind         WeightFlagKind
	From, To     WeighIn   // what was compared; zero where the flag is not about two weights
	Percent      float64   // lost between them, percent of From; negative is a gain
	PerWeek      float64   // the same per week
	Limit        float64   // the percentage, or rate per week, that was crossed
	ScaleError   float64   // grams that the scales alone may explain
	By           Certainty //
	AcrossScales bool      // home and clinic scales were mixed, which must be said
	Score        BodyScore // thin: the practitioner's score
}

func thin(plan WeightPlan) []WeightFlag {
	if !plan.Score.Thin() {
		return nil
	}
	return []WeightFlag{{Kind: WeightThin, Score: plan.Score, Limit: 3}}
}

// compare fills a flag's numbers from two weigh-ins.
func (r WeightRules) compare(kind WeightFlagKind, from, to WeighIn) WeightFlag {
	f := WeightFlag{
		Kind: kind, From: from, To: to,
		Percent:      100 * (1 - float64(to.Grams)/float64(from.Grams)),
		ScaleError:   r.ScaleError(from.Scale, to.Scale),
		AcrossScales: from.Scale != to.Scale,
	}
	// Two scales on one day make no pace; a day is the least that counts.
	f.PerWeek, _ = WeeklyPace(from.Grams, to.Grams, max(1, daysBetween(from, to)))
	return f
}

func daysBetween(from, to WeighIn) float64 { return float64(to.At-from.At) / secondsPerDay }

// flags raises what there is to say: used are all weigh-ins, since those of the plan.
func (r WeightRules) flags(plan WeightPlan, j *WeightJudgement, used, since []WeighIn) []WeightFlag {
	flags := thin(plan)
	add := func(f WeightFlag, raised bool) {
		if raised {
			flags = append(flags, f)
		}
	}
	if plan.OnPlan {
		add(r.gain(since))
		add(r.tooFast(since))
		if j.Target.Source == NoTarget || j.Latest.Grams > j.Target.Grams {
			add(r.plateau(since))
		}
	} else {
		add(r.unplannedLoss(used))
	}
	if n := len(used); n > 1 && used[n-1].Scale != used[n-2].Scale {
		add(r.compare(WeightScaleChanged, used[n-2], used[n-1]), true)
	}
	return flags
}

// gain: heavier than the weigh-in before by more than the scales' error, or heavier
// on two weigh-ins running.
func (r WeightRules) gain(w []WeighIn) (WeightFlag, bool) {
	n := len(w)
	if n < 2 {
		return WeightFlag{}, false
	}
	f := r.compare(WeightGain, w[n-2], w[n-1])
	if float64(w[n-1].Grams-w[n-2].Grams) > f.ScaleError {
		return f, true
	}
	if n < 3 || w[n-1].Grams <= w[n-2].Grams || w[n-2].Grams <= w[n-3].Grams {
		return WeightFlag{}, false
	}
	f = r.compare(WeightGain, w[n-3], w[n-1])
	f.AcrossScales = f.AcrossScales || w[n-2].Scale != w[n-1].Scale
	if float64(w[n-1].Grams-w[n-3].Grams) <= f.ScaleError {
		f.By = OnTwoWeighIns
	}
	return f, true
}

// atLeastBefore is the newest weigh-in at least some days before the last; false
// where there is none.
func atLeastBefore(w []WeighIn, days int) (WeighIn, bool) {
	last := w[len(w)-1]
	for i := len(w) - 2; i >= 0; i-- {
		// Half a day's grace: weigh-ins "two weeks apart" keep no exact hour.
		if daysBetween(w[i], last) >= float64(days)-0.5 {
			return w[i], true
		}
	}
	return WeighIn{}, false
}

// tooFast: more than the band's upper end over two weeks or more, by more than the
// scales' error or at two weigh-ins running.
func (r WeightRules) tooFast(w []WeighIn) (WeightFlag, bool) {
	fast := func(w []WeighIn) (WeightFlag, bool) {
		from, ok := atLeastBefore(w, r.TooFastDays)
		if !ok {
			return WeightFlag{}, false
		}
		f := r.compare(WeightTooFast, from, w[len(w)-1])
		f.Limit = r.PaceHigh
		return f, f.PerWeek > r.PaceHigh
	}
	f, now := fast(w)
	if !now {
		return WeightFlag{}, false
	}
	if float64(f.From.Grams-f.To.Grams) > f.ScaleError {
		return f, true
	}
	f.By = OnTwoWeighIns
	_, before := fast(w[:len(w)-1])
	return f, before
}

// plateau: over four weeks or more no loss that the scales' error could not
// explain, and less than what still counts as progress.
func (r WeightRules) plateau(w []WeighIn) (WeightFlag, bool) {
	from, ok := atLeastBefore(w, r.PlateauDays)
	if !ok {
		return WeightFlag{}, false
	}
	f := r.compare(WeightPlateau, from, w[len(w)-1])
	f.Limit, f.By = r.Progress, NoDifference
	return f, float64(from.Grams-f.To.Grams) <= f.ScaleError && f.PerWeek < r.Progress
}

const (
	monthDays    = 31
	halfYearDays = 183
)

// unplannedLoss: within a month or half a year, by more than the scales' error or
// at two weigh-ins running. The heaviest weigh-in of the time is compared with.
func (r WeightRules) unplannedLoss(w []WeighIn) (WeightFlag, bool) {
	for _, span := range []struct{ days, percent float64 }{
		{monthDays, r.MonthLoss}, {halfYearDays, r.HalfYearLoss},
	} {
		f, lost := r.lossWithin(w, span.days, span.percent)
		if !lost {
			continue
		}
		if float64(f.From.Grams-f.To.Grams) > f.ScaleError {
			return f, true
		}
		f.By = OnTwoWeighIns
		if _, before := r.lossWithin(w[:len(w)-1], span.days, span.percent); before {
			return f, true
		}
	}
	return WeightFlag{}, false
}

func (r WeightRules) lossWithin(w []WeighIn, days, percent float64) (WeightFlag, bool) {
	if len(w) < 2 {
		return WeightFlag{}, false
	}
	last := w[len(w)-1]
	from := last
	for _, x := range w {
		if daysBetween(x, last) <= days && x.Grams > from.Grams {
			from = x
		}
	}
	if from == last {
		return WeightFlag{}, false
	}
	f := r.compare(WeightLoss, from, last)
	f.Limit = percent
	return f, f.Percent >= percent
}
