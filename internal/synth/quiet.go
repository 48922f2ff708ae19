package synth

import (
	"math"
	"math/rand/v2"

	"gaitpost/internal/clinical"
)

// Noise is how one dog's weekly answers scatter about its latent index.
type Noise struct {
	// Sigma is the standard deviation of the index in a stable dog, points.
	Sigma float64
	// Common is the part of that variance which all items share: a bad week, an
	// owner in low spirits. 0 to 1.
	Common float64
	// Items is how many of the eight items apply: 6 to 8.
	Items int
}

// QuietNoise is the noise that the alert rules are judged under: 7.7 points,
// half of it common to all items.
func QuietNoise() Noise { return Noise{Sigma: 7.7, Common: 0.5, Items: clinical.ItemCount} }

// perItem is the standard deviation of one item's own noise, in answer steps,
// that leaves the index with the wanted scatter: the index is the mean of two
// halves, of three and of so many items. Rounding to whole steps adds a
// variance of 1/12 (Sheppard's correction, from memory), which is taken out.
func (n Noise) perItem() float64 {
	const pain = 3
	mobility := float64(n.Items - pain)
	ofIndex := n.Sigma / 25 * math.Sqrt(1-n.Common)
	total := ofIndex / (0.5 * math.Sqrt(1.0/pain+1/mobility))
	return math.Sqrt(max(0, total*total-1.0/12))
}

// Answers draws one check-in of a dog at a latent index (points, 0 best to 100
// worst): each item is the latent level with common and own noise, rounded to
// an answer and kept within 0 to 4.
func (n Noise) Answers(rng *rand.Rand, latent float64) clinical.Items {
	common := rng.NormFloat64() * n.Sigma / 25 * math.Sqrt(n.Common)
	own := n.perItem()
	var items clinical.Items
	for i := range items {
		if i >= n.Items {
			items[i] = clinical.NotApplicable
			continue
		}
		level := math.Round(latent/25 + common + own*rng.NormFloat64())
		items[i] = clinical.Level(min(max(level, 0), float64(clinical.MaxLevel)))
	}
	return items
}
