package sms

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"gaitpost/bot"
)

const (
	pageSize    = "100"
	maxPages    = 5
	maxListing  = 4 << 20
	outboundAPI = "outbound-api"

	// clockSkew is how far our clocks may stand ahead of the provider's. The
	// machine that decided on a message may run minutes ahead, and a look-up that
	// began after the provider's note of it would not find it: the message would
	// go out twice. The price: an equal text to the same person within this time
	// before is taken for this one, since the list knows texts and times only.
	clockSkew = 15 * time.Minute
)

// listing is one page of the provider's list of messages.
type listing struct {
	Messages []listed `json:"messages"`
	Next     string   `json:"next_page_uri"`
}

type listed struct {
	Body      string `json:"body"`
	To        string `json:"to"`
	From      string `json:"from"`
	Direction string `json:"direction"`
	Created   string `json:"date_created"` // RFC 2822
}

// Lookup implements bot.Channel: it reads the list of what went from our number
// to the other, and looks for the same text since the message was decided on.
//
// The list can be filtered by the date of sending; it is not, because a message
// that is still queued there has none. It comes newest first.
func (c *Channel) Lookup(ctx context.Context, m bot.Outgoing) (bot.Presence, error) {
	since := m.Since.Add(-clockSkew)
	page := c.create + "?" + url.Values{"To": {m.To.Value}, "From": {c.number}, "PageSize": {pageSize}}.Encode()
	for range maxPages {
		l, err := c.list(ctx, page)
		if err != nil {
			return bot.CantTell, err
		}
		older := 0
		for i := range l.Messages {
			switch before, err := l.Messages[i].before(since); {
			case err != nil:
				return bot.CantTell, err
			case before:
				older++
			case l.Messages[i].is(c.number, m):
				return bot.Present, nil
			}
		}
		if l.Next == "" || len(l.Messages) > 0 && older == len(l.Messages) {
			return bot.Absent, nil
		}
		if !strings.HasPrefix(l.Next, "/") {
			return bot.CantTell, errors.New("the provider's list does not say where it goes on")
		}
		page = c.api + l.Next
	}
	return bot.CantTell, errors.New("the provider's list is too long to be read")
}

func (c *Channel) list(ctx context.Context, page string) (*listing, error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, page, nil)
	if err != nil {
		return nil, errors.New("the request could not be made")
	}
	req.SetBasicAuth(c.account, c.token)
	resp, err := c.client.Do(req)
	if err != nil {
		return nil, fmt.Errorf("asking the provider for its list of messages: %w", bot.WithoutURL(err))
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("the provider answered %d when asked for its list of messages", resp.StatusCode)
	}
	var l listing
	if err := json.NewDecoder(io.LimitReader(resp.Body, maxListing)).Decode(&l); err != nil {
		return nil, errors.New("the provider's list of messages can't be read")
	}
	return &l, nil
}

func (l *listed) before(t time.Time) (bool, error) {
	created, err := time.Parse(time.RFC1123Z, l.Created)
	if err != nil {
		return false, errors.New("the provider's list of messages has a date that can't be read")
	}
	return created.Before(t.Truncate(time.Second)), nil
}

func (l *listed) is(number string, m bot.Outgoing) bool {
	return l.Direction == outboundAPI && l.From == number && l.To == m.To.Value && plain(l.Body) == plain(m.Text)
}

// plain evens out what a provider may do to line ends and to the end of a text.
func plain(s string) string {
	return strings.TrimRight(strings.ReplaceAll(s, "\r\n", "\n"), " \n")
}
