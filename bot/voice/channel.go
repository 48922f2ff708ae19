// Package voice rings practitioners where an emergency was not taken on: the
// provider speaks the alert and takes one key as an answer. It speaks the calls
// interface that Twilio publishes; requests are signed as those of its texts.
//
// Sources: Twilio's documentation of the Calls resource and of TwiML's Gather and
// Say, from memory where no copy of it could be read.
package voice

import (
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"unicode"

	"gaitpost/bot"
	"gaitpost/bot/sms"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// takeOn is the key that takes an alert on.
const takeOn = "1"

// Config is one account and number.
type Config struct {
	Account, AuthToken string
	Number             string // ours, E.164
	API                string // "" is sms.DefaultAPI
	Hook               string // public address of the channel's hook, which the provider signs
	Client             *http.Client
}

// Format keeps the token out of every log.
func (c Config) Format(f fmt.State, _ rune) { fmt.Fprint(f, "voice.Config(redacted)") }

// Channel is one account and number. It implements bot.Channel.
type Channel struct {
	cfg    Config
	calls  string // where calls are begun
	signed *sms.Signed
}

// New checks a configuration and returns its channel.
func New(c Config) (*Channel, error) {
	if c.API == "" {
		c.API = sms.DefaultAPI
	}
	if c.Client == nil {
		c.Client = bot.NewClient()
	}
	var problems []error
	if c.Account == "" || c.AuthToken == "" {
		problems = append(problems, errors.New("the account id or the auth token is missing"))
	}
	if a, _, err := contact.ParsePhone(c.Number, ""); err != nil || a.Value != c.Number {
		problems = append(problems, errors.New("the number that calls come from is not written like +441632960000"))
	}
	if u, err := url.Parse(c.Hook); err != nil || u.Host == "" {
		problems = append(problems, errors.New("the public address is missing"))
	}
	if len(problems) > 0 {
		return nil, errors.Join(problems...)
	}
	c.Hook = strings.TrimSuffix(c.Hook, "/")
	signed, err := sms.NewSigned(c.AuthToken, c.Hook)
	if err != nil {
		return nil, err
	}
	return &Channel{cfg: c, signed: signed, calls: strings.TrimSuffix(c.API, "/") + "/2010-04-01/Accounts/" + c.Account + "/Calls.json"}, nil
}

// Answer implements bot.Channel: what the person hears after a key.
func (c *Channel) Answer() bot.Answer { return thanks }

var thanks = bot.Answer{
	ContentType: "text/xml; charset=utf-8",
	Body:        []byte(`<?xml version="1.0" encoding="UTF-8"?><Response><Say>Thank you. Goodbye.</Say><Hangup/></Response>`),
}

// Send implements bot.Channel: it rings the person and speaks the text twice.
func (c *Channel) Send(ctx context.Context, m bot.Outgoing) (bot.Receipt, error) {
	twiml, err := c.script(m)
	if err != nil {
		return bot.Receipt{}, &bot.SendError{Class: bot.Permanent, Err: errors.New("the words could not be written")}
	}
	body := url.Values{"To": {m.To.Value}, "From": {c.cfg.Number}, "Twiml": {twiml}, "Timeout": {"30"}}.Encode()
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, c.calls, strings.NewReader(body))
	if err != nil {
		return bot.Receipt{}, &bot.SendError{Class: bot.Permanent, Err: errors.New("the request could not be made")}
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.SetBasicAuth(c.cfg.Account, c.cfg.AuthToken)
	reply, failed := bot.Do(c.cfg.Client, req)
	if failed != nil {
		return bot.Receipt{}, failed
	}
	var said struct {
		SID  string      `json:"sid"`
		Code json.Number `json:"code"`
	}
	_ = json.Unmarshal(reply.Body, &said)
	if reply.OK() {
		return bot.Receipt{ID: said.SID, Sent: true}, nil
	}
	return bot.Receipt{}, reply.Refused(said.Code.String(), func() bot.Class { return sms.ClassOf(said.Code.String()) })
}

// script is what the provider does once somebody picks up.
func (c *Channel) script(m bot.Outgoing) (string, error) {
	words := spoken(m.Text) + " Press 1 to take it on."
	var b strings.Builder
	b.WriteString(xml.Header)
	b.WriteString("<Response><Gather numDigits=\"1\" timeout=\"15\" method=\"POST\" action=\"")
	if err := xml.EscapeText(&b, []byte(c.cfg.Hook)); err != nil {
		return "", err
	}
	b.WriteString("\">")
	for range 2 { // whoever was asleep has missed the first
		b.WriteString("<Say>")
		if err := xml.EscapeText(&b, []byte(words)); err != nil {
			return "", err
		}
		b.WriteString("</Say><Pause length=\"1\"/>")
	}
	b.WriteString("</Gather><Say>No key was pressed. The next in line is told.</Say></Response>")
	return b.String(), nil
}

// spoken is a text as it can be heard: numbers digit by digit where they are
// telephone numbers, and no instruction for a keyboard.
func spoken(text string) string {
	if i := strings.Index(text, " Reply "); i >= 0 {
		text = text[:i]
	}
	var b strings.Builder
	for _, word := range strings.Fields(text) {
		digits := strings.Trim(word, "+(),.;:")
		if len(digits) >= 6 && strings.Trim(digits, "0123456789") == "" {
			word = strings.Join(strings.Split(digits, ""), " ") + ","
		}
		if b.Len() > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(word)
	}
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, b.String())
}

// Receive implements bot.Channel: the one thing that comes in is the key that a
// practitioner pressed. A 1 takes on what they were last told of.
func (c *Channel) Receive(r bot.Request) ([]bot.Inbound, error) {
	f, err := c.signed.Verify(r)
	if err != nil {
		return nil, err
	}
	id := f.Get("CallSid")
	switch {
	case f.Get("AccountSid") != c.cfg.Account:
		return nil, bot.ErrOtherAccount
	case f.Get("From") != c.cfg.Number:
		return nil, bot.ErrOtherNumber
	case id == "" || len(id) > 64:
		return nil, bot.ErrBroken
	case f.Get("Digits") != takeOn:
		return nil, nil
	}
	to, _, err := contact.Parse(contact.Voice, f.Get("To"), "")
	if err != nil {
		return nil, bot.ErrBroken
	}
	return []bot.Inbound{{Key: "voice/" + id + "/1", Peer: to, StaffOnly: true,
		Message: &care.MessageIn{From: to, ID: id, Text: "OK by telephone"}}}, nil
}

// errNoLookup is why nothing is looked up: a call that may have been made is made
// again, since it is about an emergency.
var errNoLookup = errors.New("calls are not looked up")

// Lookup implements bot.Channel.
func (c *Channel) Lookup(context.Context, bot.Outgoing) (bot.Presence, error) {
	return bot.CantTell, errNoLookup
}
