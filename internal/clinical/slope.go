package clinical

import (
	"math"
	"slices"
)

// Slope is a Theil–Sen line through points (x, y): the median of all pairwise
// slopes (Theil 1950; Sen, J Am Stat Assoc 1968;63:1379-89).
type Slope struct {
	PerUnit   float64 // y per unit of x
	Intercept float64 // median y − slope · median x
	// Low and High are the confidence limits of the slope (Gilbert 1987, as in US
	// EPA 530/R-09-007 ch. 17), where Interval is true. With very few points they
	// are the smallest and largest pairwise slope.
	Low, High float64
	Interval  bool
	Pairs     int // pairwise slopes
}

// At is the line's y at an x.
func (s Slope) At(x float64) float64 { return s.Intercept + s.PerUnit*x }

// TheilSen fits the line. x need be neither sorted nor distinct; pairs of equal x
// have no slope. confidence is the two-sided level, e.g. 0.95. False where lengths
// differ, or there are not two different x, or a value is not a finite number.
func TheilSen(x, y []float64, confidence float64) (Slope, bool) {
	if len(x) != len(y) || !allFinite(x) || !allFinite(y) {
		return Slope{}, false
	}
	slopes := pairwiseSlopes(x, y)
	if len(slopes) == 0 {
		return Slope{}, false
	}
	slices.Sort(slopes)
	s := Slope{PerUnit: medianSorted(slopes), Pairs: len(slopes)}
	mx, _ := Median(x)
	my, _ := Median(y)
	s.Intercept = my - s.PerUnit*mx
	trend := MannKendall(x, y)
	c := math.Sqrt2 * math.Erfinv(confidence) * math.Sqrt(trend.Variance)
	// Ranks are counted from 1; between two ranks the limit lies in proportion.
	n := float64(len(slopes))
	low, high := (n-c)/2, (n+c)/2+1
	if low > 0 && len(x) > 2 {
		s.Low, s.High, s.Interval = atRank(slopes, low), atRank(slopes, high), true
	}
	return s, true
}

func pairwiseSlopes(x, y []float64) []float64 {
	slopes := make([]float64, 0, len(x)*(len(x)-1)/2)
	for i := range x {
		for k := i + 1; k < len(x); k++ {
			if dx := x[k] - x[i]; dx != 0 {
				slopes = append(slopes, (y[k]-y[i])/dx)
			}
		}
	}
	return slopes
}

// atRank reads a sorted list at a rank counted from 1, in proportion between
// neighbours, held to the ends.
func atRank(sorted []float64, rank float64) float64 {
	rank = min(max(rank, 1), float64(len(sorted)))
	i := int(rank)
	if i == len(sorted) {
		return sorted[i-1]
	}
	f := rank - float64(i)
	return sorted[i-1]*(1-f) + sorted[i]*f
}

func allFinite(values []float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// Trend is the Mann–Kendall test for a monotone trend of y over x.
type Trend struct {
	S        int     // concordant − discordant pairs
	Variance float64 // of S without a trend, corrected for ties
	Z        float64 // with continuity correction; 0 where Variance is 0
	P        float64 // two-sided; 1 where Variance is 0
	TauB     float64 // −1 to 1; 0 where every x or every y is equal
}

// MannKendall tests for a trend. x and y have the same length; ties in either are
// allowed (Kendall, Rank Correlation Methods, 1970).
func MannKendall(x, y []float64) Trend {
	n := min(len(x), len(y))
	var t Trend
	for i := range n {
		for k := i + 1; k < n; k++ {
			t.S += sign(x[k]-x[i]) * sign(y[k]-y[i])
		}
	}
	tx, ty := tiesOf(x[:n]), tiesOf(y[:n])
	f := float64(n)
	t.Variance = (f*(f-1)*(2*f+5) - tx.third - ty.third) / 18
	if n > 1 {
		t.Variance += tx.pairs * ty.pairs / (2 * f * (f - 1))
	}
	if n > 2 {
		t.Variance += tx.triples * ty.triples / (9 * f * (f - 1) * (f - 2))
	}
	// Rounding can leave a trace where every value is equal.
	if t.Variance < 1e-9 {
		t.Variance = 0
	}
	t.P = 1
	if t.Variance > 0 {
		t.Z = float64(t.S-sign(float64(t.S))) / math.Sqrt(t.Variance)
		t.P = math.Erfc(math.Abs(t.Z) / math.Sqrt2)
	}
	if d := (f*(f-1) - tx.pairs) * (f*(f-1) - ty.pairs); d > 0 {
		t.TauB = 2 * float64(t.S) / math.Sqrt(d)
	}
	return t
}

// ties are sums over groups of t equal values, as the variance of S needs them.
type ties struct{ pairs, triples, third float64 }

func tiesOf(values []float64) ties {
	sorted := slices.Sorted(slices.Values(values))
	var sum ties
	for i := 0; i < len(sorted); {
		k := i + 1
		for k < len(sorted) && sorted[k] == sorted[i] {
			k++
		}
		t := float64(k - i)
		sum.pairs += t * (t - 1)
		sum.triples += t * (t - 1) * (t - 2)
		sum.third += t * (t - 1) * (2*t + 5)
		i = k
	}
	return sum
}

func sign(v float64) int {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}
