// Package telegram is a stand-in for the Telegram Bot API, for the demo and the
// tests. It holds to the published contract: only those can be written to who
// opened the chat, lengths and keyboards are checked, blocked bots get 403, and
// what it posts carries the secret token that setWebhook was given.
//
// Source: a machine-readable copy of the Bot API 10.1 (2026-06-11).
package telegram

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync"
	"time"
	"unicode/utf8"
)

// Options are what a Provider needs.
type Options struct {
	Token string
	Now   func() time.Time
}

// Sent is one message that the provider took.
type Sent struct {
	ID   int64
	Chat int64
	Text string
	Keys []string
}

// Provider is the stand-in. It is an http.Handler and safe for concurrent use.
type Provider struct {
	o Options

	mu      sync.Mutex
	seq     int64
	sent    []Sent
	open    map[int64]bool // chats that a person opened
	blocked map[int64]bool
	hook    string
	secret  string
	next    func(http.ResponseWriter) bool
	files   map[string]File
}

// New returns a provider.
func New(o Options) (*Provider, error) {
	if o.Token == "" || o.Now == nil {
		return nil, errors.New("the provider lacks its token or clock")
	}
	return &Provider{o: o, open: map[int64]bool{}, blocked: map[int64]bool{}, files: map[string]File{}}, nil
}

// Sent returns what was taken, in order.
func (p *Provider) Sent() []Sent {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]Sent(nil), p.sent...)
}

// Open lets a person open a chat with the bot; Block lets one block it.
func (p *Provider) Open(chat int64) { p.set(p.open, chat) }

// Block lets a person block the bot.
func (p *Provider) Block(chat int64) { p.set(p.blocked, chat) }

func (p *Provider) set(m map[int64]bool, chat int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	m[chat] = true
}

// Hook returns what setWebhook was given.
func (p *Provider) Hook() (url, secret string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.hook, p.secret
}

// Next answers the next request in another way. f returns whether the message
// is taken all the same.
func (p *Provider) Next(f func(http.ResponseWriter) bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.next = f
}

// Update is the body of a post with one part.
func (p *Provider) Update(id int64, part string, data map[string]any) []byte {
	b, err := json.Marshal(map[string]any{"update_id": id, part: data})
	if err != nil {
		panic(err) // strings and numbers only
	}
	return b
}

// Message is a message of a person in a private chat, without its words.
func (p *Provider) Message(id, chat int64) map[string]any {
	return map[string]any{
		"message_id": id, "date": p.o.Now().Unix(),
		"from": map[string]any{"id": chat, "is_bot": false, "first_name": "Ruth"},
		"chat": map[string]any{"id": chat, "type": "private", "first_name": "Ruth"},
	}
}

// Text is the body of the post that says that somebody wrote.
func (p *Provider) Text(update, chat int64, text string) []byte {
	m := p.Message(update, chat)
	m["text"] = text
	return p.Update(update, "message", m)
}

// ServeHTTP takes requests.
func (p *Provider) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	data, err := io.ReadAll(io.LimitReader(r.Body, 64<<10))
	method, ok := strings.CutPrefix(r.URL.Path, "/bot"+p.o.Token+"/")
	path, isFile := strings.CutPrefix(r.URL.Path, "/file/bot"+p.o.Token+"/")
	switch {
	case isFile && r.Method == http.MethodGet:
		p.handOut(w, path)
	case !ok || err != nil || r.Method != http.MethodPost:
		refuse(w, http.StatusNotFound, "Not Found")
	case method == "setWebhook":
		p.setWebhook(w, data)
	case method == "sendMessage":
		p.send(w, data)
	case method == "getFile":
		p.getFile(w, data)
	default:
		refuse(w, http.StatusNotFound, "Not Found: method not found")
	}
}

func (p *Provider) setWebhook(w http.ResponseWriter, data []byte) {
	var in struct {
		URL    string `json:"url"`
		Secret string `json:"secret_token"`
	}
	if json.Unmarshal(data, &in) != nil || !strings.HasPrefix(in.URL, "https://") || in.Secret == "" || len(in.Secret) > 256 {
		refuse(w, http.StatusBadRequest, "Bad Request: bad webhook")
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.hook, p.secret = in.URL, in.Secret
	accept(w, true)
}

func (p *Provider) send(w http.ResponseWriter, data []byte) {
	var in struct {
		Chat  int64  `json:"chat_id"`
		Text  string `json:"text"`
		Parse string `json:"parse_mode"`
		Keys  *struct {
			Keyboard [][]struct{ Text string }
			Remove   bool `json:"remove_keyboard"`
		} `json:"reply_markup"`
	}
	if json.Unmarshal(data, &in) != nil || in.Chat == 0 || strings.TrimSpace(in.Text) == "" ||
		utf8.RuneCountInString(in.Text) > 4096 || in.Parse != "" {
		refuse(w, http.StatusBadRequest, "Bad Request: message text is empty or too long")
		return
	}
	s := Sent{Chat: in.Chat, Text: in.Text}
	if in.Keys != nil {
		for _, row := range in.Keys.Keyboard {
			if len(row) == 0 {
				refuse(w, http.StatusBadRequest, "Bad Request: an empty row of keys")
				return
			}
			for _, k := range row {
				s.Keys = append(s.Keys, k.Text)
			}
		}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.next != nil {
		f := p.next
		p.next = nil
		if f(w) {
			p.take(s)
		}
		return
	}
	switch {
	case p.blocked[in.Chat]:
		refuse(w, http.StatusForbidden, "Forbidden: bot was blocked by the user")
	case !p.open[in.Chat]:
		refuse(w, http.StatusBadRequest, "Bad Request: chat not found")
	default:
		accept(w, map[string]any{"message_id": p.take(s), "date": p.o.Now().Unix(), "chat": map[string]any{"id": in.Chat}})
	}
}

// take keeps a message. The lock is held.
func (p *Provider) take(s Sent) int64 {
	p.seq++
	s.ID = p.seq
	p.sent = append(p.sent, s)
	return s.ID
}

func accept(w http.ResponseWriter, result any) {
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(map[string]any{"ok": true, "result": result})
}

func refuse(w http.ResponseWriter, code int, why string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(code)
	_, _ = fmt.Fprintf(w, `{"ok":false,"error_code":%d,"description":%q}`, code, why)
}
