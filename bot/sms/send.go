package sms

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"gaitpost/bot"
)

const maxValidity = 36000 * time.Second // the provider's own limit and default

// Send implements bot.Channel.
func (c *Channel) Send(ctx context.Context, m bot.Outgoing) (bot.Receipt, error) {
	seconds := int(min(m.Valid, maxValidity) / time.Second)
	if seconds < 1 {
		return bot.Receipt{}, &bot.SendError{Class: bot.Permanent, Err: errors.New("its time is over")}
	}
	body := url.Values{
		"To": {m.To.Value}, "From": {c.number}, "Body": {m.Text},
		"ValidityPeriod": {strconv.Itoa(seconds)},
		"StatusCallback": {c.status + "?" + refParam + "=" + m.Ref},
	}.Encode()
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, c.create, strings.NewReader(body))
	if err != nil {
		return bot.Receipt{}, &bot.SendError{Class: bot.Permanent, Err: errors.New("the request could not be made")}
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.SetBasicAuth(c.account, c.token)
	reply, failed := bot.Do(c.client, req)
	if failed != nil {
		return bot.Receipt{}, failed
	}
	return receipt(reply)
}

// receipt reads the provider's answer to a message.
func receipt(r bot.Reply) (bot.Receipt, error) {
	var said struct {
		SID  string      `json:"sid"`
		Code json.Number `json:"code"`
	}
	_ = json.Unmarshal(r.Body, &said) // a body without a code leaves it to the status
	if r.OK() {
		return bot.Receipt{ID: said.SID}, nil // whatever follows, the message is with the provider
	}
	code := shortCode(said.Code.String())
	return bot.Receipt{}, r.Refused(code, func() bot.Class { return classOf(code) })
}
