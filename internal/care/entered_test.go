package care_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
)

// enter is a check-in taken so many days ago, all items at one level.
func (k *talk) enter(l clinical.Level, daysAgo int) care.Result {
	return k.staff(care.Practice{CheckIn: &care.EnteredCheckIn{Items: level(l), Who: "Ruth on paper",
		On: k.now.AddDate(0, 0, -daysAgo).Unix()}})
}

func (k *talk) totals() []float64 {
	var list []float64
	for _, r := range k.house.Dogs[0].Course.Readings() {
		list = append(list, float64(r.Index.Total))
	}
	return list
}

func TestACheckInOnPaperIsWorkedInWhereItBelongs(t *testing.T) {
	t.Parallel()
	k := watched(t)
	k.week(1)
	k.week(2)
	k.now = k.now.AddDate(0, 0, 7)
	k.week(3)
	res := k.enter(4, 10)
	require.Equal(t, care.PracticeDone, res.Reason, res.Refusal)
	require.Equal(t, []float64{25, 50, 100, 75}, k.totals())
	require.Equal(t, uint16(4), k.house.Dogs[0].Done)
	i := slices.IndexFunc(res.Facts, func(f care.Fact) bool { return f.Kind == care.FactReading })
	require.Equal(t, k.now.AddDate(0, 0, -10).Unix(), res.Facts[i].Reading.At)
	require.Equal(t, 100.0, res.Facts[i].Number)
	entered := slices.IndexFunc(res.Facts, func(f care.Fact) bool { return f.Code == "entered" })
	require.Equal(t, "Ruth on paper", res.Facts[entered].Text)
}

func TestWhatCanNotBeEntered(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		do      func(k *talk) care.Result
		refusal string
	}{
		{"still to come", func(k *talk) care.Result { return k.enter(1, -1) }, "That date is still to come."},
		{"too long ago", func(k *talk) care.Result { return k.enter(1, 16) }, "more than 14 days ago"},
		{"a day that has one", func(k *talk) care.Result { k.week(1); k.now = k.now.AddDate(0, 0, 7); k.week(1); return k.enter(2, 14) }, "There is a check-in of that day already."},
		{"before a change of plan", func(k *talk) care.Result {
			for range 3 {
				k.week(1)
			}
			k.staff(care.Practice{Plan: &care.PlanChange{Dog: "Bramble", Action: care.PlanStart, What: "hydrotherapy", Area: care.AreaTherapy, Comfort: true}})
			k.week(1)
			return k.enter(2, 9)
		}, "The plan has changed since"},
		{"a course that reaches too far back", func(k *talk) care.Result {
			for range 27 {
				k.week(1)
			}
			return k.enter(2, 10)
		}, "reaches too far back"},
		{"a weight still to come", func(k *talk) care.Result {
			return k.staff(care.Practice{Weigh: &care.EnteredWeight{Grams: 30_000, On: k.now.AddDate(0, 0, 1).Unix()}})
		}, "That date is still to come."},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := watched(t)
			res := c.do(k)
			require.Equal(t, care.PracticeRefused, res.Reason)
			require.Contains(t, res.Refusal, c.refusal)
			require.Empty(t, res.Facts, "a refusal keeps nothing")
		})
	}
}

func (k *talk) correct(c care.Correction) care.Result {
	return k.staff(care.Practice{Correct: &c})
}

func TestACheckInIsCorrectedAndWithdrawn(t *testing.T) {
	t.Parallel()
	k := watched(t)
	for range 8 {
		k.week(1)
	}
	k.week(3) // index 75, wrongly
	rise := k.open(care.Rise)
	require.NotNil(t, rise)
	wrong := k.now.Unix()
	right := level(1)
	res := k.correct(care.Correction{At: wrong, Items: &right, Why: "scored for the other dog"})
	require.Equal(t, care.PracticeDone, res.Reason, res.Refusal)
	require.Equal(t, []float64{25, 25, 25, 25, 25, 25, 25, 25, 25}, k.totals())
	f := res.Facts[0]
	require.Equal(t, care.FactCorrected, f.Kind)
	require.Equal(t, "check-in", f.Code)
	require.Equal(t, "scored for the other dog", f.Text)
	require.Equal(t, 75.0, f.Number, "what it was")
	require.Equal(t, clinical.Score(25), f.Reading.Index.Total)
	require.True(t, k.open(care.Rise).IsOpen(), "a person closes it")
	require.Contains(t, k.open(care.Rise).Sentence, "corrected since: index now 25.0, usual 25.0")

	res = k.correct(care.Correction{At: wrong, Withdraw: true, Why: "not this dog at all"})
	require.Equal(t, "check-in withdrawn", res.Facts[0].Code)
	require.Len(t, k.totals(), 8)
	res = k.correct(care.Correction{At: wrong, Withdraw: true, Why: "again"})
	require.Equal(t, "There is no such check-in, or it has been withdrawn already.", res.Refusal)

	for refusal, c := range map[string]care.Correction{
		"Please say what was wrong, for whoever reads this later.":     {At: k.now.AddDate(0, 0, -7).Unix(), Items: &right},
		"Nothing was changed: the answers are as they were.":           {At: k.now.AddDate(0, 0, -7).Unix(), Items: &right, Why: "x"},
		"There is no such check-in, or it has been withdrawn already.": {At: 5, Items: &right, Why: "x"},
	} {
		require.Equal(t, refusal, k.correct(c).Refusal)
	}
}

func TestACorrectionMayRaiseWhatWasMissed(t *testing.T) {
	t.Parallel()
	k := watched(t)
	for range 9 {
		k.week(1)
	}
	require.Nil(t, k.open(care.Rise))
	right := level(3)
	k.correct(care.Correction{At: k.now.Unix(), Items: &right, Why: "read the other way round"})
	require.NotNil(t, k.open(care.Rise))
}

// In a course that is full the newest check-in alone can be changed; taken out
// it stays as one without answers, and what is older is not asked for again.
func TestTheNewestOfALongCourseIsWithdrawn(t *testing.T) {
	t.Parallel()
	k := watched(t)
	for range 30 {
		k.week(1)
	}
	require.Equal(t, care.PracticeDone, k.correct(care.Correction{At: k.now.Unix(), Withdraw: true, Why: "wrong dog"}).Reason)
	require.Len(t, k.totals(), 26)
	last, _ := k.house.Dogs[0].Course.Last()
	require.False(t, last.Index.Scored)
	require.True(t, k.house.Dogs[0].Forgot)
	right := level(2)
	require.Contains(t, k.correct(care.Correction{At: k.now.AddDate(0, 0, -14).Unix(), Items: &right, Why: "x"}).Refusal, "reaches too far back")
}

func TestWeightsAreEnteredLaterCorrectedAndWithdrawn(t *testing.T) {
	t.Parallel()
	k := watched(t)
	k.now = k.now.AddDate(0, 0, 14)
	weigh := func(g int64, daysAgo int) care.Result {
		return k.staff(care.Practice{Weigh: &care.EnteredWeight{Grams: g, Scale: clinical.Clinic, On: k.now.AddDate(0, 0, -daysAgo).Unix()}})
	}
	grams := func() []int64 {
		var list []int64
		for _, w := range k.house.Dogs[0].Weights {
			list = append(list, int64(w.Grams))
		}
		return list
	}
	weigh(30_000, 0)
	res := weigh(31_000, 5)
	require.Equal(t, []int64{31_000, 30_000}, grams())
	require.Equal(t, "lee", res.Facts[0].By)
	require.NotEmpty(t, res.Facts[0].ID, "when it was taken")

	at := k.now.AddDate(0, 0, -5).Unix()
	res = k.correct(care.Correction{Weight: true, At: at, Grams: 30_500, Why: "misread"})
	require.Equal(t, []int64{30_500, 30_000}, grams())
	require.Equal(t, "weight", res.Facts[0].Code)
	require.Equal(t, 30_500.0, res.Facts[0].Number)
	require.Equal(t, "A dog's weight is above 0 and at most 200 kg.", k.correct(care.Correction{Weight: true, At: at, Grams: 300_000, Why: "x"}).Refusal)
	require.Equal(t, "Nothing was changed: the weight is as it was.", k.correct(care.Correction{Weight: true, At: at, Grams: 30_500, Why: "x"}).Refusal)
	k.correct(care.Correction{Weight: true, At: at, Withdraw: true, Why: "another dog"})
	require.Equal(t, []int64{30_000}, grams())
	require.Contains(t, k.correct(care.Correction{Weight: true, At: at, Withdraw: true, Why: "again"}).Refusal, "no such weight")
}

// A check-in taken by telephone stands in for the one that the owner was asked
// for: nobody is reminded of it.
func TestAnEnteredCheckInTakesTheOpenOneBack(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	k.dogs = []care.EnrolledDog{{Name: "Bramble"}}
	k.enrolled()
	k.owner("yes")
	require.NotNil(t, k.house.Contacts[0].Talk.Open)
	k.enter(1, 0)
	require.Nil(t, k.house.Contacts[0].Talk.Open)
	k.sent = nil
	k.moveTo(k.now.AddDate(0, 0, 2))
	require.Empty(t, k.sent)
	require.Zero(t, k.house.Dogs[0].Missed)
}
