package clinical_test

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/clinical"
)

// readings are weekly check-ins with these answers everywhere: index 25 × level.
func readings(from int64, levels ...clinical.Level) []clinical.Reading {
	out := make([]clinical.Reading, len(levels))
	for i, l := range levels {
		items := all(l)
		index, _ := clinical.IndexOf(items)
		out[i] = clinical.Reading{At: from + int64(i)*week, Items: items, Index: index}
	}
	return out
}

func TestEffectOfAChange(t *testing.T) {
	th := clinical.DefaultThresholds()
	change := clinical.Change{At: start + 8*week, Alters: true}
	course := func(levels ...clinical.Level) []clinical.Reading { return readings(start, levels...) }
	cases := []struct {
		name    string
		r       []clinical.Reading
		verdict clinical.EffectVerdict
		gain    float64
		n       [2]int
	}{
		{"better; the four bedding-in weeks don't count",
			course(3, 3, 3, 3, 3, 3, 3, 3, 4, 4, 4, 4, 2, 2, 2, 2), clinical.EffectBetter, 25, [2]int{8, 4}},
		{"worse", course(1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 2, 2, 2, 2), clinical.EffectWorse, -25, [2]int{8, 4}},
		{"no change", course(2, 2, 2, 2, 2, 2, 2, 2, 0, 0, 0, 0, 2, 2, 2), clinical.EffectUnclear, 0, [2]int{8, 3}},
		{"nothing after yet", course(2, 2, 2, 2, 2, 2, 2, 2, 1), clinical.EffectTooFew, 0, [2]int{8, 0}},
		{"one after is too few", course(2, 2, 2, 2, 2, 2, 2, 2, 1, 1, 1, 1, 1), clinical.EffectTooFew, 25, [2]int{8, 1}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			e := clinical.EffectOf(th, 7.7, c.r, change)
			require.Equal(t, c.verdict.String(), e.Verdict.String())
			require.Equal(t, c.gain, e.MedianGain)
			require.Equal(t, c.gain, e.MeanGain)
			require.Equal(t, c.n, [2]int{e.BeforeN, e.AfterN})
			require.Equal(t, 10.0, e.Meaningful)
			require.Equal(t, clinical.CaveatPlacebo, e.Caveats[0])
			noNaN(t, reflect.ValueOf(e))
		})
	}
	e := clinical.EffectOf(th, 7.7, cases[0].r, change)
	require.Equal(t, 1.0, e.Overlap.NAP, "every reading after is below every one before")
	require.InDelta(t, 1.96*7.7*math.Sqrt(1.0/8+1.0/4), e.Noise, 1e-9)
}

func TestEffectWithinNoiseIsNotCalledBetter(t *testing.T) {
	th := clinical.DefaultThresholds()
	r := append(readings(start, 2), readings(start+week, 1, 1)...)
	e := clinical.EffectOf(th, 20, r, clinical.Change{At: start + week})
	require.Equal(t, 25.0, e.MeanGain)
	require.Greater(t, e.Noise, 25.0)
	require.Equal(t, clinical.EffectUnclear, e.Verdict)
}

func TestEffectCaveats(t *testing.T) {
	th := clinical.DefaultThresholds()
	steady := readings(start, 3, 3, 3, 3, 3, 3, 1, 1, 1, 1)
	ch := clinical.Change{At: start + 6*week}
	require.Equal(t, []clinical.Caveat{clinical.CaveatPlacebo}, clinical.EffectOf(th, 7.7, steady, ch).Caveats)

	ch.OtherStart = []int64{ch.At - 14*day}
	require.Contains(t, clinical.EffectOf(th, 7.7, steady, ch).Caveats, clinical.CaveatTogether)
	ch.OtherStart = []int64{ch.At - 15*day, ch.At + 15*day}
	require.NotContains(t, clinical.EffectOf(th, 7.7, steady, ch).Caveats, clinical.CaveatTogether)

	falling := readings(start, 4, 4, 3, 3, 2, 2, 1, 1, 1, 0)
	require.Contains(t, clinical.EffectOf(th, 7.7, falling, ch).Caveats, clinical.CaveatTrend)

	dayZero := readings(start, 3, 1, 1)
	dayZero[0].Before = true
	got := clinical.EffectOf(th, 7.7, dayZero, clinical.Change{At: start}).Caveats
	require.Equal(t, []clinical.Caveat{clinical.CaveatPlacebo, clinical.CaveatDayZero, clinical.CaveatFewAfter}, got)

	require.Contains(t, clinical.CaveatPlacebo.Text(), "39.7 %")
	for c := range clinical.CaveatDayZero + 1 {
		require.NotEmpty(t, c.Text())
		require.NotEqual(t, "?", c.String())
	}
	require.Empty(t, clinical.Caveat(99).Text())
}

func TestEffectKeepsToItsWindow(t *testing.T) {
	th := clinical.DefaultThresholds()
	r := readings(start, 4, 4, 2, 2, 1, 1, 0, 0)
	e := clinical.EffectOf(th, 4, r, clinical.Change{Since: start + 2*week, At: start + 4*week, Until: start + 6*week})
	require.Equal(t, [2]int{2, 2}, [2]int{e.BeforeN, e.AfterN})
	require.Equal(t, 25.0, e.MeanGain)
}

func TestEffectWhenNothingChangedIsRarelyCalledOne(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 42))
	th := clinical.DefaultThresholds()
	const trials = 3000
	called := 0
	for range trials {
		r := make([]clinical.Reading, 16)
		for i := range r {
			r[i] = clinical.Reading{At: start + int64(i)*week}
			r[i].Index.Scored = true
			r[i].Index.Total = clinical.Score(40 + 7.7*rng.NormFloat64())
		}
		switch clinical.EffectOf(th, 7.7, r, clinical.Change{At: start + 8*week}).Verdict {
		case clinical.EffectBetter, clinical.EffectWorse:
			called++
		}
	}
	// Ten points are 2.6 standard errors of eight against eight: about 1 %.
	require.Less(t, float64(called)/trials, 0.02)
}

func TestGainByReview(t *testing.T) {
	th := clinical.DefaultThresholds()
	e := clinical.Effect{BeforeN: 8, AfterN: 3, MeanGain: 9.9}
	require.Equal(t, clinical.GainUnknown, clinical.GainByReview(th, e, start, start-1))
	require.Equal(t, clinical.NoGainReview, clinical.GainByReview(th, e, start, start))
	e.MeanGain = 10
	require.Equal(t, clinical.GainSeen, clinical.GainByReview(th, e, start, start))
	e.AfterN = 0
	require.Equal(t, clinical.GainUnknown, clinical.GainByReview(th, e, start, start))
}

func TestStaysHigh(t *testing.T) {
	th := clinical.DefaultThresholds()
	th.StaysAt = 50
	high := func(n int) []clinical.Reading {
		levels := make([]clinical.Level, n)
		for i := range levels {
			levels[i] = 2
		}
		return readings(start, levels...)
	}
	state, lowest, n := clinical.StaysHigh(th, high(13))
	require.Equal(t, clinical.NoGainStays, state, "13 weekly check-ins span twelve weeks; at the line counts")
	require.Equal(t, 50.0, lowest)
	require.Equal(t, 13, n)
	state, _, _ = clinical.StaysHigh(th, high(12))
	require.Equal(t, clinical.GainUnknown, state)

	r := high(20)
	r[12].Index.Total = 49
	state, _, n = clinical.StaysHigh(th, r)
	require.Equal(t, clinical.GainUnknown, state)
	require.Equal(t, 7, n)

	r = append(high(6), readings(start+30*week, 2, 2)...)
	state, _, _ = clinical.StaysHigh(th, r)
	require.Equal(t, clinical.GainUnknown, state, "two check-ins after half a year of silence say nothing of it")
	state, _, _ = clinical.StaysHigh(th, nil)
	require.Equal(t, clinical.GainUnknown, state)
}
