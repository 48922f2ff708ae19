// Package gateway is a stand-in for a gateway that speaks Standard Webhooks
// 1.0.0, for the demo and the tests. It holds to the published contract and to
// what bot/relay documents: it refuses what is not signed, old or incomplete,
// and takes a ref once. Its signatures are made and checked by code of its own.
package gateway

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Options are what a Gateway needs.
type Options struct {
	Secret string // "whsec_…"
	Us     string // what it calls the application
	Now    func() time.Time
}

// Sent is one message that the gateway took.
type Sent struct {
	Ref, To, Text string
	Choices       int
	Times         int // how often it came
	Offered       []Choice
}

// Choice is one answer that a message offers.
type Choice struct{ Reply, Label string }

// Gateway is the stand-in. It is an http.Handler and safe for concurrent use.
type Gateway struct {
	o   Options
	key []byte

	mu       sync.Mutex
	sent     []*Sent
	byRef    map[string]*Sent
	optedOut map[string]bool
	gone     map[string]bool
	next     func(w http.ResponseWriter) bool
}

// New returns a gateway.
func New(o Options) (*Gateway, error) {
	key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(o.Secret, "whsec_"))
	if err != nil || len(key) < 24 || len(key) > 64 {
		return nil, errors.New("the secret has not 24 to 64 bytes")
	}
	if o.Now == nil {
		return nil, errors.New("the gateway has no clock")
	}
	return &Gateway{o: o, key: key, byRef: map[string]*Sent{}, optedOut: map[string]bool{}, gone: map[string]bool{}}, nil
}

// Sent returns what was taken, in order.
func (g *Gateway) Sent() []Sent {
	g.mu.Lock()
	defer g.mu.Unlock()
	all := make([]Sent, len(g.sent))
	for i, s := range g.sent {
		all[i] = *s
	}
	return all
}

// OptOut lets a person opt out at the gateway; Remove takes the person away.
func (g *Gateway) OptOut(who string) { g.set(g.optedOut, who) }

// Remove makes an address one that can't be reached.
func (g *Gateway) Remove(who string) { g.set(g.gone, who) }

func (g *Gateway) set(m map[string]bool, who string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	m[who] = true
}

// Next answers the next request in another way. f returns whether the message
// is taken all the same.
func (g *Gateway) Next(f func(w http.ResponseWriter) bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.next = f
}

// Sign makes the headers of a request with this body.
func (g *Gateway) Sign(id string, at time.Time, body []byte) http.Header {
	h := http.Header{}
	h.Set("Content-Type", "application/json")
	h.Set("webhook-id", id)
	h.Set("webhook-timestamp", strconv.FormatInt(at.Unix(), 10))
	h.Set("webhook-signature", "v1,"+base64.StdEncoding.EncodeToString(g.mac(id, at.Unix(), body)))
	return h
}

func (g *Gateway) mac(id string, unix int64, body []byte) []byte {
	m := hmac.New(sha256.New, g.key)
	fmt.Fprintf(m, "%s.%d.", id, unix)
	m.Write(body)
	return m.Sum(nil)
}

// Received is the body of the request that tells of a message from somebody.
func (g *Gateway) Received(id, from, text string) []byte { return g.received(g.o.Us, id, from, text) }

// ReceivedFor is one meant for another than the application.
func (g *Gateway) ReceivedFor(us, id, from, text string) []byte {
	return g.received(us, id, from, text)
}

func (g *Gateway) received(us, id, from, text string) []byte {
	return g.event("message.received", map[string]any{"id": id, "from": from, "to": us, "text": text})
}

// Status is the body of the request that tells what became of a message.
func (g *Gateway) Status(ref, to, status string) []byte {
	return g.event("message.status", map[string]any{"ref": ref, "to": to, "status": status})
}

func (g *Gateway) event(kind string, data map[string]any) []byte {
	body, err := json.Marshal(map[string]any{
		"type": kind, "timestamp": g.o.Now().UTC().Format(time.RFC3339), "data": data,
	})
	if err != nil {
		panic(err) // strings only
	}
	return body
}

// ServeHTTP takes messages.
func (g *Gateway) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(io.LimitReader(r.Body, 20<<10)) // "under 20 kB"
	if err != nil || r.Method != http.MethodPost || !g.genuine(r.Header, body) {
		w.WriteHeader(http.StatusUnauthorized)
		return
	}
	var in struct {
		Type      string
		Timestamp time.Time
		Data      struct {
			Ref, From, To, Text string
			Valid               int `json:"valid_seconds"`
			Choices             []Choice
		}
	}
	if json.Unmarshal(body, &in) != nil || in.Type != "message.send" || in.Timestamp.IsZero() ||
		in.Data.Ref == "" || in.Data.Ref != r.Header.Get("webhook-id") || in.Data.From != g.o.Us ||
		in.Data.To == "" || in.Data.Text == "" || in.Data.Valid < 1 {
		w.WriteHeader(http.StatusBadRequest)
		return
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.next != nil {
		f := g.next
		g.next = nil
		if f(w) {
			g.take(Sent{Ref: in.Data.Ref, To: in.Data.To, Text: in.Data.Text, Offered: in.Data.Choices})
		}
		return
	}
	switch {
	case g.optedOut[in.Data.To]:
		refuse(w, "opted-out")
	case g.gone[in.Data.To]:
		refuse(w, "unreachable")
	default:
		g.take(Sent{Ref: in.Data.Ref, To: in.Data.To, Text: in.Data.Text, Offered: in.Data.Choices})
		w.WriteHeader(http.StatusAccepted)
	}
}

func refuse(w http.ResponseWriter, reason string) {
	w.WriteHeader(http.StatusUnprocessableEntity)
	_, _ = fmt.Fprintf(w, `{"reason":%q}`, reason)
}

// take keeps a message once, however often it comes. The lock is held.
func (g *Gateway) take(s Sent) {
	if known := g.byRef[s.Ref]; known != nil {
		known.Times++
		return
	}
	s.Choices, s.Times = len(s.Offered), 1
	g.byRef[s.Ref] = &s
	g.sent = append(g.sent, &s)
}

// genuine checks a request as the specification says.
func (g *Gateway) genuine(h http.Header, body []byte) bool {
	unix, err := strconv.ParseInt(h.Get("webhook-timestamp"), 10, 64)
	if err != nil || g.o.Now().Sub(time.Unix(unix, 0)).Abs() > 5*time.Minute {
		return false
	}
	want := g.mac(h.Get("webhook-id"), unix, body)
	for _, s := range strings.Fields(h.Get("webhook-signature")) {
		got, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(s, "v1,"))
		if err == nil && hmac.Equal(got, want) {
			return true
		}
	}
	return false
}
