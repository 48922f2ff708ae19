// Package smsprovider is a stand-in for a provider of text messages, for the
// demo, the tests and the benches. It holds to the published contract of
// Twilio's Message resource and webhooks and refuses what that refuses, keeps
// accounts, numbers, opt-outs and every message, and lets its handsets write.
//
// Nothing happens by itself: Advance moves messages on and posts their reports,
// From lets a handset write. The same calls give the same ledger.
//
// Sources: Twilio's OpenAPI file of 2026-04-14, its error dictionary, and its
// documentation of webhooks, status callbacks and opt-outs. Where a code is
// from memory, it says so.
package smsprovider

import (
	"fmt"
	"net/http"
	"sync"
	"time"
)

// Options are what a Provider needs.
type Options struct {
	Accounts []Account
	// Client posts to the application; nil is http.DefaultClient.
	Client *http.Client
	Now    func() time.Time
	// API is where the provider says its interface is, in the addresses of files;
	// "" is https://provider.example.
	API string
	// Interim posts the state "sending" as well.
	Interim bool
	// Disorder posts the reports of one Advance last first, Twice each of them
	// twice. Providers promise neither order nor once.
	Disorder, Twice bool
}

// Account is one customer of the provider.
type Account struct {
	SID     string // "AC" and 32 hexadecimal digits
	Token   string
	Numbers []Number
}

// Number is one number of an account.
type Number struct {
	E164 string
	// Hook is where inbound messages are posted to; "" for nowhere.
	Hook string
	// Retries is how often a post is repeated that failed, 0 to 5. The
	// provider's default is 1.
	Retries int
	// Copies is how often a message is posted at one moment; 0 is once. A
	// provider promises no more than "at least once".
	Copies int
	// Burst is how many requests a second are taken before 20429; 0: any.
	Burst int
	// SegmentsPerSecond is how fast it sends what it accepted; 0: at once.
	SegmentsPerSecond float64
	// AdvancedOptOut: the provider answers STOP, START and HELP itself and says
	// so in OptOutType. Without it it answers STOP and START only, unsaid.
	AdvancedOptOut bool
}

// Handset is what kind of telephone a number is.
type Handset uint8

const (
	Mobile      Handset = iota
	Landline            // refused at once, 21614
	SwitchedOff         // accepted, then undelivered, 30003
	NoSuch              // accepted, then undelivered, 30005
	LandlineTo          // accepted, then undelivered, 30006
	Filtered            // accepted, then undelivered, 30007
)

// Direction of a message.
const (
	Inbound       = "inbound"
	OutboundAPI   = "outbound-api"
	OutboundReply = "outbound-reply" // from an answer to a webhook, or the provider's own
)

// Message is one message, either way, as the provider keeps it.
type Message struct {
	SID       string
	Account   string
	Direction string
	From, To  string
	Body      string
	Media     []string // content types, inbound only
	Segments  int
	Status    string
	ErrorCode int
	Created   time.Time
	Sent      time.Time // zero while it is queued
	Updated   time.Time
	// Until is when the provider gives up a message that it has not sent.
	Until    time.Time
	Callback string // status callback, "" for none
	// Posted is how often an inbound message or a report on it was posted, and
	// Taken whether the application answered an inbound one with 2xx.
	Posted int
	Taken  bool

	due time.Time // when its next state comes
}

// Final reports whether the message has reached its end.
func (m *Message) Final() bool {
	switch m.Status {
	case "delivered", "undelivered", "failed", "received":
		return true
	}
	return false
}

// Provider is the stand-in. It is an http.Handler of the provider's interface
// and is safe for concurrent use.
type Provider struct {
	o        Options
	accounts map[string]*Account
	numbers  map[string]*number

	mu       sync.Mutex
	seq      int
	ledger   []*Message
	moving   []*Message // outbound, not final
	waiting  []*Message // inbound, not taken
	handsets map[string]Handset
	optedOut map[pair]bool
	files    map[string]File // by the path of their address
	faults   []Fault
	problems []string
}

type number struct {
	Number
	account *Account
	second  int64 // of the last request, Unix
	taken   int   // requests in it
	free    time.Time
}

// pair is one of our numbers and a handset's.
type pair struct{ ours, theirs string }

// New returns a provider with its accounts.
func New(o Options) (*Provider, error) {
	if o.Now == nil {
		return nil, fmt.Errorf("the provider has no clock")
	}
	if o.Client == nil {
		o.Client = http.DefaultClient
	}
	if o.API == "" {
		o.API = "https://provider.example"
	}
	p := &Provider{
		o: o, accounts: map[string]*Account{}, numbers: map[string]*number{},
		handsets: map[string]Handset{}, optedOut: map[pair]bool{}, files: map[string]File{},
	}
	for i := range o.Accounts {
		a := &o.Accounts[i]
		if !accountSID.MatchString(a.SID) || a.Token == "" || p.accounts[a.SID] != nil {
			return nil, fmt.Errorf("account %d: want another id, AC and 32 hexadecimal digits, and a token", i)
		}
		p.accounts[a.SID] = a
		for _, n := range a.Numbers {
			if !e164.MatchString(n.E164) || p.numbers[n.E164] != nil {
				return nil, fmt.Errorf("account %d: a number is not in E.164 form, or there twice", i)
			}
			p.numbers[n.E164] = &number{Number: n, account: a}
		}
	}
	return p, nil
}

// SetHandset says what kind of telephone a number is.
func (p *Provider) SetHandset(number string, h Handset) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.handsets[number] = h
}

// SetHook says where a number's inbound messages are posted to.
func (p *Provider) SetHook(number, url string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if n := p.numbers[number]; n != nil {
		n.Hook = url
	}
}

// Ledger returns every message there ever was, in order.
func (p *Provider) Ledger() []Message { return p.since(0) }

// Since returns the ledger without its first n messages.
func (p *Provider) Since(n int) []Message { return p.since(n) }

func (p *Provider) since(n int) []Message {
	p.mu.Lock()
	defer p.mu.Unlock()
	if n > len(p.ledger) {
		return nil
	}
	all := make([]Message, 0, len(p.ledger)-n)
	for _, m := range p.ledger[n:] {
		all = append(all, *m)
	}
	return all
}

// Sent returns what was accepted from the application, in order.
func (p *Provider) Sent() []Message {
	var sent []Message
	for _, m := range p.Ledger() {
		if m.Direction == OutboundAPI {
			sent = append(sent, m)
		}
	}
	return sent
}

// OptedOut reports whether a handset opted out of a number.
func (p *Provider) OptedOut(number, handset string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.optedOut[pair{number, handset}]
}

// Problems lists what the application did against the contract without being
// refused for it. A test should find none.
func (p *Provider) Problems() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]string(nil), p.problems...)
}

func (p *Provider) problem(format string, args ...any) {
	p.problems = append(p.problems, fmt.Sprintf(format, args...))
}

// keep gives a message its id and puts it in the ledger. The lock is held.
func (p *Provider) keep(m Message, prefix string) *Message {
	p.seq++
	m.SID = fmt.Sprintf("%s%032x", prefix, p.seq)
	p.ledger = append(p.ledger, &m)
	return &m
}
