package care_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
)

// placedOnTuesday is a household whose first check-in is placed on Tuesday at ten.
func placedOnTuesday(t *testing.T) *talk {
	k := newTalk(t)
	k.dogs = []care.EnrolledDog{{Name: "Bramble"}}
	k.enrolled()
	k.do(care.Event{Practice: &care.Practice{By: "lee", Consent: &care.RecordConsent{State: care.Agreed, How: "in person"}}})
	require.Equal(t, "Tue 10:00", k.due(care.PromptCheckIn))
	return k
}

func (k *talk) due(kind care.PromptKind) string {
	for _, d := range k.house.Dogs[0].Due {
		if d.Kind == kind && d.At != 0 {
			return time.Unix(d.At, 0).In(k.rules.Zone).Format("Mon 15:04")
		}
	}
	return "none"
}

func TestChangedRulesPlaceWhatHasNotComeYet(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		at     string // when the household is looked at
		change func(*care.Rules, func(string, int) cadence.Cadence)
		want   string
	}{
		"nothing changed":     {"2026-03-02 11:00", func(*care.Rules, func(string, int) cadence.Cadence) {}, "Tue 10:00"},
		"another day":         {"2026-03-02 11:00", func(r *care.Rules, c func(string, int) cadence.Cadence) { r.Cadences.CheckIn = c("0 9 * * 4", 6) }, "Thu 09:00"},
		"sooner":              {"2026-03-02 11:00", func(r *care.Rules, c func(string, int) cadence.Cadence) { r.Cadences.CheckIn = c("0 17 * * 1", 6) }, "Mon 17:00"},
		"later the same day":  {"2026-03-03 09:00", func(r *care.Rules, c func(string, int) cadence.Cadence) { r.Cadences.CheckIn = c("0 12 * * 2", 6) }, "Tue 12:00"},
		"longer quiet hours":  {"2026-03-02 11:00", func(r *care.Rules, _ func(string, int) cadence.Cadence) { r.Quiet.To = 11 * 60 }, "Tue 11:00"},
		"no check-ins at all": {"2026-03-02 11:00", func(r *care.Rules, _ func(string, int) cadence.Cadence) { r.Cadences.CheckIn = cadence.Cadence{} }, "none"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := placedOnTuesday(t)
			at, err := time.ParseInLocation("2006-01-02 15:04", c.at, k.rules.Zone)
			require.NoError(t, err)
			k.now = at
			c.change(k.rules, func(cron string, gap int) cadence.Cadence { return every(t, cron, gap) })
			k.do(care.Event{Tick: &care.Tick{}})
			require.Equal(t, c.want, k.due(care.PromptCheckIn))
		})
	}
}

// A prompt that quiet hours keep for the morning is not lost by being placed
// again, and goes out once.
func TestWhatWaitsForTheMorningIsNotPlacedAnew(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	k.rules.Cadences.CheckIn = every(t, "0 7 * * 2", 6)
	k.dogs = []care.EnrolledDog{{Name: "Bramble"}}
	k.enrolled()
	k.do(care.Event{Practice: &care.Practice{By: "lee", Consent: &care.RecordConsent{State: care.Agreed, How: "in person"}}})
	require.Equal(t, "Tue 08:00", k.due(care.PromptCheckIn))
	week := monday.AddDate(0, 0, 7)
	k.moveTo(week)
	k.now = week.Add(21*time.Hour + 30*time.Minute) // half past seven
	k.do(care.Event{Tick: &care.Tick{}})
	require.Equal(t, "Tue 08:00", k.due(care.PromptCheckIn))
	k.facts = nil
	k.moveTo(week.Add(23 * time.Hour))
	sent := 0
	for _, f := range k.facts {
		if f.Kind == care.FactPrompt && f.Code == "sent" && f.Text == "checkin/0/2026-03-10" {
			sent++
		}
	}
	require.Equal(t, 1, sent)
}

// A reassessment that a change of plan brought forward stays there, and one is
// brought forward by a cadence that asks more often.
func TestReassessmentsAreOnlyBroughtForward(t *testing.T) {
	t.Parallel()
	k := placedOnTuesday(t)
	k.do(care.Event{Practice: &care.Practice{By: "lee", Plan: &care.PlanChange{
		Dog: "Bramble", Area: care.AreaTherapy, What: "hydrotherapy", Action: care.PlanStart, Comfort: true}}})
	at := func() time.Time {
		for _, d := range k.house.Dogs[0].Due {
			if d.Kind == care.PromptReassessment {
				return time.Unix(d.At, 0).UTC()
			}
		}
		return time.Time{}
	}
	soon := at()
	require.Equal(t, "2026-03-30", soon.Format(time.DateOnly))
	k.do(care.Event{Tick: &care.Tick{}})
	require.Equal(t, soon, at())
	k.rules.Cadences.Reassessment = every(t, "0 10 * * 3", 13)
	k.do(care.Event{Tick: &care.Tick{}})
	require.Equal(t, "2026-03-18", at().Format(time.DateOnly))
}
