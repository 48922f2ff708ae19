package clinical

import (
	"math"
	"slices"
)

// Mean is the arithmetic mean; 0 and false for no values.
func Mean(values []float64) (float64, bool) {
	if len(values) == 0 {
		return 0, false
	}
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values)), true
}

// Median is the middle value, or the mean of the middle two; 0 and false for no
// values. The values stay in their order.
func Median(values []float64) (float64, bool) {
	if len(values) == 0 {
		return 0, false
	}
	return medianSorted(slices.Sorted(slices.Values(values))), true
}

func medianSorted(v []float64) float64 {
	m := len(v) / 2
	if len(v)%2 == 1 {
		return v[m]
	}
	return (v[m-1] + v[m]) / 2
}

// MovingRangeSigma estimates noise as the mean step between neighbours ÷ 1.128
// (NIST/SEMATECH e-Handbook 6.3.2.2); false for fewer than two values.
func MovingRangeSigma(values []float64) (float64, bool) {
	if len(values) < 2 {
		return 0, false
	}
	sum := 0.0
	for i := 1; i < len(values); i++ {
		sum += math.Abs(values[i] - values[i-1])
	}
	return sum / float64(len(values)-1) / movingRangeD2, true
}

// StandardError is the noise of one score: SD·√(1 − reliability), in the units of
// sd. Reliability is 0 to 1; outside that, false.
func StandardError(sd, reliability float64) (float64, bool) {
	if !(sd >= 0) || !(reliability >= 0 && reliability <= 1) {
		return 0, false
	}
	return sd * math.Sqrt(1-reliability), true
}

// ReliableChange is (after − before) ÷ (√2 · noise of one score); beyond ±1.96 the
// change is unlikely to be noise (Jacobson and Truax, J Consult Clin Psychol
// 1991;59:12-19). The sign follows the scale: on the index a fall, which is better,
// is negative. False where the noise is not above 0.
func ReliableChange(before, after, noise float64) (float64, bool) {
	if !(noise > 0) {
		return 0, false
	}
	return (after - before) / (math.Sqrt2 * noise), true
}
