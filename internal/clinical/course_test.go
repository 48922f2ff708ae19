package clinical_test

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/clinical"
)

// dog is a course with a clock that moves on a week per check-in.
type dog struct {
	t      *testing.T
	th     clinical.Thresholds
	course clinical.Course
	at     int64
	open   bool // an index alert is open
}

func newDog(t *testing.T) *dog {
	d := &dog{t: t, th: clinical.DefaultThresholds(), at: start}
	d.course.BeginStretch(start, false)
	return d
}

// all is a check-in with the same level everywhere: index 25 × level.
func all(l clinical.Level) clinical.Items {
	var items clinical.Items
	for i := range items {
		items[i] = l
	}
	return items
}

// pain is a check-in with mobility at level and the pain items given.
func pain(mobility clinical.Level, a, b, c clinical.Level) clinical.Items {
	items := all(mobility)
	items[0], items[1], items[2] = a, b, c
	return items
}

func (d *dog) says(items clinical.Items) clinical.Judgement {
	d.t.Helper()
	j, err := d.course.Add(d.th, clinical.Reading{At: d.at, Items: items}, d.open)
	require.NoError(d.t, err)
	d.at += week
	return j
}

func (d *dog) saysTimes(n int, items clinical.Items) (last clinical.Judgement) {
	for range n {
		last = d.says(items)
	}
	return last
}

func TestBaselineGrowsFromNoneToFull(t *testing.T) {
	d := newDog(t)
	require.Equal(t, clinical.Baseline{}, d.says(all(1)).Baseline)
	d.says(all(2))
	j := d.says(all(0)) // the third is judged before it counts
	require.Equal(t, clinical.NoBaseline, j.Baseline.Kind)
	require.Equal(t, clinical.Baseline{Value: 25, Kind: clinical.Provisional, N: 3}, d.course.Baseline(d.th))
	j = d.saysTimes(5, all(1))
	require.Equal(t, clinical.Provisional, j.Baseline.Kind)
	require.Equal(t, 25.0, j.Baseline.Value, "the first three serve until eight stand")
	require.Equal(t, clinical.Baseline{Value: 25, Kind: clinical.Full, N: 8}, d.course.Baseline(d.th))
	d.saysTimes(4, all(4))
	require.Equal(t, 25.0, d.course.Baseline(d.th).Value, "later check-ins don't move it")
}

func TestBeforeTreatmentServesUntilThreeStand(t *testing.T) {
	d := newDog(t)
	for i := range int64(2) {
		_, err := d.course.Add(d.th, clinical.Reading{At: d.at + i*day, Items: all(clinical.Level(1 + i)), Before: true}, false)
		require.NoError(t, err)
	}
	d.at += week
	want := clinical.Baseline{Value: 37.5, Kind: clinical.BeforeTreatment, N: 2}
	require.Equal(t, want, d.says(all(1)).Baseline)
	require.Equal(t, want, d.says(all(1)).Baseline)
	require.Equal(t, want, d.says(all(1)).Baseline)
	require.Equal(t, clinical.Provisional, d.says(all(1)).Baseline.Kind)
}

func TestNewStretch(t *testing.T) {
	d := newDog(t)
	d.saysTimes(8, all(1))
	d.course.BeginStretch(d.at, true)
	old := clinical.Baseline{Value: 25, Kind: clinical.Full, N: 8, Earlier: true}
	for range 4 {
		j := d.says(all(0))
		require.Equal(t, old, j.Baseline, "the old one serves during bedding-in")
		require.NotZero(t, j.Notes&clinical.InBeddingIn)
	}
	for range 3 {
		j := d.says(all(0))
		require.Equal(t, old, j.Baseline)
		require.Zero(t, j.Notes&clinical.InBeddingIn)
	}
	require.Equal(t, clinical.Baseline{Value: 0, Kind: clinical.Provisional, N: 3}, d.says(all(0)).Baseline)
	d.saysTimes(4, all(0))
	require.Equal(t, clinical.Baseline{Value: 0, Kind: clinical.Full, N: 8}, d.says(all(0)).Baseline)
}

func TestSecondChangeDuringBeddingInKeepsTheOldBaseline(t *testing.T) {
	d := newDog(t)
	d.saysTimes(8, all(1))
	d.course.BeginStretch(d.at, true)
	d.saysTimes(2, all(2))
	d.course.BeginStretch(d.at, true)
	require.Equal(t, clinical.Baseline{Value: 25, Kind: clinical.Full, N: 8, Earlier: true}, d.course.Baseline(d.th))
}

func TestChangePlannedForLaterCountsNothingUntilThen(t *testing.T) {
	d := newDog(t)
	d.saysTimes(8, all(1))
	d.course.BeginStretch(d.at+3*week, false)
	j := d.saysTimes(3, all(0))
	require.NotZero(t, j.Notes&clinical.InBeddingIn)
	d.saysTimes(3, all(2))
	require.Equal(t, clinical.Baseline{Value: 50, Kind: clinical.Provisional, N: 3}, d.course.Baseline(d.th))
}

func TestLevel(t *testing.T) {
	d := newDog(t)
	d.saysTimes(8, all(1))
	require.False(t, d.says(all(2)).Signal(clinical.SignalLevel).Met, "once is not two running")
	s := d.says(all(2)).Signal(clinical.SignalLevel)
	require.True(t, s.Met)
	require.Zero(t, s.Excess)
	require.Equal(t, 50.0, s.Numbers.Threshold)
	// 45 to 50 neither holds nor clears.
	j := d.says(pain(2, 2, 2, 1)) // (41.67 + 50) ÷ 2 = 45.83
	s = j.Signal(clinical.SignalLevel)
	require.InDelta(t, 45.83, float64(j.Index.Total), 0.01)
	require.False(t, s.Met)
	require.False(t, s.Cleared)
	require.True(t, d.says(pain(2, 2, 1, 1)).Signal(clinical.SignalLevel).Cleared) // 41.67
}

func TestLevelIsSilentWhereTheDogIsAlwaysThere(t *testing.T) {
	d := newDog(t)
	d.saysTimes(8, pain(2, 2, 2, 1)) // 45.83: not below 45
	require.False(t, d.saysTimes(3, all(2)).Signal(clinical.SignalLevel).Met)
}

func TestRise(t *testing.T) {
	d := newDog(t)
	d.saysTimes(8, all(1))
	// One alone: 25 above.
	s := d.says(all(2)).Signal(clinical.SignalRise)
	require.True(t, s.Met)
	require.InDelta(t, 2, s.Excess, 1e-9, "the mean of the two is further beyond its line")
	require.False(t, s.Cleared)
	// The mean of two: (50 + 25) ÷ 2 = 37.5, 12.5 above.
	s = d.says(all(1)).Signal(clinical.SignalRise)
	require.True(t, s.Met)
	require.False(t, s.Numbers.Single)
	require.InDelta(t, 2, s.Excess, 1e-9)
	s = d.says(all(1)).Signal(clinical.SignalRise)
	require.True(t, s.Cleared)
	require.InDelta(t, -10.5, s.Excess, 1e-9)
}

func TestRiseAtTheThresholdExactly(t *testing.T) {
	th := clinical.DefaultThresholds()
	th.RiseMean = 12.5 // exact in these answers
	d := newDog(t)
	d.th = th
	d.saysTimes(8, all(1))
	j := d.saysTimes(2, pain(1, 2, 2, 2)) // 37.5 twice
	require.True(t, j.Signal(clinical.SignalRise).Met, "at the threshold counts")
	th.RiseMean = 12.6
	d = newDog(t)
	d.th = th
	d.saysTimes(8, all(1))
	require.False(t, d.saysTimes(2, pain(1, 2, 2, 2)).Signal(clinical.SignalRise).Met)
}

func TestProvisionalBaselineWidensThresholds(t *testing.T) {
	d := newDog(t)
	d.saysTimes(3, all(1))
	j := d.saysTimes(2, pain(1, 2, 2, 2)) // 12.5 above, 13.5 needed
	require.Equal(t, clinical.Provisional, j.Baseline.Kind)
	require.False(t, j.Signal(clinical.SignalRise).Met)
	require.InDelta(t, 25+13.5, j.Signal(clinical.SignalRise).Numbers.Threshold, 1e-9)
	require.InDelta(t, 53, j.Signal(clinical.SignalLevel).Numbers.Threshold, 1e-9)
	require.InDelta(t, 25+d.th.DriftWidth(7.7)+3, j.DriftLimit, 1e-9)
	require.False(t, d.saysTimes(2, all(2)).Signal(clinical.SignalLevel).Met, "50 is below 53")
}

func TestDriftLimitIsTheWrittenFormula(t *testing.T) {
	th := clinical.DefaultThresholds()
	require.InDelta(t, 2.7*7.7*math.Sqrt(0.2/1.8+1.0/8), th.DriftWidth(7.7), 1e-12)
	d := newDog(t)
	d.saysTimes(8, all(1))
	// 37.5 for ever: the average goes 25 + 12.5·(1 − .8ⁿ). Own noise is at its floor
	// of 4 by then, so that the limit is 25 + 5.25 and the third crosses it.
	want := []bool{false, false, true}
	for n, met := range want {
		j := d.says(pain(1, 2, 2, 2))
		require.InDelta(t, 25+12.5*(1-math.Pow(0.8, float64(n+1))), j.EWMA, 1e-9)
		require.InDelta(t, 25+th.DriftWidth(j.Sigma), j.DriftLimit, 1e-9)
		require.Equal(t, met, j.Signal(clinical.SignalDrift).Met, "check-in %d, σ %v", n+1, j.Sigma)
		require.Equal(t, !met, j.Signal(clinical.SignalDrift).Cleared)
	}
}

func TestJump(t *testing.T) {
	d := newDog(t)
	d.saysTimes(8, all(1))
	night := func(l clinical.Level) clinical.Items {
		items := all(1)
		items[clinical.Night] = l
		return items
	}
	require.False(t, d.says(night(3)).Signal(clinical.SignalJump).Met)
	s := d.says(night(3)).Signal(clinical.SignalJump)
	require.True(t, s.Met)
	require.Equal(t, clinical.Night, s.Item)
	require.Equal(t, clinical.Level(3), s.Numbers.Level)
	require.Equal(t, 1.0, s.Numbers.ItemBaseline)
	require.Equal(t, 1, s.Numbers.ItemsJumped)
	require.Zero(t, s.Excess)
	require.Equal(t, 25.0, d.says(night(4)).Signal(clinical.SignalJump).Excess, "one answer step is 25 points")

	unanswered := d.says(night(missing)).Signal(clinical.SignalJump)
	require.False(t, unanswered.Met)
	require.False(t, unanswered.Cleared, "silence about the item clears nothing")
	require.True(t, d.says(night(3)).Signal(clinical.SignalJump).Met, "and breaks no run")
	require.True(t, d.says(night(2)).Signal(clinical.SignalJump).Cleared)
}

func TestChangedOwnActivityStartsAfresh(t *testing.T) {
	d := newDog(t)
	d.saysTimes(8, all(1))
	d.course.ChangeOwnActivity(clinical.Own1, d.at)
	d.course.ChangeOwnActivity(clinical.Limping, d.at) // not an own activity: nothing happens
	_, kind := d.course.ItemBaseline(d.th, clinical.Own1)
	require.Equal(t, clinical.NoBaseline, kind)
	for _, item := range []clinical.Item{clinical.Own2, clinical.Limping} {
		value, kind := d.course.ItemBaseline(d.th, item)
		require.Equal(t, clinical.Full, kind)
		require.Equal(t, 1.0, value)
	}
	items := all(1)
	items[clinical.Own1] = 4
	require.False(t, d.saysTimes(3, items).Signal(clinical.SignalJump).Met, "four is what the new activity is like")
	value, kind := d.course.ItemBaseline(d.th, clinical.Own1)
	require.Equal(t, clinical.Provisional, kind)
	require.Equal(t, 4.0, value)
	require.Equal(t, 25.0, d.course.Baseline(d.th).Value, "the index keeps its baseline")
}

func TestOwnNoise(t *testing.T) {
	d := newDog(t)
	low, high := pain(1, 1, 1, 1), pain(1, 2, 2, 1) // 25 and 33.33
	for i := range 8 {
		j := d.says([]clinical.Items{low, high}[i%2])
		require.Equal(t, 7.7, j.Sigma)
		require.False(t, j.SigmaOwn)
	}
	j := d.says(low)
	require.True(t, j.SigmaOwn)
	require.InDelta(t, (100.0/12)/1.128, j.Sigma, 1e-9, "mean moving range ÷ 1.128")
	require.InDelta(t, 1.96*math.Sqrt2*j.Sigma, j.SDC, 1e-12)
	// What is said while an alert is open says nothing about ordinary noise.
	d.open = true
	d.says(all(4))
	d.says(all(0))
	d.open = false
	require.InDelta(t, (100.0/12)/1.128, d.says(low).Sigma, 1e-9)
}

func TestOwnNoiseHasAFloorAndSkipsWhatIsNotNoise(t *testing.T) {
	d := newDog(t)
	require.Equal(t, 4.0, d.saysTimes(9, all(1)).Sigma, "constant answers are not noiseless")

	// A dog whose owner only says SAME has shown no noise at all.
	d = newDog(t)
	for range 12 {
		_, err := d.course.Add(d.th, clinical.Reading{At: d.at, Items: all(1), Carried: true}, false)
		require.NoError(t, err)
		d.at += week
	}
	sigma, own := d.course.Sigma(d.th)
	require.Equal(t, 7.7, sigma)
	require.False(t, own)

	// The step from one stretch to the next is the change, not noise.
	d = newDog(t)
	d.saysTimes(8, all(3))
	d.course.BeginStretch(d.at, false)
	d.saysTimes(8, all(1))
	sigma, own = d.course.Sigma(d.th)
	require.True(t, own)
	require.Equal(t, 4.0, sigma)
}

func TestReadingThatBeginsAnAlertIsNotOrdinaryNoise(t *testing.T) {
	d := newDog(t)
	d.saysTimes(8, all(1))
	d.says(all(3)) // a rise by itself; nobody has opened an alert yet
	sigma, _ := d.course.Sigma(d.th)
	require.Equal(t, 4.0, sigma)
}

func TestSecondReadingOfADayReplacesTheFirst(t *testing.T) {
	for n := range 20 {
		once, twice := newDog(t), newDog(t)
		for _, d := range []*dog{once, twice} {
			for i := range n {
				d.says(all(clinical.Level(i % 3)))
			}
		}
		_, err := twice.course.Add(twice.th, clinical.Reading{At: twice.at, Items: all(4)}, false)
		require.NoError(t, err)
		want, err := once.course.Add(once.th, clinical.Reading{At: once.at + 3600, Items: all(1)}, false)
		require.NoError(t, err)
		got, err := twice.course.Add(twice.th, clinical.Reading{At: twice.at + 3600, Items: all(1)}, false)
		require.NoError(t, err)
		require.NotZero(t, got.Notes&clinical.ReplacedSameDay)
		got.Notes &^= clinical.ReplacedSameDay
		require.Equal(t, want, got)
		require.Equal(t, once.course, twice.course, "no trace is left after %d check-ins", n)
	}
}

func TestTheDayIsTheOwnersDay(t *testing.T) {
	// 23:30 and 00:30 UTC are one morning in Sydney (UTC+11) and two days in London.
	at := start + 23*3600 + 1800
	for _, c := range []struct {
		offset int
		want   int
	}{{11 * 3600, 1}, {0, 2}} {
		d := newDog(t)
		for _, a := range []int64{at, at + 3600} {
			_, err := d.course.Add(d.th, clinical.Reading{At: a, Day: clinical.LocalDay(a, c.offset), Items: all(1)}, false)
			require.NoError(t, err)
		}
		require.Equal(t, c.want, d.course.Past.Len())
	}
}

func TestDayZeroAndFirstCheckInOfOneDayBothStay(t *testing.T) {
	d := newDog(t)
	_, err := d.course.Add(d.th, clinical.Reading{At: start, Items: all(3), Before: true}, false)
	require.NoError(t, err)
	_, err = d.course.Add(d.th, clinical.Reading{At: start + 3600, Items: all(2)}, false)
	require.NoError(t, err)
	require.Equal(t, 2, d.course.Past.Len())
}

func TestBadReadingsAreNamedAndChangeNothing(t *testing.T) {
	d := newDog(t)
	d.saysTimes(5, all(1))
	was := d.course
	bad := all(1)
	bad[0] = 9
	for _, c := range []struct {
		r    clinical.Reading
		want error
	}{
		{clinical.Reading{At: d.at, Items: bad}, clinical.ErrLevel},
		{clinical.Reading{At: 0, Items: all(1)}, clinical.ErrTime},
		{clinical.Reading{At: math.MaxInt64, Items: all(1)}, clinical.ErrTime},
		{clinical.Reading{At: start, Items: all(1)}, clinical.ErrBeforeLast},
	} {
		_, err := d.course.Add(d.th, c.r, false)
		require.ErrorIs(t, err, c.want)
		require.Equal(t, was, d.course)
	}
}

func TestLongGapIsNotRunning(t *testing.T) {
	d := newDog(t)
	d.saysTimes(8, all(1))
	d.says(all(2))
	d.at += 12 * week
	j := d.says(all(2))
	require.NotZero(t, j.Notes&clinical.AfterGap)
	require.False(t, j.Signal(clinical.SignalLevel).Met)
	require.False(t, j.Signal(clinical.SignalRise).Numbers.PreviousKnown)
	require.True(t, d.says(all(2)).Signal(clinical.SignalLevel).Met)
}

func TestCheckInWithoutAnIndexLeavesIndexRulesWhereTheyWere(t *testing.T) {
	d := newDog(t)
	d.saysTimes(8, all(1))
	d.says(all(2))
	j := d.says(clinical.Items{2, missing, missing, 2, 2, 2, 2, 2})
	require.Equal(t, clinical.NotScored, j.Notes)
	for _, k := range []clinical.SignalKind{clinical.SignalLevel, clinical.SignalRise, clinical.SignalDrift} {
		require.False(t, j.Signal(k).Met || j.Signal(k).Cleared)
	}
	require.True(t, d.says(all(2)).Signal(clinical.SignalLevel).Met, "it broke no run")
}

func TestOneReadingAndConstantReadingsJudgeWithoutNaN(t *testing.T) {
	d := newDog(t)
	j := d.says(all(4))
	require.Equal(t, clinical.FirstReading, j.Notes)
	noNaN(t, reflect.ValueOf(j))
	for range 40 {
		j = d.says(all(4))
		noNaN(t, reflect.ValueOf(j))
		for _, s := range j.Signals {
			require.False(t, s.Met, "a dog that is always the same has no news")
		}
	}
}

// Whatever comes, nothing is NaN, a rule never both holds and clears, and the same
// readings give the same judgements again.
func TestAnyCourseIsFiniteConsistentAndRepeatable(t *testing.T) {
	for seed := range uint64(60) {
		first, second := randomCourse(t, seed), randomCourse(t, seed)
		require.Equal(t, first, second)
		for _, j := range first {
			noNaN(t, reflect.ValueOf(j))
			for _, s := range j.Signals {
				require.False(t, s.Met && s.Cleared)
			}
			require.GreaterOrEqual(t, j.Sigma, 4.0)
			require.LessOrEqual(t, j.EWMA, 100.0)
		}
	}
}

func randomCourse(t *testing.T, seed uint64) []clinical.Judgement {
	rng := rand.New(rand.NewPCG(seed, 9))
	d := newDog(t)
	var out []clinical.Judgement
	for range 80 {
		var items clinical.Items
		for i := range items {
			items[i] = clinical.Level(rng.IntN(7) - 2)
		}
		switch rng.IntN(12) {
		case 0:
			d.course.BeginStretch(d.at-int64(rng.IntN(20))*day, rng.IntN(2) == 0)
		case 1:
			d.course.ChangeOwnActivity(clinical.Own1, d.at)
		case 2:
			d.at += int64(rng.IntN(90)) * day
		case 3:
			d.at -= week // a second one that day
		}
		r := clinical.Reading{At: d.at, Items: items, Before: rng.IntN(15) == 0, Carried: rng.IntN(10) == 0}
		j, err := d.course.Add(d.th, r, rng.IntN(5) == 0)
		d.at += week
		if err != nil {
			require.ErrorIs(t, err, clinical.ErrBeforeLast)
			continue
		}
		out = append(out, j)
	}
	return out
}

func noNaN(t *testing.T, v reflect.Value) {
	t.Helper()
	switch v.Kind() {
	case reflect.Float64:
		require.False(t, math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0))
	case reflect.Struct:
		for i := range v.NumField() {
			noNaN(t, v.Field(i))
		}
	case reflect.Array, reflect.Slice:
		for i := range v.Len() {
			noNaN(t, v.Index(i))
		}
	}
}

func TestAddTakesNoMemory(t *testing.T) {
	d := newDog(t)
	require.Zero(t, testing.AllocsPerRun(100, func() {
		_, _ = d.course.Add(d.th, clinical.Reading{At: d.at, Items: all(1)}, false)
		d.at += week
	}))
}

func TestThresholdProblemsAreAllNamed(t *testing.T) {
	require.Empty(t, clinical.DefaultThresholds().Problems())
	th := clinical.DefaultThresholds()
	th.RiseMean, th.SigmaDefault, th.BaselineN = -1, math.NaN(), 99
	bad := th.Problems()
	require.Len(t, bad, 3)
	require.Equal(t, "RiseMean is -1; allowed is 0 to 100", bad[0].Error())
}
