package sms

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/internal/fake/smsprovider"
)

func (b *bundle) has(t *testing.T, m bot.Outgoing) bot.Presence {
	t.Helper()
	p, err := b.Lookup(t.Context(), m)
	require.NoError(t, err)
	return p
}

func TestAMessageIsFoundByItsTextAndTime(t *testing.T) {
	b := setup(t, nil)
	m := b.message("Thank you.\r\nSee you.")
	require.Equal(t, bot.Absent, b.has(t, m))
	_, err := b.Send(t.Context(), m)
	require.NoError(t, err)
	require.Equal(t, bot.Present, b.has(t, m), "while it is queued there, without a date of sending")
	b.provider.Advance(t.Context(), noon.Add(time.Minute))
	require.Equal(t, bot.Present, b.has(t, m), "once it was delivered")

	other := b.message("Thank you.")
	require.Equal(t, bot.Absent, b.has(t, other), "another text")
	other = m
	other.To.Value = "+447700900102"
	require.Equal(t, bot.Absent, b.has(t, other), "somebody else")
	b.now = noon.Add(2 * time.Hour)
	later := b.message(m.Text)
	require.Equal(t, bot.Absent, b.has(t, later), "the same text, decided on two hours later")
}

// Whoever decided on a message may have a clock that runs minutes ahead.
func TestClocksMayStandApart(t *testing.T) {
	for name, c := range map[string]struct {
		ahead time.Duration
		want  bot.Presence
	}{
		"half a minute": {30 * time.Second, bot.Present},
		"ten minutes":   {10 * time.Minute, bot.Present},
		"a quarter":     {15 * time.Minute, bot.Present},
		"more":          {15*time.Minute + time.Second, bot.Absent},
	} {
		t.Run(name, func(t *testing.T) {
			b := setup(t, nil)
			sent := b.message("Thank you.")
			_, err := b.Send(t.Context(), sent)
			require.NoError(t, err)
			b.now = noon.Add(c.ahead)
			require.Equal(t, c.want, b.has(t, b.message(sent.Text)))
			require.Equal(t, bot.Absent, b.has(t, b.message("Thanks.")), "another text is never taken for it")
		})
	}
}

func TestWhatAHandsetWroteIsNoMessageOfOurs(t *testing.T) {
	b := setup(t, nil)
	b.writes(t, "stop") // the provider answers by itself
	m := b.message(b.provider.Ledger()[1].Body)
	require.Equal(t, smsprovider.OutboundReply, b.provider.Ledger()[1].Direction)
	require.Equal(t, bot.Absent, b.has(t, m))
}

func TestTheListIsReadPageByPage(t *testing.T) {
	b := setup(t, nil)
	wanted := b.message("The first of many.")
	_, err := b.Send(t.Context(), wanted)
	require.NoError(t, err)
	send := func(n int) {
		for i := range n {
			_, err := b.Send(t.Context(), b.message(fmt.Sprintf("More %d", i)))
			require.NoError(t, err)
		}
	}
	send(250)
	require.Equal(t, bot.Present, b.has(t, wanted))
	send(250)
	p, err := b.Lookup(t.Context(), wanted)
	require.Error(t, err, "it would be on the sixth page")
	require.Equal(t, bot.CantTell, p)
	b.now = noon.Add(48 * time.Hour)
	require.Equal(t, bot.Absent, b.has(t, b.message("Today's.")), "the whole first page is older")
}

func TestALookUpThatFailsCantTell(t *testing.T) {
	b := setup(t, nil)
	b.provider.Inject(smsprovider.Fault{Kind: smsprovider.ListFails, Times: 1})
	p, err := b.Lookup(t.Context(), b.message("Hello"))
	require.Error(t, err)
	require.Equal(t, bot.CantTell, p)
	require.Equal(t, bot.Absent, b.has(t, b.message("Hello")))
	for name, body := range map[string]string{
		"no JSON":      "<html>",
		"bad date":     `{"messages":[{"body":"Hello","date_created":"yesterday"}]}`,
		"next is odd":  `{"messages":[],"next_page_uri":"https://elsewhere.example/"}`,
		"endless list": `{"messages":[],"next_page_uri":"/again"}`,
	} {
		t.Run(name, func(t *testing.T) {
			server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, body) }))
			defer server.Close()
			c, err := New(testConfig(server.URL))
			require.NoError(t, err)
			p, err := c.Lookup(t.Context(), b.message("Hello"))
			require.Error(t, err)
			require.Equal(t, bot.CantTell, p)
		})
	}
}
