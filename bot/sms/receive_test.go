package sms

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
)

// An invented practice; the numbers are from Ofcom's ranges for drama.
const (
	testAccount = "AC00000000000000000000000000000001"
	testToken   = "an invented token"
	ourNumber   = "+441632960000"
	ruth        = "+447700900101"
	hookURL     = "https://texts.example/hook/harbour/texts"
	sid         = "SM00000000000000000000000000000042"
)

func testConfig(api string) Config {
	return Config{Account: testAccount, AuthToken: testToken, Number: ourNumber, API: api, PublicURL: hookURL}
}

func testChannel(t testing.TB) *Channel {
	c, err := New(testConfig(""))
	require.NoError(t, err)
	return c
}

func inboundForm(text string) url.Values {
	return url.Values{
		"AccountSid": {testAccount}, "ApiVersion": {"2010-04-01"}, "From": {ruth}, "To": {ourNumber}, "Body": {text},
		"MessageSid": {sid}, "SmsSid": {sid}, "SmsMessageSid": {sid}, "SmsStatus": {"received"},
		"NumMedia": {"0"}, "NumSegments": {"1"}, "FromCity": {""}, "ToCity": {""}, "FromCountry": {"GB"}, "ToCountry": {"GB"},
	}
}

func statusForm(status string) url.Values {
	return url.Values{
		"AccountSid": {testAccount}, "From": {ourNumber}, "To": {ruth},
		"MessageSid": {sid}, "MessageStatus": {status}, "ApiVersion": {"2010-04-01"},
	}
}

// receive signs a form as it is and hands it to the channel.
func receive(t testing.TB, h bot.Hook, query string, form url.Values) ([]bot.Inbound, error) {
	return testChannel(t).Receive(request(h, query, form))
}

func with(f url.Values, changes ...string) url.Values {
	for i := 0; i < len(changes); i += 2 {
		if changes[i+1] == "-" {
			f.Del(changes[i])
			continue
		}
		f.Set(changes[i], changes[i+1])
	}
	return f
}

func TestAMessageIsReadAsItIs(t *testing.T) {
	got, err := receive(t, bot.MessageHook, "", inboundForm("  2 1 & 0\u202e🐶 "))
	require.NoError(t, err)
	from := contact.Address{Channel: contact.SMS, Value: ruth}
	require.Equal(t, []bot.Inbound{{
		Key: "sms/" + sid, Peer: from,
		Message: &care.MessageIn{From: from, ID: sid, Text: "  2 1 & 0\u202e🐶 "},
	}}, got)
}

func TestWhatComesWithAMessageIsNamedNotFetched(t *testing.T) {
	f := with(inboundForm(""), "NumMedia", "4",
		"MediaUrl0", "https://media.example/0", "MediaContentType0", "image/JPEG",
		"MediaContentType1", "text/vcard; charset=utf-8", "MediaContentType2", "<script>/x")
	got, err := receive(t, bot.MessageHook, "", f)
	require.NoError(t, err)
	require.Equal(t, []string{"image/jpeg", "text/vcard", "application/octet-stream", "application/octet-stream"}, got[0].Message.Media)
	for n, want := range map[string]int{"-3": 0, "many": 0, "0": 0, "11": 10, "1000000000": 10} {
		got, err := receive(t, bot.MessageHook, "", with(inboundForm(""), "NumMedia", n))
		require.NoError(t, err)
		require.Len(t, got[0].Message.Media, want, n)
	}
}

func TestTheProvidersOwnOptOutIsPassedOn(t *testing.T) {
	for _, kind := range []string{"STOP", "START", "HELP"} {
		got, err := receive(t, bot.MessageHook, "", with(inboundForm("Halt"), "OptOutType", kind))
		require.NoError(t, err)
		require.Equal(t, kind, got[0].Message.ProviderOptOut)
	}
	got, err := receive(t, bot.MessageHook, "", with(inboundForm("stop"), "OptOutType", "OTHER"))
	require.NoError(t, err)
	require.Empty(t, got[0].Message.ProviderOptOut)
}

func TestGenuineRequestsThatAreNotForUs(t *testing.T) {
	for name, c := range map[string]struct {
		hook bot.Hook
		form url.Values
		want error
	}{
		"other account":        {bot.MessageHook, with(inboundForm("2"), "AccountSid", "AC00000000000000000000000000000002"), bot.ErrOtherAccount},
		"no account":           {bot.MessageHook, with(inboundForm("2"), "AccountSid", "-"), bot.ErrOtherAccount},
		"other number":         {bot.MessageHook, with(inboundForm("2"), "To", "+441632960001"), bot.ErrOtherNumber},
		"no number":            {bot.MessageHook, with(inboundForm("2"), "To", "-"), bot.ErrOtherNumber},
		"status, account":      {bot.StatusHook, with(statusForm("sent"), "AccountSid", ""), bot.ErrOtherAccount},
		"status, other number": {bot.StatusHook, with(statusForm("sent"), "From", "+441632960001"), bot.ErrOtherNumber},
		"no sender":            {bot.MessageHook, with(inboundForm("2"), "From", ""), bot.ErrBroken},
		"sender is words":      {bot.MessageHook, with(inboundForm("2"), "From", "<b>somebody</b>"), bot.ErrBroken},
		"sender too long":      {bot.MessageHook, with(inboundForm("2"), "From", strings.Repeat("9", 40)), bot.ErrBroken},
		"no id":                {bot.MessageHook, with(inboundForm("2"), "MessageSid", "-"), bot.ErrBroken},
		"odd id":               {bot.MessageHook, with(inboundForm("2"), "MessageSid", "SM/../1"), bot.ErrBroken},
		"long id":              {bot.MessageHook, with(inboundForm("2"), "MessageSid", strings.Repeat("a", 65)), bot.ErrBroken},
		"no status":            {bot.StatusHook, with(statusForm("sent"), "MessageStatus", "-"), bot.ErrBroken},
		"status, nobody":       {bot.StatusHook, with(statusForm("sent"), "To", "-"), bot.ErrBroken},
		"status, no id":        {bot.StatusHook, with(statusForm("sent"), "MessageSid", "-"), bot.ErrBroken},
	} {
		t.Run(name, func(t *testing.T) {
			query := ""
			if c.hook == bot.StatusHook {
				query = "m=abc-1-0"
			}
			got, err := receive(t, c.hook, query, c.form)
			require.ErrorIs(t, err, c.want)
			require.Empty(t, got)
		})
	}
}

func TestSendersThatAreNoOrdinaryNumber(t *testing.T) {
	for from, want := range map[string]string{
		"+44 7700 900101": ruth, // written loosely
		"60601":           "60601",
		"PARCELS":         "PARCELS",
	} {
		got, err := receive(t, bot.MessageHook, "", with(inboundForm("2"), "From", from))
		require.NoError(t, err)
		require.Equal(t, want, got[0].Peer.Value)
	}
}

func TestBrokenBodies(t *testing.T) {
	c := testChannel(t)
	for name, body := range map[string]string{
		"half an escape":  "Body=%4",
		"bad escape":      "Body=%zz",
		"in the name":     "%zz=1",
		"too many fields": strings.Repeat("a=1&", maxFields+1),
	} {
		t.Run(name, func(t *testing.T) {
			_, err := c.Receive(bot.Request{Body: []byte(body), Header: http.Header{signatureHeader: {"x"}}})
			require.ErrorIs(t, err, bot.ErrBroken)
		})
	}
	t.Run("genuine JSON is no message", func(t *testing.T) {
		query := "bodySHA256=44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a" // of {}
		_, err := c.Receive(bot.Request{RawQuery: query, Body: []byte("{}"), Header: http.Header{
			signatureHeader: {smsprovider.Sign(testToken, hookURL+"?"+query, nil)},
		}})
		require.ErrorIs(t, err, bot.ErrBroken)
	})
}

// The states are those of Twilio's OpenAPI file of 2026-04-14.
func TestStatesBecomeFates(t *testing.T) {
	for status, want := range map[string]care.Fate{
		"sent": care.SentOut, "delivered": care.Delivered, "read": care.Read,
		"undelivered": care.Failed, "failed": care.Failed, "canceled": care.Failed, "partially_delivered": care.SentOut,
	} {
		got, err := receive(t, bot.StatusHook, "m=0f-1a-0", statusForm(status))
		require.NoError(t, err)
		require.Len(t, got, 1, status)
		require.Equal(t, want, got[0].Report.Fate, status)
		require.Equal(t, "0f-1a-0", got[0].Report.Message)
		require.Equal(t, ruth, got[0].Peer.Value)
		require.True(t, strings.HasPrefix(got[0].Key, "sms/"+sid+"/"+status), got[0].Key)
	}
	for _, status := range []string{"queued", "sending", "accepted", "scheduled", "receiving", "received", "something_new"} {
		got, err := receive(t, bot.StatusHook, "m=0f-1a-0", statusForm(status))
		require.NoError(t, err)
		require.Empty(t, got, status)
	}
}

func TestReportsWithoutAReferenceAreOfNoUse(t *testing.T) {
	for _, query := range []string{"", "m=", "x=1", "m=%3Cb%3E", "m=%zz", "m=" + strings.Repeat("a", 201)} {
		got, err := receive(t, bot.StatusHook, query, statusForm("delivered"))
		require.NoError(t, err)
		require.Empty(t, got, query)
	}
}

// Codes from Twilio's error dictionary.
func TestCodesOfFailures(t *testing.T) {
	for code, want := range map[string]care.Report{
		"30003": {Fate: care.Failed, Code: "30003"},
		"30005": {Fate: care.Failed, Code: "30005", Dead: true},
		"30006": {Fate: care.Failed, Code: "30006", Dead: true},
		"21610": {Fate: care.Failed, Code: "21610", OptedOut: true},
		"30007": {Fate: care.Failed, Code: "30007"},
		"":      {Fate: care.Failed},
		"<b>":   {Fate: care.Failed},
	} {
		want.Message = "0f-1a-0"
		got, err := receive(t, bot.StatusHook, "m=0f-1a-0", with(statusForm("undelivered"), "ErrorCode", code))
		require.NoError(t, err)
		require.Equal(t, want, *got[0].Report)
	}
}

// Plain text in an answer would be sent to the owner (Twilio, TwiML for
// messages); an empty document sends nothing.
func TestTheAnswerSendsNothing(t *testing.T) {
	a := testChannel(t).Answer()
	require.True(t, strings.HasPrefix(a.ContentType, "text/xml"))
	require.Contains(t, string(a.Body), "<Response/>")
}

func TestEveryProblemOfAConfigurationIsTold(t *testing.T) {
	_, err := New(Config{Account: "AC/1", Number: "0163", API: "ftp://x", PublicURL: "https://my_host.example/hook?x=1"})
	for _, part := range []string{"account", "token", "number", "interface", "public address"} {
		require.ErrorContains(t, err, part)
	}
	_, err = New(Config{Account: testAccount, AuthToken: "t", Number: ourNumber, PublicURL: "https://my_host.example/hook"})
	require.ErrorContains(t, err, "underscore")
	require.NotContains(t, fmt.Sprintf("%+v %#v", testConfig(""), testConfig("")), testToken)
}
