// Package relay speaks to any other gateway: signed JSON posts come in and go
// out, both as Standard Webhooks 1.0.0. README.md has an example of each.
//
// What a gateway posts to the channel's hook:
//
//	{"type": "message.received", "timestamp": "2026-03-03T12:00:00Z",
//	 "data": {"id": "m-1", "from": "+447700900123", "to": "harbour-street",
//	          "text": "2 1 0", "media": ["image/jpeg"]}}
//	{"type": "message.status", "timestamp": "2026-03-03T12:00:00Z",
//	 "data": {"ref": "…", "to": "+447700900123", "status": "delivered"}}
//
// status is sent, delivered, read or failed; a failed one may say why in
// "reason": opted-out or unreachable. What is posted to the gateway:
//
//	{"type": "message.send", "timestamp": "2026-03-03T12:00:00Z",
//	 "data": {"ref": "…", "from": "harbour-street", "to": "+447700900123",
//	          "text": "…", "valid_seconds": 3600,
//	          "choices": [{"reply": "0", "label": "0 never"}]}}
//
// The webhook-id of a message is its ref. A gateway must take a ref once,
// however often it comes: that is what makes an unknown outcome harmless.
package relay

import (
	"encoding/base64"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	webhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"gaitpost/bot"
)

// Secrets have 24 to 64 random bytes (Standard Webhooks 1.0.0). The library takes
// an empty one, with which anybody could sign.
const (
	minSecret = 24
	maxSecret = 64
	prefix    = "whsec_"
	// tolerance is how far a request's time may be from ours.
	tolerance = 5 * time.Minute
)

// Config is one gateway.
type Config struct {
	Address string // ours, as the gateway calls it
	URL     string // where it takes messages
	// Secret signs both ways: "whsec_" and 24 to 64 bytes in base64.
	Secret string
	Client *http.Client // nil is a client of the package's own
	Now    func() time.Time
}

// Format keeps the secret out of every log.
func (c Config) Format(f fmt.State, _ rune) { fmt.Fprint(f, "relay.Config(redacted)") }

// Channel is one gateway. It implements bot.Channel.
type Channel struct {
	address, url string
	webhook      *webhooks.Webhook
	client       *http.Client
	now          func() time.Time
}

// New checks a configuration and returns its channel.
func New(c Config) (*Channel, error) {
	encoded, prefixed := strings.CutPrefix(c.Secret, prefix)
	secret, err := base64.StdEncoding.DecodeString(encoded)
	u, urlErr := url.Parse(c.URL)
	var problems []error
	if !prefixed || err != nil || len(secret) < minSecret || len(secret) > maxSecret {
		problems = append(problems, errors.New("the secret is not whsec_ and 24 to 64 bytes in base64"))
	}
	if urlErr != nil || u.Scheme != "https" && u.Scheme != "http" || u.Host == "" || u.User != nil || u.Fragment != "" {
		problems = append(problems, errors.New("the gateway's address must begin with http:// or https:// and a host"))
	}
	if c.Address == "" {
		problems = append(problems, errors.New("our own address at the gateway is missing"))
	}
	if c.Now == nil {
		problems = append(problems, errors.New("the clock is missing"))
	}
	if len(problems) > 0 {
		return nil, errors.Join(problems...)
	}
	if c.Client == nil {
		c.Client = bot.NewClient()
	}
	webhook, err := webhooks.NewWebhookRaw(secret)
	if err != nil {
		return nil, fmt.Errorf("the secret can't be used: %w", err)
	}
	return &Channel{address: c.Address, url: c.URL, webhook: webhook, client: c.Client, now: c.Now}, nil
}

// Answer implements bot.Channel: nothing but the status is read.
func (c *Channel) Answer() bot.Answer { return bot.Answer{} }
