// Package whatsapp is a stand-in for the WhatsApp Cloud API, for the demo and
// the tests. It holds to the published contract and refuses what that refuses:
// the wrong token, missing or over-long fields, free text to somebody who has
// not written for a day, unknown templates. It signs what it posts.
//
// Sources: Meta's OpenAPI file of the business messaging API, v23.0, and its
// pages on webhooks, service messages and error codes.
package whatsapp

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode/utf8"
)

// Options are what a Provider needs.
type Options struct {
	PhoneID, Display string // the number's id, and the number without +
	Token, AppSecret string
	// Templates are the approved ones, by name and language code ("check_in/en").
	Templates []string
	Now       func() time.Time
}

// Sent is one message that the provider took.
type Sent struct {
	ID, To, Type, Ref string
	// Text is the words, whatever the message's type.
	Text    string
	Options []string // titles of buttons or rows
	// Offered is "button" or "list" where something can be tapped; Replies are the
	// ids that come back by it and Words what stands beside a row, in that order.
	Offered        string
	Replies, Words []string
}

// Provider is the stand-in. It is an http.Handler and safe for concurrent use.
type Provider struct {
	o Options

	mu       sync.Mutex
	seq      int
	sent     []Sent
	wrote    map[string]time.Time // when each person last wrote
	optedOut map[string]bool
	absent   map[string]bool
	next     func(http.ResponseWriter) bool
	files    map[string]File
}

// New returns a provider.
func New(o Options) (*Provider, error) {
	if o.PhoneID == "" || o.Token == "" || o.AppSecret == "" || o.Now == nil {
		return nil, errors.New("the provider lacks its number, secrets or clock")
	}
	return &Provider{o: o, wrote: map[string]time.Time{}, optedOut: map[string]bool{}, absent: map[string]bool{}, files: map[string]File{}}, nil
}

// Sent returns what was taken, in order.
func (p *Provider) Sent() []Sent {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]Sent(nil), p.sent...)
}

// Wrote opens the window of a person at an instant.
func (p *Provider) Wrote(who string, at time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.wrote[who] = at
}

// OptOut lets a person stop messages; Remove takes the person off WhatsApp.
func (p *Provider) OptOut(who string) { p.set(p.optedOut, who) }

// Remove makes a number one that is not on WhatsApp.
func (p *Provider) Remove(who string) { p.set(p.absent, who) }

func (p *Provider) set(m map[string]bool, who string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	m[who] = true
}

// Next answers the next request in another way. f returns whether the message
// is taken all the same.
func (p *Provider) Next(f func(http.ResponseWriter) bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.next = f
}

// Sign is the signature header's value for a body.
func (p *Provider) Sign(body []byte) string {
	m := hmac.New(sha256.New, []byte(p.o.AppSecret))
	m.Write(body)
	return "sha256=" + hex.EncodeToString(m.Sum(nil))
}

// Text is the body of the post that says that somebody wrote.
func (p *Provider) Text(id, from, text string) []byte {
	return p.TextFor(p.o.PhoneID, id, from, text)
}

// TextFor is one for another number of the same account.
func (p *Provider) TextFor(phoneID, id, from, text string) []byte {
	return p.news(phoneID, map[string]any{
		"contacts": []any{map[string]any{"profile": map[string]any{"name": "Ruth"}, "wa_id": from}},
		"messages": []any{p.message(id, from, "text", "text", map[string]any{"body": text})},
	})
}

// Tap is the body of the post that says that somebody took a choice of ours.
// kind is button_reply or list_reply.
func (p *Provider) Tap(id, from, kind, reply, title string) []byte {
	return p.news(p.o.PhoneID, map[string]any{"messages": []any{p.message(id, from, "interactive", "interactive",
		map[string]any{"type": kind, kind: map[string]any{"id": reply, "title": title}})}})
}

// Other is the body of a post with a message of another type.
func (p *Provider) Other(id, from, kind string, data map[string]any) []byte {
	return p.news(p.o.PhoneID, map[string]any{"messages": []any{p.message(id, from, kind, kind, data)}})
}

// Status is the body of the post on what became of a message.
func (p *Provider) Status(id, to, ref, status string, code int) []byte {
	s := map[string]any{
		"id": id, "status": status, "timestamp": p.stamp(), "recipient_id": to, "biz_opaque_callback_data": ref,
	}
	if code != 0 {
		s["errors"] = []any{map[string]any{"code": code, "title": "refused"}}
	}
	return p.news(p.o.PhoneID, map[string]any{"statuses": []any{s}})
}

func (p *Provider) stamp() string { return strconv.FormatInt(p.o.Now().Unix(), 10) }

func (p *Provider) message(id, from, kind, field string, data map[string]any) map[string]any {
	return map[string]any{"from": from, "id": id, "timestamp": p.stamp(), "type": kind, field: data}
}

func (p *Provider) news(phoneID string, value map[string]any) []byte {
	value["messaging_product"] = "whatsapp"
	value["metadata"] = map[string]any{"display_phone_number": p.o.Display, "phone_number_id": phoneID}
	b, err := json.Marshal(map[string]any{"object": "whatsapp_business_account", "entry": []any{
		map[string]any{"id": "1", "changes": []any{map[string]any{"field": "messages", "value": value}}},
	}})
	if err != nil {
		panic(err) // strings and numbers only
	}
	return b
}

// in is a message as it came.
type in struct {
	Product   string `json:"messaging_product"`
	Recipient string `json:"recipient_type"`
	To, Type  string
	Ref       string `json:"biz_opaque_callback_data"`
	Text      *struct{ Body string }
	Asked     *struct {
		Type   string
		Body   struct{ Text string }
		Action struct {
			Buttons []struct {
				Type  string
				Reply struct{ ID, Title string }
			}
			Button   string
			Sections []struct {
				Rows []struct{ ID, Title, Description string }
			}
		}
	} `json:"interactive"`
	Template *struct {
		Name       string
		Language   struct{ Code string }
		Components []struct {
			Type       string
			Parameters []struct{ Type, Text string }
		}
	}
}

// ServeHTTP takes messages.
func (p *Provider) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodGet {
		p.file(w, r)
		return
	}
	data, err := io.ReadAll(io.LimitReader(r.Body, 64<<10))
	switch {
	case err != nil || r.Method != http.MethodPost || !strings.HasSuffix(r.URL.Path, "/"+p.o.PhoneID+"/messages"):
		w.WriteHeader(http.StatusNotFound)
		return
	case r.Header.Get("Authorization") != "Bearer "+p.o.Token:
		refuse(w, http.StatusUnauthorized, 190)
		return
	}
	var m in
	if json.Unmarshal(data, &m) != nil || m.Product != "whatsapp" || m.Recipient != "individual" || !isNumber(m.To) || len(m.Ref) > 512 {
		refuse(w, http.StatusBadRequest, 131009)
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	taken := true
	if p.next != nil {
		f := p.next
		p.next = nil
		if taken = f(w); !taken {
			return
		}
		w = nil
	}
	sent, code := p.read(&m)
	if code != 0 {
		if w != nil {
			refuse(w, statusOf(code), code)
		}
		return
	}
	p.seq++
	sent.ID = fmt.Sprintf("wamid.%08d", p.seq)
	p.sent = append(p.sent, sent)
	if w != nil {
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode(map[string]any{"messaging_product": "whatsapp",
			"contacts": []any{map[string]any{"input": m.To, "wa_id": m.To}}, "messages": []any{map[string]any{"id": sent.ID}}})
	}
}

// read checks a message against the contract; code is 0 where it is taken. The
// lock is held.
func (p *Provider) read(m *in) (s Sent, code int) {
	s = Sent{To: m.To, Type: m.Type, Ref: m.Ref}
	switch {
	case p.absent[m.To]:
		return s, 131026
	case p.optedOut[m.To]:
		return s, 131050
	case m.Type != "template" && p.o.Now().Sub(p.wrote[m.To]) >= 24*time.Hour:
		return s, 131047
	}
	switch m.Type {
	case "text":
		if m.Text == nil || !fits(m.Text.Body, 4096) {
			return s, 131009
		}
		s.Text = m.Text.Body
	case "interactive":
		return m.interactive(s)
	case "template":
		return p.template(m, s)
	default:
		return s, 131009
	}
	return s, 0
}

func (m *in) interactive(s Sent) (Sent, int) {
	a := m.Asked
	if a == nil || !fits(a.Body.Text, 1024) {
		return s, 131009
	}
	s.Text, s.Offered = a.Body.Text, a.Type
	seen := map[string]bool{}
	switch a.Type {
	case "button":
		for _, b := range a.Action.Buttons {
			if b.Type != "reply" || !fits(b.Reply.Title, 20) || !fits(b.Reply.ID, 256) || seen[b.Reply.Title] {
				return s, 131009
			}
			seen[b.Reply.Title] = true
			s.Options, s.Replies, s.Words = append(s.Options, b.Reply.Title), append(s.Replies, b.Reply.ID), append(s.Words, "")
		}
		if n := len(s.Options); n < 1 || n > 3 {
			return s, 131009
		}
	case "list":
		for _, section := range a.Action.Sections {
			for _, r := range section.Rows {
				if !fits(r.Title, 24) || utf8.RuneCountInString(r.Description) > 72 || !fits(r.ID, 200) || seen[r.ID] {
					return s, 131009
				}
				seen[r.ID] = true
				s.Options, s.Replies, s.Words = append(s.Options, r.Title), append(s.Replies, r.ID), append(s.Words, r.Description)
			}
		}
		if n := len(s.Options); n < 1 || n > 10 || !fits(a.Action.Button, 20) || len(a.Action.Sections) != 1 {
			return s, 131009
		}
	default:
		return s, 131009
	}
	return s, 0
}

func (p *Provider) template(m *in, s Sent) (Sent, int) {
	t := m.Template
	if t == nil || len(t.Components) != 1 || t.Components[0].Type != "body" || len(t.Components[0].Parameters) != 1 {
		return s, 132000
	}
	known := false
	for _, name := range p.o.Templates {
		known = known || name == t.Name+"/"+t.Language.Code
	}
	text := t.Components[0].Parameters[0].Text
	switch {
	case !known:
		return s, 132001
	case text == "" || strings.ContainsAny(text, "\n\t") || strings.Contains(text, "     "):
		return s, 131008
	}
	s.Text = text
	return s, 0
}

func fits(s string, most int) bool {
	return s != "" && utf8.RuneCountInString(s) <= most && strings.TrimSpace(s) == s || s != "" && most >= 1024 && utf8.RuneCountInString(s) <= most
}

func isNumber(s string) bool {
	return len(s) >= 7 && len(s) <= 15 && strings.Trim(s, "0123456789") == ""
}

func statusOf(code int) int {
	switch code {
	case 131050, 131026, 131047, 131008, 131009, 132000, 132001:
		return http.StatusBadRequest
	}
	return http.StatusInternalServerError
}

func refuse(w http.ResponseWriter, status, code int) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(map[string]any{"error": map[string]any{
		"message": fmt.Sprintf("(#%d) refused", code), "type": "OAuthException", "code": code, "fbtrace_id": "0"}})
}
