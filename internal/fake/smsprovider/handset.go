package smsprovider

import (
	"context"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"gaitpost/internal/sms"
)

// Text is what a handset writes.
type Text struct {
	From, To string
	Body     string
	Media    []string // content types of what comes with it
	Files    [][]byte // what comes with it, as far as it is to be handed out
}

// Delivery is what came of posting an inbound message to the application.
type Delivery struct {
	SID      string
	Status   int // the application's last answer; 0: none came
	Attempts int
	Taken    bool
}

// From lets a handset write. The provider heeds STOP and START itself, keeps
// the message, and posts it to the number's hook, again if that fails, as often
// as the number says. Redeliver posts what was not taken then.
func (p *Provider) From(ctx context.Context, t Text) (Delivery, error) {
	p.mu.Lock()
	n := p.numbers[t.To]
	if n == nil {
		p.mu.Unlock()
		return Delivery{}, fmt.Errorf("nobody here has the number that was written to")
	}
	now := p.o.Now()
	prefix := "SM"
	if len(t.Media) > 0 {
		prefix = "MM"
	}
	m := p.keep(Message{
		Account: n.account.SID, Direction: Inbound, From: t.From, To: t.To, Body: t.Body, Media: t.Media,
		Segments: sms.Encode(t.Body).Segments, Status: "received", Created: now, Sent: now, Updated: now,
	}, prefix)
	for i, data := range t.Files {
		p.files[mediaPath(m, i)] = File{t.Media[i], data}
	}
	kind := p.heed(n, t)
	p.waiting = append(p.waiting, m)
	p.mu.Unlock()
	return p.deliver(ctx, n, m, kind), nil
}

// Redeliver posts every inbound message that was not taken, oldest first, and
// returns how many still wait.
func (p *Provider) Redeliver(ctx context.Context) int {
	p.mu.Lock()
	waiting := slices.Clone(p.waiting)
	p.mu.Unlock()
	for _, m := range waiting {
		if ctx.Err() != nil {
			break
		}
		p.deliver(ctx, p.numbers[m.To], m, "")
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.waiting)
}

// Replay posts a message that was taken before once more, as an operator of the
// provider may. It returns the application's answer.
func (p *Provider) Replay(ctx context.Context, sid string) (Delivery, error) {
	p.mu.Lock()
	var m *Message
	for _, k := range p.ledger {
		if k.SID == sid && k.Direction == Inbound {
			m = k
		}
	}
	p.mu.Unlock()
	if m == nil {
		return Delivery{}, fmt.Errorf("there is no such inbound message")
	}
	return p.deliver(ctx, p.numbers[m.To], m, ""), nil
}

func (p *Provider) deliver(ctx context.Context, n *number, m *Message, kind string) Delivery {
	d := Delivery{SID: m.SID}
	p.mu.Lock()
	hook := n.Hook
	p.mu.Unlock()
	if hook == "" {
		return d
	}
	form := p.messageForm(m)
	if kind != "" && n.AdvancedOptOut {
		form.Set("OptOutType", kind)
	}
	for d.Attempts <= n.Retries && !d.Taken {
		d.Attempts++
		a, err := p.postCopies(ctx, n, hook, form)
		d.Status = a.status
		d.Taken = err == nil && a.status/100 == 2
		if d.Taken {
			p.heedAnswer(n, m, a)
		} else if err == nil && a.status < 500 {
			break // refused for good
		}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	m.Posted += d.Attempts
	if d.Taken {
		m.Taken = true
		p.waiting = slices.DeleteFunc(p.waiting, func(w *Message) bool { return w == m })
	}
	return d
}

// postCopies posts a form as often at one moment as the number says, and returns
// the best answer.
func (p *Provider) postCopies(ctx context.Context, n *number, hook string, form url.Values) (answer, error) {
	type result struct {
		answer
		err error
	}
	results := make(chan result, max(n.Copies, 1))
	for range cap(results) {
		go func() {
			a, err := p.post(ctx, hook, n.account.Token, form)
			results <- result{a, err}
		}()
	}
	best := <-results
	for range cap(results) - 1 {
		if r := <-results; r.err == nil && (best.err != nil || r.status < best.status) {
			best = r
		}
	}
	return best.answer, best.err
}

func (p *Provider) messageForm(m *Message) url.Values {
	f := url.Values{
		"AccountSid": {m.Account}, "ApiVersion": {"2010-04-01"}, "Body": {m.Body}, "From": {m.From}, "To": {m.To},
		"MessageSid": {m.SID}, "SmsSid": {m.SID}, "SmsMessageSid": {m.SID}, "SmsStatus": {"received"},
		"NumMedia": {strconv.Itoa(len(m.Media))}, "NumSegments": {strconv.Itoa(m.Segments)},
		// Empty ones count in the signature.
		"FromCity": {""}, "FromState": {""}, "FromZip": {""}, "FromCountry": {"GB"},
		"ToCity": {""}, "ToState": {""}, "ToZip": {""}, "ToCountry": {"GB"},
	}
	for i, t := range m.Media {
		k := strconv.Itoa(i)
		f.Set("MediaContentType"+k, t)
		f.Set("MediaUrl"+k, p.o.API+mediaPath(m, i))
	}
	return f
}

// The words the provider heeds on numbers without an arrangement of its own, as
// whole messages.
var (
	stopWords  = []string{"STOP", "UNSUBSCRIBE", "END", "QUIT", "STOPALL", "REVOKE", "OPTOUT", "CANCEL"}
	startWords = []string{"START", "YES", "UNSTOP"}
	helpWords  = []string{"HELP", "INFO"}
)

// heed does what the provider does about an opt-out by itself. It returns what
// it took the message for. The lock is held.
func (p *Provider) heed(n *number, t Text) string {
	word := strings.ToUpper(strings.TrimSpace(t.Body))
	way := pair{n.E164, t.From}
	switch {
	case slices.Contains(stopWords, word):
		if !p.optedOut[way] {
			p.ownReply(n, t.From, "You have successfully been unsubscribed. You will not receive any more messages from this number. Reply START to resubscribe.")
		}
		p.optedOut[way] = true
		return "STOP"
	case slices.Contains(startWords, word) && p.optedOut[way]:
		delete(p.optedOut, way)
		p.ownReply(n, t.From, "You have successfully been re-subscribed to messages from this number.")
		return "START"
	case slices.Contains(helpWords, word) && n.AdvancedOptOut:
		p.ownReply(n, t.From, "Reply STOP to unsubscribe.")
		return "HELP"
	}
	return ""
}

func (p *Provider) ownReply(n *number, to, text string) {
	now := p.o.Now()
	p.keep(Message{
		Account: n.account.SID, Direction: OutboundReply, From: n.E164, To: to, Body: text,
		Segments: sms.Encode(text).Segments, Status: "delivered", Created: now, Sent: now, Updated: now,
	}, "SM")
}
