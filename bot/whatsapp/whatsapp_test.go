package whatsapp

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
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
	"gaitpost/dialog"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	fake "gaitpost/internal/fake/whatsapp"
)

// An invented practice; the numbers are from Ofcom's ranges for drama.
const (
	phoneID = "100000000000000"
	secret  = "an invented app secret"
	verify  = "an invented verify token"
	ruth    = "447700900101"
)

var peer = contact.Address{Channel: contact.WhatsApp, Value: "+" + ruth}

type bundle struct {
	*Channel
	provider *fake.Provider
	now      time.Time
}

func setup(t testing.TB, change func(*Config)) *bundle {
	b := &bundle{now: channeltest.Noon}
	now := func() time.Time { return b.now }
	var err error
	b.provider, err = fake.New(fake.Options{
		PhoneID: phoneID, Display: "441632960000", Token: "token", AppSecret: secret, Templates: []string{"check_in/en"}, Now: now,
	})
	require.NoError(t, err)
	b.provider.Wrote(ruth, channeltest.Noon.Add(-time.Hour))
	server := httptest.NewServer(b.provider)
	t.Cleanup(server.Close)
	c := Config{
		PhoneID: phoneID, Number: "+441632960000", Token: "token", AppSecret: secret, VerifyToken: verify,
		Template: "check_in", Language: "en", API: server.URL + "/v23.0", Now: now,
	}
	if change != nil {
		change(&c)
	}
	b.Channel, err = New(c)
	require.NoError(t, err)
	return b
}

func (b *bundle) signed(body []byte) bot.Request {
	return bot.Request{Header: http.Header{signatureHeader: {b.provider.Sign(body)}}, Body: body}
}

func TestTheSuiteOfEveryChannel(t *testing.T) {
	fates := map[care.Fate]string{care.SentOut: "sent", care.Delivered: "delivered", care.Read: "read", care.Failed: "failed"}
	channeltest.Run(t, func(t *testing.T) channeltest.Rig {
		b := setup(t, nil)
		return channeltest.Rig{
			Channel: b, Peer: peer, Longest: 4000,
			Wrote: func(id, text string) bot.Request { return b.signed(b.provider.Text("wamid."+id, ruth, text)) },
			Became: func(ref string, f care.Fate) bot.Request {
				return b.signed(b.provider.Status("wamid.1", ruth, ref, fates[f], 0))
			},
			Foreign: func(id, text string) bot.Request {
				return b.signed(b.provider.TextFor("200000000000000", "wamid."+id, ruth, text))
			},
			Forgeries: map[string]func(bot.Request) bot.Request{
				"unsigned": func(r bot.Request) bot.Request { r.Header.Del(signatureHeader); return r },
				"body": func(r bot.Request) bot.Request {
					r.Body = bytes.Replace(r.Body, []byte("He"), []byte("It"), 1)
					return r
				},
				"empty": func(r bot.Request) bot.Request { r.Header.Set(signatureHeader, "sha256="); return r },
				"sha1": func(r bot.Request) bot.Request {
					r.Header.Set(signatureHeader, "sha1="+strings.Repeat("0", 40))
					return r
				},
				"spaces": func(r bot.Request) bot.Request { r.Body = append(r.Body, ' '); return r },
			},
			Taken: func() []string {
				var texts []string
				for _, s := range b.provider.Sent() {
					texts = append(texts, s.Text)
				}
				return texts
			},
			Next:   func(tr channeltest.Trouble) { b.provider.Next(tr.Answer) },
			OptOut: func() { b.provider.OptOut(ruth) },
		}
	})
}

// Sources: hexdocs.pm/whatsapp_sdk for the first, GitHub's documentation of its
// webhooks, which have the same scheme, for the second (from memory).
func TestPublishedSignatures(t *testing.T) {
	for _, v := range []struct{ key, body, sum string }{
		{"secret", "test", "0329a06b62cd16b33eb6792be8c60b158d89a2ee3a876fce9a881ebb488c0914"},
		{"It's a Secret to Everybody", "Hello, World!", "757107ea0eb2509fc211221cce984b8a37570b6d7586c22c46f4379c8b043e17"},
	} {
		m := hmac.New(sha256.New, []byte(v.key))
		m.Write([]byte(v.body))
		require.Equal(t, v.sum, hex.EncodeToString(m.Sum(nil)))
		b := setup(t, func(c *Config) { c.AppSecret = v.key })
		r := bot.Request{Header: http.Header{signatureHeader: {"sha256=" + v.sum}}, Body: []byte(v.body)}
		require.NoError(t, b.verify(r))
	}
}

func TestTheProviderAsksForTheAddress(t *testing.T) {
	b := setup(t, nil)
	ask := func(mode, token, challenge string) string {
		return url.Values{"hub.mode": {mode}, "hub.verify_token": {token}, "hub.challenge": {challenge}}.Encode()
	}
	a, err := b.Handshake(ask("subscribe", verify, "1158201444"))
	require.NoError(t, err)
	require.Equal(t, "1158201444", string(a.Body), "the challenge is the whole body")
	for _, c := range []struct {
		query string
		want  error
	}{
		{ask("subscribe", "guessed", "1"), bot.ErrBadSignature}, {ask("subscribe", "", "1"), bot.ErrNoSignature},
		{ask("unsubscribe", verify, "1"), bot.ErrBroken}, {ask("subscribe", verify, ""), bot.ErrBroken},
		{ask("subscribe", verify, "<script>"), bot.ErrBroken}, {"%zz", bot.ErrBroken},
	} {
		_, err := b.Handshake(c.query)
		require.ErrorIs(t, err, c.want, c.query)
	}
}

func TestOneRequestMayTellManyThings(t *testing.T) {
	b := setup(t, nil)
	body := []byte(`{"object":"whatsapp_business_account","entry":[
	  {"id":"1","changes":[{"field":"account_update","value":{"phone_number":"x"}},
	    {"field":"messages","value":{"metadata":{"phone_number_id":"200000000000000"},"messages":[{"from":"447700900102","id":"wamid.0","type":"text","text":{"body":"not ours"}}]}},
	    {"field":"messages","value":{"metadata":{"phone_number_id":"100000000000000"},
	      "messages":[{"from":"447700900101","id":"wamid.1","type":"text","text":{"body":"2"}},{"from":"?","id":"wamid.2","type":"text"},
	                  {"from":"447700900101","id":"wamid.3","type":"system","system":{"type":"user_changed_number"}}],
	      "statuses":[{"id":"wamid.9","status":"read","recipient_id":"447700900101","biz_opaque_callback_data":"0f-1a-0"},
	                  {"id":"wamid.8","status":"sent","recipient_id":"447700900101"}]}}]},
	  {"id":"1","changes":[{"field":"messages","value":{"metadata":{"phone_number_id":"100000000000000"},
	      "messages":[{"from":"447700900103","id":"wamid.4","type":"unsupported","errors":[{"code":131051}]}]}}]}]}`)
	told, err := b.Receive(b.signed(body))
	require.NoError(t, err)
	var keys []string
	for _, in := range told {
		keys = append(keys, in.Key)
	}
	require.Equal(t, []string{"whatsapp/wamid.1", "whatsapp/wamid.9/read", "whatsapp/wamid.4"}, keys)
	require.Equal(t, []string{"application/octet-stream"}, told[2].Message.Media, "what can't be read is named")
	_, err = b.Receive(b.signed([]byte(`{"object":"page"}`)))
	require.ErrorIs(t, err, bot.ErrBroken)
}

func TestWhatATapOrAPictureSays(t *testing.T) {
	b := setup(t, nil)
	for _, c := range []struct {
		body  []byte
		text  string
		media []string
	}{
		{b.provider.Tap("wamid.1", ruth, "button_reply", "Yes", "Yes"), "Yes", nil},
		{b.provider.Tap("wamid.1", ruth, "list_reply", "2", "2 some of each walk"), "2", nil},
		{b.provider.Other("wamid.1", ruth, "button", map[string]any{"payload": "", "text": "Yes"}), "Yes", nil},
		{b.provider.Other("wamid.1", ruth, "reaction", map[string]any{"message_id": "wamid.0", "emoji": "👍"}), "👍", nil},
		{b.provider.Other("wamid.1", ruth, "image", map[string]any{"mime_type": "image/jpeg", "caption": "his leg"}), "his leg", []string{"image/jpeg"}},
		{b.provider.Other("wamid.1", ruth, "video", map[string]any{"mime_type": "video/mp4"}), "", []string{"video/mp4"}},
		{b.provider.Other("wamid.1", ruth, "location", map[string]any{"latitude": 1}), "", []string{"application/octet-stream"}},
	} {
		told, err := b.Receive(b.signed(c.body))
		require.NoError(t, err)
		require.Len(t, told, 1)
		require.Equal(t, c.text, told[0].Message.Text)
		require.Equal(t, c.media, told[0].Message.Media)
	}
}

func ask(n int, label string) []dialog.Choice {
	var list []dialog.Choice
	for i := range n {
		list = append(list, dialog.Choice{Reply: fmt.Sprint(i), Label: fmt.Sprintf("%d %s", i, label)})
	}
	return list
}

// Limits: Meta's OpenAPI file, v23.0: 3 buttons of 20 characters, 10 rows of 24
// with 72 below. The stand-in refuses more.
func TestChoicesBecomeWhatFits(t *testing.T) {
	for _, c := range []struct {
		choices []dialog.Choice
		want    string
		first   string
	}{
		{nil, "text", ""},
		{ask(3, "never"), "interactive", "0 never"},
		{ask(2, "seventeen letters"), "interactive", "0 seventeen letters"},
		{ask(2, "eighteen letters .."), "interactive", "0 eighteen letters .."},
		{ask(6, "some of each walk"), "interactive", "0 some of each walk"},
		{ask(6, "most of the steps of most walks"), "interactive", "0"},
		{ask(10, "x"), "interactive", "0 x"},
		{ask(11, "x"), "text", ""},
		{ask(2, strings.Repeat("long ", 20)), "text", ""},
		{[]dialog.Choice{{Reply: "1"}}, "text", ""},
	} {
		b := setup(t, nil)
		_, err := b.Send(context.Background(), bot.Outgoing{To: peer, Text: "Limping?", Choices: c.choices, Heard: b.now.Add(-time.Hour)})
		require.NoError(t, err)
		sent := b.provider.Sent()[0]
		require.Equal(t, c.want, sent.Type, "%v", c.choices)
		require.Equal(t, "Limping?", sent.Text)
		if c.first != "" {
			require.Equal(t, c.first, sent.Options[0])
			require.Len(t, sent.Options, len(c.choices))
		}
	}
}

// Every question that the scripts ask must be one that the provider takes.
func TestEveryQuestionOfTheScriptsIsTaken(t *testing.T) {
	l, err := dialog.Builtin()
	require.NoError(t, err)
	ctx := dialog.Context{Vars: map[string]string{"dog": "Bramble", "own1": "the stile", "own2": "the stairs"}, Facts: map[string]bool{"own1": true, "own2": true, "medicine": true}}
	b := setup(t, nil)
	asked := 0
	for _, id := range l.Scripts() {
		s, lines, err := l.Begin(id, dialog.OneByOne, ctx)
		for err == nil && s.Open() && len(lines) > 0 {
			line := lines[len(lines)-1]
			_, err = b.Send(context.Background(), bot.Outgoing{To: peer, Text: l.Render(line, "en"), Choices: l.Choices(line, "en"), Heard: b.now})
			require.NoError(t, err, "%s %s", id, s.Step)
			asked++
			r := l.Reply(s, ctx, "skip")
			s, lines = r.Session, r.Say
		}
	}
	require.Greater(t, asked, 20)
}

func TestADayAfterTheOwnerLastWrote(t *testing.T) {
	b := setup(t, nil)
	m := bot.Outgoing{Ref: "r", To: peer, Text: "Bramble:\nlimping?  0-4", Choices: ask(5, "x"), Heard: b.now.Add(-23 * time.Hour)}
	b.provider.Wrote(ruth, m.Heard)
	_, err := b.Send(context.Background(), m)
	require.NoError(t, err)
	m.Heard = b.now.Add(-25 * time.Hour)
	b.provider.Wrote(ruth, m.Heard)
	_, err = b.Send(context.Background(), m)
	require.NoError(t, err)
	// The window is the provider's to judge: where it says no, the template goes.
	m.Heard = b.now.Add(-time.Hour)
	_, err = b.Send(context.Background(), m)
	require.NoError(t, err)
	var types []string
	for _, s := range b.provider.Sent() {
		types = append(types, s.Type)
	}
	require.Equal(t, []string{"interactive", "template", "template"}, types)
	require.Equal(t, "Bramble: limping? 0-4", b.provider.Sent()[2].Text)

	none := setup(t, func(c *Config) { c.Template = "" })
	none.provider.Wrote(ruth, time.Time{})
	for _, heard := range []time.Time{{}, none.now} {
		m.Heard = heard
		_, err = none.Send(context.Background(), m)
		var refused *bot.SendError
		require.ErrorAs(t, err, &refused)
		require.Equal(t, "131047", refused.Code)
		require.Equal(t, bot.Permanent, refused.Class)
	}
}

// Source: Meta's page of error codes; the HTTP statuses from memory.
func TestCodes(t *testing.T) {
	for _, c := range []struct {
		status, code int
		want         bot.Class
	}{
		{401, 190, bot.Misconfigured}, {403, 10, bot.Misconfigured}, {403, 230, bot.Misconfigured}, {429, 4, bot.Throttled},
		{429, 80007, bot.Throttled}, {429, 130429, bot.Throttled}, {400, 131056, bot.Throttled}, {400, 131026, bot.Dead},
		{400, 131047, bot.Permanent}, {400, 131050, bot.OptedOut}, {500, 131000, bot.Retry}, {503, 131016, bot.Retry},
		{400, 132001, bot.Misconfigured}, {400, 999999, bot.Permanent}, {500, 999999, bot.Retry},
	} {
		_, err := receipt(bot.Reply{Status: c.status, Header: http.Header{}, Body: fmt.Appendf(nil, `{"error":{"code":%d}}`, c.code)})
		var e *bot.SendError
		require.ErrorAs(t, err, &e)
		require.Equal(t, c.want, e.Class, "%d", c.code)
	}
	b := setup(t, nil)
	in, err := b.Receive(b.signed(b.provider.Status("wamid.1", ruth, "0f-1a-0", "failed", 131026)))
	require.NoError(t, err)
	require.True(t, in[0].Report.Dead)
	require.Equal(t, "131026", in[0].Report.Code)
}

func TestEveryProblemOfAConfigurationIsTold(t *testing.T) {
	_, err := New(Config{API: "ftp://x", Template: "check_in"})
	for _, part := range []string{"id", "access token", "app secret", "verify token", "clock", "language", "+441632960000", "http"} {
		require.ErrorContains(t, err, part)
	}
	require.NotContains(t, fmt.Sprintf("%v %+v %#v", Config{AppSecret: secret}, Config{AppSecret: secret}, Config{AppSecret: secret}), secret)
}

func FuzzReceive(f *testing.F) {
	b := setup(f, nil)
	f.Add(b.provider.Text("wamid.1", ruth, "2 1 0"))
	f.Add(b.provider.Tap("wamid.1", ruth, "list_reply", "2", "2 some"))
	f.Add(b.provider.Status("wamid.1", ruth, "0f-1a-0", "failed", 131026))
	f.Fuzz(func(t *testing.T, body []byte) {
		told, err := b.Receive(b.signed(body))
		if err != nil && len(told) > 0 {
			t.Fatal("refused, and read all the same")
		}
		for _, in := range told {
			if in.Key == "" || in.Peer.IsZero() || (in.Message == nil) == (in.Report == nil) {
				t.Fatalf("%+v", in)
			}
		}
	})
}
