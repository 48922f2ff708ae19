package care_test

import (
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

func TestATroubleIsToldInPlainWords(t *testing.T) {
	t.Parallel()
	since := monday.Add(-12 * time.Minute)
	for name, c := range map[string]struct {
		trouble    care.Trouble
		text, over string
	}{
		"scheduler": {care.Trouble{Kind: care.SilentScheduler, Since: since}, "no check-ins and reminders go out", "work again"},
		"provider":  {care.Trouble{Kind: care.StuckProvider, Channel: "texts", Since: since}, `the provider of the channel "texts" takes none`, "go out again"},
		"outbox":    {care.Trouble{Kind: care.StuckOutbox, Channel: "texts", Since: since}, `messages on the channel "texts" are not being sent`, "go out again"},
	} {
		k := newLine(t, "lee")
		e := care.LineEvent{Key: "trouble/" + name, Trouble: &care.TroubleNews{Trouble: c.trouble}}
		res := k.do(e)
		require.Equal(t, care.LineTold, res.Reason)
		require.Len(t, res.Send, 1)
		require.Contains(t, res.Send[0].Text, c.text)
		require.Contains(t, res.Send[0].Text, "Since Mon ", name)
		require.LessOrEqual(t, utf8.RuneCountInString(res.Send[0].Text), 306, "two segments")
		require.True(t, res.Send[0].Text[len(res.Send[0].Text)-1] == '.', "nothing is cut off: %s", res.Send[0].Text)
		require.Equal(t, care.Repeated, k.do(e).Reason, "once, whoever notices it")

		res = k.do(care.LineEvent{Trouble: &care.TroubleNews{Trouble: c.trouble, Over: true}})
		require.Contains(t, res.Send[0].Text, c.over)
		require.LessOrEqual(t, utf8.RuneCountInString(res.Send[0].Text), 306)
	}
}

// Word that a channel does not work goes another way where there is one.
func TestWordOfAStuckChannelTakesAnotherWay(t *testing.T) {
	t.Parallel()
	k := newLine(t, "lee")
	stuck := func() care.LineEvent {
		return care.LineEvent{Trouble: &care.TroubleNews{Trouble: care.Trouble{Kind: care.StuckProvider, Channel: "texts", Since: monday}, Shut: contact.SMS}}
	}
	require.Equal(t, leeAddress, k.do(stuck()).Send[0].To, "there is no other: it comes when it works again")

	chat := contact.Address{Channel: contact.Telegram, Value: "4711"}
	k.rules.Channels = append(k.rules.Channels, care.Channel{Name: "chat", Kind: contact.Telegram})
	for i := range k.rules.Practitioners {
		if p := &k.rules.Practitioners[i]; p.ID == "lee" {
			p.Contacts = append(p.Contacts, chat)
		}
	}
	require.Equal(t, chat, k.do(stuck()).Send[0].To)
	require.Equal(t, leeAddress, k.do(care.LineEvent{Trouble: &care.TroubleNews{Trouble: care.Trouble{Kind: care.SilentScheduler, Since: monday}}}).Send[0].To)
}
