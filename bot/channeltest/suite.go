// Package channeltest is what every channel must pass, whatever its provider.
package channeltest

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/dialog"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// Rig is one channel at its provider's stand-in, both new.
type Rig struct {
	Channel bot.Channel
	Peer    contact.Address // somebody at the provider
	// Wrote makes the genuine request that says that the peer wrote.
	Wrote func(id, text string) bot.Request
	// Became makes the genuine request on a message's fate; nil where the
	// provider makes none.
	Became func(ref string, f care.Fate) bot.Request
	// Foreign makes a genuine request that is meant for somebody else; nil where
	// a provider's request names nobody.
	Foreign func(id, text string) bot.Request
	// Forgeries each turn a genuine request into one that must be refused.
	Forgeries map[string]func(bot.Request) bot.Request
	// Taken are the texts the provider accepted, in order.
	Taken func() []string
	// Next makes the provider meet the next request of ours with a trouble.
	Next func(Trouble)
	// OptOut lets the peer opt out at the provider; nil where nobody can.
	OptOut func()
	// Longest is how many characters one message may have.
	Longest int
}

// Trouble is something that goes wrong at a provider.
type Trouble uint8

const (
	Outage   Trouble = iota // it answers 503 and takes nothing
	Throttle                // it answers 429, with Retry-After of 7 s where it sends one
	Lost                    // it takes the message, and the line is cut before it answers
)

// Noon is the instant at which a rig's clock stands.
var Noon = time.Date(2026, 3, 3, 12, 0, 0, 0, time.UTC)

// Answer is how a stand-in lets a trouble happen over HTTP. It returns whether
// the message is taken all the same.
func (tr Trouble) Answer(w http.ResponseWriter) bool {
	switch tr {
	case Outage:
		w.WriteHeader(http.StatusServiceUnavailable)
	case Throttle:
		w.Header().Set("Retry-After", "7")
		w.WriteHeader(http.StatusTooManyRequests)
	case Lost:
		if h, ok := w.(http.Hijacker); ok {
			if c, _, err := h.Hijack(); err == nil {
				_ = c.Close()
			}
		}
		return true
	}
	return false
}

// Run runs the whole suite.
func Run(t *testing.T, rig func(t *testing.T) Rig) {
	for name, f := range map[string]func(*testing.T, Rig){
		"forged": forged, "replayed and duplicated": replayed, "reordered": reordered,
		"oversize": oversize, "foreign account": foreign, "unicode": unicodeText,
		"opt-out": optOut, "outage": outage, "throttle": throttle, "lost answer": lost,
		"choices": choices, "broken": broken,
	} {
		t.Run(name, func(t *testing.T) { f(t, rig(t)) })
	}
}

// one reads a request that tells just one thing.
func one(t *testing.T, r Rig, req bot.Request) bot.Inbound {
	t.Helper()
	told, err := r.Channel.Receive(req)
	require.NoError(t, err)
	require.Len(t, told, 1)
	require.NotEmpty(t, told[0].Key)
	require.False(t, told[0].Peer.IsZero())
	return told[0]
}

func forged(t *testing.T, r Rig) {
	require.NotEmpty(t, r.Forgeries)
	for name, forge := range r.Forgeries {
		told, err := r.Channel.Receive(forge(r.Wrote("m-1", "He collapsed")))
		require.Error(t, err, name)
		require.True(t, isRefusal(err), "%s: %v", name, err)
		require.Empty(t, told, name)
		require.NotContains(t, err.Error(), "collapsed", name)
		require.NotContains(t, err.Error(), strings.TrimLeft(r.Peer.Value, "+"), name)
	}
	// The same request, unforged, is taken: so it was the forgery that was refused.
	require.Equal(t, "He collapsed", one(t, r, r.Wrote("m-1", "He collapsed")).Message.Text)
}

func replayed(t *testing.T, r Rig) {
	first, again := one(t, r, r.Wrote("m-1", "2 1 0")), one(t, r, r.Wrote("m-1", "2 1 0"))
	require.Equal(t, first.Key, again.Key, "a repetition has the key of the first")
	require.NotEqual(t, first.Key, one(t, r, r.Wrote("m-2", "2 1 0")).Key, "the same words written twice are two messages")
	require.Equal(t, r.Peer, first.Peer)
	require.Equal(t, r.Peer, first.Message.From)
}

// Reports come in any order: each must be told apart and name its message.
func reordered(t *testing.T, r Rig) {
	if r.Became == nil {
		t.Skip("this provider sends no reports")
	}
	keys := map[string]bool{}
	for _, f := range []care.Fate{care.Read, care.Failed, care.SentOut, care.Delivered} {
		in := one(t, r, r.Became("0f-1a-0", f))
		require.Equal(t, f, in.Report.Fate)
		require.Equal(t, "0f-1a-0", in.Report.Message)
		require.Equal(t, r.Peer, in.Peer)
		keys[in.Key] = true
	}
	require.Len(t, keys, 4)
}

func oversize(t *testing.T, r Rig) {
	long := strings.TrimSpace(strings.Repeat("He limps. ", r.Longest/10))
	require.Equal(t, long, one(t, r, r.Wrote("m-1", long)).Message.Text, "the longest message arrives whole")
	_, err := r.Channel.Send(context.Background(), r.outgoing(long))
	require.NoError(t, err)
	require.Equal(t, []string{long}, r.Taken())
	require.Empty(t, one(t, r, r.Wrote("m-2", "")).Message.Text, "an empty one is a message too")
}

func foreign(t *testing.T, r Rig) {
	if r.Foreign == nil {
		t.Skip("this provider's requests don't name whom they are for: the secret alone does")
	}
	_, err := r.Channel.Receive(r.Foreign("m-1", "He collapsed"))
	require.True(t, isForeign(err), "%v", err)
}

func unicodeText(t *testing.T, r Rig) {
	for i, text := range []string{
		"Ő 2️⃣ 👍🏽 naïve", "\u200fהוא צולע 3", "line one\nline two", `{"a":"<b>&amp;'"}`, "tab\there", "=1+1", "%0A&From=x",
	} {
		require.Equal(t, text, one(t, r, r.Wrote("m-1", text)).Message.Text, "%q", text)
		m := r.outgoing(text)
		m.Ref = fmt.Sprintf("0f-1b-%d", i)
		_, err := r.Channel.Send(context.Background(), m)
		require.NoError(t, err, "%q", text)
		taken := r.Taken()
		require.Equal(t, text, taken[len(taken)-1], "%q", text)
	}
}

func optOut(t *testing.T, r Rig) {
	if r.OptOut == nil {
		t.Skip("nobody opts out at this provider")
	}
	r.OptOut()
	_, err := r.Channel.Send(context.Background(), r.outgoing("Good morning"))
	require.Equal(t, bot.OptedOut, classOf(t, r, err))
	require.Empty(t, r.Taken())
}

func outage(t *testing.T, r Rig) {
	r.Next(Outage)
	_, err := r.Channel.Send(context.Background(), r.outgoing("Good morning"))
	require.Equal(t, bot.Retry, classOf(t, r, err))
	require.Empty(t, r.Taken())
	_, err = r.Channel.Send(context.Background(), r.outgoing("Good morning"))
	require.NoError(t, err)
	require.Equal(t, []string{"Good morning"}, r.Taken())
}

func throttle(t *testing.T, r Rig) {
	r.Next(Throttle)
	_, err := r.Channel.Send(context.Background(), r.outgoing("Good morning"))
	require.Equal(t, bot.Throttled, classOf(t, r, err))
	require.Empty(t, r.Taken())
}

// Where the line is cut after the message went out, nothing may be said about
// it: neither that it was sent nor that it was not.
func lost(t *testing.T, r Rig) {
	r.Next(Lost)
	_, err := r.Channel.Send(context.Background(), r.outgoing("Good morning"))
	require.Equal(t, bot.UnknownResult, classOf(t, r, err))
	switch has, err := r.Channel.Lookup(context.Background(), r.outgoing("Good morning")); has {
	case bot.CantTell:
		require.Error(t, err)
	case bot.Absent: // only where sending it again makes no second message
		_, err := r.Channel.Send(context.Background(), r.outgoing("Good morning"))
		require.NoError(t, err)
	}
	require.Equal(t, []string{"Good morning"}, r.Taken(), "once")
}

func choices(t *testing.T, r Rig) {
	m := r.outgoing("Limping on walks this week?")
	m.Choices = []dialog.Choice{{Reply: "0", Label: "0 never"}, {Reply: "4", Label: "4 won't use the leg, whatever we try with him"}}
	_, err := r.Channel.Send(context.Background(), m)
	require.NoError(t, err)
	require.Equal(t, []string{m.Text}, r.Taken(), "the text is whole, whatever is offered beside it")
}

func broken(t *testing.T, r Rig) {
	req := r.Wrote("m-1", "2")
	for n := range len(req.Body) {
		if _, err := r.Channel.Receive(bot.Request{Header: req.Header, RawQuery: req.RawQuery, Body: req.Body[:n]}); err == nil {
			require.Contains(t, r.unsigned(), "body", "a body cut to %d bytes was taken", n)
		}
	}
}

// unsigned names what a channel's provider does not sign.
func (r Rig) unsigned() string {
	if _, ok := r.Forgeries["body"]; ok {
		return ""
	}
	return "body"
}

func (r Rig) outgoing(text string) bot.Outgoing {
	return bot.Outgoing{Ref: "0f-1a-0", To: r.Peer, Text: text, Valid: time.Hour, Since: Noon, Heard: Noon.Add(-time.Hour)}
}

func classOf(t *testing.T, r Rig, err error) bot.Class {
	t.Helper()
	var e *bot.SendError
	require.ErrorAs(t, err, &e)
	require.NotContains(t, e.Error(), strings.TrimLeft(r.Peer.Value, "+"))
	return e.Class
}
