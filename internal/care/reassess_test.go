package care_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

// Four weeks after a change of plan the longer review goes out; the owner's
// words reach the practitioner, and their estimate of shape stands beside hers.
func TestReassessmentAfterAChangeOfPlan(t *testing.T) {
	t.Parallel()
	k := watched(t, care.EnrolledDog{Name: "Bramble", BCS: 7})
	k.rules.Cadences = care.Cadences{Digest: k.rules.Cadences.Digest}
	k.house.Dogs[0].Due = nil
	k.do(care.Event{Practice: &care.Practice{By: "lee", Plan: &care.PlanChange{Dog: "Bramble", Action: care.PlanStart,
		What: "hydrotherapy", Area: care.AreaTherapy, Comfort: true}}})
	k.moveTo(time.Date(2026, 3, 30, 10, 0, 0, 0, k.rules.Zone))
	require.Len(t, k.sent, 1, "28 days on, at the clinic's hour")
	for _, text := range []string{"0", "1", "a bit round", "the walks yes, the exercises not really",
		"the kitchen floor is like an ice rink", "get up the steps by himself", "green lipped mussel from the pet shop"} {
		k.owner(text)
	}
	require.Nil(t, k.house.Contacts[0].Talk.Open)
	a := k.open(care.Question)
	require.NotNil(t, a)
	require.Equal(t, care.ForDigest, a.Urgency)
	require.Equal(t, `reassessment: aim "get up the steps by himself", extras from elsewhere "green lipped mussel from the pet shop", `+
		`awkward at home "the kitchen floor is like an ice rink", plan in use "the walks yes, the exercises not really"`, a.Sentence)
	require.Equal(t, uint8(6), k.house.Dogs[0].OwnerBCS)
	require.Equal(t, "the kitchen floor is like an ice rink", k.house.Dogs[0].Awkward.Text, "the plan for the home builds on it")
	require.Equal(t, uint8(7), k.house.Dogs[0].BCS)
}

// Days 3, 10, 21 and 28 after a new medicine: adverse events cluster at 14 to 30
// days (Hampshire et al., J Am Vet Med Assoc 2004;225:533-536).
func TestSignsOnlyAfterANewMedicine(t *testing.T) {
	t.Parallel()
	k := watched(t)
	k.rules.Cadences = care.Cadences{Digest: k.rules.Cadences.Digest}
	k.house.Dogs[0].Due = nil
	k.do(care.Event{Practice: &care.Practice{By: "lee", Plan: &care.PlanChange{Dog: "Bramble", Action: care.PlanStart,
		What: "carprofen", Class: care.NSAID, Area: care.AreaPain}}})
	var days []int
	for day := 1; day <= 40; day++ {
		k.sent = nil
		k.moveTo(time.Date(2026, 3, 2+day, 12, 0, 0, 0, k.rules.Zone))
		for _, m := range k.sent {
			if matches(m.Text, "Bramble on carprofen: anything new") {
				days = append(days, day)
				k.owner("no")
				break
			}
		}
	}
	require.Equal(t, []int{3, 10, 21, 28}, days)
	require.Nil(t, k.open(care.Silence))
}

func TestAnUnansweredSignsOnlyTextIsTold(t *testing.T) {
	t.Parallel()
	k := watched(t)
	k.rules.Cadences = care.Cadences{Digest: k.rules.Cadences.Digest}
	k.house.Dogs[0].Due = nil
	k.do(care.Event{Practice: &care.Practice{By: "lee", Plan: &care.PlanChange{Dog: "Bramble", Action: care.PlanStart,
		What: "carprofen", Class: care.NSAID, Area: care.AreaPain}}})
	k.moveTo(time.Date(2026, 3, 5, 10, 1, 0, 0, k.rules.Zone))
	require.Nil(t, k.open(care.Silence))
	k.moveTo(time.Date(2026, 3, 6, 10, 1, 0, 0, k.rules.Zone))
	require.NotNil(t, k.open(care.Silence), "told within a day")
}
