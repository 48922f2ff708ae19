package care_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

func (k *talk) change(p care.PlanChange) care.Result {
	p.Dog = k.house.Dogs[0].Name
	return k.do(care.Event{Practice: &care.Practice{By: "lee", Plan: &p}})
}

// What an entry is, and what is written about it, are changed apart: only the
// first opens a stretch.
func TestOnlyWhatTheDogGetsOpensAStretch(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name   string
		change care.PlanChange
		opens  bool
		entry  care.Entry // what the change leaves
	}{
		{"a start", care.PlanChange{Action: care.PlanStart, What: "meloxicam", Class: care.NSAID, Comfort: true}, true, care.Entry{What: "carprofen"}},
		{"a start not meant for comfort", care.PlanChange{Action: care.PlanStart, What: "fish oil"}, false, care.Entry{What: "carprofen"}},
		{"a stop", care.PlanChange{Action: care.PlanStop, Entry: 1, Comfort: true, Reason: "sick"}, true, care.Entry{What: "carprofen", Status: care.Ended, Reason: "sick"}},
		{"an adjustment", care.PlanChange{Action: care.PlanAdjust, Entry: 1, Comfort: true}, true, care.Entry{What: "carprofen"}},
		{"a hold", care.PlanChange{Action: care.PlanHold, Entry: 1, Comfort: true, Reason: "bloods"}, false, care.Entry{What: "carprofen", Status: care.Held, Reason: "bloods"}},
		{"details", care.PlanChange{Action: care.PlanDetails, Entry: 1, Comfort: true, Who: "Ruth", Why: "stiff", What: "carprofen tablets"}, false,
			care.Entry{What: "carprofen tablets", Who: "Ruth", Why: "stiff", Comfort: true}},
		{"reminders", care.PlanChange{Action: care.PlanReminders, Entry: 1, Comfort: true}, false, care.Entry{What: "carprofen"}},
		{"given up by the owner", care.PlanChange{Action: care.PlanDecline, Entry: 1, Comfort: true, Reason: "too dear"}, false,
			care.Entry{What: "carprofen", Status: care.Ended, Declined: true, Reason: "too dear"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := newTalk(t)
			k.dogs = []care.EnrolledDog{{Name: "Bramble", Plan: []care.Entry{{What: "carprofen", Class: care.NSAID, Area: care.AreaPain}}}}
			k.enrolled()
			k.now = k.now.AddDate(0, 0, 40)
			was := k.house.Dogs[0].Course.StretchAt
			require.Equal(t, care.PracticeDone, k.change(c.change).Reason)
			require.Equal(t, c.opens, k.house.Dogs[0].Course.StretchAt != was)
			e := k.house.Dogs[0].Plan[0]
			got := care.Entry{What: e.What, Who: e.Who, Why: e.Why, Comfort: e.Comfort, Status: e.Status, Declined: e.Declined, Reason: e.Reason}
			require.Equal(t, c.entry, got)
		})
	}
}

func TestAPlanChangeThatCannotBeMadeChangesNothing(t *testing.T) {
	t.Parallel()
	session := care.Reminder{Kind: care.RemindSession}
	cases := []struct {
		name, want string
		change     care.PlanChange
	}{
		{"no name", "Say what goes on the plan.", care.PlanChange{Action: care.PlanStart}},
		{"not there", "has no \"aspirin\"", care.PlanChange{Action: care.PlanStop, What: "aspirin"}},
		{"unknown action", "is not a plan change", care.PlanChange{Action: "double", Entry: 1}},
		{"unknown detail", "is not a detail", care.PlanChange{Action: care.PlanDetails, Entry: 1, Clear: []string{"dose"}}},
		{"a session without dates", "needs its dates", care.PlanChange{Action: care.PlanReminders, Entry: 1, Reminders: []care.Reminder{session}}},
		{"two ways of saying when", "one of the three", care.PlanChange{Action: care.PlanReminders, Entry: 1,
			Reminders: []care.Reminder{{Kind: care.RemindTest, Every: 9, Cron: "0 9 * * 1"}}}},
		{"a cadence that can't be read", "can't be read", care.PlanChange{Action: care.PlanReminders, Entry: 1,
			Reminders: []care.Reminder{{Kind: care.RemindTest, Cron: "now and then"}}}},
		{"an unknown kind", "not a kind of reminder", care.PlanChange{Action: care.PlanStart, What: "physio",
			Reminders: []care.Reminder{{Kind: "nag", Every: 9}}}},
		{"nothing to be done", "Say which of the reminders", care.PlanChange{Action: care.PlanDone, Entry: 1}},
		{"done tomorrow", "can't lie in the future", care.PlanChange{Action: care.PlanDone, Entry: 1, On: monday.AddDate(0, 0, 1).Unix()}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := newTalk(t)
			k.dogs = []care.EnrolledDog{{Name: "Bramble", Plan: []care.Entry{{What: "carprofen", Class: care.NSAID, Area: care.AreaPain}}}}
			k.enrolled()
			was := k.house.Dogs[0].Plan
			res := k.change(c.change)
			require.Equal(t, care.PracticeRefused, res.Reason)
			require.Contains(t, res.Refusal, c.want)
			require.Equal(t, was, k.house.Dogs[0].Plan)
		})
	}
}

// Several things at once are advised against before, and the record says so
// after.
func TestAdviceIsKeptWithTheChange(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	k.dogs = []care.EnrolledDog{{Name: "Bramble", Plan: []care.Entry{{What: "hydrotherapy", Area: care.AreaTherapy, Started: monday.AddDate(0, 0, -3).Unix()}}}}
	k.enrolled()
	k.change(care.PlanChange{Action: care.PlanStart, What: "gabapentin", Class: care.OtherMed})
	for _, f := range k.facts {
		if f.Code == "plan advice" {
			require.Contains(t, f.Text, "hydrotherapy began on 27 February")
			return
		}
	}
	t.Fatal("the advice was not kept")
}

// The review date of an entry, once reached, is review due; with a new date it
// is not any more, and a thing done clears it too.
func TestReviewDueByDate(t *testing.T) {
	t.Parallel()
	k := watched(t, care.EnrolledDog{Name: "Bramble", Plan: []care.Entry{{What: "carprofen", Class: care.NSAID, Area: care.AreaPain}}})
	k.rules.Cadences = care.Cadences{Digest: k.rules.Cadences.Digest}
	review := monday.AddDate(0, 0, 30)
	require.Equal(t, care.PracticeDone, k.change(care.PlanChange{Action: care.PlanDetails, Entry: 1, Review: review.Unix()}).Reason)
	k.moveTo(review.Add(-1))
	require.Nil(t, k.open(care.ReviewDue))
	k.moveTo(review)
	a := k.open(care.ReviewDue)
	require.NotNil(t, a)
	require.Equal(t, care.ForDigest, a.Urgency)
	require.Equal(t, "carprofen: review date 1 April reached", a.Sentence)
	joined := a.Joined
	k.moveTo(review.AddDate(0, 0, 9))
	require.Equal(t, joined, k.open(care.ReviewDue).Joined, "told once")
	k.change(care.PlanChange{Action: care.PlanDetails, Entry: 1, Review: review.AddDate(0, 3, 0).Unix()})
	require.True(t, k.open(care.ReviewDue).Cleared)
}

// The next of a repeat injection counts from the day it was given, not from the
// day it was due; its batch is kept.
func TestTheNextCountsFromTheDayItWasDone(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	k.dogs = []care.EnrolledDog{{Name: "Bramble", Plan: []care.Entry{{What: "the injection", Class: care.Antibody, Area: care.AreaPain, Started: monday.Unix(),
		Reminders: []care.Reminder{{Kind: care.RemindInjection, Every: 28}}}}}}
	k.enrolled()
	k.owner("yes")
	due := func() int32 { return k.house.Dogs[0].Plan[0].Reminders[0].Next }
	require.Equal(t, dayNumber(k, "2026-03-30"), due())
	k.moveTo(monday.AddDate(0, 0, 33))
	given := monday.AddDate(0, 0, 31)
	require.Equal(t, care.PracticeDone, k.change(care.PlanChange{Action: care.PlanDone, Entry: 1, On: given.Unix(), Batch: "B-77"}).Reason)
	require.Equal(t, dayNumber(k, "2026-04-30"), due(), "four weeks after 2 April")
	require.Equal(t, "B-77", k.house.Dogs[0].Plan[0].Batch)
}

// Whoever reads of a sign reads what the dog is on that it may belong to.
func TestASignSaysWhatTheDogIsOn(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name  string
		class care.MedicineClass
		text  string
		want  string
		held  bool
	}{
		{"an anti-inflammatory", care.NSAID, "he has diarrhoea since yesterday", "diarrhoea; on the tablets since 1 January.", true},
		{"aspirin is one", care.Aspirin, "he was sick once on Tuesday, fine now", "was sick once; on the tablets since 1 January.", true},
		{"an antibody", care.Antibody, "he is suddenly wobbly on his back legs", "; on the tablets since 1 January.", true},
		{"a steroid", care.Steroid, "he is drinking far more than he used to", "drinking far more; on the tablets since 1 January.", false},
		{"what it can't belong to", care.Antibody, "he has cut his pad and it is a deep wound", "wound. Ruth", false},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := newTalk(t)
			k.dogs = []care.EnrolledDog{{Name: "Bramble", Plan: []care.Entry{{What: "the tablets", Class: c.class, Area: care.AreaPain, Started: monday.AddDate(0, 0, -60).Unix()}}}}
			k.enrolled()
			k.owner("yes")
			k.owner(c.text)
			items := k.house.OpenItems()
			require.NotEmpty(t, items)
			require.Contains(t, items[0].Sentence, c.want)
			require.Equal(t, c.held, k.house.Dogs[0].Plan[0].Status == care.Held)
		})
	}
}
