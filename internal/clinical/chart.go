package clinical

import "math"

// EWMAChart is a two-sided chart of an exponentially weighted moving average with
// asymptotic limits (Lucas and Saccucci, Technometrics 1990;32:1-12). The average
// starts from Center.
type EWMAChart struct {
	Center float64 // the baseline, in the data's units
	Sigma  float64 // noise of one value, same units, at least 0
	Lambda float64 // weight of the newest value, above 0 and at most 1
	L      float64 // width of the limits in standard deviations of the average
}

// Limits are the lower and upper limit: Center ± L·σ·√(λ/(2−λ)).
func (c EWMAChart) Limits() (lower, upper float64) {
	w := c.L * c.Sigma * math.Sqrt(c.Lambda/(2-c.Lambda))
	return c.Center - w, c.Center + w
}

// Next moves the average on by one value.
func (c EWMAChart) Next(average, value float64) float64 {
	return c.Lambda*value + (1-c.Lambda)*average
}

// CUSUMChart is a two-sided tabular cumulative sum. Both sums are kept positive.
type CUSUMChart struct {
	Center    float64 // the baseline, in the data's units
	Sigma     float64 // noise of one value, same units, at least 0
	K         float64 // allowance, in sigmas; 0.5 looks for a shift of one sigma
	H         float64 // decision limit, in sigmas
	HeadStart float64 // where both sums start, in sigmas; 0 ordinarily
}

// Sums are the two running sums, in the data's units, at least 0.
type Sums struct{ High, Low float64 }

// Start is the state before the first value.
func (c CUSUMChart) Start() Sums {
	return Sums{High: c.HeadStart * c.Sigma, Low: c.HeadStart * c.Sigma}
}

// Next moves both sums on by one value.
func (c CUSUMChart) Next(s Sums, value float64) Sums {
	d, k := value-c.Center, c.K*c.Sigma
	return Sums{High: max(0, s.High+d-k), Low: max(0, s.Low-d-k)}
}

// Limit is the decision limit in the data's units; a sum above it is a signal.
func (c CUSUMChart) Limit() float64 { return c.H * c.Sigma }

// SiegmundRunLength approximates the mean number of values until a one-sided
// CUSUM signals, for a true shift in sigmas towards that side (negative: away from
// it), allowance k and limit h in sigmas: b = h + 1.166,
// (exp(−2Δb) + 2Δb − 1) ÷ 2Δ², Δ = shift − k (Siegmund's approximation as given in
// Montgomery, Introduction to Statistical Quality Control; from memory).
func SiegmundRunLength(shift, k, h float64) float64 {
	delta, b := shift-k, h+1.166
	if math.Abs(delta) < 1e-9 {
		return b * b
	}
	return (math.Exp(-2*delta*b) + 2*delta*b - 1) / (2 * delta * delta)
}

// TwoSidedRunLength joins the run lengths of the two sides of a chart:
// 1/ARL = 1/ARL⁺ + 1/ARL⁻.
func TwoSidedRunLength(high, low float64) float64 { return 1 / (1/high + 1/low) }
