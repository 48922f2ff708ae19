package care_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// A message changed afterwards is screened and kept; it must not answer the
// question that stands by then.
func TestAnEditIsScreenedAndAnswersNothing(t *testing.T) {
	k := newTalk(t)
	k.play("dog Bramble\nowner> yes")
	before := k.house.Contacts[0].Talk.Open
	edit := func(text string) care.Result {
		return k.do(care.Event{Key: "edit/" + text, At: k.now, Message: &care.MessageIn{
			From: k.house.Contacts[0].Address, Via: "texts", ID: "m", Text: text, Edited: true,
		}})
	}
	require.Equal(t, care.EditKept, edit("3").Reason)
	require.Equal(t, before, k.house.Contacts[0].Talk.Open)
	require.Equal(t, care.RedFlagRaised, edit("he has collapsed and is not breathing").Reason)
	require.NotNil(t, k.open(care.RedFlag))
}

// Channels with buttons get the answers to offer and when the person last wrote;
// text messages carry neither.
func TestChoicesGoWhereThereAreButtons(t *testing.T) {
	for _, kind := range []contact.Channel{contact.SMS, contact.WhatsApp} {
		k := newTalk(t)
		k.play("dog Bramble\nskip")
		k.house.Contacts[0].Address.Channel = kind
		res := k.do(care.Event{Key: "yes", At: k.now, Message: &care.MessageIn{From: k.house.Contacts[0].Address, Via: "texts", ID: "m", Text: "yes"}})
		last := res.Send[len(res.Send)-1]
		if kind == contact.SMS {
			require.Empty(t, last.Choices)
			require.True(t, last.Heard.IsZero())
			continue
		}
		require.Len(t, last.Choices, 6, "0 to 4 and X")
		require.Equal(t, "0", last.Choices[0].Reply)
		require.Equal(t, k.now.Unix(), last.Heard.Unix())
	}
}
