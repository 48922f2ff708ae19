package voice

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/bot/channeltest"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/calls"
	"gaitpost/internal/fake/smsprovider"
)

// An invented practice; the numbers are from Ofcom's ranges for drama.
const (
	account = "AC00000000000000000000000000000001"
	token   = "an invented token"
	ours    = "+441632960000"
	hook    = "https://texts.example/hook/harbour/calls"
)

var lee = contact.Address{Channel: contact.Voice, Value: "+447700900102"}

func setup(t *testing.T) (*Channel, *calls.Provider) {
	p := calls.New(account, token)
	server := httptest.NewServer(p)
	t.Cleanup(server.Close)
	c, err := New(Config{Account: account, AuthToken: token, Number: ours, API: server.URL, Hook: hook})
	require.NoError(t, err)
	return c, p
}

func alert() bot.Outgoing {
	return bot.Outgoing{Ref: "line~hill~lee~1", To: lee, Valid: time.Hour,
		Text: `NOW, not taken on by a colleague yet: Bramble (Ruth, +447700900101), red flag: "<collapsed> & can't breathe". Reply 3 OK to take it on.`}
}

func signed(form url.Values) bot.Request {
	return bot.Request{Body: []byte(form.Encode()),
		Header: http.Header{"X-Twilio-Signature": {smsprovider.Sign(token, hook, form)}}}
}

func TestAnAlertIsSpokenTwiceAndTakenOnByAKey(t *testing.T) {
	c, p := setup(t)
	receipt, err := c.Send(context.Background(), alert())
	require.NoError(t, err)
	require.True(t, receipt.Sent)
	call := p.Calls()[0]
	require.Equal(t, lee.Value, call.To)
	require.Len(t, call.Spoken, 2)
	require.Equal(t, call.Spoken[0], call.Spoken[1])
	require.Contains(t, call.Spoken[0], "4 4 7 7 0 0 9 0 0 1 0 1", "a number is heard digit by digit")
	require.Contains(t, call.Spoken[0], `"<collapsed> & can't breathe"`, "words are no markup")
	require.NotContains(t, call.Spoken[0], "Reply")
	require.True(t, strings.HasSuffix(call.Spoken[0], "Press 1 to take it on."))
	require.Equal(t, hook, call.Action)

	told, err := c.Receive(signed(p.Pressed(call, "1")))
	require.NoError(t, err)
	require.Len(t, told, 1)
	require.Equal(t, lee, told[0].Peer)
	require.True(t, told[0].StaffOnly)
	require.Equal(t, "OK by telephone", told[0].Message.Text)
	again, err := c.Receive(signed(p.Pressed(call, "1")))
	require.NoError(t, err)
	require.Equal(t, told[0].Key, again[0].Key)
	told, err = c.Receive(signed(p.Pressed(call, "2")))
	require.NoError(t, err)
	require.Empty(t, told, "another key takes nothing on")
	require.Contains(t, string(c.Answer().Body), "Goodbye")
}

func TestKeysThatNobodyPressed(t *testing.T) {
	c, p := setup(t)
	call := calls.Call{SID: "CA1", To: lee.Value, From: ours}
	good := p.Pressed(call, "1")
	for name, r := range map[string]bot.Request{
		"unsigned":               {Body: []byte(good.Encode()), Header: http.Header{}},
		"signed elsewhere":       {Body: []byte(good.Encode()), Header: http.Header{"X-Twilio-Signature": {smsprovider.Sign("guessed", hook, good)}}},
		"another account":        signed(changed(good, "AccountSid", "AC00000000000000000000000000000002")),
		"another number":         signed(changed(good, "From", "+441632960001")),
		"no call":                signed(changed(good, "CallSid", "")),
		"nobody's number":        signed(changed(good, "To", "ruth")),
		"a body that is no form": {Body: []byte("%zz"), Header: http.Header{"X-Twilio-Signature": {"x"}}},
	} {
		told, err := c.Receive(r)
		require.Error(t, err, name)
		require.Empty(t, told, name)
	}
}

func changed(f url.Values, name, value string) url.Values {
	out := url.Values{}
	for k, v := range f {
		out[k] = v
	}
	out.Set(name, value)
	return out
}

func TestTroubles(t *testing.T) {
	c, p := setup(t)
	for trouble, want := range map[channeltest.Trouble]bot.Class{
		channeltest.Outage: bot.Retry, channeltest.Throttle: bot.Throttled, channeltest.Lost: bot.UnknownResult,
	} {
		p.Next(trouble.Answer)
		_, err := c.Send(context.Background(), alert())
		var e *bot.SendError
		require.ErrorAs(t, err, &e)
		require.Equal(t, want, e.Class)
		require.NotContains(t, e.Error(), lee.Value[1:])
	}
	m := alert()
	m.To.Value = "ruth"
	_, err := c.Send(context.Background(), m)
	require.ErrorContains(t, err, string(bot.Dead))
	_, err = New(Config{})
	for _, part := range []string{"account", "number", "public address"} {
		require.ErrorContains(t, err, part)
	}
	require.NotContains(t, fmt.Sprintf("%v %+v", Config{AuthToken: token}, Config{AuthToken: token}), token)
}

func TestWhatIsHeard(t *testing.T) {
	for in, want := range map[string]string{
		"NOW: alert 3. Reply 3 OK to take it on.": "NOW: alert 3.",
		"index 62.5, ring 01632 960911":           "index 62.5, ring 01632 9 6 0 9 1 1,",
		"two\nlines\x07":                          "two lines ",
	} {
		require.Equal(t, strings.TrimSpace(want), strings.TrimSpace(spoken(in)))
	}
}
