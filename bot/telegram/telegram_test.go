package telegram

import (
	"bytes"
	"context"
	"fmt"
	"hash/fnv"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/bot/channeltest"
	"gaitpost/dialog"
	"gaitpost/internal/contact"
	fake "gaitpost/internal/fake/telegram"
)

const (
	token  = "1000:an-invented-bot-token"
	secret = "an-invented-secret-token"
	ruth   = 9007199254740 // more than 32 bits
)

var peer = contact.Address{Channel: contact.Telegram, Value: fmt.Sprint(ruth)}

type bundle struct {
	*Channel
	provider *fake.Provider
}

func setup(t testing.TB) *bundle {
	p, err := fake.New(fake.Options{Token: token, Now: func() time.Time { return channeltest.Noon }})
	require.NoError(t, err)
	p.Open(ruth)
	server := httptest.NewServer(p)
	t.Cleanup(server.Close)
	c, err := New(Config{Bot: "harbour_bot", Token: token, Secret: secret, API: server.URL})
	require.NoError(t, err)
	return &bundle{c, p}
}

func signed(body []byte) bot.Request {
	h := http.Header{}
	h.Set("X-Telegram-Bot-Api-Secret-Token", secret)
	return bot.Request{Header: h, Body: body}
}

// updateOf makes a number of a message's name.
func updateOf(id string) int64 {
	h := fnv.New32a()
	_, _ = h.Write([]byte(id))
	return int64(h.Sum32()) + 1
}

func TestTheSuiteOfEveryChannel(t *testing.T) {
	channeltest.Run(t, func(t *testing.T) channeltest.Rig {
		b := setup(t)
		return channeltest.Rig{
			Channel: b, Peer: peer, Longest: 4000,
			Wrote: func(id, text string) bot.Request { return signed(b.provider.Text(updateOf(id), ruth, text)) },
			// The body is not signed: only the token keeps others out.
			Forgeries: map[string]func(bot.Request) bot.Request{
				"unsigned": func(r bot.Request) bot.Request { r.Header.Del(secretHeader); return r },
				"empty":    func(r bot.Request) bot.Request { r.Header.Set(secretHeader, ""); return r },
				"guessed":  func(r bot.Request) bot.Request { r.Header.Set(secretHeader, secret+"x"); return r },
				"part":     func(r bot.Request) bot.Request { r.Header.Set(secretHeader, secret[:10]); return r },
			},
			Taken: func() []string {
				var texts []string
				for _, s := range b.provider.Sent() {
					texts = append(texts, s.Text)
				}
				return texts
			},
			Next:   func(tr channeltest.Trouble) { b.provider.Next(tr.Answer) },
			OptOut: func() { b.provider.Block(ruth) },
		}
	})
}

func TestWhatAnUpdateTells(t *testing.T) {
	b := setup(t)
	with := func(part, field string, data any) []byte {
		m := b.provider.Message(7, ruth)
		m[field] = data
		return b.provider.Update(7, part, m)
	}
	for _, c := range []struct {
		name, text string
		body       []byte
		media      []string
		edited     bool
	}{
		{"words", "2 1 0", with("message", "text", " 2 1 0 "), nil, false},
		{"an edit", "he collapsed", with("edited_message", "text", "he collapsed"), nil, true},
		{"a picture", "", with("message", "photo", []any{map[string]any{"file_id": "x"}}), []string{"image/jpeg"}, false},
		{"a voice message", "", with("message", "voice", map[string]any{"mime_type": "audio/ogg"}), []string{"audio/ogg"}, false},
		{"a file of an odd type", "", with("message", "document", map[string]any{"mime_type": "<b>"}), []string{"application/octet-stream"}, false},
		{"a sticker", "👍", with("message", "sticker", map[string]any{"emoji": "👍"}), []string{"image/webp"}, false},
		{"a place", "", with("message", "location", map[string]any{}), []string{"application/octet-stream"}, false},
	} {
		told, err := b.Receive(signed(c.body))
		require.NoError(t, err, c.name)
		require.Len(t, told, 1, c.name)
		require.Equal(t, peer, told[0].Peer, c.name)
		require.Equal(t, "telegram/harbour_bot/7", told[0].Key, c.name)
		require.Equal(t, c.text, told[0].Message.Text, c.name)
		require.Equal(t, c.media, told[0].Message.Media, c.name)
		require.Equal(t, c.edited, told[0].Message.Edited, c.name)
	}
}

func TestBlockingTheBotIsAnOptOut(t *testing.T) {
	b := setup(t)
	for status, want := range map[string]string{"kicked": "STOP", "member": "START", "left": ""} {
		told, err := b.Receive(signed(b.provider.Update(8, "my_chat_member", map[string]any{
			"chat": map[string]any{"id": ruth, "type": "private"}, "new_chat_member": map[string]any{"status": status},
		})))
		require.NoError(t, err)
		if want == "" {
			require.Empty(t, told)
			continue
		}
		require.Equal(t, want, told[0].Message.ProviderOptOut)
	}
}

func TestWhatIsNotHeard(t *testing.T) {
	b := setup(t)
	group := b.provider.Message(7, ruth)
	group["chat"] = map[string]any{"id": -100, "type": "group"}
	group["text"] = "2"
	robot := b.provider.Message(7, ruth)
	robot["from"] = map[string]any{"is_bot": true}
	for _, body := range [][]byte{
		b.provider.Update(7, "message", group), b.provider.Update(7, "message", robot),
		b.provider.Update(7, "callback_query", map[string]any{"id": "1", "data": "2"}),
	} {
		told, err := b.Receive(signed(body))
		require.NoError(t, err)
		require.Empty(t, told)
	}
	for _, body := range []string{"", "{", `{"update_id":0}`, `{"update_id":"7"}`, "[]"} {
		_, err := b.Receive(signed([]byte(body)))
		require.ErrorIs(t, err, bot.ErrBroken, body)
	}
}

// A key sends what stands on it, so that each bears the reply alone.
func TestChoicesBecomeKeys(t *testing.T) {
	b := setup(t)
	l, err := dialog.Builtin()
	require.NoError(t, err)
	ctx := dialog.Context{Vars: map[string]string{"dog": "Bramble"}}
	_, lines, err := l.Begin("checkin", dialog.OneByOne, ctx)
	require.NoError(t, err)
	_, err = b.Send(context.Background(), bot.Outgoing{To: peer, Text: "Limping?", Choices: l.Choices(lines[0], "en")})
	require.NoError(t, err)
	receipt, err := b.Send(context.Background(), bot.Outgoing{To: peer, Text: "Thank you."})
	require.NoError(t, err)
	require.True(t, receipt.Sent, "no report will come")
	require.Equal(t, []string{"0", "1", "2", "3", "4", "X"}, b.provider.Sent()[0].Keys)
	require.Empty(t, b.provider.Sent()[1].Keys)
	require.Equal(t, noKeyboard{true}, keys(make([]dialog.Choice, maxKeys+1)))
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		status int
		body   string
		want   bot.Class
		wait   time.Duration
	}{
		{429, `{"ok":false,"error_code":429,"parameters":{"retry_after":9}}`, bot.Throttled, 9 * time.Second},
		{403, `{"ok":false,"error_code":403,"description":"Forbidden: bot was blocked by the user"}`, bot.OptedOut, 0},
		{400, `{"ok":false,"error_code":400,"description":"Bad Request: chat not found"}`, bot.Dead, 0},
		{400, `{"ok":false,"error_code":400,"description":"Bad Request: message is too long"}`, bot.Permanent, 0},
		{401, `{"ok":false,"error_code":401}`, bot.Misconfigured, 0},
		{404, `{"ok":false,"error_code":404}`, bot.Misconfigured, 0},
		{500, ``, bot.Retry, 0}, {200, `{"ok":false,"error_code":500}`, bot.Misconfigured, 0},
	} {
		_, e := answer(bot.Reply{Status: c.status, Header: http.Header{}, Body: []byte(c.body)})
		require.NotNil(t, e, c.body)
		require.Equal(t, c.want, e.Class, c.body)
		require.Equal(t, c.wait, e.RetryAfter, c.body)
	}
	b := setup(t)
	_, err := b.Send(context.Background(), bot.Outgoing{To: contact.Address{Channel: contact.Telegram, Value: "55"}, Text: "Good morning"})
	require.ErrorContains(t, err, string(bot.Dead), "a bot can't begin a chat")
	_, err = b.Send(context.Background(), bot.Outgoing{To: contact.Address{Channel: contact.Telegram, Value: "ruth"}, Text: "Good morning"})
	require.ErrorContains(t, err, string(bot.Dead))
}

// The token is part of every address, so no error may hold one.
func TestTheTokenShowsNowhere(t *testing.T) {
	server := httptest.NewServer(http.NotFoundHandler())
	server.Close()
	c, err := New(Config{Bot: "b", Token: token, Secret: secret, API: server.URL})
	require.NoError(t, err)
	_, err = c.Send(context.Background(), bot.Outgoing{To: peer, Text: "x"})
	require.Error(t, err)
	require.NotContains(t, err.Error(), "invented")
	cfg := Config{Token: token, Secret: secret}
	require.NotContains(t, fmt.Sprintf("%v %+v %#v", cfg, cfg, cfg), "invented")
	_, err = New(Config{Token: "x", Secret: "short", API: "::"})
	for _, part := range []string{"user name", "token", "secret token", "http"} {
		require.ErrorContains(t, err, part)
	}
}

func TestThePersonRegistersTheHookOnce(t *testing.T) {
	b := setup(t)
	require.NoError(t, b.Register(context.Background(), "https://texts.example/hook/harbour/telegram"))
	address, shown := b.provider.Hook()
	require.Equal(t, "https://texts.example/hook/harbour/telegram", address)
	require.Equal(t, secret, shown)
	require.Error(t, b.Register(context.Background(), "http://texts.example/"))
	require.Equal(t, "https://t.me/harbour_bot?start=abc", b.JoinLink("abc"))
}

func FuzzReceive(f *testing.F) {
	b := setup(f)
	f.Add(b.provider.Text(7, ruth, "2 1 0"))
	f.Add(bytes.ReplaceAll(b.provider.Text(7, ruth, "x"), []byte("message"), []byte("edited_message")))
	f.Add([]byte(strings.Repeat("[", 1000)))
	f.Fuzz(func(t *testing.T, body []byte) {
		told, err := b.Receive(signed(body))
		if err != nil && len(told) > 0 {
			t.Fatal("refused, and read all the same")
		}
		for _, in := range told {
			if in.Key == "" || in.Peer.IsZero() || in.Message == nil {
				t.Fatalf("%+v", in)
			}
		}
	})
}
