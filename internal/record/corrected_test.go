package record

import (
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
)

// What staff enter later, correct or withdraw stands in the history as the
// household's own course has it.
func TestHistoryFollowsWhatStaffPutRight(t *testing.T) {
	t.Parallel()
	s := newStory(t, care.EnrolledDog{Name: "Bramble"})
	items := func(l clinical.Level) clinical.Items {
		i := clinical.NoAnswers()
		for k := range i {
			i[k] = l
		}
		return i
	}
	for _, l := range []clinical.Level{1, 1, 3, 1, 2} {
		s.to(s.now.AddDate(0, 0, 7))
		s.enter(0, l)
	}
	s.does(care.Practice{By: "lee", CheckIn: &care.EnteredCheckIn{Items: items(0), Who: "Ruth on paper", On: s.now.AddDate(0, 0, -3).Unix()}})
	third := s.now.AddDate(0, 0, -14).Unix()
	one := items(1)
	s.does(care.Practice{By: "lee", Correct: &care.Correction{At: third, Items: &one, Why: "misread"}})
	s.does(care.Practice{By: "lee", Correct: &care.Correction{At: s.now.Unix(), Withdraw: true, Why: "another dog"}})
	s.does(care.Practice{By: "lee", Weigh: &care.EnteredWeight{Grams: 30_000}})
	s.does(care.Practice{By: "lee", Weigh: &care.EnteredWeight{Grams: 31_000, On: s.now.AddDate(0, 0, -4).Unix()}})
	s.does(care.Practice{By: "lee", Correct: &care.Correction{Weight: true, At: s.now.Unix(), Grams: 29_000, Why: "misread"}})
	s.does(care.Practice{By: "lee", Settings: &care.DogSettings{Numbers: []care.SetNumber{{Key: "rise_mean", Value: 12}}}})

	in := s.input()
	h, err := HistoryOf(in)
	require.NoError(t, err)
	d := &in.Household.Dogs[0]
	require.Equal(t, d.Course.Readings(), h.Readings)
	require.Len(t, h.Readings, 5)
	require.Equal(t, d.Weights, h.WeighIns())
	require.Equal(t, 31_000, int(h.Weights[0].Grams))
	require.Equal(t, 29_000, int(h.Weights[1].Grams))
	require.Len(t, h.Corrected, 3)
	require.Equal(t, Corrected{At: s.now.Unix(), Of: third, By: "lee", Why: "misread"}, h.Corrected[0])
	b := d.Course.Baseline(clinical.DefaultThresholds())
	require.Equal(t, b.Value, h.Baselines[len(h.Baselines)-1].Value)

	page := made(t, Timeline, in)
	for _, want := range []string{"check-in of", "misread", "check-in withdrawn of", "another dog", "weight of", "29.0 kg", "taken on", "rise_mean: 10.5 (the clinic's) → 12"} {
		page.has("body", want)
	}
}
