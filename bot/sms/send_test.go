package sms

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
)

var noon = time.Date(2026, 3, 3, 12, 0, 0, 0, time.UTC)

// bundle is a channel and the stand-in it talks to.
type bundle struct {
	*Channel
	provider *smsprovider.Provider
	now      time.Time
}

func setup(t *testing.T, change func(*smsprovider.Options)) *bundle {
	b := &bundle{now: noon}
	o := smsprovider.Options{
		Accounts: []smsprovider.Account{{SID: testAccount, Token: testToken, Numbers: []smsprovider.Number{{E164: ourNumber}}}},
		Now:      func() time.Time { return b.now },
	}
	if change != nil {
		change(&o)
	}
	var err error
	b.provider, err = smsprovider.New(o)
	require.NoError(t, err)
	server := httptest.NewServer(b.provider)
	t.Cleanup(server.Close)
	b.Channel, err = New(testConfig(server.URL))
	require.NoError(t, err)
	return b
}

func (b *bundle) message(text string) bot.Outgoing {
	return bot.Outgoing{
		Ref: "0f-1a-0", To: contact.Address{Channel: contact.SMS, Value: ruth}, Text: text,
		Valid: time.Hour, Since: b.now,
	}
}

func classOfError(t *testing.T, err error) (bot.Class, string) {
	t.Helper()
	var e *bot.SendError
	require.ErrorAs(t, err, &e)
	require.NotContains(t, e.Error(), ruth[1:])
	require.NotContains(t, e.Error(), testToken)
	return e.Class, e.Code
}

func TestAMessageArrivesWithAllThatTheProviderNeeds(t *testing.T) {
	b := setup(t, nil)
	receipt, err := b.Send(t.Context(), b.message("Thank you, Ruth & £5 =\n2?"))
	require.NoError(t, err)
	sent := b.provider.Sent()
	require.Len(t, sent, 1)
	require.Equal(t, sent[0].SID, receipt.ID)
	require.Equal(t, "Thank you, Ruth & £5 =\n2?", sent[0].Body)
	require.Equal(t, ourNumber, sent[0].From)
	require.Equal(t, ruth, sent[0].To)
	require.Equal(t, noon.Add(time.Hour), sent[0].Until)
	require.Equal(t, hookURL+"/status?m=0f-1a-0", sent[0].Callback)
	require.Empty(t, b.provider.Problems())
}

// The limits are those of Twilio's OpenAPI file: 1 to 36000 s.
func TestHowLongTheProviderMayHoldAMessage(t *testing.T) {
	b := setup(t, nil)
	for valid, want := range map[time.Duration]time.Duration{
		48 * time.Hour:                          36000 * time.Second,
		90*time.Second + 900*time.Millisecond:   90 * time.Second,
		time.Second:                             time.Second,
		10*time.Hour + 500*time.Millisecond:     36000 * time.Second,
		5 * time.Minute:                         5 * time.Minute,
		10*time.Hour - 500*time.Millisecond - 1: 35999 * time.Second,
	} {
		m := b.message("Hello")
		m.Valid = valid
		_, err := b.Send(t.Context(), m)
		require.NoError(t, err)
		sent := b.provider.Sent()
		require.Equal(t, want, sent[len(sent)-1].Until.Sub(noon), valid)
	}
	m := b.message("Hello")
	m.Valid = 999 * time.Millisecond
	_, err := b.Send(t.Context(), m)
	class, _ := classOfError(t, err)
	require.Equal(t, bot.Permanent, class)
}

func TestRefusals(t *testing.T) {
	for name, c := range map[string]struct {
		arrange func(b *bundle, m *bot.Outgoing)
		class   bot.Class
		code    string
	}{
		"not a number":   {func(_ *bundle, m *bot.Outgoing) { m.To.Value = "60601" }, bot.Dead, "21211"},
		"landline":       {func(b *bundle, _ *bot.Outgoing) { b.provider.SetHandset(ruth, smsprovider.Landline) }, bot.Dead, "21614"},
		"opted out":      {func(b *bundle, _ *bot.Outgoing) { b.writes(t, "stop") }, bot.OptedOut, "21610"},
		"too long":       {func(_ *bundle, m *bot.Outgoing) { m.Text = strings.Repeat("é", 1601) }, bot.Permanent, "21617"},
		"empty":          {func(_ *bundle, m *bot.Outgoing) { m.Text = "" }, bot.Permanent, "21602"},
		"bad token":      {func(b *bundle, _ *bot.Outgoing) { b.token = "another" }, bot.Misconfigured, "20003"},
		"no account":     {func(b *bundle, _ *bot.Outgoing) { b.create = strings.Replace(b.create, "01/M", "02/M", 1) }, bot.Misconfigured, "20404"},
		"other's number": {func(b *bundle, _ *bot.Outgoing) { b.number = "+441632960009" }, bot.Misconfigured, "21606"},
		"429":            {inject(smsprovider.Answer429), bot.Throttled, "20429"},
		"500":            {inject(smsprovider.Answer500), bot.Retry, "20500"},
		"503":            {inject(smsprovider.Answer503), bot.Retry, "20503"},
		"cut":            {inject(smsprovider.Cut), bot.UnknownResult, ""},
	} {
		t.Run(name, func(t *testing.T) {
			b := setup(t, nil)
			m := b.message("Hello")
			c.arrange(b, &m)
			_, err := b.Send(t.Context(), m)
			class, code := classOfError(t, err)
			require.Equal(t, c.class, class)
			require.Equal(t, c.code, code)
			require.Empty(t, b.provider.Sent())
		})
	}
}

func inject(k smsprovider.FaultKind) func(*bundle, *bot.Outgoing) {
	return func(b *bundle, _ *bot.Outgoing) { b.provider.Inject(smsprovider.Fault{Kind: k, Times: 1}) }
}

func (b *bundle) writes(t *testing.T, text string) {
	_, err := b.provider.From(t.Context(), smsprovider.Text{From: ruth, To: ourNumber, Body: text})
	require.NoError(t, err)
}

func TestAMessageThatMayHaveArrivedIsUnknown(t *testing.T) {
	for _, kind := range []smsprovider.FaultKind{smsprovider.AcceptAndHang, smsprovider.AcceptAndCut} {
		t.Run(string(kind), func(t *testing.T) {
			b := setup(t, nil)
			b.provider.Inject(smsprovider.Fault{Kind: kind, Times: 1})
			ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
			defer cancel()
			_, err := b.Send(ctx, b.message("Hello"))
			class, _ := classOfError(t, err)
			require.Equal(t, bot.UnknownResult, class)
			require.Len(t, b.provider.Sent(), 1)
			has, err := b.Lookup(t.Context(), b.message("Hello"))
			require.NoError(t, err)
			require.Equal(t, bot.Present, has)
		})
	}
}

func TestAMessageThatWasNeverWrittenMayBeSentAgain(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, l.Close()) // nobody listens there now
	c, err := New(testConfig("http://" + l.Addr().String()))
	require.NoError(t, err)
	_, err = c.Send(t.Context(), (&bundle{now: noon}).message("Hello"))
	class, _ := classOfError(t, err)
	require.Equal(t, bot.Retry, class)
	has, err := c.Lookup(t.Context(), (&bundle{now: noon}).message("Hello"))
	require.Error(t, err)
	require.Equal(t, bot.CantTell, has)
	require.NotContains(t, err.Error(), ruth[1:])
}

func TestAnswersOfOtherKinds(t *testing.T) {
	for name, c := range map[string]struct {
		status int
		header string
		body   string
		class  bot.Class // "" is accepted
		after  time.Duration
	}{
		"accepted, unreadable":  {201, "", "<html>", "", 0},
		"accepted, elsewhere":   {200, "", `{"sid":"SM1"}`, "", 0},
		"moved":                 {302, "", "", bot.Misconfigured, 0},
		"forbidden":             {403, "", "{}", bot.Misconfigured, 0},
		"unknown refusal":       {400, "", `{"code":29999}`, bot.Permanent, 0},
		"refusal without words": {400, "", "", bot.Permanent, 0},
		"timed out over there":  {408, "", "", bot.UnknownResult, 0},
		"gateway":               {502, "", "<html>", bot.Retry, 0},
		"throttled":             {429, "7", `{"code":20429}`, bot.Throttled, 7 * time.Second},
		"throttled, date":       {429, "Tue, 03 Mar 2026 12:00:00 GMT", "", bot.Throttled, 0},
		"queue full":            {400, "", `{"code":21611}`, bot.Throttled, 0},
	} {
		t.Run(name, func(t *testing.T) {
			server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
				w.Header().Set("Location", "/elsewhere")
				w.Header().Set("Retry-After", c.header)
				w.WriteHeader(c.status)
				fmt.Fprint(w, c.body)
			}))
			defer server.Close()
			ch, err := New(testConfig(server.URL))
			require.NoError(t, err)
			_, err = ch.Send(t.Context(), (&bundle{now: noon}).message("Hello"))
			if c.class == "" {
				require.NoError(t, err)
				return
			}
			class, _ := classOfError(t, err)
			require.Equal(t, c.class, class)
			var e *bot.SendError
			require.True(t, errors.As(err, &e))
			require.Equal(t, c.after, e.RetryAfter)
		})
	}
}
