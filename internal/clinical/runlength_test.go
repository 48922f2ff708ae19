package clinical_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/clinical"
)

// runLengths simulates a detector on normal values with a known mean and gives the
// mean run length and its Monte-Carlo standard error.
func runLengths(seed uint64, runs int, one func(*rand.Rand) int) (mean, se float64) {
	rng := rand.New(rand.NewPCG(seed, 20260302))
	var sum, squares float64
	for range runs {
		n := float64(one(rng))
		sum += n
		squares += n * n
	}
	f := float64(runs)
	mean = sum / f
	return mean, math.Sqrt((squares/f - mean*mean) / f)
}

// printed is how far the true value may be from a figure printed with three
// significant digits (some columns print two prints' mean, one unit of the last).
func printed(v float64) float64 {
	switch {
	case v >= 100:
		return 1
	case v >= 10:
		return 0.1
	}
	return 0.011
}

// Source: Lucas and Crosier 1982; a textbook table of the same.
func TestCUSUMRunLengths(t *testing.T) {
	var f struct {
		K       float64
		Columns []struct {
			H    float64
			Head float64 `json:"head_start"`
		}
		Rows     [][]float64
		OneSided []struct{ H, ARL float64 } `json:"one_sided_in_control"`
		Hawkins  [][2]float64               `json:"hawkins_1993_arl_370"`
	}
	published(t, "cusum-run-lengths.json", &f)
	for i, c := range f.Columns {
		chart := clinical.CUSUMChart{Sigma: 1, K: f.K, H: c.H, HeadStart: c.Head}
		for _, row := range f.Rows {
			shift, want := row[0], row[i+1]
			mean, se := runLengths(uint64(100+i), runsPerFigure, func(rng *rand.Rand) int {
				return cusumRun(chart, shift, rng)
			})
			require.InDelta(t, want, mean, 4*se+printed(want), "h %v, head start %v, shift %v", c.H, c.Head, shift)
		}
	}
	require.NotEmpty(t, f.OneSided)
	for _, c := range f.OneSided {
		chart := clinical.CUSUMChart{Sigma: 1, K: f.K, H: c.H}
		mean, se := runLengths(7, runsPerFigure, func(rng *rand.Rand) int {
			s, n := chart.Start(), 0
			for s.High <= chart.Limit() {
				s, n = chart.Next(s, rng.NormFloat64()), n+1
			}
			return n
		})
		require.InDelta(t, c.ARL, mean, 4*se+0.5, "one-sided, h %v", c.H)
	}
	require.NotEmpty(t, f.Hawkins)
	for _, kh := range f.Hawkins {
		chart := clinical.CUSUMChart{Sigma: 1, K: kh[0], H: kh[1]}
		mean, se := runLengths(8, runsPerFigure, func(rng *rand.Rand) int { return cusumRun(chart, 0, rng) })
		require.InDelta(t, 370, mean, 4*se+5, "k %v, h %v", kh[0], kh[1])
	}
}

func cusumRun(c clinical.CUSUMChart, shift float64, rng *rand.Rand) int {
	s := c.Start()
	for n := 1; ; n++ {
		s = c.Next(s, shift+rng.NormFloat64())
		if s.High > c.Limit() || s.Low > c.Limit() {
			return n
		}
	}
}

// Source: Lucas and Saccucci 1990; columns λ .40 to .05 from memory.
func TestEWMARunLengths(t *testing.T) {
	var f struct {
		Columns []struct{ Lambda, L float64 }
		Rows    [][]float64
	}
	published(t, "ewma-run-lengths.json", &f)
	require.Len(t, f.Columns, 7)
	for i, c := range f.Columns {
		chart := clinical.EWMAChart{Sigma: 1, Lambda: c.Lambda, L: c.L}
		lower, upper := chart.Limits()
		for _, row := range f.Rows {
			shift, want := row[0], row[i+1]
			mean, se := runLengths(uint64(200+i), runsPerFigure, func(rng *rand.Rand) int {
				for z, n := 0.0, 1; ; n++ {
					z = chart.Next(z, shift+rng.NormFloat64())
					if z > upper || z < lower {
						return n
					}
				}
			})
			require.InDelta(t, want, mean, 4*se+printed(want), "λ %v, L %v, shift %v", c.Lambda, c.L, shift)
		}
	}
}
