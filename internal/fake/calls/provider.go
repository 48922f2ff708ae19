// Package calls is a stand-in for a provider of telephone calls, for the tests.
// It refuses what the published interface refuses: the wrong sign-in, numbers
// that are none, words that are no document it could speak. It signs what it
// posts as the texts' provider does.
//
// Source: Twilio's documentation of the Calls resource, from memory.
package calls

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"sync"
)

// maxWords is the most that a call's document may hold.
const maxWords = 4000

var e164 = regexp.MustCompile(`^\+[1-9][0-9]{6,14}$`)

// Call is one call that the provider was asked to make.
type Call struct {
	SID, To, From string
	Spoken        []string // what is said before a key is pressed
	Action        string   // where the key is posted
}

// Provider is the stand-in. It is an http.Handler and safe for concurrent use.
type Provider struct {
	account, token string

	mu    sync.Mutex
	calls []Call
	next  func(http.ResponseWriter) bool
}

// New returns a provider with one account.
func New(account, token string) *Provider { return &Provider{account: account, token: token} }

// Calls returns what was taken, in order.
func (p *Provider) Calls() []Call {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]Call(nil), p.calls...)
}

// Next answers the next request in another way. f returns whether the call is
// made all the same.
func (p *Provider) Next(f func(http.ResponseWriter) bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.next = f
}

// Pressed is the form that tells of a key.
func (p *Provider) Pressed(c Call, digits string) url.Values {
	return url.Values{
		"AccountSid": {p.account}, "CallSid": {c.SID}, "To": {c.To}, "From": {c.From},
		"Digits": {digits}, "CallStatus": {"in-progress"}, "Direction": {"outbound-api"}, "ApiVersion": {"2010-04-01"},
	}
}

// document is what a call speaks.
type document struct {
	XMLName xml.Name `xml:"Response"`
	Gather  struct {
		Digits string   `xml:"numDigits,attr"`
		Action string   `xml:"action,attr"`
		Say    []string `xml:"Say"`
	} `xml:"Gather"`
	Say []string `xml:"Say"`
}

// ServeHTTP takes calls.
func (p *Provider) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	user, password, ok := r.BasicAuth()
	switch {
	case r.URL.Path != "/2010-04-01/Accounts/"+p.account+"/Calls.json" || r.Method != http.MethodPost:
		refuse(w, http.StatusNotFound, 20404)
		return
	case !ok || user != p.account || password != p.token:
		refuse(w, http.StatusUnauthorized, 20003)
		return
	}
	c, err := read(r)
	p.mu.Lock()
	defer p.mu.Unlock()
	taken := false
	if p.next != nil {
		f := p.next
		p.next = nil
		if taken = f(w); !taken {
			return
		}
	}
	if err != nil {
		refuse(w, http.StatusBadRequest, 21211)
		return
	}
	c.SID = fmt.Sprintf("CA%032x", len(p.calls)+1)
	p.calls = append(p.calls, c)
	if taken {
		return // the answer was lost
	}
	w.WriteHeader(http.StatusCreated)
	_ = json.NewEncoder(w).Encode(map[string]any{"sid": c.SID, "status": "queued"})
}

func read(r *http.Request) (Call, error) {
	if err := r.ParseForm(); err != nil {
		return Call{}, err
	}
	c := Call{To: r.PostForm.Get("To"), From: r.PostForm.Get("From")}
	words := r.PostForm.Get("Twiml")
	if !e164.MatchString(c.To) || !e164.MatchString(c.From) || len(words) > maxWords {
		return c, errors.New("a number is none, or there is too much to say")
	}
	var d document
	dec := xml.NewDecoder(strings.NewReader(words))
	if err := dec.Decode(&d); err != nil {
		return c, err
	}
	if _, err := dec.Token(); err != io.EOF || len(d.Gather.Say) == 0 || d.Gather.Digits != "1" {
		return c, errors.New("the document says nothing, or asks for no key")
	}
	c.Spoken, c.Action = d.Gather.Say, d.Gather.Action
	return c, nil
}

func refuse(w http.ResponseWriter, status, code int) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(map[string]any{"code": code, "status": status})
}
