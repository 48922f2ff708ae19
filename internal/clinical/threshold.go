package clinical

import (
	"fmt"
	"math"
)

// Thresholds are the numbers behind baselines and the alert rules level, rise,
// drift, jump and no gain. All are a clinic's to change. Points are points of the
// index (0 to 100) unless said otherwise. Where no source is given the default is
// this project's own choice, to be judged by simulation and by the practice.
type Thresholds struct {
	// LevelAt: an index at or above it on two check-ins running is a high level.
	// Points, 0 to 100, default 50.
	LevelAt float64
	// LevelClearsBelow: a high level is over once an index is below it.
	// Points, 0 to LevelAt, default 45.
	LevelClearsBelow float64
	// LevelBaselineBelow: the level rule speaks only where the dog's own baseline
	// is below it; a dog that is always there is known. Points, 0 to 100, default 45.
	LevelBaselineBelow float64

	// RiseMean: the mean of the last two check-ins this far above baseline is a
	// rise. Points, 0 to 100, default 10.5, just beyond the meaningful change.
	RiseMean float64
	// RiseSingle: one check-in this far above baseline is a rise at once.
	// Points, 0 to 100, default 25.
	RiseSingle float64

	// DriftLambda is the weight of the newest check-in in the moving average.
	// Above 0, at most 1, default 0.2 (Lucas and Saccucci, Technometrics 1990;32:1-12).
	DriftLambda float64
	// DriftL is the width of the drift limit in standard deviations of the
	// moving average about an estimated baseline. 0.5 to 6, default 2.7.
	DriftL float64

	// JumpLevels: one item this many answer steps above its own baseline on two
	// check-ins running is a jump. Steps of the 0-4 scale, 0.5 to 4, default 2.
	JumpLevels float64

	// ProvisionalExtra is added to every threshold while the baseline is
	// provisional. Points, 0 to 50, default 3.
	ProvisionalExtra float64
	// BaselineN: a full baseline is the mean of this many settled check-ins.
	// 2 to 26, default 8.
	BaselineN int
	// ProvisionalN: this many settled check-ins serve until then.
	// 1 to BaselineN, default 3.
	ProvisionalN int
	// BeddingInDays after a change that is expected to alter comfort belong to no
	// baseline. Days, 0 to 365, default 28.
	BeddingInDays int

	// SigmaDefault is the noise of one index in a stable dog, as a standard
	// deviation, until the dog has shown its own. Points, above 0, at most 50.
	// Default 7.7 = 20·√(1−.85): an assumption (spread 20, repeatability .85), not
	// a published figure for this index.
	SigmaDefault float64
	// SigmaFloor: a dog's own noise is never taken to be less. Points, default 4.
	SigmaFloor float64
	// SigmaWindow: own noise comes from the last so many settled check-ins
	// outside open alerts. 2 to 26, default 12.
	SigmaWindow int
	// SigmaMin: own noise is used from so many such check-ins. 2 to SigmaWindow,
	// default 8.
	SigmaMin int

	// MeaningfulChange is the smallest change worth acting on. Points, default 10:
	// published minimal important differences of owner scores in canine
	// osteoarthritis span 4.8 to 21.9 % of their scales (Innes et al., PLoS One
	// 2023;18:e0280912; Alves and Innes, PLoS One 2023;18:e0291881).
	MeaningfulChange float64
	// StaysAt and StaysWeeks: a dog whose every index over so many weeks is at or
	// above StaysAt is not gaining. Points, default 35; weeks, default 12.
	StaysAt    float64
	StaysWeeks int

	// RunningDays: two check-ins further apart are not "running", and the change
	// between them says nothing about noise. Days, 1 to 400, default 42.
	RunningDays int
}

// DefaultThresholds are the defaults named beside each field of Thresholds.
func DefaultThresholds() Thresholds {
	return Thresholds{
		LevelAt: 50, LevelClearsBelow: 45, LevelBaselineBelow: 45,
		RiseMean: 10.5, RiseSingle: 25,
		DriftLambda: 0.2, DriftL: 2.7,
		JumpLevels:       2,
		ProvisionalExtra: 3, BaselineN: 8, ProvisionalN: 3, BeddingInDays: 28,
		SigmaDefault: 7.7, SigmaFloor: 4, SigmaWindow: 12, SigmaMin: 8,
		MeaningfulChange: 10, StaysAt: 35, StaysWeeks: 12,
		RunningDays: 42,
	}
}

// ThresholdProblem is one number that is out of its range.
type ThresholdProblem struct {
	Field    string  // name of the field of Thresholds
	Value    float64 // as given
	Min, Max float64 // allowed range, both ends included
}

func (p ThresholdProblem) Error() string {
	return fmt.Sprintf("%s is %v; allowed is %v to %v", p.Field, p.Value, p.Min, p.Max)
}

// Problems lists every number that is out of range, all at once; none is nil.
func (t Thresholds) Problems() []ThresholdProblem {
	checks := []ThresholdProblem{
		{"LevelAt", t.LevelAt, 0, 100},
		{"LevelClearsBelow", t.LevelClearsBelow, 0, t.LevelAt},
		{"LevelBaselineBelow", t.LevelBaselineBelow, 0, 100},
		{"RiseMean", t.RiseMean, 0, 100},
		{"RiseSingle", t.RiseSingle, 0, 100},
		{"DriftLambda", t.DriftLambda, 0.01, 1},
		{"DriftL", t.DriftL, 0.5, 6},
		{"JumpLevels", t.JumpLevels, 0.5, 4},
		{"ProvisionalExtra", t.ProvisionalExtra, 0, 50},
		{"BaselineN", float64(t.BaselineN), 2, maxPast},
		{"ProvisionalN", float64(t.ProvisionalN), 1, float64(t.BaselineN)},
		{"BeddingInDays", float64(t.BeddingInDays), 0, 365},
		{"SigmaDefault", t.SigmaDefault, 0.1, 50},
		{"SigmaFloor", t.SigmaFloor, 0.1, 50},
		{"SigmaWindow", float64(t.SigmaWindow), 2, maxPast},
		{"SigmaMin", float64(t.SigmaMin), 2, float64(t.SigmaWindow)},
		{"MeaningfulChange", t.MeaningfulChange, 0, 100},
		{"StaysAt", t.StaysAt, 0, 100},
		{"StaysWeeks", float64(t.StaysWeeks), 1, 104},
		{"RunningDays", float64(t.RunningDays), 1, 400},
	}
	var bad []ThresholdProblem
	for _, c := range checks {
		// Written so that NaN is a problem too.
		if !(c.Value >= c.Min && c.Value <= c.Max) {
			bad = append(bad, c)
		}
	}
	return bad
}

// DriftWidth is how far above the baseline the drift limit lies, in points, for
// noise sigma: L·σ·√(λ/(2−λ) + 1/N). The first term is the spread of the moving
// average itself (Lucas and Saccucci 1990, asymptotic); the second is the
// uncertainty of a baseline that is itself a mean of N check-ins.
func (t Thresholds) DriftWidth(sigma float64) float64 {
	return t.DriftL * sigma * math.Sqrt(t.DriftLambda/(2-t.DriftLambda)+1/float64(t.BaselineN))
}

const secondsPerDay = 24 * 60 * 60

func (t Thresholds) beddingIn() int64 { return int64(t.BeddingInDays) * secondsPerDay }
func (t Thresholds) running() int64   { return int64(t.RunningDays) * secondsPerDay }
