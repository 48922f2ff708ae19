package synth

import (
	"math"
	"math/rand/v2"
	"slices"

	"gaitpost/internal/clinical"
)

// Latent is how a dog truly is over time, which nobody sees: index points, 0
// best to 100 worst, by days since enrolment. Between its knots it runs straight,
// before the first and after the last it stays level. The zero value is 0
// throughout.
type Latent struct {
	Knots []Knot // in order of Day
}

// Knot is one point of a Latent.
type Knot struct {
	Day   float64 // since enrolment
	Index float64 // 0 to 100
}

// Level is a latent course that never changes.
func Level(index float64) Latent { return Latent{[]Knot{{0, index}}} }

// At gives the true index on a day.
func (l Latent) At(day float64) float64 {
	if len(l.Knots) == 0 {
		return 0
	}
	i := slices.IndexFunc(l.Knots, func(k Knot) bool { return k.Day > day })
	switch i {
	case 0:
		return l.Knots[0].Index
	case -1:
		return l.Knots[len(l.Knots)-1].Index
	}
	a, b := l.Knots[i-1], l.Knots[i]
	return a.Index + (b.Index-a.Index)*(day-a.Day)/(b.Day-a.Day)
}

// Then adds a knot; days must rise.
func (l Latent) Then(day, index float64) Latent {
	return Latent{append(slices.Clone(l.Knots), Knot{day, index})}
}

// Profile is what is harder and easier for one dog: answer steps added to each
// item. Kept so that each half adds up to nothing, it leaves the index alone.
type Profile [clinical.ItemCount]float64

// NewProfile draws a profile whose answer steps differ by about spread.
func NewProfile(rng *rand.Rand, spread float64) Profile {
	var p Profile
	for i := range p {
		p[i] = rng.NormFloat64() * spread
	}
	for _, half := range [][2]int{{0, int(clinical.Night) + 1}, {int(clinical.Rising), clinical.ItemCount}} {
		mean := 0.0
		for i := half[0]; i < half[1]; i++ {
			mean += p[i] / float64(half[1]-half[0])
		}
		for i := half[0]; i < half[1]; i++ {
			p[i] -= mean
		}
	}
	return p
}

// Asked says how a check-in is to be answered.
type Asked struct {
	Noise   Noise
	Profile Profile
	// Missing marks items that are not asked or do not apply, with the level to
	// put there: clinical.Missing or clinical.NotApplicable.
	Missing map[clinical.Item]clinical.Level
}

// Answers turns a true index (points, 0 to 100) into one check-in's answers: each
// item is the dog's level with its profile, common and own noise, rounded to an
// answer and kept within 0 to 4.
func Answers(rng *rand.Rand, index float64, a Asked) clinical.Items {
	common := rng.NormFloat64() * a.Noise.Sigma / 25 * math.Sqrt(a.Noise.Common)
	own := a.Noise.perItem()
	var items clinical.Items
	for i := range items {
		level := math.Round(index/25 + common + a.Profile[i] + own*rng.NormFloat64())
		items[i] = clinical.Level(min(max(level, 0), float64(clinical.MaxLevel)))
		if l, ok := a.Missing[clinical.Item(i)]; ok {
			items[i] = l
		}
	}
	return items
}
