// Package sms speaks the messaging interface that Twilio publishes, which other
// providers follow: signed form posts come in, form posts with basic
// authentication go out.
//
// Sources: Twilio's documentation of the messaging webhook, of request
// validation and of the Message resource, its OpenAPI file of 2026-04-14, and
// its official libraries.
package sms

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"gaitpost/bot"
	"gaitpost/internal/contact"
)

// DefaultAPI is where the provider's interface is.
const DefaultAPI = "https://api.twilio.com"

// Config is one account and number.
type Config struct {
	Account   string // "AC…": the account's id
	AuthToken string // signs requests to us and authenticates ours
	Number    string // ours, E.164
	API       string // scheme and host of the interface; "" is DefaultAPI
	// PublicURL is the address of the channel's hook exactly as the provider
	// requests it, such as https://texts.example/hook/harbour/texts. Requests
	// are checked against it, never against what they say of themselves.
	PublicURL string
	// Client makes the requests; nil is a client of the package's own.
	Client *http.Client
}

// Format keeps the token out of every log.
func (c Config) Format(f fmt.State, _ rune) { fmt.Fprint(f, "sms.Config(redacted)") }

// Channel is one account and number. It implements bot.Channel.
type Channel struct {
	account string
	token   string
	number  string
	client  *http.Client
	create  string // URL that messages are posted to, and listed at
	api     string
	status  string // URL of status callbacks
	*Signed
}

// New checks a configuration and returns its channel.
func New(c Config) (*Channel, error) {
	if c.API == "" {
		c.API = DefaultAPI
	}
	if err := check(c); err != nil {
		return nil, err
	}
	if c.Client == nil {
		c.Client = bot.NewClient()
	}
	c.API = strings.TrimSuffix(c.API, "/")
	hook := strings.TrimSuffix(c.PublicURL, "/")
	ch := &Channel{
		account: c.Account, token: c.AuthToken, number: c.Number, client: c.Client,
		api: c.API, create: c.API + "/2010-04-01/Accounts/" + c.Account + "/Messages.json",
		status: hook + "/status",
	}
	var err error
	ch.Signed, err = NewSigned(c.AuthToken, hook)
	return ch, err
}

func check(c Config) error {
	var problems []error
	if c.Account == "" || url.PathEscape(c.Account) != c.Account {
		problems = append(problems, errors.New("the account id is missing or has characters that no account id has"))
	}
	if c.AuthToken == "" {
		problems = append(problems, errors.New("the auth token is missing"))
	}
	if a, _, err := contact.ParsePhone(c.Number, ""); err != nil || a.Value != c.Number {
		problems = append(problems, errors.New("the sending number is not written like +441632960000"))
	}
	if err := checkURL(c.API); err != nil {
		problems = append(problems, fmt.Errorf("the address of the provider's interface: %w", err))
	}
	if err := checkURL(c.PublicURL); err != nil {
		problems = append(problems, fmt.Errorf("the public address: %w", err))
	} else if u, _ := url.Parse(c.PublicURL); strings.Contains(u.Host, "_") {
		problems = append(problems, errors.New("the public address: the provider takes no host with an underscore"))
	}
	return errors.Join(problems...)
}

func checkURL(s string) error {
	u, err := url.Parse(s)
	switch {
	case err != nil:
		return errors.New("it is not a URL")
	case u.Scheme != "https" && u.Scheme != "http", u.Host == "":
		return errors.New("it must begin with http:// or https:// and a host")
	case u.RawQuery != "" || u.Fragment != "" || u.User != nil:
		return errors.New("it must have no query, fragment or user")
	}
	return nil
}

// Answer implements bot.Channel: an empty document, so that the provider sends
// nothing of its own. Plain text would be sent to the owner.
func (c *Channel) Answer() bot.Answer { return answer }

var answer = bot.Answer{
	ContentType: "text/xml; charset=utf-8",
	Body:        []byte(`<?xml version="1.0" encoding="UTF-8"?><Response/>`),
}
