package relay

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"time"

	webhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"gaitpost/bot"
	"gaitpost/dialog"
)

// outgoing is what is posted to the gateway.
type outgoing struct {
	Type      string  `json:"type"`
	Timestamp string  `json:"timestamp"` // RFC 3339
	Data      message `json:"data"`
}

type message struct {
	Ref     string          `json:"ref"`
	From    string          `json:"from"`
	To      string          `json:"to"`
	Text    string          `json:"text"`
	Valid   int             `json:"valid_seconds"`
	Choices []dialog.Choice `json:"choices,omitempty"`
}

// Send implements bot.Channel.
func (c *Channel) Send(ctx context.Context, m bot.Outgoing) (bot.Receipt, error) {
	seconds := int(m.Valid / time.Second)
	if seconds < 1 {
		return bot.Receipt{}, &bot.SendError{Class: bot.Permanent, Err: errors.New("its time is over")}
	}
	now := c.now()
	body, err := json.Marshal(outgoing{
		Type: "message.send", Timestamp: now.UTC().Format(time.RFC3339),
		Data: message{Ref: m.Ref, From: c.address, To: m.To.Value, Text: m.Text, Valid: seconds, Choices: m.Choices},
	})
	if err != nil {
		return bot.Receipt{}, &bot.SendError{Class: bot.Permanent, Err: err}
	}
	req, err := c.request(ctx, m.Ref, now, body)
	if err != nil {
		return bot.Receipt{}, &bot.SendError{Class: bot.Permanent, Err: errors.New("the request could not be made")}
	}
	reply, failed := bot.Do(c.client, req)
	if failed != nil {
		return bot.Receipt{}, failed
	}
	return receipt(reply)
}

func (c *Channel) request(ctx context.Context, id string, at time.Time, body []byte) (*http.Request, error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, c.url, bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	signature, err := c.webhook.Sign(id, at, body)
	if err != nil {
		return nil, err
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set(webhooks.HeaderWebhookID, id)
	req.Header.Set(webhooks.HeaderWebhookTimestamp, strconv.FormatInt(at.Unix(), 10))
	req.Header.Set(webhooks.HeaderWebhookSignature, signature)
	return req, nil
}

// receipt reads the gateway's answer. 410 asks us to stop posting (Standard
// Webhooks 1.0.0): that is for a person to mend.
func receipt(r bot.Reply) (bot.Receipt, error) {
	var said struct {
		ID     string `json:"id"`
		Reason string `json:"reason"`
	}
	_ = json.Unmarshal(r.Body, &said) // an answer without a body is as good
	if r.OK() {
		return bot.Receipt{ID: said.ID}, nil
	}
	return bot.Receipt{}, r.Refused("", func() bot.Class {
		switch {
		case r.Status == http.StatusGone, r.Status == http.StatusNotFound:
			return bot.Misconfigured
		case said.Reason == reasonOptedOut:
			return bot.OptedOut
		case said.Reason == reasonUnreachable:
			return bot.Dead
		}
		return bot.Permanent
	})
}

// Lookup implements bot.Channel: a gateway takes a ref once, so a message of
// which nobody knows may simply go again.
func (c *Channel) Lookup(context.Context, bot.Outgoing) (bot.Presence, error) {
	return bot.Absent, nil
}
