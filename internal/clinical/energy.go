package clinical

import "math"

// RestingEnergy is the resting energy requirement in kcal a day, 70 × kg^0.75, for
// any weight; always this form, since the linear one is 19 % off at 50 kg (Merck
// Veterinary Manual, from a secondary page; AAHA 2014, from memory). 0 for a weight
// that is not above 0. What a dog is fed is the practitioner's to say.
func RestingEnergy(kg float64) float64 {
	if !(kg > 0) {
		return 0
	}
	return 70 * math.Pow(kg, 0.75)
}

// BodyScore is a nine-point body condition score: 1 to 9, halves allowed; 4 and 5
// are ideal. 0 is not recorded.
type BodyScore float64

// Known tells whether the score is one of the scale's.
func (b BodyScore) Known() bool { return b >= 1 && b <= 9 }

// Thin tells whether the practitioner should be told: 3 or less.
func (b BodyScore) Thin() bool { return b.Known() && b <= 3 }

// overPerPoint is how far above ideal weight each point above 5 stands (2023
// veterinary proceedings, secondary; others say 10 to 15 %).
const overPerPoint = 0.10

// TargetWeight is the ideal weight of a dog of some weight and body score: weight ÷
// (1 + 0.10 × (score − 5)), for scores above 5. False where the score asks for no
// loss or is not known, or the weight is not above 0.
func TargetWeight(current Grams, score BodyScore) (Grams, bool) {
	if current <= 0 || !score.Known() || score <= 5 {
		return 0, false
	}
	return Grams(math.Round(float64(current) / (1 + overPerPoint*(float64(score)-5)))), true
}

// Muscle is the muscle condition that the practitioner felt; it stands beside the
// weight, since a dog can lose muscle and not fat.
type Muscle uint8

// The muscle conditions.
const (
	MuscleUnknown Muscle = iota
	MuscleNormal
	MuscleMildLoss
	MuscleModerateLoss
	MuscleSevereLoss
)

// String gives the condition's stable code.
func (m Muscle) String() string {
	return [...]string{"unknown", "normal", "mild-loss", "moderate-loss", "severe-loss", "?"}[min(int(m), 5)]
}

// WeeklyPace is the share of body weight lost per week between two weights some
// days apart, in percent: 100 × (1 − (to/from)^(7/days)). Positive is a loss. False
// where the days or a weight are not above 0.
func WeeklyPace(from, to Grams, days float64) (float64, bool) {
	if from <= 0 || to <= 0 || !(days > 0) {
		return 0, false
	}
	return 100 * (1 - math.Pow(float64(to)/float64(from), 7/days)), true
}

// WeeksToLose is how long a steady pace takes: ln(1 − lost) ÷ ln(1 − pace), both in
// percent, above 0 and below 100; false otherwise.
func WeeksToLose(lostPercent, pacePercent float64) (float64, bool) {
	if !(lostPercent > 0 && lostPercent < 100 && pacePercent > 0 && pacePercent < 100) {
		return 0, false
	}
	return math.Log(1-lostPercent/100) / math.Log(1-pacePercent/100), true
}
