// Package whatsapp speaks the WhatsApp Cloud API of Meta's Graph API: signed
// JSON posts come in, authenticated JSON posts go out.
//
// Sources: Meta's OpenAPI file of the business messaging API, v23.0; its sample
// applications; its documentation of webhooks, messages and error codes. What is
// from memory says so.
package whatsapp

import (
	"crypto/subtle"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"time"

	"gaitpost/bot"
	"gaitpost/internal/contact"
)

// DefaultAPI is where the provider's interface is, with its version.
const DefaultAPI = "https://graph.facebook.com/v23.0"

// Config is one phone number.
type Config struct {
	PhoneID string // the phone number's id at the provider, digits
	Number  string // E.164
	Token   string // authenticates our requests
	// AppSecret signs the provider's.
	AppSecret   string
	VerifyToken string // shown by the provider when it asks for the hook's address
	// Template carries a message to whom no free text may go: an approved one
	// with one text in its body. "" is none.
	Template, Language string
	API                string // "" is DefaultAPI
	// MediaHosts are the domains, beside the interface's own host, from which files
	// are fetched with our token; nil is DefaultMediaHosts.
	MediaHosts []string
	Client     *http.Client
	Now        func() time.Time
}

// Format keeps the secrets out of every log.
func (c Config) Format(f fmt.State, _ rune) { fmt.Fprint(f, "whatsapp.Config(redacted)") }

// Channel is one phone number. It implements bot.Channel and bot.Handshaker.
type Channel struct {
	cfg  Config
	api  *url.URL
	post string // where messages are posted to
}

var digits = regexp.MustCompile(`^[0-9]{5,20}$`)

// New checks a configuration and returns its channel.
func New(c Config) (*Channel, error) {
	if c.API == "" {
		c.API = DefaultAPI
	}
	if c.Client == nil {
		c.Client = bot.NewClient()
	}
	var problems []error
	want := func(ok bool, what string) {
		if !ok {
			problems = append(problems, errors.New(what))
		}
	}
	want(digits.MatchString(c.PhoneID), "the phone number's id is missing or no number")
	want(c.Token != "", "the access token is missing")
	want(c.AppSecret != "", "the app secret is missing: without it anybody could write in an owner's name")
	want(c.VerifyToken != "", "the verify token is missing")
	want(c.Now != nil, "the clock is missing")
	want(c.Template == "" || c.Language != "", "the template's language is missing")
	a, _, err := contact.ParsePhone(c.Number, "")
	want(err == nil && a.Value == c.Number, "the number is not written like +441632960000")
	u, err := url.Parse(c.API)
	want(err == nil && (u.Scheme == "https" || u.Scheme == "http") && u.Host != "" && u.User == nil && u.RawQuery == "",
		"the address of the provider's interface must begin with http:// or https:// and a host")
	if len(problems) > 0 {
		return nil, errors.Join(problems...)
	}
	if c.MediaHosts == nil {
		c.MediaHosts = DefaultMediaHosts
	}
	return &Channel{cfg: c, api: u, post: strings.TrimSuffix(c.API, "/") + "/" + c.PhoneID + "/messages"}, nil
}

// Answer implements bot.Channel: nothing but the status is read.
func (c *Channel) Answer() bot.Answer { return bot.Answer{} }

// Handshake implements bot.Handshaker: the provider asks once whether the
// address is ours, with a token that only we two know.
func (c *Channel) Handshake(rawQuery string) (bot.Answer, error) {
	q, err := url.ParseQuery(rawQuery)
	challenge := q.Get("hub.challenge")
	switch {
	case err != nil || q.Get("hub.mode") != "subscribe" || challenge == "" || len(challenge) > 128:
		return bot.Answer{}, bot.ErrBroken
	case q.Get("hub.verify_token") == "":
		return bot.Answer{}, bot.ErrNoSignature
	case subtle.ConstantTimeCompare([]byte(q.Get("hub.verify_token")), []byte(c.cfg.VerifyToken)) != 1:
		return bot.Answer{}, bot.ErrBadSignature
	case strings.ContainsFunc(challenge, func(r rune) bool { return r < '0' || r > '9' && r < 'A' || r > 'z' }):
		return bot.Answer{}, bot.ErrBroken // never echo what could be read as a page
	}
	return bot.Answer{ContentType: "text/plain; charset=utf-8", Body: []byte(challenge)}, nil
}
