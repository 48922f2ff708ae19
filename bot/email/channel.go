// Package email sends practitioners their digests and alerts by mail: text and
// HTML, a picture of each course that rises, dates for the calendar, and one
// click to leave the digests.
//
// Sources: RFC 5322 and 2045-2049 by way of the mail library, RFC 8058 (one-click
// unsubscription), RFC 3834 (automatic messages), RFC 5545 and 5546 (calendar).
package email

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/mail"
	"net/url"
	"strconv"
	"strings"
	"time"

	gomail "github.com/wneessen/go-mail"

	"gaitpost/bot"
	"gaitpost/internal/contact"
)

// minSecret is the shortest secret that unsubscribe links are signed with.
const minSecret = 16

// Config is one mailbox to send from.
type Config struct {
	From     string // address of the sender
	Practice string // name beside it
	// Server is smtp://host:port, which must offer STARTTLS unless it is on this
	// machine, or smtps://host:port.
	Server             string
	Username, Password string // both "" for a server that asks for none
	Secret             string // signs unsubscribe links
	Hook               string // public address of the channel's hook
	Zone               *time.Location
	// Picture draws the course of a household's dog as PNG; nil, or no bytes, is
	// no picture.
	Picture func(ctx context.Context, household contact.ID, dog int8) ([]byte, error)
	Now     func() time.Time
}

// Format keeps the secrets out of every log.
func (c Config) Format(f fmt.State, _ rune) { fmt.Fprint(f, "email.Config(redacted)") }

// Channel is one mailbox to send from. It implements bot.Channel.
type Channel struct {
	cfg     Config
	host    string
	options []gomail.Option
}

// New checks a configuration and returns its channel.
func New(c Config) (*Channel, error) {
	var problems []error
	want := func(ok bool, what string) {
		if !ok {
			problems = append(problems, errors.New(what))
		}
	}
	_, err := mail.ParseAddress(c.From)
	want(err == nil, "the sender's address is none")
	want(len(c.Secret) >= minSecret, "the secret is shorter than 16 characters")
	want((c.Username == "") == (c.Password == ""), "a user name without a password, or the other way round")
	want(c.Now != nil && c.Zone != nil, "the clock or its zone is missing")
	hook, err := url.Parse(c.Hook)
	want(err == nil && hook.Host != "", "the public address is missing")
	host, options, err := dial(c)
	want(err == nil, "the mail server is not written like smtp://mail.example:587 or smtps://mail.example:465")
	if len(problems) > 0 {
		return nil, errors.Join(problems...)
	}
	return &Channel{cfg: c, host: host, options: options}, nil
}

// dial reads where the mail server is and how to speak to it. Only one on this
// machine may be spoken to in the clear.
func dial(c Config) (string, []gomail.Option, error) {
	u, err := url.Parse(c.Server)
	if err != nil {
		return "", nil, err
	}
	port, err := strconv.Atoi(u.Port())
	if err != nil || u.Hostname() == "" || u.User != nil || strings.Trim(u.Path, "/") != "" {
		return "", nil, errors.New("not a host and port")
	}
	options := []gomail.Option{gomail.WithPort(port), gomail.WithTimeout(20 * time.Second),
		gomail.WithHELO(domainOf(c.From))} // a bare machine's name is refused by many
	switch ip := net.ParseIP(u.Hostname()); {
	case u.Scheme == "smtps":
		options = append(options, gomail.WithSSL())
	case u.Scheme == "smtp" && ip != nil && ip.IsLoopback():
		options = append(options, gomail.WithTLSPolicy(gomail.NoTLS))
	case u.Scheme == "smtp":
		options = append(options, gomail.WithTLSPolicy(gomail.TLSMandatory))
	default:
		return "", nil, errors.New("another scheme")
	}
	if c.Username != "" {
		options = append(options, gomail.WithSMTPAuth(gomail.SMTPAuthAutoDiscover),
			gomail.WithUsername(c.Username), gomail.WithPassword(c.Password))
	}
	return u.Hostname(), options, nil
}

// Answer implements bot.Channel: nothing but the status is read.
func (c *Channel) Answer() bot.Answer { return bot.Answer{} }

// errNoLookup is why nothing can be looked up.
var errNoLookup = errors.New("a mail server keeps no list of messages that could be asked")

// Lookup implements bot.Channel.
func (c *Channel) Lookup(context.Context, bot.Outgoing) (bot.Presence, error) {
	return bot.CantTell, errNoLookup
}
