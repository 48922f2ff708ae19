package record

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
)

// day is an instant so many days after the story's Monday.
func day(n int) time.Time { return monday.AddDate(0, 0, n) }

const slot = "checkin/0/2026-01-06"

func asked(n int) Entry {
	return Entry{At: day(n), Facts: []care.Fact{{Kind: care.FactPrompt, Dog: 1, Code: "sent", Text: slot}}}
}

func closed(n int, more ...care.Fact) Entry {
	return Entry{At: day(n), Facts: append([]care.Fact{{Kind: care.FactPrompt, Dog: 1, Code: "closed", Text: slot}}, more...)}
}

func reading(n int) care.Fact {
	return care.Fact{Kind: care.FactReading, Dog: 1, Reading: &clinical.Reading{At: day(n).Unix(), Day: int32(20000 + n)}}
}

func answered(n int) Entry { return Entry{At: day(n), Facts: []care.Fact{reading(n)}} }

func entered(n int) Entry {
	return Entry{At: day(n), Facts: []care.Fact{{Kind: care.FactPrompt, Dog: 1, Code: "entered", Text: "Ruth", By: "lee"}, reading(n)}}
}

// One rule says what became of a check-in, for pages, papers, exports and
// figures: what staff entered is an answer, and stands in for the question that
// was open, or asked within three days.
func TestWhatBecameOfACheckIn(t *testing.T) {
	t.Parallel()
	sent := asked(0).Facts[0]
	for _, c := range []struct {
		name    string
		entries []Entry
		want    []CheckInState
		asked   []int // days, -1 for none
	}{
		{"answered", []Entry{asked(0), answered(1)}, []CheckInState{Answered}, []int{0}},
		{"closed unanswered", []Entry{asked(0), closed(3)}, []CheckInState{Missed}, []int{0}},
		{"closed, and half of it answered", []Entry{asked(0), closed(3, reading(3))}, []CheckInState{Answered}, []int{0}},
		{"not closed yet", []Entry{asked(0)}, []CheckInState{Waiting}, []int{0}},
		{"entered while it was open", []Entry{asked(0), entered(1), closed(3)}, []CheckInState{ByStaff}, []int{0}},
		{"entered two days before", []Entry{entered(-2), asked(0), closed(3)}, []CheckInState{ByStaff}, []int{0}},
		{"entered a week before", []Entry{entered(-7), asked(0), closed(3)}, []CheckInState{ByStaff, Missed}, []int{-1, 0}},
		{"the last one answered late, this one not", []Entry{asked(-7), answered(-1), asked(0), closed(3)}, []CheckInState{Answered, Missed}, []int{-7, 0}},
		{"entered unasked", []Entry{entered(0)}, []CheckInState{ByStaff}, []int{-1}},
		{"closed as the next one is asked", []Entry{asked(0), closed(7, sent), answered(8)}, []CheckInState{Missed, Answered}, []int{0, 7}},
		{"a second answer the same day", []Entry{asked(0), answered(0), entered(0)}, []CheckInState{ByStaff}, []int{0}},
		{"nothing", nil, nil, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			h, err := HistoryOf(Input{Rules: testRules(t), Household: &care.Household{Dogs: []care.Dog{{Name: "Pip"}}}, Entries: c.entries})
			require.NoError(t, err)
			var states []CheckInState
			var when []int
			for _, k := range h.CheckIns {
				states = append(states, k.State)
				at := -1
				if k.Asked != 0 {
					at = int(time.Unix(k.Asked, 0).Sub(monday).Hours()) / 24
				}
				when = append(when, at)
			}
			require.Equal(t, c.want, states)
			require.Equal(t, c.asked, when)
			require.Len(t, h.Readings, h.count(Answered, ByStaff))
			require.Len(t, h.points(), len(h.CheckIns)-h.count(Waiting))
		})
	}
}

func TestHistoryOfNoDog(t *testing.T) {
	t.Parallel()
	_, err := HistoryOf(Input{Rules: testRules(t), Household: &care.Household{}, Dog: 0})
	require.ErrorIs(t, err, ErrNoDog)
}

func TestWhatBecameOfAnAlert(t *testing.T) {
	t.Parallel()
	fact := func(code, text string) care.Fact {
		return care.Fact{Kind: care.FactAlert, Dog: 1, Code: code, Text: text, Alert: 1, By: "lee", ID: "rise", Number: 1}
	}
	at := func(n int, facts ...care.Fact) Entry { return Entry{At: day(n), Facts: facts} }
	h, err := HistoryOf(Input{Rules: testRules(t), Household: &care.Household{Dogs: []care.Dog{{Name: "Pip"}}}, Entries: []Entry{
		at(0, reading(0), fact("opened", "index 40"), fact("told", "new")), at(1, fact("joined", "index 44"), fact("told", "worse")),
		at(2, fact("couldn't reach", "index 44")), at(3, fact("acknowledged", "index 44")),
		at(4, fact("closed", "phoned"), care.Fact{Kind: care.FactMinutes, Dog: 1, Alert: 1, Number: 7},
			care.Fact{Kind: care.FactNote, Dog: 1, Alert: 1, Text: "better"}, care.Fact{Kind: care.FactAlert, Dog: 1, Code: "closed", Alert: 9, Text: "phoned"}),
	}})
	require.NoError(t, err)
	require.Len(t, h.Alerts, 1, "one that was never opened is none")
	require.Equal(t, Alert{N: 1, Opened: day(0).Unix(), Told: day(0).Unix(), FirstAcked: day(3).Unix(), Acked: day(3).Unix(), Closed: day(4).Unix(), Reason: care.Rise,
		Urgency: care.Today, Sentence: "index 44", Outcome: care.Phoned, AckedBy: "lee", By: "lee", Joined: 1, Unreached: 1, Notes: []string{"better"}, Minutes: 7}, *h.Alerts[0])
	require.True(t, h.CheckIns[0].Alert)
	require.Len(t, AlertsOf([]Entry{at(0, fact("opened", "x")), at(1, care.Fact{Kind: care.FactAlert, Code: "opened", Alert: 2, ID: "message"})}), 2,
		"of a dog, and of the household")
}
