package email

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"net/url"
	"strings"

	"gaitpost/bot"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// oneClick is the whole body of an unsubscribing post (RFC 8058, 3.2).
const oneClick = "List-Unsubscribe=One-Click"

// leaveURL is where a mail program unsubscribes an address from digests.
func (c *Channel) leaveURL(address string) string {
	return c.cfg.Hook + "?" + url.Values{"u": {base64.RawURLEncoding.EncodeToString([]byte(address))}, "t": {c.ticket(address)}}.Encode()
}

func (c *Channel) ticket(address string) string {
	m := hmac.New(sha256.New, []byte(c.cfg.Secret))
	m.Write([]byte("no digests by mail/" + address))
	return base64.RawURLEncoding.EncodeToString(m.Sum(nil)[:16])
}

// Receive implements bot.Channel: the one thing that comes in is somebody's wish
// to have no digests by mail.
func (c *Channel) Receive(r bot.Request) ([]bot.Inbound, error) {
	q, err := url.ParseQuery(r.RawQuery)
	if err != nil || q.Get("t") == "" {
		return nil, bot.ErrNoSignature
	}
	raw, err := base64.RawURLEncoding.DecodeString(q.Get("u"))
	address := string(raw)
	if err != nil || !hmac.Equal([]byte(q.Get("t")), []byte(c.ticket(address))) {
		return nil, bot.ErrBadSignature
	}
	if strings.TrimSpace(string(r.Body)) != oneClick {
		return nil, bot.ErrBroken
	}
	from := contact.Address{Channel: contact.Email, Value: address}
	day := c.cfg.Now().UTC().Format("2006-01-02")
	return []bot.Inbound{{
		Key: "mail/off/" + c.ticket(address) + "/" + day, Peer: from, StaffOnly: true,
		Message: &care.MessageIn{From: from, ID: "off/" + day, Text: "MAIL OFF"},
	}}, nil
}

// Handshake implements bot.Handshaker for people who open the link: reading a
// page must change nothing (RFC 8058, 6).
func (c *Channel) Handshake(string) (bot.Answer, error) {
	return bot.Answer{ContentType: "text/plain; charset=utf-8", Body: []byte(
		"To have digests by text instead of by mail, use your mail program's unsubscribe button, or text MAIL OFF to the practice's line.\n")}, nil
}
