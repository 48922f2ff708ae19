package sms

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptrace"
	"net/url"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"gaitpost/bot"
)

const (
	maxReply    = 64 << 10
	maxValidity = 36000 * time.Second // the provider's own limit and default
)

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
	var written atomic.Bool
	ctx = httptrace.WithClientTrace(ctx, &httptrace.ClientTrace{WroteHeaders: func() { written.Store(true) }})
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, c.create, strings.NewReader(body))
	if err != nil {
		return bot.Receipt{}, &bot.SendError{Class: bot.Permanent, Err: errors.New("the request could not be made")}
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.SetBasicAuth(c.account, c.token)
	resp, err := c.client.Do(req)
	if err != nil {
		class := bot.Retry
		if written.Load() {
			class = bot.UnknownResult
		}
		return bot.Receipt{}, &bot.SendError{Class: class, Err: withoutURL(err)}
	}
	defer resp.Body.Close()
	return reply(resp)
}

// withoutURL takes the address off an error: a look-up's holds a number.
func withoutURL(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		return u.Err
	}
	return err
}

// reply reads the provider's answer to a message.
func reply(resp *http.Response) (bot.Receipt, error) {
	raw, err := io.ReadAll(io.LimitReader(resp.Body, maxReply))
	var said struct {
		SID  string      `json:"sid"`
		Code json.Number `json:"code"`
	}
	if resp.StatusCode/100 == 2 {
		// Whatever follows, the message is with the provider.
		if err == nil {
			_ = json.Unmarshal(raw, &said)
		}
		return bot.Receipt{ID: said.SID}, nil
	}
	if err == nil {
		_ = json.Unmarshal(raw, &said) // a body without a code leaves it to the status
	}
	e := &bot.SendError{Code: shortCode(said.Code.String()), RetryAfter: retryAfter(resp.Header)}
	e.Class = classOfStatus(resp.StatusCode, e.Code)
	if e.Code == "" {
		e.Err = fmt.Errorf("the provider answered %d", resp.StatusCode)
	}
	return bot.Receipt{}, e
}

func classOfStatus(status int, code string) bot.Class {
	switch {
	case status == http.StatusTooManyRequests:
		return bot.Throttled
	case status == http.StatusRequestTimeout:
		return bot.UnknownResult
	case status >= 500:
		return bot.Retry
	case status == http.StatusUnauthorized, status == http.StatusForbidden, status/100 != 4:
		return bot.Misconfigured
	}
	return classOf(code)
}

// retryAfter reads the seconds of a Retry-After header (RFC 9110, 10.2.3); a
// date there counts as unsaid.
func retryAfter(h http.Header) time.Duration {
	n, err := strconv.Atoi(h.Get("Retry-After"))
	if err != nil || n < 0 {
		return 0
	}
	return min(time.Duration(n)*time.Second, time.Hour)
}
