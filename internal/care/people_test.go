package care_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

var (
	newNumber = contact.Address{Channel: contact.SMS, Value: "+447700900177"}
	chat      = contact.Address{Channel: contact.Telegram, Value: "900700"}
)

// agreed is a household of one dog whose owner has agreed and stands at the first
// question of the first check-in.
func agreed(t *testing.T) *talk {
	k := newTalk(t)
	k.rules.Channels = append(k.rules.Channels, care.Channel{Name: "bot", Kind: contact.Telegram})
	k.play("dog Bramble\nowner> yes\nskip")
	return k
}

func (k *talk) from(a contact.Address, text string) care.Result {
	return k.do(care.Event{Message: &care.MessageIn{From: a, Via: "any", ID: "m" + text, Text: text}})
}

// second gives the owner a second address, vouched for by the practice.
func (k *talk) second(replace bool) care.Result {
	return k.staff(care.Practice{Contact: &care.NewContact{Of: 0, Address: newNumber, ID: "o2", Via: "text", Replace: replace}})
}

func TestTheConversationMovesWithTheOwner(t *testing.T) {
	k := agreed(t)
	k.second(false)
	require.Contains(t, k.last.Text, "we write to you here")
	require.Equal(t, newNumber, k.last.To)
	require.NotNil(t, k.house.Contacts[0].Talk.Open, "until they write there, it stays where it is")

	res := k.from(newNumber, "1")
	require.Equal(t, care.Answered, res.Reason, "the question asked at the old address is answered from the new one")
	require.Nil(t, k.house.Contacts[0].Talk.Open)
	require.Equal(t, newNumber, res.Send[0].To)
	require.Contains(t, res.Send[0].Text, "sore")

	res = k.from(ownerAddress, "0")
	require.Equal(t, ownerAddress, res.Send[0].To, "and back")
	k.now = k.now.Add(time.Hour)
	require.Nil(t, k.house.Contacts[1].Talk.Open)
}

func TestStopOnOneChannelAndOnAll(t *testing.T) {
	k := agreed(t)
	k.second(false)
	res := k.from(ownerAddress, "STOP")
	require.Contains(t, res.Send[0].Text, "STOP ALL")
	require.Equal(t, ownerAddress, res.Send[0].To)
	require.Equal(t, care.OptedOut, k.house.Contacts[0].Consent.State)
	require.Equal(t, care.Agreed, k.house.Contacts[1].Consent.State)
	require.NotNil(t, k.house.Contacts[1].Talk.Open, "what was open goes on at the other address")
	require.Nil(t, k.open(care.Stopped), "monitoring goes on")

	// Writing at a stopped address brings nothing back there, and is screened.
	k.from(ownerAddress, "he has collapsed and can't get up")
	require.NotNil(t, k.open(care.RedFlag))
	require.NotNil(t, k.house.Contacts[1].Talk)
	require.Equal(t, care.OptedOut, k.house.Contacts[0].Consent.State)

	all := agreed(t)
	all.second(false)
	res = all.from(newNumber, "STOP ALL")
	require.Contains(t, res.Send[0].Text, "no more texts")
	for i := range all.house.Contacts {
		require.Equal(t, care.OptedOut, all.house.Contacts[i].Consent.State)
		require.Nil(t, all.house.Contacts[i].Talk.Open)
	}
	require.NotNil(t, all.open(care.Stopped))
}

func TestAChangedNumberIsConfirmedFromTheOld(t *testing.T) {
	ask := care.Practice{Contact: &care.NewContact{Of: 0, Address: newNumber, ID: "o2", Via: "text", Replace: true, AskOld: true}}
	for answer, moved := range map[string]bool{"yes": true, "no": false} {
		k := agreed(t)
		k.play("owner> 0\nowner> 0\nowner> 0\nowner> 1\nowner> 1\nowner> 1\nowner> no\nskip")
		require.Nil(t, k.house.Contacts[0].Talk.Open)
		res := k.staff(ask)
		require.Equal(t, ownerAddress, res.Send[0].To, "the old address is asked, the new one hears nothing yet")
		require.Contains(t, res.Send[0].Text, "177")
		require.Len(t, k.house.Contacts, 1)
		k.owner(answer)
		if !moved {
			require.Len(t, k.house.Contacts, 1)
			require.NotNil(t, k.open(care.Question), "the practice is told that somebody gave a wrong number")
			continue
		}
		require.Len(t, k.house.Contacts, 2)
		require.Equal(t, care.Retired, k.house.Contacts[0].Consent.State)
		require.Equal(t, care.Agreed, k.house.Contacts[1].Consent.State)
		k.play("at 2026-03-16 12:00")
		require.Equal(t, newNumber, k.last.To, "prompts go to the new number")
	}
}

func TestASecondOwnerIsInvitedAndAnswersForTheSameDog(t *testing.T) {
	k := agreed(t)
	k.staff(care.Practice{Contact: &care.NewContact{Of: -1, Name: "Sam", Address: newNumber, ID: "o2", Via: "text"}})
	require.Equal(t, newNumber, k.last.To)
	require.Contains(t, k.last.Text, "Agree?")
	k.from(newNumber, "yes")
	require.Equal(t, care.Agreed, k.house.Contacts[1].Consent.State)
	require.NotNil(t, k.house.Contacts[0].Talk.Open, "the first owner's conversation is their own")
	k.from(newNumber, "STOP")
	require.Equal(t, care.Agreed, k.house.Contacts[0].Consent.State)
	require.Nil(t, k.open(care.Stopped), "somebody goes on answering")
}

func TestJoiningByLink(t *testing.T) {
	const id = contact.ID("00112233445566778899aabbccddeeff")
	code := care.NewJoinCode(id, []byte("0123456789"))
	require.LessOrEqual(t, len(code), 64, "Bot API: a start parameter has at most 64 characters")
	got, ok := care.JoinHousehold("/start " + code)
	require.True(t, ok)
	require.Equal(t, id, got)
	for _, text := range []string{"", "/start", "/start x", "/start " + code[:20], "start " + code, "2", "/start 😀"} {
		_, ok := care.JoinHousehold(text)
		require.False(t, ok, text)
	}
	require.Empty(t, care.NewJoinCode("short", []byte("0123456789")))
	require.Empty(t, care.NewJoinCode(id, []byte("01234")))

	k := agreed(t)
	res := k.staff(care.Practice{Join: &care.Join{Contact: 0, Code: code, Via: "bot", Link: "https://t.me/hill_bot?start=" + code}})
	require.Contains(t, res.Send[0].Text, "Telegram")
	require.Contains(t, res.Send[0].Text, code)
	come := func(text string) care.Result {
		return k.do(care.Event{Message: &care.MessageIn{From: chat, Via: "bot", ID: "m", Text: text, Joiner: "tg1"}})
	}
	other := care.NewJoinCode(id, []byte("9876543210"))
	require.Equal(t, care.JoinRefused, come("/start "+other).Reason)
	require.Len(t, k.house.Contacts, 1)

	require.Equal(t, care.Joined, come("/start "+code).Reason)
	require.Equal(t, contact.ID("tg1"), k.house.Contacts[1].ID)
	require.Equal(t, care.Agreed, k.house.Contacts[1].Consent.State)
	require.Equal(t, chat, k.last.To, "the question that stood is put again where they are now")
	require.Contains(t, k.last.Text, "limping")
	require.Equal(t, care.Answered, k.from(chat, "1").Reason)
	require.Equal(t, care.JoinRefused, come("/start "+code).Reason, "a code is good once")
	for _, f := range k.facts {
		require.NotContains(t, f.Text, code, "the code is not kept in the log")
	}

	late := agreed(t)
	late.staff(care.Practice{Join: &care.Join{Contact: 0, Code: code, Via: "bot", Link: "x"}})
	late.now = late.now.Add(8 * 24 * time.Hour)
	require.Equal(t, care.JoinRefused, late.do(care.Event{Message: &care.MessageIn{From: chat, ID: "m", Text: "/start " + code, Joiner: "tg1"}}).Reason)
}

func TestWhatDidNotArriveGoesByTheNextAddress(t *testing.T) {
	k := agreed(t)
	k.second(false)
	prompt := k.house.Sent[len(k.house.Sent)-2]
	require.Equal(t, int8(0), prompt.Contact)
	failed := func(s care.Sent, dead bool) care.Result {
		return k.do(care.Event{Key: "f" + s.ID, Report: &care.Report{Message: k.house.MessageID(s), Fate: care.Failed, Dead: dead}})
	}
	res := failed(prompt, false)
	require.Len(t, res.Send, 1)
	require.Equal(t, newNumber, res.Send[0].To)
	require.Contains(t, res.Send[0].Text, "limping", "the same question, asked there")
	require.Nil(t, k.open(care.Stopped))

	k.from(newNumber, "he has collapsed and can't get up")
	safety := k.house.Sent[len(k.house.Sent)-1]
	require.NotEmpty(t, safety.Lines)
	res = failed(safety, true)
	require.Equal(t, ownerAddress, res.Send[0].To)
	require.Equal(t, care.ForSafety, res.Send[0].Purpose)
	require.Contains(t, res.Send[0].Text, "01632 960911", "with the numbers")
	require.Equal(t, care.Retired, k.house.Contacts[1].Consent.State, "a dead number is not tried again")

	last := k.house.Sent[len(k.house.Sent)-1]
	failed(last, true)
	require.NotNil(t, k.open(care.Stopped), "with no way left the practice has to ring")
}

func TestNewContactsThatAreRefused(t *testing.T) {
	k := agreed(t)
	for name, n := range map[string]*care.NewContact{
		"no address":       {Of: 0},
		"nobody":           {Of: 4, Address: newNumber, ID: "o2", Via: "text"},
		"the same":         {Of: 0, Address: ownerAddress, ID: "o1", Via: "text"},
		"a nameless other": {Of: -1, Address: newNumber, ID: "o2", Via: "text"},
	} {
		res := k.staff(care.Practice{Contact: n})
		require.Equal(t, care.PracticeRefused, res.Reason, name)
		require.NotEmpty(t, res.Refusal, name)
		require.Len(t, k.house.Contacts, 1)
	}
	k.owner("STOP")
	res := k.staff(care.Practice{Contact: &care.NewContact{Of: 0, Address: newNumber, ID: "o2", Via: "text", AskOld: true}})
	require.Contains(t, res.Refusal, "can't be asked")
	res = k.staff(care.Practice{Join: &care.Join{Contact: 0, Code: "c", Via: "bot", Link: "l"}})
	require.Contains(t, res.Refusal, "Show it to them")
	k.second(false)
	require.Equal(t, care.Invited, k.house.Contacts[1].Consent.State, "who had stopped is asked again, not texted")
}

// A link is as good as its owner's word: it goes to them and is kept nowhere.
func TestALinkIsSentAndNotKept(t *testing.T) {
	k := agreed(t)
	const code = "Y29kZS1vZi1hLXRlc3Q"
	res := k.staff(care.Practice{Join: &care.Join{Contact: 0, Code: code, Via: "bot", Link: "https://t.me/hillside_bot?start=" + code}})
	require.Contains(t, res.Send[0].Text, "?start="+code)
	said := 0
	for _, f := range res.Facts {
		if f.Line == nil {
			continue
		}
		said++
		kept := k.rules.Scripts.Render(*f.Line, "")
		require.NotContains(t, kept, code)
		require.Contains(t, kept, "a link that only they were sent")
	}
	require.Equal(t, 1, said)
}

// A chat can't be rung: whoever has to ring is given the person's telephone.
func TestWhoeverWritesFromAChatIsRungOnTheTelephone(t *testing.T) {
	k := agreed(t)
	const code = "Y29kZS1vZi1hLXRlc3Q"
	k.staff(care.Practice{Join: &care.Join{Contact: 0, Code: code, Via: "bot", Link: "https://t.me/hillside_bot?start=" + code}})
	res := k.do(care.Event{Message: &care.MessageIn{From: chat, Via: "bot", ID: "j", Text: "/start " + code, Joiner: "c2"}})
	require.Equal(t, care.Joined, res.Reason)
	k.from(chat, "he has collapsed and can't get up")
	alert := k.open(care.RedFlag)
	require.NotNil(t, alert)
	require.EqualValues(t, 1, alert.Contact)
	require.Equal(t, ownerAddress.Value, k.house.Item(*alert).Phone)
	require.Equal(t, ownerAddress.Value, k.house.Rings(1))

	k.house.Contacts[0].Consent.State = care.Retired
	require.Empty(t, k.house.Rings(1), "a number that is not used any more is no help")
	require.Equal(t, ownerAddress.Value, k.house.Rings(0))
}
