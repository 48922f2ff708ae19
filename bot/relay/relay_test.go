package relay

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/bot/channeltest"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/gateway"
)

// The example of the reference libraries' tests: Standard Webhooks, libraries/go,
// webhook_test.go.
const (
	secret    = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
	vectorID  = "msg_p5jXN8AQM9LWM0D4loKWxJek"
	vectorAt  = 1614265330
	vectorSig = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
	ruth      = "+447700900123"
)

type bundle struct {
	*Channel
	gateway *gateway.Gateway
	now     time.Time
}

func setup(t *testing.T) *bundle {
	b := &bundle{now: channeltest.Noon}
	now := func() time.Time { return b.now }
	var err error
	b.gateway, err = gateway.New(gateway.Options{Secret: secret, Us: "harbour-street", Now: now})
	require.NoError(t, err)
	server := httptest.NewServer(b.gateway)
	t.Cleanup(server.Close)
	b.Channel, err = New(Config{Address: "harbour-street", URL: server.URL + "/in", Secret: secret, Now: now})
	require.NoError(t, err)
	return b
}

func (b *bundle) signed(id string, body []byte) bot.Request {
	return bot.Request{Header: b.gateway.Sign(id, b.now, body), Body: body}
}

func TestTheSuiteOfEveryChannel(t *testing.T) {
	channeltest.Run(t, func(t *testing.T) channeltest.Rig {
		b := setup(t)
		fates := map[care.Fate]string{care.SentOut: "sent", care.Delivered: "delivered", care.Read: "read", care.Failed: "failed"}
		return channeltest.Rig{
			Channel: b, Peer: contact.Address{Channel: contact.Relay, Value: ruth}, Longest: 4000,
			Wrote: func(id, text string) bot.Request { return b.signed("w-"+id, b.gateway.Received(id, ruth, text)) },
			Became: func(ref string, f care.Fate) bot.Request {
				return b.signed("s-1", b.gateway.Status(ref, ruth, fates[f]))
			},
			Foreign: func(id, text string) bot.Request {
				return b.signed("w-"+id, b.gateway.ReceivedFor("mill-lane", id, ruth, text))
			},
			Forgeries: map[string]func(bot.Request) bot.Request{
				"unsigned": func(r bot.Request) bot.Request { r.Header.Del("webhook-signature"); return r },
				"body": func(r bot.Request) bot.Request {
					r.Body = bytes.Replace(r.Body, []byte("He"), []byte("It"), 1)
					return r
				},
				"id":      func(r bot.Request) bot.Request { r.Header.Set("webhook-id", "w-other"); return r },
				"time":    func(r bot.Request) bot.Request { r.Header.Set("webhook-timestamp", "1772539201"); return r },
				"no time": func(r bot.Request) bot.Request { r.Header.Del("webhook-timestamp"); return r },
				"kind": func(r bot.Request) bot.Request {
					r.Header.Set("webhook-signature", "v2"+r.Header.Get("webhook-signature")[2:])
					return r
				},
				"old": func(r bot.Request) bot.Request {
					r.Header = b.gateway.Sign("w-1", b.now.Add(-6*time.Minute), r.Body)
					return r
				},
				"early": func(r bot.Request) bot.Request {
					r.Header = b.gateway.Sign("w-1", b.now.Add(6*time.Minute), r.Body)
					return r
				},
			},
			Taken: func() []string {
				var texts []string
				for _, s := range b.gateway.Sent() {
					texts = append(texts, s.Text)
				}
				return texts
			},
			Next:   func(tr channeltest.Trouble) { b.gateway.Next(tr.Answer) },
			OptOut: func() { b.gateway.OptOut(ruth) },
		}
	})
}

// Source: Standard Webhooks, libraries/go, webhook_test.go.
func TestThePublishedSignature(t *testing.T) {
	b := setup(t)
	b.now = time.Unix(vectorAt, 0)
	body := []byte(`{"test": 2432232314}`)
	h := http.Header{}
	h.Set("webhook-id", vectorID)
	h.Set("webhook-timestamp", fmt.Sprint(vectorAt))
	h.Set("webhook-signature", "v1,AAAA "+vectorSig) // several, while secrets change
	told, err := b.Receive(bot.Request{Header: h, Body: body})
	require.NoError(t, err)
	require.Empty(t, told, "genuine news of a kind that means nothing here")
	require.Equal(t, vectorSig, b.gateway.Sign(vectorID, b.now, body).Get("webhook-signature"))
}

// Standard Webhooks asks for 24 to 64 random bytes; the library takes none at all.
func TestASecretThatKeepsNobodyOutIsRefused(t *testing.T) {
	for _, s := range []string{"", "whsec_", "whsec_c2hvcnQ=", "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "whsec_!"} {
		_, err := New(Config{Address: "x", URL: "https://gateway.example", Secret: s, Now: time.Now})
		require.ErrorContains(t, err, "24 to 64", s)
	}
	_, err := New(Config{URL: "ftp://gateway.example", Secret: secret})
	require.ErrorContains(t, err, "http")
	require.ErrorContains(t, err, "our own address")
	require.ErrorContains(t, err, "clock")
	require.NotContains(t, fmt.Sprintf("%v %+v %#v", Config{Secret: secret}, Config{Secret: secret}, Config{Secret: secret}), "MfKQ")
}

func TestWhatIsPostedToAGateway(t *testing.T) {
	b := setup(t)
	var got map[string]any
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		require.NoError(t, json.NewDecoder(r.Body).Decode(&got))
	}))
	defer server.Close()
	c, err := New(Config{Address: "harbour-street", URL: server.URL, Secret: secret, Now: func() time.Time { return b.now }})
	require.NoError(t, err)
	m := bot.Outgoing{Ref: "0f-1a-0", To: contact.Address{Channel: contact.Relay, Value: ruth}, Text: "Good morning", Valid: 90 * time.Second}
	_, err = c.Send(context.Background(), m)
	require.NoError(t, err)
	require.Equal(t, map[string]any{"type": "message.send", "timestamp": "2026-03-03T12:00:00Z", "data": map[string]any{
		"ref": "0f-1a-0", "from": "harbour-street", "to": ruth, "text": "Good morning", "valid_seconds": 90.0,
	}}, got)
	m.Valid = time.Millisecond
	_, err = c.Send(context.Background(), m)
	require.ErrorContains(t, err, "its time is over")
}

func TestAnswersOfAGateway(t *testing.T) {
	for _, c := range []struct {
		status int
		body   string
		want   bot.Class
	}{
		{401, "", bot.Misconfigured}, {404, "", bot.Misconfigured}, {410, "", bot.Misconfigured}, {302, "", bot.Misconfigured},
		{408, "", bot.UnknownResult}, {422, `{"reason":"unreachable"}`, bot.Dead}, {422, `{"reason":"opted-out"}`, bot.OptedOut},
		{400, "{", bot.Permanent}, {429, "", bot.Throttled}, {502, "", bot.Retry},
	} {
		_, err := receipt(bot.Reply{Status: c.status, Header: http.Header{}, Body: []byte(c.body)})
		var e *bot.SendError
		require.ErrorAs(t, err, &e)
		require.Equal(t, c.want, e.Class, "%d %s", c.status, c.body)
	}
	r, err := receipt(bot.Reply{Status: 202, Body: []byte(`{"id":"g-1"}`)})
	require.NoError(t, err)
	require.Equal(t, "g-1", r.ID)
}

func TestGenuineRequestsThatCantBeRead(t *testing.T) {
	b := setup(t)
	for _, body := range []string{
		"{", "[]", `{"type":"message.received","data":{"id":"1","from":"two words","to":"harbour-street"}}`,
		`{"type":"message.received","data":{"id":"","from":"+447700900123","to":"harbour-street"}}`,
		`{"type":"message.status","data":{"ref":"a b","to":"+447700900123","status":"read"}}`,
		`{"type":"message.status","data":{"ref":"a","to":"","status":"read"}}`,
	} {
		_, err := b.Receive(b.signed("w-1", []byte(body)))
		require.ErrorIs(t, err, bot.ErrBroken, body)
	}
	told, err := b.Receive(b.signed("w-1", []byte(`{"type":"message.status","data":{"ref":"a","to":"+447700900123","status":"queued"}}`)))
	require.NoError(t, err)
	require.Empty(t, told)
}

func FuzzReceive(f *testing.F) {
	now := func() time.Time { return channeltest.Noon }
	g, err := gateway.New(gateway.Options{Secret: secret, Us: "harbour-street", Now: now})
	require.NoError(f, err)
	c, err := New(Config{Address: "harbour-street", URL: "https://gateway.example", Secret: secret, Now: now})
	require.NoError(f, err)
	f.Add(g.Received("m-1", ruth, "2 1 0"))
	f.Add(g.Status("0f-1a-0", ruth, "failed"))
	f.Fuzz(func(t *testing.T, body []byte) {
		told, err := c.Receive(bot.Request{Header: g.Sign("w-1", channeltest.Noon, body), Body: body})
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
