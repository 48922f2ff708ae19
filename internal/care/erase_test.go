package care_test

import (
	"testing"
	"time"

	"github.com/fxamacker/cbor/v2"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

func erased(t *testing.T) *talk {
	k := watched(t)
	k.owner("please ring me about Bramble's tablets")
	k.sent, k.told = nil, nil
	res := k.do(care.Event{Practice: &care.Practice{By: "lee", Erase: &care.Erasure{Why: "asked by telephone"}}})
	require.Equal(t, care.PracticeDone, res.Reason, res.Refusal)
	return k
}

func TestErasureTakesContactsAndMessagingAtOnceAndKeepsTheRecord(t *testing.T) {
	t.Parallel()
	before := watched(t)
	k := erased(t)
	stored, err := cbor.Marshal(k.house)
	require.NoError(t, err)
	require.NotContains(t, string(stored), ownerAddress.Value)
	require.NotContains(t, string(stored), before.house.Contacts[0].Name)
	require.Len(t, k.house.Contacts, 1, "the record counts by their places")
	require.Equal(t, "Bramble", k.house.Dogs[0].Name)
	require.Equal(t, k.now.AddDate(7, 0, 0).Unix(), k.house.Erased.Until)
	require.Empty(t, k.sent)

	k.moveTo(k.now.AddDate(0, 6, 0))
	require.Empty(t, k.sent, "nothing is sent any more")
	for what, p := range map[string]care.Practice{
		"write": {Write: &care.WriteOwner{Text: "hello"}}, "consent": {Consent: &care.RecordConsent{State: care.Agreed, How: "x"}},
		"erase": {Erase: &care.Erasure{Why: "again"}}, "contact": {Contact: &care.NewContact{Of: 0}},
		"enrol": {Enrol: &care.Enrolment{Owner: care.Owner{ID: "h1", Address: ownerAddress, Name: "Ruth", Via: "text"}, Invite: true}},
	} {
		require.Equal(t, care.PracticeRefused, k.do(care.Event{Practice: &p}).Reason, what)
	}
	res := k.do(care.Event{Practice: &care.Practice{By: "lee", Note: &care.Note{Text: "seen"}}})
	require.Equal(t, care.PracticeDone, res.Reason, "the record is still the practice's to write in")
}

func TestErasureNeedsAReason(t *testing.T) {
	t.Parallel()
	k := watched(t)
	require.Equal(t, care.PracticeRefused, k.do(care.Event{Practice: &care.Practice{Erase: &care.Erasure{Why: " "}}}).Reason)
	require.Nil(t, k.house.Erased)
}

// A number whose contacts were erased is a stranger's: an emergency is answered,
// the practice is told, and the number is not kept.
func TestAnErasedNumberIsHeardAsAStrangers(t *testing.T) {
	t.Parallel()
	k := erased(t)
	k.owner("he has collapsed and can't get up")
	require.Len(t, k.sent, 1)
	require.Equal(t, ownerAddress, k.sent[0].To)
	require.NotNil(t, k.open(care.RedFlag))
	require.True(t, k.house.Contacts[0].Address.IsZero())
	k.owner("START")
	require.NotEqual(t, care.Agreed, k.house.Contacts[0].Consent.State, "a text is no new consent")
}

func TestAnErasedOwnerComesBackOnANewConsent(t *testing.T) {
	t.Parallel()
	k := erased(t)
	enrol := &care.Enrolment{Owner: care.Owner{ID: "h1", Address: ownerAddress, Name: "Ruth", Via: "text"}, Invite: true}
	res := k.do(care.Event{Practice: &care.Practice{By: "lee", Enrol: enrol, Anew: "signed at the practice"}})
	require.Equal(t, care.PracticeDone, res.Reason, res.Refusal)
	require.Nil(t, k.house.Erased)
	require.Equal(t, ownerAddress, k.house.Contacts[0].Address)
	require.Equal(t, care.Invited, k.house.Contacts[0].Consent.State)
}

func TestAnErasedRecordEndsAtItsDate(t *testing.T) {
	t.Parallel()
	k := erased(t)
	k.rules.KeepYears = 3
	require.Equal(t, k.now.AddDate(3, 0, 0).Unix(), k.rules.KeptUntil(k.now).Unix())
	until := time.Unix(k.house.Erased.Until, 0)
	k.now = until.Add(-time.Second)
	require.NotEqual(t, care.RecordEnded, k.do(care.Event{Tick: &care.Tick{}}).Reason)
	k.now = until
	require.Equal(t, care.RecordEnded, k.do(care.Event{Tick: &care.Tick{}}).Reason)
}

func TestWhatIsKeptOfEventsWithoutContacts(t *testing.T) {
	t.Parallel()
	e := care.Event{Message: &care.MessageIn{From: ownerAddress, Text: "mine", Joiner: "x", Refs: []string{"photo"}}}
	require.Equal(t, care.MessageIn{Text: "mine"}, *e.WithoutContacts().Message)
	require.Equal(t, ownerAddress, e.Message.From, "the event itself is not changed")
	p := care.Event{Practice: &care.Practice{Enrol: &care.Enrolment{Owner: care.Owner{Name: "Ruth", Address: ownerAddress}, Dogs: []care.EnrolledDog{{Name: "Moss"}}}}}
	b, err := cbor.Marshal(p.WithoutContacts())
	require.NoError(t, err)
	require.NotContains(t, string(b), "Ruth")
	require.NotContains(t, string(b), ownerAddress.Value)
	require.Contains(t, string(b), "Moss")
	c := care.Event{Practice: &care.Practice{Contact: &care.NewContact{Address: ownerAddress, Name: "Sam"}, Join: &care.Join{Code: "code"}}}
	b, err = cbor.Marshal(c.WithoutContacts())
	require.NoError(t, err)
	require.NotContains(t, string(b), "Sam")
	require.NotContains(t, string(b), "code")
	facts := care.WithoutNames([]care.Fact{{Kind: care.FactAlert, Text: "Ruth asks"}, {Kind: care.FactWords, Text: "Ruth here"}}, []string{"Ruth"})
	require.Equal(t, "the owner asks", facts[0].Text)
	require.Equal(t, "Ruth here", facts[1].Text, "what people wrote stays")
}
