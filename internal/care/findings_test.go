package care_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

func (k *talk) finds(f care.Findings) care.Result {
	res := care.Turn(k.rules, k.house, care.Event{At: k.now, Practice: &care.Practice{By: "lee", Findings: &f}})
	k.house = res.Household
	return res
}

func findingDog(t *testing.T) *talk {
	k := newTalk(t)
	k.dogs = []care.EnrolledDog{{Name: "Bramble"}}
	k.enrolled()
	return k
}

func TestFindingsStandUntilTheNextWord(t *testing.T) {
	t.Parallel()
	k := findingDog(t)
	before := k.house
	res := k.finds(care.Findings{Text: "stiff behind", BCS: 6, Muscle: 2, Examined: ago(0),
		Joints:   []care.Joint{{Side: care.LeftSide, Name: "hip"}, {Side: care.BothSides, Name: "elbow"}, {Name: "lower back"}},
		Lameness: care.Lameness{Grade: care.LameEveryStep, Leg: "left hind"}, Diseases: []string{"heart murmur"},
		Tests: []care.Test{{Kind: care.TestBlood, On: ago(3), Next: ago(-180), Remark: "no change"}}})
	require.Equal(t, care.PracticeDone, res.Reason)
	fact := res.Facts[len(res.Facts)-1]
	require.Equal(t, care.FactFinding, fact.Kind)
	require.Equal(t, "stiff behind\nJoints: left hip, both sides: elbow, lower back\nLameness: lame at every step, weight on the leg, left hind\n"+
		"Body condition: 6 of 9\nMuscle: mild loss\nOther diseases: heart murmur\nTest: blood, 27 Feb 2026, no change, next due 29 Aug 2026\nExamined: 2 Mar 2026", fact.Text)
	require.Nil(t, before.Dogs[0].Found, "the household before the turn is as it was")
	d := k.house.Dogs[0]
	require.Equal(t, k.now.Unix(), d.MuscleAt)

	k.finds(care.Findings{Text: "much the same"})
	require.Equal(t, d.Standing(), k.house.Dogs[0].Standing(), "what is left out stays")
	k.finds(care.Findings{Tests: []care.Test{{Kind: care.TestUrine, On: ago(1)}, {Kind: care.TestBlood, On: ago(3), Remark: "read again"}}})
	found := k.house.Dogs[0].Standing()
	require.Len(t, found.Tests, 2, "the same kind and day replaces")
	newest, ok := found.Newest(care.TestBlood)
	require.True(t, ok)
	require.Equal(t, "read again", newest.Remark)
	k.finds(care.Findings{Struck: &care.Test{Kind: care.TestUrine, On: ago(1)}})
	require.Len(t, k.house.Dogs[0].Standing().Tests, 1)
	k.finds(care.Findings{Whole: true})
	require.Empty(t, k.house.Dogs[0].Standing().Joints)
	require.Len(t, k.house.Dogs[0].Standing().Tests, 1)
	require.Equal(t, care.NotGraded, k.house.Dogs[0].Standing().Lameness.Grade)
}

func TestBadFindingsAreRefused(t *testing.T) {
	t.Parallel()
	for want, f := range map[string]care.Findings{
		"no findings":       {},
		"1 to 9":            {BCS: 10},
		"mild, moderate":    {Muscle: 5},
		"can be named":      {Joints: []care.Joint{{Name: "tail"}}},
		"has no side":       {Joints: []care.Joint{{Side: care.LeftSide, Name: "neck"}}},
		"left, right":       {Joints: []care.Joint{{Side: "front", Name: "hip"}}},
		"At most 12":        {Joints: make([]care.Joint, 13)},
		"At most 8":         {Diseases: make([]string, 9)},
		"grade":             {Lameness: care.Lameness{Grade: 9}},
		"not a leg":         {Lameness: care.Lameness{Grade: care.LameCarried, Leg: "tail"}},
		"taken place":       {Examined: ago(-1)},
		"can be kept":       {Tests: []care.Test{{Kind: "tea leaves", On: ago(1)}}},
		"needs its date":    {Tests: []care.Test{{Kind: care.TestBlood}}},
		"has been done":     {Tests: []care.Test{{Kind: care.TestBlood, On: ago(-1)}}},
		"due after the one": {Tests: []care.Test{{Kind: care.TestBlood, On: ago(1), Next: ago(2)}}},
	} {
		k := findingDog(t)
		res := k.finds(f)
		require.Equal(t, care.PracticeRefused, res.Reason, want)
		require.Contains(t, res.Refusal, want)
		require.Nil(t, k.house.Dogs[0].Found)
	}
}

func TestAnEntryEnteredInError(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	wrong := care.Entry{Area: care.AreaPain, What: "invented tablets", Class: care.NSAID}
	k.dogs = []care.EnrolledDog{{Name: "Bramble", Plan: []care.Entry{wrong, {Area: care.AreaPain, What: "invented steroid", Class: care.Steroid}}}}
	k.enrolled()
	require.NotNil(t, k.open(care.Caution))
	refused := care.Turn(k.rules, k.house, care.Event{At: k.now, Practice: &care.Practice{By: "lee", Withdraw: &care.Withdraw{Entry: 1}}})
	require.Contains(t, refused.Refusal, "what was wrong")
	refused = care.Turn(k.rules, k.house, care.Event{At: k.now, Practice: &care.Practice{By: "lee", Withdraw: &care.Withdraw{Entry: 9, Why: "x"}}})
	require.Contains(t, refused.Refusal, "no such entry")

	before := k.house.Dogs[0]
	k.do(care.Event{Practice: &care.Practice{By: "lee", Withdraw: &care.Withdraw{Entry: 1, Why: "another dog's"}}})
	d := k.house.Dogs[0]
	require.Len(t, before.Plan, 2, "the household before the turn is as it was")
	require.Len(t, d.Plan, 1)
	require.Equal(t, "another dog's", d.Withdrawn[0].Reason)
	require.True(t, k.open(care.Caution).Cleared, "nothing stands against the rest")

	// An old list does not bring it back, and its number is not used again.
	k.do(care.Event{Practice: &care.Practice{By: "lee", Enrol: &care.Enrolment{Dogs: []care.EnrolledDog{{Name: "Bramble", Plan: []care.Entry{wrong}}}}}})
	require.Len(t, k.house.Dogs[0].Plan, 1)
	k.do(care.Event{Practice: &care.Practice{By: "lee", Plan: &care.PlanChange{Dog: "Bramble", Action: care.PlanStart, What: "rugs", Area: care.AreaHome}}})
	require.Equal(t, uint16(3), k.house.Dogs[0].Plan[1].ID)
}

// A reminder that is being talked about ends with the entry it belongs to.
func TestAWithdrawnEntryIsNotRemindedOf(t *testing.T) {
	t.Parallel()
	for name, days := range map[string]int{"before it speaks": 3, "while it is talked about": 7} {
		k := watched(t)
		k.rules.Cadences = care.Cadences{Digest: k.rules.Cadences.Digest}
		k.house.Dogs[0].Due = nil
		k.do(care.Event{Practice: &care.Practice{By: "lee", Plan: &care.PlanChange{Dog: "Bramble", Action: care.PlanStart, What: "invented diet",
			Area: care.AreaSupplement, Reminders: []care.Reminder{{Kind: care.RemindTablets, Every: 7}}}}})
		k.moveTo(monday.AddDate(0, 0, days).Add(8 * time.Hour))
		e := k.house.Dogs[0].Plan[len(k.house.Dogs[0].Plan)-1]
		require.Equal(t, "invented diet", e.What)
		require.Equal(t, days == 7, k.house.Contacts[0].Talk.Open != nil, name)
		k.do(care.Event{Practice: &care.Practice{By: "lee", Withdraw: &care.Withdraw{Entry: e.ID, Why: "another dog's"}}})
		require.Nil(t, k.house.Contacts[0].Talk.Open, name)
		k.sent = nil
		k.moveTo(monday.AddDate(0, 0, 40))
		require.NotContains(t, fmt.Sprint(k.sent), "invented diet", name)
	}
}
