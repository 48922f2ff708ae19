package clinical

import "math"

// WeightRules are the numbers behind weight: all are a clinic's to change.
type WeightRules struct {
	// HomeSD and ClinicSD are the standard error of one weigh-in. Grams, 1 to 5000,
	// default 250 and 100: assumptions, no published figure was found.
	HomeSD, ClinicSD float64
	// PaceLow and PaceHigh are the band of loss that is aimed at; Progress still
	// counts as getting on. Percent of body weight per week, 0.1 to 5, default 1, 2
	// (AAHA 2014 and 2021, secondary) and 0.5 (0.55 was the mean in Marshall 2010).
	PaceLow, PaceHigh, Progress float64
	// TooFastDays: a loss above PaceHigh counts over at least so many days. Default 14.
	TooFastDays int
	// PlateauDays: no loss over at least so many days. Default 28.
	PlateauDays int
	// MonthLoss and HalfYearLoss: a loss that nobody planned. Percent of body
	// weight within 31 and 183 days, default 5 and 10.
	MonthLoss, HalfYearLoss float64
	// Window is how many weigh-ins make the pace. 2 to 26, default 6.
	Window int
	// AskBeyond: a change of more per week is asked again. Percent, default 10: five
	// times the upper guideline rate, this project's own choice.
	AskBeyond float64
}

// DefaultWeightRules are the defaults named beside each field of WeightRules.
func DefaultWeightRules() WeightRules {
	return WeightRules{
		HomeSD: 250, ClinicSD: 100,
		PaceLow: 1, PaceHigh: 2, Progress: 0.5,
		TooFastDays: 14, PlateauDays: 28,
		MonthLoss: 5, HalfYearLoss: 10,
		Window: 6, AskBeyond: 10,
	}
}

// Problems lists every number that is out of range, all at once; none is nil.
func (r WeightRules) Problems() []ThresholdProblem {
	checks := []ThresholdProblem{
		{"HomeSD", r.HomeSD, 1, 5000},
		{"ClinicSD", r.ClinicSD, 1, 5000},
		{"PaceLow", r.PaceLow, 0.1, 5},
		{"PaceHigh", r.PaceHigh, r.PaceLow, 5},
		{"Progress", r.Progress, 0.05, r.PaceLow},
		{"TooFastDays", float64(r.TooFastDays), 7, 90},
		{"PlateauDays", float64(r.PlateauDays), 7, 180},
		{"MonthLoss", r.MonthLoss, 1, 30},
		{"HalfYearLoss", r.HalfYearLoss, 1, 50},
		{"Window", float64(r.Window), 2, 26},
		{"AskBeyond", r.AskBeyond, 1, 50},
	}
	var bad []ThresholdProblem
	for _, c := range checks {
		if !(c.Value >= c.Min && c.Value <= c.Max) {
			bad = append(bad, c)
		}
	}
	return bad
}

// SD is the standard error of one weigh-in on a scale, in grams.
func (r WeightRules) SD(s Scale) float64 {
	if s == Clinic {
		return r.ClinicSD
	}
	return r.HomeSD
}

// ScaleError is how far two weights must lie apart before the difference is more
// than the scales' error: 2·√2·SD, and across two kinds of scale 2·√(SD₁² + SD₂²).
// Grams.
func (r WeightRules) ScaleError(a, b Scale) float64 {
	return 2 * math.Hypot(r.SD(a), r.SD(b))
}

// Plausibility says whether a weigh-in is taken as it is or asked about.
type Plausibility uint8

// The outcomes.
const (
	WeightOK         Plausibility = iota
	AskUnit                       // off by a factor near 2.2: pounds for kilograms, or the other way
	AskDecimal                    // off by a factor near 10: the decimal point
	AskAgain                      // more change than a dog can have, or no dog's weight
	weightOutcomeEnd              // not an outcome
)

// String gives the outcome's stable code.
func (p Plausibility) String() string {
	return [...]string{"ok", "ask-unit", "ask-decimal", "ask-again", "?"}[min(p, weightOutcomeEnd)]
}

// PlausibleWeight judges a weigh-in beside the one before it (nil where there is
// none) by the default rules.
func PlausibleWeight(prev *WeighIn, next WeighIn) Plausibility {
	return DefaultWeightRules().Plausible(prev, next)
}

const (
	poundsPerKilogram = 2.2046
	// factorTolerance is how near a factor must be: the dog itself may have changed.
	factorTolerance = 0.10
	// Soft limits for a first weight: adult dogs of about 0.5 to 120 kg (from memory).
	lightestAdult Grams = 500
	heaviestAdult Grams = 120_000
)

// Plausible judges a weigh-in beside the one before it (nil where there is none).
// A change that the scale's own error explains is always taken.
func (r WeightRules) Plausible(prev *WeighIn, next WeighIn) Plausibility {
	if prev == nil || prev.Grams <= 0 {
		if next.Grams < lightestAdult || next.Grams > heaviestAdult {
			return AskAgain
		}
		return WeightOK
	}
	if next.Grams <= 0 {
		return AskAgain
	}
	diff := math.Abs(float64(next.Grams - prev.Grams))
	if diff <= r.ScaleError(prev.Scale, next.Scale) {
		return WeightOK
	}
	ratio := float64(next.Grams) / float64(prev.Grams)
	switch {
	case nearFactor(ratio, poundsPerKilogram):
		return AskUnit
	case nearFactor(ratio, 10):
		return AskDecimal
	case next.Grams > MaxGrams:
		return AskAgain
	}
	weeks := max(1, math.Abs(float64(next.At-prev.At))/(7*secondsPerDay))
	if perWeek := math.Pow(ratio, 1/weeks) - 1; math.Abs(perWeek) > r.AskBeyond/100 {
		return AskAgain
	}
	return WeightOK
}

// nearFactor tells whether a ratio is near a factor or its inverse.
func nearFactor(ratio, factor float64) bool {
	off := math.Abs(math.Log(ratio))
	return math.Abs(off-math.Log(factor)) <= math.Log(1+factorTolerance)
}
