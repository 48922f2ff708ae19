package care_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/signs"
)

// watched is a consenting household whose check-ins are entered by telephone,
// one a week, all items at one level.
func watched(t *testing.T, dogs ...care.EnrolledDog) *talk {
	k := newTalk(t)
	if dogs == nil {
		dogs = []care.EnrolledDog{{Name: "Bramble"}}
	}
	k.dogs = dogs
	k.rules.Cadences = care.Cadences{CheckIn: k.rules.Cadences.CheckIn, Digest: k.rules.Cadences.Digest}
	k.enrolled()
	k.do(care.Event{Practice: &care.Practice{By: "lee", Consent: &care.RecordConsent{State: care.Agreed, How: "in person"}}})
	k.house.Contacts[0].Talk = care.Conversation{}
	k.sent, k.told = nil, nil
	return k
}

func level(l clinical.Level) clinical.Items {
	var items clinical.Items
	for i := range items {
		items[i] = l
	}
	return items
}

func (k *talk) week(l clinical.Level) care.Result {
	k.now = k.now.AddDate(0, 0, 7)
	return k.do(care.Event{Practice: &care.Practice{By: "lee", CheckIn: &care.EnteredCheckIn{Items: level(l), Who: "Ruth by telephone"}}})
}

func (k *talk) open(r care.AlertReason) *care.Alert {
	for i := range k.house.Alerts {
		if k.house.Alerts[i].Reason == r && k.house.Alerts[i].IsOpen() {
			return &k.house.Alerts[i]
		}
	}
	return nil
}

func (k *talk) close(n uint16, o care.Outcome) care.Result {
	return k.do(care.Event{Practice: &care.Practice{By: "lee", Close: &care.AlertAction{Alert: n, Outcome: o}}})
}

func TestAnAlertOpensJoinsIsClosedStaysShutAndReopensWhenWorse(t *testing.T) {
	t.Parallel()
	k := watched(t)
	for range 8 {
		k.week(1) // index 25: the baseline
	}
	require.Empty(t, k.house.OpenItems())

	k.week(2) // index 50: 25 above at once
	rise := k.open(care.Rise)
	require.NotNil(t, rise)
	require.Equal(t, care.Today, rise.Urgency)
	require.Equal(t, "index 50.0, mean of last two 37.5, 12.5 above usual 25.0", rise.Sentence)
	n := rise.N

	k.week(2)
	require.Equal(t, n, k.open(care.Rise).N, "new evidence joins the open alert")
	require.Equal(t, uint16(1), k.open(care.Rise).Joined)
	require.NotNil(t, k.open(care.Level), "at 50 twice running from a baseline below 45")

	require.Equal(t, care.PracticeDone, k.close(n, care.Booked).Reason)
	k.week(2)
	require.Nil(t, k.open(care.Rise), "shut while it is no worse")
	k.week(3) // index 75; the mean of two rises from 50 to 62.5
	reopened := k.open(care.Rise)
	require.NotNil(t, reopened, "worse by 10 points and more opens it again")
	require.NotEqual(t, n, reopened.N)

	k.close(reopened.N, care.PlanChanged)
	k.week(1)
	k.week(1) // back at the baseline: the condition clears
	require.Nil(t, k.open(care.Rise))
	k.week(2)
	require.NotNil(t, k.open(care.Rise), "cleared in between, so the same rise is news again")
}

func TestTheLevelRuleClearsBelow45(t *testing.T) {
	t.Parallel()
	k := watched(t)
	for range 8 {
		k.week(1)
	}
	k.week(2)
	k.week(2)
	require.NotNil(t, k.open(care.Level))
	k.close(k.open(care.Level).N, care.Phoned)
	k.week(2)
	require.Nil(t, k.open(care.Level))
	k.week(1)
	k.week(2)
	require.Nil(t, k.open(care.Level), "one check-in is not two running")
	k.week(2)
	require.NotNil(t, k.open(care.Level))
}

func TestAQuietDogStillRaisesRedFlagAndSign(t *testing.T) {
	t.Parallel()
	k := watched(t)
	for range 8 {
		k.week(1)
	}
	k.do(care.Event{Practice: &care.Practice{By: "lee", Quiet: &care.QuietDog{Until: k.now.AddDate(0, 0, 60).Unix()}}})
	k.week(4)
	require.Nil(t, k.open(care.Rise))
	k.owner("he has had diarrhoea since yesterday")
	require.NotNil(t, k.open(care.SignAlert))
	k.owner("he just collapsed and can't get up")
	require.NotNil(t, k.open(care.RedFlag))
}

func TestAKnownSignCanBeQuietedAnEmergencyNever(t *testing.T) {
	t.Parallel()
	k := watched(t)
	until := k.now.AddDate(0, 1, 0).Unix()
	quiet := func(s signs.Sign, until int64) care.Result {
		return k.do(care.Event{Practice: &care.Practice{By: "lee", QuietSign: &care.QuietSign{Sign: s, Until: until}}})
	}
	require.Equal(t, care.PracticeRefused, quiet(signs.Collapse, until).Reason)
	require.Equal(t, care.PracticeRefused, quiet(signs.Diarrhoea, k.now.Unix()-1).Reason, "an end date is needed")
	require.Equal(t, care.PracticeDone, quiet(signs.Diarrhoea, until).Reason)
	k.owner("he has had diarrhoea since yesterday")
	require.Nil(t, k.open(care.SignAlert))
	k.now = k.now.AddDate(0, 2, 0)
	k.owner("he has had diarrhoea since yesterday")
	require.NotNil(t, k.open(care.SignAlert), "the end date has passed")
}

func TestCouldNotReachComesDueAgainAndNeverCloses(t *testing.T) {
	t.Parallel()
	k := watched(t)
	k.owner("he has had diarrhoea since yesterday")
	n := k.open(care.SignAlert).N
	require.Equal(t, care.PracticeDone, k.close(n, care.CouldNotReach).Reason)
	require.NotNil(t, k.open(care.SignAlert))
	k.told = nil
	k.moveTo(k.now.Add(3 * time.Hour))
	require.Len(t, k.told, 1)
	require.Equal(t, care.NoticeDueAgain, k.told[0].What)
}

func TestATodayAlertWaitsForOpening(t *testing.T) {
	t.Parallel()
	k := watched(t)
	k.now = time.Date(2026, 3, 6, 20, 0, 0, 0, k.rules.Zone) // Friday evening
	k.owner("he has had diarrhoea since yesterday")
	require.Empty(t, k.told)
	k.moveTo(time.Date(2026, 3, 9, 8, 29, 0, 0, k.rules.Zone))
	require.Empty(t, k.told)
	k.moveTo(time.Date(2026, 3, 9, 8, 31, 0, 0, k.rules.Zone))
	require.Len(t, k.told, 1)
	require.Equal(t, "lee", k.told[0].To)
}

func TestHandoverScoresNothingAndStillScreens(t *testing.T) {
	t.Parallel()
	k := watched(t)
	k.do(care.Event{Practice: &care.Practice{By: "lee", Write: &care.WriteOwner{Text: "How is the new bed?"}}})
	before := len(k.house.Dogs[0].Course.Readings())
	k.owner("2")
	require.Equal(t, before, len(k.house.Dogs[0].Course.Readings()))
	require.NotNil(t, k.open(care.Question))
	k.sent = nil
	k.owner("he cant breathe properly, gums are blue")
	require.NotNil(t, k.open(care.RedFlag))
	require.NotEmpty(t, k.sent)
	k.sent = nil
	k.moveTo(time.Date(2026, 3, 3, 10, 30, 0, 0, k.rules.Zone))
	for _, m := range k.sent {
		require.NotEqual(t, care.ForPrompt, m.Purpose, "prompts wait while staff are writing: %s", m.Text)
	}
}

func TestMissedDosesAndWhoAnswered(t *testing.T) {
	t.Parallel()
	k := watched(t)
	k.do(care.Event{Practice: &care.Practice{By: "lee", CheckIn: &care.EnteredCheckIn{Items: level(1), Doses: 2, Who: "Tom, the neighbour"}}})
	require.NotNil(t, k.open(care.Doses))
	found := false
	for _, f := range k.facts {
		found = found || f.Kind == care.FactPrompt && f.Text == "Tom, the neighbour" && f.By == "lee"
	}
	require.True(t, found)
}

func TestNoGainByReview(t *testing.T) {
	t.Parallel()
	k := watched(t)
	for range 8 {
		k.week(1)
	}
	k.do(care.Event{Practice: &care.Practice{By: "lee", Plan: &care.PlanChange{Dog: "Bramble", Action: care.PlanStart,
		What: "hydrotherapy", Area: care.AreaTherapy, Comfort: true}}})
	for range 7 {
		k.week(1)
	}
	require.Nil(t, k.open(care.NoGain), "not before its review")
	k.week(1)
	k.week(1)
	require.NotNil(t, k.open(care.NoGain))
	require.Contains(t, k.open(care.NoGain).Sentence, "hydrotherapy was meant to help")
}

func TestADogThatStaysHigh(t *testing.T) {
	t.Parallel()
	k := watched(t)
	for range 12 {
		k.week(2) // index 50
	}
	require.Nil(t, k.open(care.NoGain))
	k.week(2)
	require.Contains(t, k.open(care.NoGain).Sentence, "index at 50.0 or above on 13 check-ins over 12 weeks")
}

func TestUndeliveredEndsMonitoring(t *testing.T) {
	t.Parallel()
	k := watched(t, care.EnrolledDog{Name: "Bramble", Plan: []care.Entry{{What: "carprofen", Class: care.NSAID, Area: care.AreaPain}}})
	k.moveTo(time.Date(2026, 3, 3, 10, 1, 0, 0, k.rules.Zone))
	k.report("dead")
	require.Equal(t, care.Today, k.open(care.Stopped).Urgency)
}

// Two messages running that did not arrive end monitoring; two that we dropped
// ourselves, too late, say nothing about the telephone.
func TestWhatWeDroppedIsNotUndelivered(t *testing.T) {
	t.Parallel()
	for code, ends := range map[string]bool{"30003": true, care.CodeLate: false} {
		k := watched(t)
		for range 2 {
			k.owner("can you ring me please")
			k.do(care.Event{Report: &care.Report{Message: k.last.ID, Fate: care.Failed, Code: code}})
		}
		require.Equal(t, ends, k.open(care.Stopped) != nil, code)
	}
}

// A fate never moves backwards: reports come out of order and more than once.
func TestFatesNeverMoveBackwards(t *testing.T) {
	t.Parallel()
	k := watched(t)
	k.owner("can you ring me please")
	id := k.last.ID
	say := func(f care.Fate) care.Reason {
		return k.do(care.Event{Report: &care.Report{Message: id, Fate: f}}).Reason
	}
	require.Equal(t, care.FateRecorded, say(care.Delivered))
	require.Equal(t, care.FateStale, say(care.SentOut))
	require.Equal(t, care.FateStale, say(care.Delivered))
	require.Equal(t, care.FateStale, say(care.Failed))
	require.Equal(t, care.FateRecorded, say(care.Read))
	require.Equal(t, care.FateStale, k.do(care.Event{Report: &care.Report{Message: "another", Fate: care.Failed}}).Reason)
}

// Replay: the same events give the same household, alerts and messages.
func TestReplayGivesTheSame(t *testing.T) {
	t.Parallel()
	run := func() *talk {
		k := watched(t)
		for i := range 20 {
			k.week(clinical.Level(i % 4))
			k.owner([]string{"he is about the same", "sick twice today", "can you ring me", "2", "STOP", "START"}[i%6])
			k.moveTo(k.now.Add(26 * time.Hour))
		}
		return k
	}
	a, b := run(), run()
	require.Equal(t, a.house, b.house)
	require.Equal(t, a.facts, b.facts)
}

func TestAnEventIsTakenOnce(t *testing.T) {
	t.Parallel()
	k := watched(t)
	e := care.Event{Key: "sms/SM1", Message: &care.MessageIn{From: ownerAddress, ID: "SM1", Text: "he has diarrhoea"}}
	require.Equal(t, care.SignRaised, k.do(e).Reason)
	again := k.do(e)
	require.Equal(t, care.Repeated, again.Reason)
	require.Empty(t, again.Send)
	require.Equal(t, k.house.Seq, again.Household.Seq)
}

// A target worked out from a body score belongs to the weight of that day: it
// does not fall with the dog (26 kg at 8 of 9 is 20.0 kg: 26 / 1.3).
func TestATargetFromTheBodyScoreStays(t *testing.T) {
	t.Parallel()
	k := watched(t, care.EnrolledDog{Name: "Bramble", BCS: 8, Grams: 26_000, Loss: true})
	for _, grams := range []int64{25_500, 25_000, 24_500} {
		k.now = k.now.AddDate(0, 0, 14)
		k.do(care.Event{Practice: &care.Practice{By: "lee", Weigh: &care.EnteredWeight{Grams: grams, Scale: clinical.Clinic}}})
	}
	d := k.house.Dogs[0]
	j := clinical.JudgeWeight(d.WeightPlan(), d.Weights, k.now.Unix())
	require.InDelta(t, 20.0, j.Target.Grams.Kilograms(), 0.05)
}
