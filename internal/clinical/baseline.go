package clinical

import "math"

// BaselineKind says how much a baseline is worth.
type BaselineKind uint8

// The kinds, weakest first.
const (
	NoBaseline      BaselineKind = iota // nothing to compare with yet
	BeforeTreatment                     // day-0 check-ins only: provisional and weak
	Provisional                         // the first few settled check-ins
	Full                                // the mean of the first eight settled check-ins
)

// String gives the kind's stable code.
func (k BaselineKind) String() string {
	return [...]string{"none", "before-treatment", "provisional", "full"}[min(int(k), 3)]
}

// Wide tells whether thresholds are widened against this kind of baseline.
func (k BaselineKind) Wide() bool { return k == BeforeTreatment || k == Provisional }

// Baseline is what a dog is compared with: its own usual index.
type Baseline struct {
	Value float64      `cbor:"1,keyasint,omitempty"` // points, 0 best to 100 worst
	Kind  BaselineKind `cbor:"2,keyasint,omitempty"`
	N     int          `cbor:"3,keyasint,omitempty"` // check-ins it is the mean of
	// Earlier says that it belongs to an earlier stretch and serves until the
	// present one has its own.
	Earlier bool `cbor:"4,keyasint,omitempty"`
}

// Baseline is the one that serves for the next check-in: of this stretch the full
// one, else the provisional one, else that of the stretch before, else what was
// seen before treatment, else none.
func (c *Course) Baseline(t Thresholds) Baseline { return c.baseline(&t) }

func (c *Course) baseline(t *Thresholds) Baseline {
	s := &c.Now
	switch {
	case int(s.N) >= t.BaselineN:
		return Baseline{Value: s.Sum / float64(s.N), Kind: Full, N: int(s.N)}
	case s.FirstN > 0 && int(s.FirstN) >= t.ProvisionalN:
		return Baseline{Value: s.FirstSum / float64(s.FirstN), Kind: Provisional, N: int(s.FirstN)}
	case c.Old.Kind != NoBaseline:
		return c.Old
	case s.BeforeN > 0:
		return Baseline{Value: s.BeforeSum / float64(s.BeforeN), Kind: BeforeTreatment, N: int(s.BeforeN)}
	}
	return Baseline{}
}

// itemBase is one item's own baseline: sum ÷ n on the item's 0-4 scale.
type itemBase struct {
	kind   BaselineKind
	sum, n uint8
}

func (b itemBase) value() float64 { return float64(b.sum) / float64(max(b.n, 1)) }

// itemBaseline is the item's own baseline, by the same order of preference.
func (c *Course) itemBaseline(t *Thresholds, i Item) itemBase {
	s, old := &c.Now, &c.OldItems
	switch {
	case int(s.ItemN[i]) >= t.BaselineN:
		return itemBase{Full, s.ItemSum[i], s.ItemN[i]}
	case s.ItemFirstN[i] > 0 && int(s.ItemFirstN[i]) >= t.ProvisionalN:
		return itemBase{Provisional, s.ItemFirstSum[i], s.ItemFirstN[i]}
	case BaselineKind(old.Kind[i]) != NoBaseline:
		return itemBase{BaselineKind(old.Kind[i]), old.Sum[i], old.N[i]}
	case s.BeforeItemN[i] > 0:
		return itemBase{BeforeTreatment, s.BeforeItemSum[i], s.BeforeItemN[i]}
	}
	return itemBase{}
}

// ItemBaseline is one item's usual level (0 to 4) and the kind of that baseline.
func (c *Course) ItemBaseline(t Thresholds, i Item) (float64, BaselineKind) {
	if int(i) >= ItemCount {
		return 0, NoBaseline
	}
	b := c.itemBaseline(&t, i)
	return b.value(), b.kind
}

// movingRangeD2 turns a mean moving range of two into a standard deviation
// (d2 for n = 2; NIST/SEMATECH e-Handbook 6.3.2.2).
const movingRangeD2 = 1.128

// Sigma is the noise of one index of this dog, in points: its own once there are
// enough settled check-ins outside open alerts, the assumed default until then.
// The second result says whether it is the dog's own.
func (c *Course) Sigma(t Thresholds) (float64, bool) { return c.sigma(&t) }

// sigma walks back over the last settled check-ins outside open alerts and
// averages the steps between neighbours. A step across a stretch's beginning, an
// alert or a long gap is left out, since it is not noise alone; a reading that was
// only carried over is passed by.
func (c *Course) sigma(t *Thresholds) (float64, bool) {
	var usable, pairs int
	var sum float64
	var later *pastReading
	for i := int(c.Past.n) - 1; i >= 0 && usable < t.SigmaWindow; i-- {
		p := &c.Past.at[i]
		if p.flags&(wasScored|wasCarried) != wasScored {
			continue
		}
		if p.flags&(wasSettled|wasInAlert) != wasSettled {
			later = nil
			continue
		}
		usable++
		if later != nil && later.at-p.at <= t.running() {
			sum += math.Abs(later.total - p.total)
			pairs++
		}
		later = p
		if p.is(wasFirst) {
			later = nil
		}
	}
	if usable < t.SigmaMin || pairs < t.SigmaMin-1 {
		return t.SigmaDefault, false
	}
	return max(t.SigmaFloor, sum/float64(pairs)/movingRangeD2), true
}

// SmallestDetectable is the smallest difference between two single readings that
// is unlikely (5 %) to be noise: 1.96·√2·σ (de Vet et al., J Clin Epidemiol
// 2006;59:1033-39, from memory).
func SmallestDetectable(sigma float64) float64 { return 1.96 * math.Sqrt2 * sigma }
