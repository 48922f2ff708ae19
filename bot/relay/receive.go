package relay

import (
	"bytes"
	"encoding/json"
	"strconv"
	"strings"
	"time"

	webhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"gaitpost/bot"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

const (
	maxID    = 128
	maxMedia = 10
)

// envelope is what the gateway posts.
type envelope struct {
	Type string `json:"type"`
	Data data   `json:"data"`
}

type data struct {
	// Of a message received.
	ID    string   `json:"id"`
	From  string   `json:"from"`
	Text  string   `json:"text"`
	Media []string `json:"media"`
	// Of a status.
	Ref    string `json:"ref"`
	Status string `json:"status"`
	Reason string `json:"reason"`
	// Of both: whom it went to.
	To string `json:"to"`
}

// Receive implements bot.Channel. The signature is checked before anything is
// read; both hooks take both kinds.
func (c *Channel) Receive(r bot.Request) ([]bot.Inbound, error) {
	if err := c.verify(r); err != nil {
		return nil, err
	}
	var e envelope
	if err := json.NewDecoder(bytes.NewReader(r.Body)).Decode(&e); err != nil {
		return nil, bot.ErrBroken
	}
	switch e.Type {
	case "message.received":
		return c.message(e.Data)
	case "message.status":
		return c.report(e.Data)
	}
	return nil, nil // a kind of news that means nothing here
}

// verify checks who signed a request, and when.
func (c *Channel) verify(r bot.Request) error {
	if r.Header.Get(webhooks.HeaderWebhookSignature) == "" {
		return bot.ErrNoSignature
	}
	if c.webhook.VerifyIgnoringTimestamp(r.Body, r.Header) != nil {
		return bot.ErrBadSignature
	}
	seconds, err := strconv.ParseInt(r.Header.Get(webhooks.HeaderWebhookTimestamp), 10, 64)
	if err != nil {
		return bot.ErrBadSignature
	}
	if age := c.now().Sub(time.Unix(seconds, 0)); age > tolerance || age < -tolerance {
		return bot.ErrBadSignature // an old request, kept by somebody
	}
	return nil
}

func (c *Channel) message(d data) ([]bot.Inbound, error) {
	if d.To != c.address {
		return nil, bot.ErrOtherNumber
	}
	from, _, err := contact.Parse(contact.Relay, d.From, "")
	if err != nil || !isID(d.ID) {
		return nil, bot.ErrBroken
	}
	m := &care.MessageIn{From: from, ID: d.ID, Text: d.Text}
	for _, kind := range d.Media[:min(len(d.Media), maxMedia)] {
		m.Media = append(m.Media, bot.MediaType(kind))
	}
	return []bot.Inbound{{Key: "relay/" + d.ID, Peer: from, Message: m}}, nil
}

var fates = map[string]care.Fate{
	"sent": care.SentOut, "delivered": care.Delivered, "read": care.Read, "failed": care.Failed,
}

func (c *Channel) report(d data) ([]bot.Inbound, error) {
	to, _, err := contact.Parse(contact.Relay, d.To, "")
	if err != nil || !isID(d.Ref) {
		return nil, bot.ErrBroken
	}
	fate, final := fates[d.Status]
	if !final {
		return nil, nil
	}
	report := &care.Report{Message: d.Ref, Fate: fate}
	if fate == care.Failed {
		report.OptedOut, report.Dead = d.Reason == reasonOptedOut, d.Reason == reasonUnreachable
	}
	return []bot.Inbound{{Key: "relay/" + d.Ref + "/" + d.Status, Peer: to, Report: report}}, nil
}

// Why a gateway did not deliver, in its own words to us.
const (
	reasonOptedOut    = "opted-out"
	reasonUnreachable = "unreachable"
)

func isID(s string) bool {
	return s != "" && len(s) <= maxID && !strings.ContainsFunc(s, func(r rune) bool {
		return !(r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || strings.ContainsRune("-~_.:", r))
	})
}
