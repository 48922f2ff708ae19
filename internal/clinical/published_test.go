package clinical_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/clinical"
)

// published reads one file of published figures; each names its source.
func published(t *testing.T, name string, into any) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", name))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(b, into))
	var head struct{ Source string }
	require.NoError(t, json.Unmarshal(b, &head))
	require.NotEmpty(t, head.Source, "%s names no source", name)
}

// near compares with what was printed: half a unit of the last digit.
func near(t *testing.T, want, got, tolerance float64, what string, args ...any) {
	t.Helper()
	require.InDelta(t, want, got, tolerance, append([]any{what}, args...)...)
}

// Source: scoring manuals of two human quality-of-life questionnaires, from memory.
func TestHalfOfItems(t *testing.T) {
	var f struct {
		Cases []struct {
			Levels []*int   `json:"levels"`
			AtHalf *float64 `json:"at_least_half"`
			Beyond *float64 `json:"more_than_half"`
		}
	}
	published(t, "half-of-items.json", &f)
	require.NotEmpty(t, f.Cases)
	differ := false
	for _, c := range f.Cases {
		sum, answered := 0, 0
		for _, l := range c.Levels {
			if l != nil {
				sum, answered = sum+*l, answered+1
			}
		}
		got, scored := clinical.HalfScore(sum, answered, len(c.Levels))
		require.Equal(t, c.AtHalf != nil, scored, "%d of %d answered", answered, len(c.Levels))
		if c.AtHalf != nil {
			require.Equal(t, clinical.Score(*c.AtHalf), got)
		}
		// The two published rules part at exactly half; the cases must show it.
		differ = differ || (c.AtHalf != nil) != (c.Beyond != nil)
	}
	require.True(t, differ)
}

// Source: NIST/SEMATECH e-Handbook 6.3.2.4.
func TestEWMAChart(t *testing.T) {
	var f struct {
		Center, Sigma, Lambda, L, Upper, Lower float64
		Data, EWMA                             []float64
		UpperU                                 float64 `json:"upper_unrounded"`
		LowerU                                 float64 `json:"lower_unrounded"`
	}
	published(t, "ewma-nist.json", &f)
	c := clinical.EWMAChart{Center: f.Center, Sigma: f.Sigma, Lambda: f.Lambda, L: f.L}
	lower, upper := c.Limits()
	near(t, f.Upper, upper, 1e-4, "printed upper limit")
	near(t, f.Lower, lower, 1e-4, "printed lower limit")
	near(t, f.UpperU, upper, 5e-7, "upper limit")
	near(t, f.LowerU, lower, 5e-7, "lower limit")
	require.Len(t, f.EWMA, 20)
	z := c.Center
	for i, x := range f.Data {
		z = c.Next(z, x)
		near(t, f.EWMA[i], z, 0.0051, "average %d", i+1)
		require.True(t, z > lower && z < upper, "no value signals")
	}
}

// Source: NIST/SEMATECH e-Handbook 6.3.2.3.
func TestCUSUMChart(t *testing.T) {
	var f struct {
		Center, Sigma, K float64
		Limit            float64 `json:"h_units"`
		Data, High, Low  []float64
		First            int `json:"first_signal_group"`
	}
	published(t, "cusum-nist.json", &f)
	c := clinical.CUSUMChart{Center: f.Center, Sigma: f.Sigma, K: f.K, H: f.Limit / f.Sigma}
	near(t, f.Limit, c.Limit(), 1e-12, "limit")
	s, first := c.Start(), 0
	for i, x := range f.Data {
		s = c.Next(s, x)
		near(t, f.High[i], s.High, 1e-9, "high sum %d", i+1)
		near(t, f.Low[i], s.Low, 1e-9, "low sum %d", i+1)
		if first == 0 && (s.High > c.Limit() || s.Low > c.Limit()) {
			first = i + 1
		}
	}
	require.Equal(t, f.First, first)
}

// Source: Siegmund's approximation in Montgomery, from memory.
func TestSiegmund(t *testing.T) {
	type row struct{ H, Shift, ARL, Tolerance float64 }
	var f struct {
		K        float64
		OneSided []row `json:"one_sided"`
		TwoSided []row `json:"two_sided"`
	}
	published(t, "siegmund.json", &f)
	require.NotEmpty(t, f.OneSided)
	for _, r := range f.OneSided {
		near(t, r.ARL, clinical.SiegmundRunLength(r.Shift, f.K, r.H), r.Tolerance, "h %v shift %v", r.H, r.Shift)
	}
	require.NotEmpty(t, f.TwoSided)
	for _, r := range f.TwoSided {
		high, low := clinical.SiegmundRunLength(r.Shift, f.K, r.H), clinical.SiegmundRunLength(-r.Shift, f.K, r.H)
		near(t, r.ARL, clinical.TwoSidedRunLength(high, low), r.Tolerance, "h %v shift %v", r.H, r.Shift)
	}
	// At shift = k the formula has no value and its limit is taken.
	near(t, clinical.SiegmundRunLength(0.5+1e-5, 0.5, 5), clinical.SiegmundRunLength(0.5, 0.5, 5), 0.01, "limit")
}

// Source: NIST/SEMATECH e-Handbook 6.3.2.2.
func TestMovingRangeSigma(t *testing.T) {
	var f struct {
		Data               []float64
		Mean, Upper, Lower float64
		MeanRange          float64 `json:"mean_moving_range"`
	}
	published(t, "individuals-nist.json", &f)
	mean, ok := clinical.Mean(f.Data)
	require.True(t, ok)
	near(t, f.Mean, mean, 1e-9, "mean")
	sigma, ok := clinical.MovingRangeSigma(f.Data)
	require.True(t, ok)
	near(t, f.MeanRange/1.128, sigma, 1e-4, "sigma")
	near(t, f.Upper, mean+3*sigma, 1e-4, "upper limit")
	near(t, f.Lower, mean-3*sigma, 1e-4, "lower limit")
	_, ok = clinical.MovingRangeSigma([]float64{1})
	require.False(t, ok)
}

// Source: Jacobson and Truax 1991, from memory.
func TestReliableChange(t *testing.T) {
	var f struct {
		SD, Reliability, Before, After float64
		SE                             float64 `json:"standard_error"`
		SDiff                          float64 `json:"s_diff"`
		RC                             float64 `json:"reliable_change"`
		Minimum                        float64 `json:"minimum_change"`
	}
	published(t, "reliable-change.json", &f)
	se, ok := clinical.StandardError(f.SD, f.Reliability)
	require.True(t, ok)
	near(t, f.SE, se, 5e-5, "standard error")
	near(t, f.SDiff, math.Sqrt2*se, 5e-5, "standard error of a difference")
	rc, ok := clinical.ReliableChange(f.Before, f.After, se)
	require.True(t, ok)
	near(t, f.RC, rc, 5e-5, "reliable change")
	near(t, f.Minimum, clinical.SmallestDetectable(se), 0.005, "minimum change")
	// On the index a fall is better: the sign follows the scale.
	fall, _ := clinical.ReliableChange(f.After, f.Before, se)
	require.Equal(t, -rc, fall)
	_, ok = clinical.ReliableChange(1, 2, 0)
	require.False(t, ok)
	_, ok = clinical.StandardError(1, 1.1)
	require.False(t, ok)
}

// Source: SEM = SD·√(1 − r), SDC = 1.96·√2·SEM; de Vet et al. 2006, from memory.
func TestDefaultNoiseTable(t *testing.T) {
	var f struct{ Rows [][4]float64 }
	published(t, "default-noise.json", &f)
	require.Len(t, f.Rows, 15)
	for _, r := range f.Rows {
		sem, ok := clinical.StandardError(r[0], r[1])
		require.True(t, ok)
		near(t, r[2], sem, 0.0501, "SD %v reliability %v", r[0], r[1])
		near(t, r[3], clinical.SmallestDetectable(sem), 0.0501, "SD %v reliability %v", r[0], r[1])
	}
	sem, _ := clinical.StandardError(20, 0.85)
	near(t, sem, clinical.DefaultThresholds().SigmaDefault, 0.05, "the default is this table's middle")
}

// Source: US EPA 530/R-09-007 example 17-7; Helsel and Hirsch (from memory); Kendall 1970.
func TestTheilSenAndMannKendall(t *testing.T) {
	type set struct {
		X, Y                                             []float64
		Pairs, S                                         int
		Variance, Tau, Z, P, Slope, Intercept, Low, High float64
	}
	var f struct{ EPA, Outlier, Ties set }
	published(t, "trend.json", &f)

	s, ok := clinical.TheilSen(f.EPA.X, f.EPA.Y, 0.95)
	require.True(t, ok)
	require.Equal(t, f.EPA.Pairs, s.Pairs)
	near(t, f.EPA.Slope, s.PerUnit, 5e-5, "slope")
	near(t, f.EPA.Intercept, s.Intercept, 5e-5, "intercept")
	require.True(t, s.Interval)
	near(t, f.EPA.Low, s.Low, 5e-5, "lower limit")
	near(t, f.EPA.High, s.High, 5e-5, "upper limit")
	k := clinical.MannKendall(f.EPA.X, f.EPA.Y)
	require.Equal(t, f.EPA.S, k.S)
	near(t, f.EPA.Variance, k.Variance, 1e-9, "variance")
	near(t, f.EPA.Tau, k.TauB, 5e-5, "tau")
	near(t, f.EPA.Z, k.Z, 5e-5, "z")
	near(t, f.EPA.P, k.P, 5e-6, "p")

	s, ok = clinical.TheilSen(f.Outlier.X, f.Outlier.Y, 0.95)
	require.True(t, ok)
	near(t, f.Outlier.Slope, s.PerUnit, 1e-9, "slope with an outlier")
	k = clinical.MannKendall(f.Outlier.X, f.Outlier.Y)
	require.Equal(t, f.Outlier.S, k.S)
	near(t, f.Outlier.Tau, k.TauB, 5e-4, "tau with an outlier")

	k = clinical.MannKendall(f.Ties.X, f.Ties.Y)
	require.Equal(t, f.Ties.S, k.S)
	near(t, f.Ties.Tau, k.TauB, 5e-6, "tau-b with ties")
}

// Source: Parker, Vannest and Davis 2011; Parker et al. 2011; Tarlow 2017.
func TestOverlap(t *testing.T) {
	var f struct {
		Cases []struct {
			Name                 string
			Before, After        []float64
			NAP, Tau             float64
			TauU                 *float64 `json:"tau_u"`
			Better, Equal, Worse int
		}
	}
	published(t, "single-case.json", &f)
	require.Len(t, f.Cases, 3)
	for _, c := range f.Cases {
		o, ok := clinical.OverlapOf(c.Before, c.After, clinical.RiseIsBetter)
		require.True(t, ok)
		near(t, c.Tau, o.Tau, 5e-6, c.Name)
		if c.Better > 0 {
			require.Equal(t, []int{c.Better, c.Equal, c.Worse}, []int{o.Better, o.Equal, o.Worse}, c.Name)
			near(t, c.NAP, o.NAP, 5e-6, c.Name)
		}
		if c.TauU != nil {
			near(t, *c.TauU, o.TauU, 5e-6, c.Name)
		}
		fall, ok := clinical.OverlapOf(c.Before, c.After, clinical.FallIsBetter)
		require.True(t, ok)
		near(t, 1-o.NAP, fall.NAP, 1e-12, "a fall counts the other way")
	}
	_, ok := clinical.OverlapOf(nil, []float64{1}, clinical.FallIsBetter)
	require.False(t, ok)
}
