// Package telegram speaks the Telegram Bot API: JSON posts with a secret token
// come in, JSON posts go out.
//
// Sources: a machine-readable copy of the Bot API 10.1 (2026-06-11) and
// Telegram's own FAQ on limits. What is from memory says so.
package telegram

import (
	"bytes"
	"context"
	"crypto/subtle"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"

	"gaitpost/bot"
)

// DefaultAPI is where the provider's interface is.
const DefaultAPI = "https://api.telegram.org"

// Config is one bot.
type Config struct {
	Bot    string       // its user name, without @
	Token  string       // authenticates our requests; it is part of their address
	Secret string       // the provider shows it with every request of its own
	API    string       // "" is DefaultAPI
	Client *http.Client // nil is a client of the package's own
}

// Format keeps the secrets out of every log.
func (c Config) Format(f fmt.State, _ rune) { fmt.Fprint(f, "telegram.Config(redacted)") }

// Channel is one bot. It implements bot.Channel.
type Channel struct{ cfg Config }

var (
	secretForm = regexp.MustCompile(`^[A-Za-z0-9_-]{16,256}$`)
	tokenForm  = regexp.MustCompile(`^[A-Za-z0-9:_-]{16,128}$`)
)

// New checks a configuration and returns its channel.
func New(c Config) (*Channel, error) {
	if c.API == "" {
		c.API = DefaultAPI
	}
	c.API = strings.TrimSuffix(c.API, "/")
	if c.Client == nil {
		c.Client = bot.NewClient()
	}
	var problems []error
	if c.Bot == "" {
		problems = append(problems, errors.New("the bot's user name is missing"))
	}
	if !tokenForm.MatchString(c.Token) {
		problems = append(problems, errors.New("the bot's token is missing, or is no token"))
	}
	if !secretForm.MatchString(c.Secret) {
		problems = append(problems, errors.New("the secret token is not 16 to 256 letters, digits, _ and -: without it anybody could write in an owner's name"))
	}
	u, err := url.Parse(c.API)
	if err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Host == "" || u.User != nil || u.RawQuery != "" {
		problems = append(problems, errors.New("the address of the provider's interface must begin with http:// or https:// and a host"))
	}
	if len(problems) > 0 {
		return nil, errors.Join(problems...)
	}
	return &Channel{cfg: c}, nil
}

// Answer implements bot.Channel: nothing but the status is read.
func (c *Channel) Answer() bot.Answer { return bot.Answer{} }

// verify checks the secret token; the body is not signed.
func (c *Channel) verify(h http.Header) error {
	given := h.Get(secretHeader)
	switch {
	case given == "":
		return bot.ErrNoSignature
	case subtle.ConstantTimeCompare([]byte(given), []byte(c.cfg.Secret)) != 1:
		return bot.ErrBadSignature
	}
	return nil
}

// JoinLink is the link that an owner opens to join with a code. Codes have 1 to
// 64 letters, digits, _ and - (from memory).
func (c *Channel) JoinLink(code string) string { return "https://t.me/" + c.cfg.Bot + "?start=" + code }

// Register tells the provider where to post to and which news is wanted. It is
// done once, by a person, and again after a change of address or secret.
func (c *Channel) Register(ctx context.Context, hook string) error {
	_, err := c.call(ctx, "setWebhook", map[string]any{
		"url": hook, "secret_token": c.cfg.Secret,
		"allowed_updates": []string{"message", "edited_message", "my_chat_member"},
	})
	if err != nil { // not a typed nil
		return err
	}
	return nil
}

// call makes one request. The token stands in its address, which therefore is
// never part of an error.
func (c *Channel) call(ctx context.Context, method string, in any) (json.RawMessage, *bot.SendError) {
	data, err := json.Marshal(in)
	if err != nil {
		return nil, &bot.SendError{Class: bot.Permanent, Err: errors.New("the message could not be written")}
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, c.cfg.API+"/bot"+c.cfg.Token+"/"+method, bytes.NewReader(data))
	if err != nil {
		return nil, &bot.SendError{Class: bot.Permanent, Err: errors.New("the request could not be made")}
	}
	req.Header.Set("Content-Type", "application/json")
	reply, failed := bot.Do(c.cfg.Client, req)
	if failed != nil {
		return nil, failed
	}
	return answer(reply)
}
