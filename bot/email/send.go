package email

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"
	gomail "github.com/wneessen/go-mail"

	"gaitpost/bot"
	"gaitpost/internal/care"
)

// Send implements bot.Channel. A message that holds no mail goes as plain text.
func (c *Channel) Send(ctx context.Context, m bot.Outgoing) (bot.Receipt, error) {
	msg, err := c.write(ctx, m)
	if err != nil {
		return bot.Receipt{}, &bot.SendError{Class: bot.Permanent, Err: errors.New("the mail could not be written")}
	}
	client, err := gomail.NewClient(c.host, c.options...)
	if err != nil {
		return bot.Receipt{}, &bot.SendError{Class: bot.Misconfigured, Err: errors.New("the mail server's settings can't be used")}
	}
	if err := client.DialAndSendWithContext(ctx, msg); err != nil {
		return bot.Receipt{}, refused(err)
	}
	return bot.Receipt{Sent: true}, nil
}

// refused says what a failure means. The library's own words may hold the
// recipient, so they stay here.
func refused(err error) *bot.SendError {
	var e *gomail.SendError
	if !errors.As(err, &e) {
		// It never came to a message: no connection, no encryption, no sign-in.
		class := bot.Retry
		if strings.Contains(err.Error(), "AUTH") || strings.Contains(err.Error(), "STARTTLS") {
			class = bot.Misconfigured
		}
		return &bot.SendError{Class: class, Err: errors.New("the mail server could not be spoken to")}
	}
	out := &bot.SendError{Class: bot.Permanent, Err: errors.New("the mail server did not take the message")}
	if code := e.ErrorCode(); code != 0 {
		out.Code = strconv.Itoa(code)
	}
	switch {
	case e.Reason == gomail.ErrSMTPDataClose && e.ErrorCode() == 0:
		out.Class = bot.UnknownResult // all of it was written, and no answer came
	case e.IsTemp():
		out.Class = bot.Retry
	case e.Reason == gomail.ErrSMTPRcptTo:
		out.Class = bot.Dead
	case e.ErrorCode() == 0:
		out.Class = bot.Retry
	}
	return out
}

// write makes the mail.
func (c *Channel) write(ctx context.Context, m bot.Outgoing) (*gomail.Msg, error) {
	msg := gomail.NewMsg(gomail.WithNoDefaultUserAgent())
	if err := msg.FromFormat(c.cfg.Practice, c.cfg.From); err != nil {
		return nil, err
	}
	if err := msg.To(m.To.Value); err != nil {
		return nil, err
	}
	content := m.Mail
	if content == nil {
		content = &care.Mail{Subject: firstLine(m.Text)}
	}
	msg.Subject(oneLine(content.Subject))
	msg.SetDateWithValue(c.cfg.Now())
	// The same message sent again is the same to a mail program.
	msg.SetMessageIDWithValue(m.Ref + "@" + domainOf(c.cfg.From))
	msg.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834
	if content.Digest {
		msg.SetGenHeader(gomail.HeaderListUnsubscribe, "<"+c.leaveURL(m.To.Value)+">")
		msg.SetGenHeader(gomail.HeaderListUnsubscribePost, oneClick)
	}
	page := c.page(ctx, msg, m, content)
	var html bytes.Buffer
	if err := layout.Execute(&html, page); err != nil {
		return nil, err
	}
	msg.SetBodyString(gomail.TypeTextPlain, page.plain(m.Text))
	msg.AddAlternativeString(gomail.TypeTextHTML, html.String())
	if content.Review != nil {
		c.invite(msg, m.To.Value, content.Review)
	}
	return msg, nil
}

// invite puts a date in the mail as calendar programs take it (RFC 5546: a
// request, with a sequence that rises when the date moves).
func (c *Channel) invite(msg *gomail.Msg, to string, r *care.Review) {
	day := time.Unix(r.On, 0).In(c.cfg.Zone)
	cal := ics.NewCalendarFor("Gaitpost")
	cal.SetMethod(ics.MethodRequest)
	event := cal.AddEvent(r.UID + "@" + domainOf(c.cfg.From))
	event.SetDtStampTime(c.cfg.Now())
	event.SetAllDayStartAt(day)
	event.SetAllDayEndAt(day.AddDate(0, 0, 1))
	event.SetSummary(oneLine(r.What))
	event.SetSequence(int(r.Seq))
	event.SetOrganizer("mailto:"+c.cfg.From, ics.WithCN(c.cfg.Practice))
	event.AddAttendee("mailto:"+to, ics.ParticipationStatusNeedsAction, ics.WithRSVP(false))
	event.SetTimeTransparency(ics.TransparencyTransparent)
	text := cal.Serialize(ics.WithNewLineWindows)
	msg.AddAlternativeString("text/calendar; method=REQUEST", text)
	_ = msg.AttachReader("review.ics", strings.NewReader(text), gomail.WithFileContentType("application/ics"))
}

// page reads a mail's lines and embeds their pictures. One that can't be drawn is
// left out: the alert matters more.
func (c *Channel) page(ctx context.Context, msg *gomail.Msg, m bot.Outgoing, content *care.Mail) *page {
	p := &page{Subject: oneLine(content.Subject), Practice: c.cfg.Practice, Digest: content.Digest}
	drawn := map[string]string{}
	for _, l := range content.Lines {
		line := pageLine{Text: l.Text, Reply: fmt.Sprintf("%d OK", l.N)}
		if key := fmt.Sprintf("%s-%d", l.Household, l.Dog); l.Household != "" && c.cfg.Picture != nil {
			name, done := drawn[key]
			if data, err := c.picture(ctx, l, done); err == nil && len(data) > 0 {
				name = fmt.Sprintf("course-%d.png", len(drawn)+1)
				drawn[key] = name
				_ = msg.EmbedReader(name, bytes.NewReader(data), gomail.WithFileContentType("image/png"))
			}
			if !done {
				line.Picture = name
			}
		}
		p.Lines = append(p.Lines, line)
	}
	if len(p.Lines) == 0 {
		p.Paragraphs = strings.Split(m.Text, "\n")
	}
	return p
}

func (c *Channel) picture(ctx context.Context, l care.MailLine, done bool) ([]byte, error) {
	if done {
		return nil, nil // one picture a dog
	}
	return c.cfg.Picture(ctx, l.Household, l.Dog)
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

func firstLine(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	return s
}

func domainOf(address string) string {
	if i := strings.LastIndexByte(address, '@'); i >= 0 {
		return address[i+1:]
	}
	return "gaitpost.invalid"
}
