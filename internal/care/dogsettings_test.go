package care_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
)

func (k *talk) staff(p care.Practice) care.Result {
	p.By = "lee"
	return k.do(care.Event{Practice: &p})
}

func (k *talk) set(n ...care.SetNumber) care.Result {
	return k.staff(care.Practice{Settings: &care.DogSettings{Numbers: n}})
}

func (k *talk) cadence(kind care.PromptKind, cron string, gap int) care.Result {
	return k.staff(care.Practice{Settings: &care.DogSettings{Cadence: &care.SetDogsCadence{Kind: kind, Cron: cron, Gap: gap}}})
}

// settingFacts are the settings that a turn kept, as code: text.
func settingFacts(res care.Result) []string {
	var list []string
	for _, f := range res.Facts {
		if f.Kind == care.FactSetting {
			list = append(list, f.Code+": "+f.Text+" by "+f.By)
		}
	}
	return list
}

// After eight check-ins at 25 one at 50 is a rise by the clinic's thresholds
// (25 above at once; the mean of two 12.5 above).
func TestADogsOwnThresholdsDecide(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		set  []care.SetNumber
		want []care.AlertReason // after check-ins at 50 and 50
	}{
		{"the clinic's", nil, []care.AlertReason{care.Level, care.Rise, care.Drift, care.Jump}},
		{"a wider rise", []care.SetNumber{{Key: "rise_mean", Value: 30}, {Key: "rise_single", Value: 40}}, []care.AlertReason{care.Level, care.Drift, care.Jump}},
		{"a higher level", []care.SetNumber{{Key: "level_at", Value: 55}}, []care.AlertReason{care.Rise, care.Drift, care.Jump}},
		{"a smaller jump", []care.SetNumber{{Key: "jump_levels", Value: 1}}, []care.AlertReason{care.Level, care.Rise, care.Drift, care.Jump}},
		{"a wider drift", []care.SetNumber{{Key: "drift_width", Value: 6}}, []care.AlertReason{care.Level, care.Rise}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := watched(t)
			for range 8 {
				k.week(1)
			}
			if c.set != nil {
				require.Equal(t, care.PracticeDone, k.set(c.set...).Reason)
			}
			k.week(2)
			res := k.week(2)
			for _, r := range []care.AlertReason{care.Level, care.Rise, care.Drift} {
				require.Equal(t, contains(c.want, r), k.open(r) != nil, "%s", r)
			}
			require.Equal(t, k.house.Dogs[0].OwnNumbersText(), readingText(res), "the reading says by what it was judged")
		})
	}
}

func contains(list []care.AlertReason, r care.AlertReason) bool {
	for _, x := range list {
		if x == r {
			return true
		}
	}
	return false
}

func readingText(res care.Result) string {
	for _, f := range res.Facts {
		if f.Kind == care.FactReading {
			return f.Text
		}
	}
	return "no reading"
}

func TestThresholdsOfADogAreCheckedKeptAndTakenBack(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		set     []care.SetNumber
		refusal string
	}{
		{"unknown", []care.SetNumber{{Key: "sigma_floor", Value: 4}}, `"sigma_floor" is not a threshold that can be set for one dog.`},
		{"out of range", []care.SetNumber{{Key: "level_at", Value: 99}}, "High index, on two check-ins running: 99 is out of range; allowed is 20 to 95 points."},
		{"over above", []care.SetNumber{{Key: "level_clears_below", Value: 60}}, "A high index can't be over below 60 when it is high from 50 on: the first has to be the smaller."},
		{"single below mean", []care.SetNumber{{Key: "rise_single", Value: 9}}, "One check-in alone (9) can't count for less than two together (10.5)."},
		{"nothing", []care.SetNumber{{Key: "rise_mean", Clear: true}}, "Nothing was changed: every value is as it was."},
		{"one good, one bad", []care.SetNumber{{Key: "rise_mean", Value: 12}, {Key: "jump_levels", Value: 9}},
			"One item above its usual answer, twice running: 9 is out of range; allowed is 1 to 4 answer steps."},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := watched(t)
			res := k.set(c.set...)
			require.Equal(t, care.PracticeRefused, res.Reason)
			require.Equal(t, c.refusal, res.Refusal)
			require.Empty(t, k.house.Dogs[0].OwnNumbers)
			require.Empty(t, settingFacts(res))
		})
	}
	k := watched(t)
	require.Equal(t, []string{"level_at: 50 (the clinic's) → 40 by lee"}, settingFacts(k.set(care.SetNumber{Key: "level_at", Value: 40})))
	th := k.house.Dogs[0].Thresholds(clinical.DefaultThresholds())
	require.Equal(t, 40.0, th.LevelAt)
	require.Equal(t, 40.0, th.LevelClearsBelow, "never above the level itself")
	require.Equal(t, []care.OwnNumber{{Key: "level_at", Value: 40, By: "lee", At: k.now.Unix()}}, k.house.Dogs[0].OwnNumbers)
	require.Equal(t, []string{"level_at: 40 → 50 (the clinic's) by lee"}, settingFacts(k.set(care.SetNumber{Key: "level_at", Clear: true})))
	require.Equal(t, clinical.DefaultThresholds(), k.house.Dogs[0].Thresholds(clinical.DefaultThresholds()))
}

func TestAWatchMayKeepADogsOwnThresholds(t *testing.T) {
	t.Parallel()
	opened := func(own []care.OwnNumber) int {
		w := care.NewWatchOf(testRules(t), own)
		n := 0
		for i := range 10 {
			l := clinical.Level(1)
			if i >= 8 {
				l = 2
			}
			reasons, _, err := w.CheckIn(monday.AddDate(0, 0, 7*i).Unix(), level(l), 7*24*3600)
			require.NoError(t, err)
			n += len(reasons)
		}
		return n
	}
	require.Positive(t, opened(nil))
	require.Zero(t, opened([]care.OwnNumber{{Key: "rise_mean", Value: 40}, {Key: "rise_single", Value: 60}, {Key: "level_at", Value: 90}, {Key: "drift_width", Value: 6}}))
}

func (k *talk) dueAt(kind care.PromptKind) string {
	for _, d := range k.house.Dogs[0].Due {
		if d.Kind == kind && d.At != 0 {
			return time.Unix(d.At, 0).In(k.rules.Zone).Format("Mon 2 Jan 15:04")
		}
	}
	return "never"
}

func TestADogsOwnCadencePlacesTheNextPromptAtOnce(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	k.dogs = []care.EnrolledDog{{Name: "Bramble", Before: &clinical.Items{}}}
	k.enrolled()
	k.owner("yes")
	k.owner("0 0 0 0 0 0") // whatever the first check-in asks
	k.sent = nil
	require.Equal(t, "Tue 3 Mar 10:00", k.dueAt(care.PromptCheckIn))

	res := k.cadence(care.PromptCheckIn, "30 9 * * fri", 13)
	require.Equal(t, []string{"checkin: 0 10 * * 2, at least 6 days apart (the clinic's) → 30 9 * * fri, at least 13 days apart by lee"}, settingFacts(res))
	require.Equal(t, "Fri 6 Mar 09:30", k.dueAt(care.PromptCheckIn))
	k.moveTo(monday.AddDate(0, 0, 4))
	require.Equal(t, "Fri 20 Mar 09:30", k.dueAt(care.PromptCheckIn), "thirteen days apart")

	res = k.cadence(care.PromptCheckIn, "", 0)
	require.Equal(t, []string{"checkin: 30 9 * * fri, at least 13 days apart → 0 10 * * 2, at least 6 days apart (the clinic's) by lee"}, settingFacts(res))
	require.Equal(t, "Tue 17 Mar 10:00", k.dueAt(care.PromptCheckIn), "six days after Friday the 6th at the earliest, on a Tuesday")
	require.Empty(t, k.house.Dogs[0].OwnCadences)

	k.cadence(care.PromptWeighIn, "0 9 * * sat", 6)
	require.Equal(t, "Sat 14 Mar 09:00", k.dueAt(care.PromptWeighIn), "weighed on Thursday the 5th, and six days apart")
}

func TestADogsOwnCadenceIsRefusedInTheParsersWords(t *testing.T) {
	t.Parallel()
	k := watched(t)
	for _, c := range []struct {
		kind care.PromptKind
		cron string
		gap  int
		want string
	}{
		{care.PromptCheckIn, "0 25 * * 2", 6, `This cron expression can't be read: the hour "25" should be *, or 0 to 23`},
		{care.PromptCheckIn, "0 10 * *", 6, "A cron expression has five fields"},
		{care.PromptCheckIn, "0 10 30 2 *", 6, "This cron expression never fires"},
		{care.PromptCheckIn, "0 10 * * 2", 4000, "The gap must be 0 to 3660 days"},
		{care.PromptCheckIn, "* * * * *", 0, "The gap is at least 1 day"},
		{care.PromptReached, "0 10 * * 2", 6, "Only check-ins, weigh-ins and reassessments"},
		{care.PromptCheckIn, "", 0, "Nothing was changed"},
	} {
		was := k.dueAt(care.PromptCheckIn)
		res := k.cadence(c.kind, c.cron, c.gap)
		require.Equal(t, care.PracticeRefused, res.Reason, c.cron)
		require.Contains(t, res.Refusal, c.want)
		require.Equal(t, was, k.dueAt(care.PromptCheckIn))
	}
}

// A change of plan brings the reassessment to four weeks after it; a new time
// for reassessments does not put it off.
func TestAReassessmentBroughtForwardStays(t *testing.T) {
	t.Parallel()
	k := watched(t)
	k.staff(care.Practice{Plan: &care.PlanChange{Dog: "Bramble", Action: care.PlanStart, What: "hydrotherapy", Area: care.AreaTherapy, Comfort: true}})
	require.Equal(t, "Mon 30 Mar 10:00", k.dueAt(care.PromptReassessment))
	require.Equal(t, care.PracticeDone, k.cadence(care.PromptReassessment, "0 10 1 * *", 60).Reason)
	require.Equal(t, "Mon 30 Mar 10:00", k.dueAt(care.PromptReassessment))
}
