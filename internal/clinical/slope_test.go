package clinical_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/clinical"
)

func TestSlopeAtTheEdges(t *testing.T) {
	_, ok := clinical.TheilSen(nil, nil, 0.95)
	require.False(t, ok)
	_, ok = clinical.TheilSen([]float64{1}, []float64{1}, 0.95)
	require.False(t, ok)
	_, ok = clinical.TheilSen([]float64{1, 1}, []float64{1, 2}, 0.95)
	require.False(t, ok, "two values at one time have no slope")
	_, ok = clinical.TheilSen([]float64{1, 2}, []float64{1, math.NaN()}, 0.95)
	require.False(t, ok)
	_, ok = clinical.TheilSen([]float64{1, 2}, []float64{1}, 0.95)
	require.False(t, ok)

	s, ok := clinical.TheilSen([]float64{0, 1, 2}, []float64{1, 2, 3}, 0.95)
	require.True(t, ok)
	require.Equal(t, 1.0, s.PerUnit)
	require.False(t, s.Interval, "three points cannot bound a slope at 95 %")

	x := []float64{0, 1, 2, 3, 4, 5}
	s, ok = clinical.TheilSen(x, []float64{7, 7, 7, 7, 7, 7}, 0.95)
	require.True(t, ok)
	require.Equal(t, clinical.Slope{Intercept: 7, Interval: true, Pairs: 15}, s)
	k := clinical.MannKendall(x, []float64{7, 7, 7, 7, 7, 7})
	require.Equal(t, clinical.Trend{P: 1}, k)
	require.Equal(t, clinical.Trend{P: 1}, clinical.MannKendall(nil, nil))
}

// The interval must hold the true slope about as often as it says.
func TestSlopeIntervalCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(51, 52))
	const trials = 3000
	held, falsely := 0, 0
	x := make([]float64, 12)
	for i := range x {
		x[i] = float64(i)
	}
	for range trials {
		sloping, flat := make([]float64, 12), make([]float64, 12)
		for i := range x {
			e := 7.7 * rng.NormFloat64()
			sloping[i], flat[i] = 2*x[i]+e, e
		}
		if s, _ := clinical.TheilSen(x, sloping, 0.95); s.Low <= 2 && 2 <= s.High {
			held++
		}
		if clinical.MannKendall(x, flat).P < 0.05 {
			falsely++
		}
	}
	require.InDelta(t, 0.95, float64(held)/trials, 0.02)
	require.InDelta(t, 0.05, float64(falsely)/trials, 0.015)
}

func TestMedianAndMean(t *testing.T) {
	v := []float64{3, 1, 2}
	m, ok := clinical.Median(v)
	require.True(t, ok)
	require.Equal(t, 2.0, m)
	require.Equal(t, []float64{3, 1, 2}, v, "the values stay in their order")
	m, _ = clinical.Median([]float64{4, 1, 2, 3})
	require.Equal(t, 2.5, m)
	_, ok = clinical.Median(nil)
	require.False(t, ok)
	_, ok = clinical.Mean(nil)
	require.False(t, ok)
}
