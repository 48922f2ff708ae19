package email

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"net/url"
	"strings"
	"testing"
	"time"

	smtpmock "github.com/mocktools/go-smtp-mock/v2"
	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// An invented practice; hosts are under .example.
const (
	from   = "gaitpost@harbour-street.example"
	secret = "an invented secret of the mail"
	hook   = "https://texts.example/hook/harbour/mail"
)

var (
	noon = time.Date(2026, 3, 3, 12, 0, 0, 0, time.UTC)
	lee  = contact.Address{Channel: contact.Email, Value: "lee@harbour-street.example"}
)

func configOf(port int) Config {
	return Config{
		From: from, Practice: "Harbour Street Vets", Server: fmt.Sprintf("smtp://127.0.0.1:%d", port), Secret: secret, Hook: hook,
		Zone: time.UTC, Now: func() time.Time { return noon },
		Picture: func(_ context.Context, h contact.ID, dog int8) ([]byte, error) {
			if h == "broken" {
				return nil, errors.New("no course")
			}
			return []byte("\x89PNG picture of " + string(h)), nil
		},
	}
}

// server is a mail server in this process.
func server(t *testing.T, o smtpmock.ConfigurationAttr) *smtpmock.Server {
	o.MultipleMessageReceiving = true
	s := smtpmock.New(o)
	require.NoError(t, s.Start())
	t.Cleanup(func() { _ = s.Stop() })
	return s
}

func channel(t *testing.T, s *smtpmock.Server) *Channel {
	c, err := New(configOf(s.PortNumber()))
	require.NoError(t, err)
	return c
}

func digest() bot.Outgoing {
	return bot.Outgoing{Ref: "line~hill~lee~1", To: lee, Text: "Digest Tue 3 Mar: 2 new alerts.\n1 Bramble …", Mail: &care.Mail{
		Subject: "Digest Tue 3 Mar: 2 new alerts, 0 still open", Digest: true, Lines: []care.MailLine{
			{N: 1, Text: "1 today Bramble (Ruth, +447700900101), rise: index 62.5 <b>above</b> usual.", Household: "h1"},
			{N: 2, Text: "2 digest Bramble, jump: rising 3.", Household: "h1"},
			{N: 3, Text: "3 digest Moss, drift: 44.", Household: "broken"},
			{N: 4, Text: "4 digest Pip, doses: 2 missed."},
		},
	}}
}

// taken are the mails that came, once there are so many.
func taken(t *testing.T, s *smtpmock.Server, n int) []string {
	t.Helper()
	got, err := s.WaitForMessages(n, 5*time.Second)
	require.NoError(t, err)
	var raw []string
	for _, m := range got {
		raw = append(raw, m.MsgRequest())
	}
	return raw
}

// parts are the bodies of a mail by content type, as a mail program reads them.
func parts(t *testing.T, raw string) (*mail.Message, map[string]string) {
	t.Helper()
	m, err := mail.ReadMessage(strings.NewReader(raw))
	require.NoError(t, err)
	found := map[string]string{}
	collect(t, m.Header.Get("Content-Type"), "", m.Body, found)
	return m, found
}

func collect(t *testing.T, contentType, encoding string, body io.Reader, into map[string]string) {
	kind, params, err := mime.ParseMediaType(contentType)
	require.NoError(t, err)
	if strings.HasPrefix(kind, "multipart/") {
		r := multipart.NewReader(body, params["boundary"])
		for {
			p, err := r.NextRawPart()
			if err == io.EOF {
				return
			}
			require.NoError(t, err)
			collect(t, p.Header.Get("Content-Type"), p.Header.Get("Content-Transfer-Encoding"), p, into)
		}
	}
	switch encoding {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	}
	data, err := io.ReadAll(body)
	require.NoError(t, err)
	into[kind] += string(data)
}

func TestADigestIsTextAndHTMLWithOnePictureADog(t *testing.T) {
	s := server(t, smtpmock.ConfigurationAttr{})
	receipt, err := channel(t, s).Send(context.Background(), digest())
	require.NoError(t, err)
	require.True(t, receipt.Sent)
	m, got := parts(t, taken(t, s, 1)[0])
	subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	require.NoError(t, err)
	require.Equal(t, "Digest Tue 3 Mar: 2 new alerts, 0 still open", subject)
	require.Contains(t, m.Header.Get("From"), "Harbour Street Vets")
	require.Equal(t, "auto-generated", m.Header.Get("Auto-Submitted"))
	require.Equal(t, "<line~hill~lee~1@harbour-street.example>", m.Header.Get("Message-Id"))

	require.Contains(t, got["text/plain"], "2 new alerts")
	require.Contains(t, got["text/plain"], "1 OK")
	for _, part := range []string{"text/plain", "text/html"} {
		require.Contains(t, got[part], "not a validated instrument", part)
		require.Contains(t, got[part], "MAIL OFF", part)
	}
	require.Contains(t, got["text/html"], "&lt;b&gt;above&lt;/b&gt;", "an owner's words are no markup")
	require.Equal(t, 1, strings.Count(got["text/html"], "<img "), "one picture a dog, none where it can't be drawn")
	require.Contains(t, got["text/html"], `src="cid:course-1.png"`)
	require.Equal(t, "\x89PNG picture of h1", got["image/png"])
}

// RFC 8058: a signed address over HTTPS and the two headers, for digests alone.
func TestOneClickLeavesDigestsAndNothingElse(t *testing.T) {
	s := server(t, smtpmock.ConfigurationAttr{})
	c := channel(t, s)
	_, err := c.Send(context.Background(), digest())
	require.NoError(t, err)
	alert := digest()
	alert.Mail = &care.Mail{Subject: "TODAY: Bramble, rise"}
	_, err = c.Send(context.Background(), alert)
	require.NoError(t, err)
	raw := taken(t, s, 2)
	first, _ := parts(t, raw[0])
	second, _ := parts(t, raw[1])
	require.Equal(t, "List-Unsubscribe=One-Click", first.Header.Get("List-Unsubscribe-Post"))
	require.Empty(t, second.Header.Get("List-Unsubscribe"), "alerts can't be left by a click")

	link, err := url.Parse(strings.Trim(first.Header.Get("List-Unsubscribe"), "<>"))
	require.NoError(t, err)
	require.Equal(t, "https", link.Scheme)
	told, err := c.Receive(bot.Request{RawQuery: link.RawQuery, Body: []byte("List-Unsubscribe=One-Click")})
	require.NoError(t, err)
	require.Len(t, told, 1)
	require.Equal(t, lee, told[0].Peer)
	require.True(t, told[0].StaffOnly)
	require.Equal(t, "MAIL OFF", told[0].Message.Text)
	again, err := c.Receive(bot.Request{RawQuery: link.RawQuery, Body: []byte("List-Unsubscribe=One-Click")})
	require.NoError(t, err)
	require.Equal(t, told[0].Key, again[0].Key)

	q := link.Query()
	q.Set("u", base64.RawURLEncoding.EncodeToString([]byte("oka@harbour-street.example")))
	for name, r := range map[string]bot.Request{
		"another's address": {RawQuery: q.Encode(), Body: []byte("List-Unsubscribe=One-Click")},
		"no ticket":         {RawQuery: "u=" + link.Query().Get("u"), Body: []byte("List-Unsubscribe=One-Click")},
		"odd query":         {RawQuery: "%zz"},
		"another body":      {RawQuery: link.RawQuery, Body: []byte("x")},
	} {
		told, err := c.Receive(r)
		require.Error(t, err, name)
		require.Empty(t, told, name)
		require.NotContains(t, err.Error(), "harbour-street", name)
	}
	page, err := c.Handshake(link.RawQuery)
	require.NoError(t, err)
	require.Contains(t, string(page.Body), "MAIL OFF", "opening the link changes nothing")
}

// RFC 5545 and 5546: CRLF, a method, an id that stays and a sequence that rises.
func TestAReviewDateIsAnInvitation(t *testing.T) {
	s := server(t, smtpmock.ConfigurationAttr{})
	m := bot.Outgoing{Ref: "line~hill~lee~2", To: lee, Text: "Review: Tue 31 Mar.", Mail: &care.Mail{
		Subject: "Review, Tue 31 Mar 2026", Review: &care.Review{UID: "h1-0-3", Seq: 7, What: "Review of short walks for Bramble", On: time.Date(2026, 3, 31, 9, 0, 0, 0, time.UTC).Unix()},
	}}
	_, err := channel(t, s).Send(context.Background(), m)
	require.NoError(t, err)
	_, got := parts(t, taken(t, s, 1)[0])
	cal := got["text/calendar"]
	require.NotEmpty(t, got["application/ics"])
	unfolded := strings.ReplaceAll(cal, "\r\n ", "")
	for _, line := range []string{
		"BEGIN:VCALENDAR", "METHOD:REQUEST", "UID:h1-0-3@harbour-street.example", "SEQUENCE:7",
		"DTSTART;VALUE=DATE:20260331", "DTEND;VALUE=DATE:20260401", "SUMMARY:Review of short walks for Bramble", "END:VCALENDAR",
	} {
		require.Contains(t, unfolded, line+"\r\n")
	}
	require.Contains(t, unfolded, "mailto:lee@harbour-street.example")
}

func TestWhatAMailServerSays(t *testing.T) {
	for name, c := range map[string]struct {
		o    smtpmock.ConfigurationAttr
		want bot.Class
	}{
		"no such mailbox": {smtpmock.ConfigurationAttr{NotRegisteredEmails: []string{lee.Value}, MsgRcpttoNotRegisteredEmail: "550 5.1.1 no such user"}, bot.Dead},
		"try later":       {smtpmock.ConfigurationAttr{BlacklistedRcpttoEmails: []string{lee.Value}, MsgRcpttoBlacklistedEmail: "450 4.7.1 try again later"}, bot.Retry},
		"not from here":   {smtpmock.ConfigurationAttr{BlacklistedMailfromEmails: []string{from}, MsgMailfromBlacklistedEmail: "554 5.7.1 not allowed"}, bot.Permanent},
	} {
		_, err := channel(t, server(t, c.o)).Send(context.Background(), digest())
		var e *bot.SendError
		require.ErrorAs(t, err, &e, name)
		require.Equal(t, c.want, e.Class, name)
		require.NotContains(t, e.Error(), "lee@", name)
	}
	cfg := configOf(1) // nobody listens there
	c, err := New(cfg)
	require.NoError(t, err)
	_, err = c.Send(context.Background(), digest())
	var e *bot.SendError
	require.ErrorAs(t, err, &e)
	require.Equal(t, bot.Retry, e.Class)
	has, err := c.Lookup(context.Background(), digest())
	require.Equal(t, bot.CantTell, has)
	require.Error(t, err)
}

func TestEveryProblemOfAConfigurationIsTold(t *testing.T) {
	_, err := New(Config{From: "nobody", Server: "http://mail.example", Username: "u"})
	for _, part := range []string{"sender's address", "16 characters", "password", "clock", "public address", "smtp://"} {
		require.ErrorContains(t, err, part)
	}
	good := configOf(25)
	require.NotContains(t, fmt.Sprintf("%v %+v %#v", good, good, good), secret)
	good.Server = "smtp://mail.example:587"
	c, err := New(good)
	require.NoError(t, err)
	require.Len(t, c.options, 4, "elsewhere than on this machine encryption is a must")
}
