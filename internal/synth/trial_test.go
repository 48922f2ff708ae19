package synth_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/synth"
)

func defaultRules() *care.Rules {
	return &care.Rules{Thresholds: clinical.DefaultThresholds(), Limits: care.DefaultLimits(), Zone: time.UTC}
}

// The noise of the index is what was asked for, 7.7 points, and half of it is
// common to all items, as the definition of a stable dog says.
func TestTheNoiseIsWhatWasAskedFor(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	noise := synth.QuietNoise()
	const n = 40_000
	var index, pain, mobility []float64
	for range n {
		i, err := clinical.IndexOf(noise.Answers(rng, 50)) // far from either end, so nothing is cut off
		require.NoError(t, err)
		index = append(index, float64(i.Total))
		pain, mobility = append(pain, float64(i.Pain)), append(mobility, float64(i.Mobility))
	}
	mean, sd := meanSD(index)
	require.InDelta(t, 50, mean, 0.2)
	require.InDelta(t, 7.7, sd, 0.1)
	// What the halves share is the common part: 0.5 × 7.7².
	mp, _ := meanSD(pain)
	mm, _ := meanSD(mobility)
	cov := 0.0
	for i := range pain {
		cov += (pain[i] - mp) * (mobility[i] - mm) / n
	}
	require.InDelta(t, 0.5*7.7*7.7, cov, 1.5)
}

func meanSD(x []float64) (mean, sd float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean) / float64(len(x)-1)
	}
	return mean, math.Sqrt(sd)
}

// The burden that the default rules promise: at most 5 % of a stable dog's
// check-ins open an alert, and a lasting rise of 20 points is caught within two
// answered check-ins in at least 90 %. Monte-Carlo error at this size: about
// 0.1 % and 1 %.
func TestTheDefaultRulesKeepTheirPromise(t *testing.T) {
	t.Parallel()
	r, err := synth.Trial(synth.TrialOptions{Rules: defaultRules(), Dogs: 1500, Weeks: 104, Seed: 1})
	require.NoError(t, err)
	t.Logf("stable %.2f %%, +20 within two %.1f %%", 100*r.StableFlaggedShare, 100*r.Steps[2].CaughtWithin2)
	require.LessOrEqual(t, r.StableFlaggedShare, 0.05)
	for _, s := range r.Stable {
		require.LessOrEqual(t, s.FlaggedShare, 0.05, "latent %v", s.Latent)
		require.Positive(t, s.FlaggedShare, "rules that never speak would pass")
	}
	require.Equal(t, 20.0, r.Steps[2].Points)
	require.GreaterOrEqual(t, r.Steps[2].CaughtWithin2, 0.90)
	for i := 1; i < len(r.Steps); i++ {
		require.Greater(t, r.Steps[i].CaughtWithin2, r.Steps[i-1].CaughtWithin2, "a larger step is caught more often")
	}
	require.Greater(t, r.Drift.Caught, 0.95)
}

func TestATrialIsTheSameOnAnyNumberOfCores(t *testing.T) {
	t.Parallel()
	run := func(seed uint64) synth.TrialReport {
		r, err := synth.Trial(synth.TrialOptions{Rules: defaultRules(), Dogs: 60, Weeks: 20, Seed: seed})
		require.NoError(t, err)
		return r
	}
	require.Equal(t, run(3), run(3))
	require.NotEqual(t, run(3), run(4))
}

func TestStricterRulesSpeakLess(t *testing.T) {
	t.Parallel()
	strict := defaultRules()
	strict.Thresholds.RiseMean, strict.Thresholds.RiseSingle = 16, 40
	usual, err := synth.Trial(synth.TrialOptions{Rules: defaultRules(), Dogs: 600, Weeks: 52, Seed: 5})
	require.NoError(t, err)
	less, err := synth.Trial(synth.TrialOptions{Rules: strict, Dogs: 600, Weeks: 52, Seed: 5})
	require.NoError(t, err)
	require.Less(t, less.StableFlaggedShare, usual.StableFlaggedShare)
	require.Less(t, less.Steps[2].CaughtWithin2, usual.Steps[2].CaughtWithin2)
}

func TestATrialRefusesSizesThatMeanNothing(t *testing.T) {
	t.Parallel()
	for _, o := range []synth.TrialOptions{{Dogs: 0, Weeks: 52}, {Dogs: 2_000_000, Weeks: 52}, {Dogs: 30, Weeks: 2}, {Dogs: 30, Weeks: 5000}} {
		o.Rules = defaultRules()
		_, err := synth.Trial(o)
		require.Error(t, err)
	}
}

// BenchmarkDogWeeks gives the figure as dog-weeks per second per core.
func BenchmarkDogWeeks(b *testing.B) {
	w := care.NewWatch(defaultRules())
	rng := rand.New(rand.NewPCG(1, 1))
	noise := synth.QuietNoise()
	at := int64(1767225600)
	for b.Loop() {
		at += 7 * 24 * 3600
		if at > 4_000_000_000 { // the last year a course accepts
			b.StopTimer()
			w, at = care.NewWatch(defaultRules()), 1767225600
			b.StartTimer()
		}
		if _, _, err := w.CheckIn(at, noise.Answers(rng, 30), 7*24*3600); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "dog-weeks/s/core")
}
