package care

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var tuesdayNoon = time.Date(2026, 3, 3, 12, 0, 0, 0, time.UTC)

func TestAMessageThatDidNotArriveIsDealtWithOnce(t *testing.T) {
	t.Parallel()
	h := Household{ID: "feed", Enrolled: 1, Contacts: []Contact{{Name: "Ruth"}}, Sent: []Sent{{ID: "1-0", Fate: SentOut}}}
	at := func(h Household, e Event) Result { return Turn(&Rules{}, h, e) }

	res := at(h, Event{Report: &Report{Message: "feed-1-0", Fate: Failed, Code: "30003"}})
	require.Equal(t, "30003", res.Household.Sent[0].Code)
	require.True(t, res.Household.Sent[0].Undelivered())
	h = res.Household

	ring := Event{At: tuesdayNoon, Practice: &Practice{By: "lee", Rung: &Rung{Message: "feed-1-0", Note: "rang her, all well"}}}
	res = at(h, ring)
	require.Equal(t, PracticeDone, res.Reason)
	require.Equal(t, tuesdayNoon.Unix(), res.Household.Sent[0].Rung)
	require.Contains(t, res.Facts, Fact{Kind: FactRung, Contact: 1, ID: "feed-1-0", Text: "rang her, all well", By: "lee"})
	require.Equal(t, PracticeRefused, at(res.Household, ring).Reason, "once")

	ring.Practice.Rung.Message = "feed-9-0"
	require.Equal(t, PracticeRefused, at(h, ring).Reason, "no such message")

	// Word that it arrived after all takes the reason away.
	res = at(h, Event{Report: &Report{Message: "feed-1-0", Fate: Delivered}})
	require.Empty(t, res.Household.Sent[0].Code)
	require.False(t, res.Household.Sent[0].Undelivered())
}

func TestMinutesThatStaffGive(t *testing.T) {
	t.Parallel()
	for outcome, given := range map[Outcome]uint16{Phoned: 7, CouldNotReach: 2, NoAction: 0, Booked: 9999} {
		h := Household{ID: "feed", Enrolled: 1, Alerts: []Alert{{N: 1, Dog: -1, Reason: Question}}}
		res := Turn(&Rules{Limits: DefaultLimits()}, h, Event{At: tuesdayNoon, Practice: &Practice{By: "lee", Close: &AlertAction{Alert: 1, Outcome: outcome, Minutes: given}}})
		require.Equal(t, PracticeDone, res.Reason, res.Refusal)
		var kept []float64
		for _, f := range res.Facts {
			if f.Kind == FactMinutes {
				require.Equal(t, uint16(1), f.Alert)
				require.Equal(t, "lee", f.By)
				kept = append(kept, f.Number)
			}
		}
		switch {
		case given == 0:
			require.Empty(t, kept)
		default:
			require.Equal(t, []float64{float64(min(given, MaxMinutes))}, kept)
		}
	}
}
