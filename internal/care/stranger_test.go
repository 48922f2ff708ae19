package care_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

// An unknown sender with an emergency gets the numbers once; the practice is
// told each time, and an opt-out beside it counts.
func TestAStrangersEmergency(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	k.house = care.NewStranger("hill", care.Owner{ID: "s1", Address: ownerAddress, Via: "text"})
	k.owner("my dog has collapsed and can't get up")
	require.Len(t, k.sent, 1)
	require.Equal(t, care.ForSafety, k.sent[0].Purpose)
	require.True(t, matches(k.sent[0].Text, "…01632 960100…01632 960911…"), k.sent[0].Text)
	a := k.open(care.RedFlag)
	require.NotNil(t, a)
	require.Len(t, k.told, 1)
	require.Contains(t, k.told[0].Item.Phone, ownerAddress.Value, "there is a number to ring")

	k.owner("please hurry he has collapsed")
	require.Len(t, k.sent, 1, "the numbers are given once")
	require.Equal(t, uint16(1), k.open(care.RedFlag).Joined)
	k.owner("STOP")
	require.Equal(t, care.OptedOut, k.house.Contacts[0].Consent.State)
}

func TestAStrangersOrdinaryTextIsToldAndAnsweredOnce(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	k.house = care.NewStranger("hill", care.Owner{ID: "s1", Address: ownerAddress, Via: "text"})
	k.owner("is this the number for appointments?")
	k.owner("hello?")
	require.Len(t, k.sent, 1)
	require.NotNil(t, k.open(care.Question))
	k.moveTo(k.now.Add(30 * 24 * time.Hour))
	require.Len(t, k.sent, 1, "nothing is ever sent to a stranger by itself")
}

// What an enrolment changed is said apart from refusals: the record must not
// show a household as refused because it is new.
func TestEnrollingSaysWhatChanged(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	owner := care.Owner{Name: "Ruth", Address: ownerAddress, ID: "o1", Via: "text"}
	k.house = care.NewHousehold("hill", owner)
	enrol := func(d care.EnrolledDog) care.Result {
		return k.do(care.Event{Key: fmt.Sprint("enrol", k.events), Practice: &care.Practice{By: "lee",
			Enrol: &care.Enrolment{Owner: owner, Dogs: []care.EnrolledDog{d}}}})
	}
	for _, c := range []struct {
		dog  care.EnrolledDog
		want string
	}{
		{care.EnrolledDog{Name: "Bramble", BCS: 7}, "new"},
		{care.EnrolledDog{Name: "Bramble", BCS: 7}, ""},
		{care.EnrolledDog{Name: "Bramble", BCS: 6}, "Bramble: body condition score"},
		{care.EnrolledDog{Name: "Teazel"}, "Teazel: new"},
	} {
		res := enrol(c.dog)
		require.Equal(t, c.want, res.Changed)
		require.Empty(t, res.Refusal)
	}
}
