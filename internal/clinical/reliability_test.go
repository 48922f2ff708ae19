package clinical_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/clinical"
)

// Source: Shrout and Fleiss 1979; mean of four ratings from memory.
func TestAgreementShroutFleiss(t *testing.T) {
	var f struct {
		Rows                                     [][]float64
		BMS, WMS, JMS, EMS                       float64
		ICC11, ICC21, ICC31, ICC1K, ICC2K, ICC3K float64
	}
	published(t, "icc-shrout-fleiss.json", &f)
	a, err := clinical.AgreementOf(f.Rows)
	require.NoError(t, err)
	for _, c := range [][2]float64{
		{f.BMS, a.Between}, {f.WMS, a.Within}, {f.JMS, a.Occasion}, {f.EMS, a.Error},
		{f.ICC11, a.OneWay}, {f.ICC21, a.Random}, {f.ICC31, a.Fixed},
		{f.ICC1K, a.OneWayK}, {f.ICC2K, a.RandomK}, {f.ICC3K, a.FixedK},
	} {
		near(t, c[0], c[1], 5.1e-5, "mean squares and correlations")
	}
}

// Source: Weir 2005, data set A.
func TestMeasurementErrorWeir(t *testing.T) {
	var f struct {
		Trial1, Trial2                []float64
		Published                     float64 `json:"sem_published"`
		Subjects                      float64 `json:"ms_subjects"`
		Trials                        float64 `json:"ms_trials"`
		Error                         float64 `json:"ms_error"`
		SEM, ICC11, ICC21, ICC31, SDC float64
	}
	published(t, "measurement-error-weir.json", &f)
	rows := make([][]float64, len(f.Trial1))
	for i := range rows {
		rows[i] = []float64{f.Trial1[i], f.Trial2[i]}
	}
	a, err := clinical.AgreementOf(rows)
	require.NoError(t, err)
	near(t, f.Published, a.Standard, 0.05, "published SEM")
	near(t, f.SEM, a.Standard, 5e-4, "SEM")
	near(t, f.Subjects, a.Between, 0.005, "subjects")
	near(t, f.Trials, a.Occasion, 0.005, "trials")
	near(t, f.Error, a.Error, 5e-4, "error")
	near(t, f.ICC11, a.OneWay, 5e-4, "ICC(1,1)")
	near(t, f.ICC21, a.Random, 5e-4, "ICC(2,1)")
	near(t, f.ICC31, a.Fixed, 5e-4, "ICC(3,1)")
	near(t, f.SDC, clinical.SmallestDetectable(a.Standard), 0.005, "SDC")
}

// Source: Bland and Altman, Lancet 1986.
func TestRepeatabilityBlandAltman(t *testing.T) {
	var f struct {
		Wright1, Wright2, Mini1, Mini2 []float64
		Mean                           float64 `json:"difference_mean"`
		SD                             float64 `json:"difference_sd"`
		Low, High                      float64
		WrightSW                       float64 `json:"wright_sw"`
		WrightR                        float64 `json:"wright_repeatability"`
		WrightICC                      float64 `json:"wright_icc11"`
		MiniSW                         float64 `json:"mini_sw"`
		MiniR                          float64 `json:"mini_repeatability"`
		MiniICC                        float64 `json:"mini_icc11"`
	}
	published(t, "agreement-bland-altman.json", &f)
	l, err := clinical.LimitsOfAgreement(f.Wright1, f.Mini1)
	require.NoError(t, err)
	near(t, f.Mean, l.Mean, 0.005, "mean difference")
	near(t, f.SD, l.SD, 0.005, "SD")
	near(t, f.Low, l.Low, 0.011, "lower limit")
	near(t, f.High, l.High, 0.011, "upper limit")
	pairs := func(a, b []float64) [][]float64 {
		rows := make([][]float64, len(a))
		for i := range a {
			rows[i] = []float64{a[i], b[i]}
		}
		return rows
	}
	w, err := clinical.RepeatabilityOf(pairs(f.Wright1, f.Wright2))
	require.NoError(t, err)
	near(t, f.WrightSW, w.Within, 0.005, "within-subject SD")
	near(t, f.WrightR, w.Coefficient, 0.05, "repeatability")
	near(t, f.WrightICC, w.OneWay, 5e-4, "ICC(1,1)")
	m, err := clinical.RepeatabilityOf(pairs(f.Mini1, f.Mini2))
	require.NoError(t, err)
	near(t, f.MiniSW, m.Within, 0.005, "within-subject SD")
	near(t, f.MiniR, m.Coefficient, 0.05, "repeatability")
	near(t, f.MiniICC, m.OneWay, 5e-4, "ICC(1,1)")
	require.True(t, m.Low < m.Within && m.Within < m.High)
}

// The interval of the within-subject SD must hold the truth 95 times of 100, also
// where subjects have different numbers of readings. Checked by simulation.
func TestRepeatabilityIntervalCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	const trials, truth = 2000, 7.7
	covered, icc := 0, 0.0
	for range trials {
		rows := make([][]float64, 20)
		for i := range rows {
			level := 30 + 15*rng.NormFloat64()
			for range 2 + i%3 {
				rows[i] = append(rows[i], level+truth*rng.NormFloat64())
			}
		}
		r, err := clinical.RepeatabilityOf(rows)
		require.NoError(t, err)
		if r.Low <= truth && truth <= r.High {
			covered++
		}
		icc += r.OneWay / trials
	}
	require.InDelta(t, 0.95, float64(covered)/trials, 4*0.0049)
	// 15² ÷ (15² + 7.7²) = .79; the estimate is a little low in small samples.
	require.InDelta(t, 0.791, icc, 0.02)
}

// Source: Cohen 1968.
func TestWeightedKappa(t *testing.T) {
	var f struct {
		Table                                           [][]float64
		Kappa, Symmetric, Asymmetric, Linear, Quadratic float64
		SW                                              [][]float64 `json:"symmetric_weights"`
		AW                                              [][]float64 `json:"asymmetric_weights"`
	}
	published(t, "kappa-cohen.json", &f)
	for _, c := range []struct {
		want    float64
		weights [][]float64
	}{
		{f.Kappa, clinical.DistanceWeights(3, 0)},
		{f.Symmetric, f.SW}, {f.Asymmetric, f.AW},
		{f.Linear, clinical.DistanceWeights(3, 1)}, {f.Quadratic, clinical.DistanceWeights(3, 2)},
	} {
		got, err := clinical.WeightedKappa(f.Table, c.weights)
		require.NoError(t, err)
		near(t, c.want, got, 5.1e-6, "kappa")
		// Counts give the same as proportions.
		counts := make([][]float64, 3)
		for i := range counts {
			for _, p := range f.Table[i] {
				counts[i] = append(counts[i], 200*p)
			}
		}
		again, err := clinical.WeightedKappa(counts, c.weights)
		require.NoError(t, err)
		near(t, got, again, 1e-12, "counts")
	}
}

// Source: StatsBase documentation and a teaching example.
func TestAlpha(t *testing.T) {
	var f struct {
		Covariance  [][]float64
		Alpha       float64
		Dropped     []float64
		Scores      [][]float64
		ScoresAlpha float64 `json:"scores_alpha"`
	}
	published(t, "alpha.json", &f)
	got, err := clinical.Alpha(f.Covariance)
	require.NoError(t, err)
	near(t, f.Alpha, got, 5e-5, "alpha")
	require.Len(t, f.Dropped, 4)
	for i, want := range f.Dropped {
		got, err := clinical.Alpha(clinical.WithoutItem(f.Covariance, i))
		require.NoError(t, err)
		near(t, want, got, 5.1e-5, "without item %d", i+1)
	}
	got, err = clinical.Alpha(clinical.Covariance(f.Scores))
	require.NoError(t, err)
	near(t, f.ScoresAlpha, got, 1e-9, "alpha of raw scores")
}

func TestReliabilityRefusesWhatHasNoAnswer(t *testing.T) {
	_, err := clinical.AgreementOf([][]float64{{1, 2}})
	require.ErrorIs(t, err, clinical.ErrTooFew)
	_, err = clinical.AgreementOf([][]float64{{1, 2}, {1}})
	require.ErrorIs(t, err, clinical.ErrTooFew)
	_, err = clinical.AgreementOf([][]float64{{3, 3}, {3, 3}})
	require.ErrorIs(t, err, clinical.ErrNoSpread)
	_, err = clinical.RepeatabilityOf([][]float64{{1, 2}, {1}})
	require.ErrorIs(t, err, clinical.ErrTooFew)
	_, err = clinical.Alpha([][]float64{{0, 0}, {0, 0}})
	require.ErrorIs(t, err, clinical.ErrNoSpread)
	_, err = clinical.Alpha([][]float64{{1}})
	require.ErrorIs(t, err, clinical.ErrTooFew)
	_, err = clinical.WeightedKappa([][]float64{{1, 0}, {0, 0}}, clinical.DistanceWeights(2, 1))
	require.ErrorIs(t, err, clinical.ErrNoSpread)
	_, err = clinical.LimitsOfAgreement([]float64{1}, []float64{1})
	require.ErrorIs(t, err, clinical.ErrTooFew)
}
