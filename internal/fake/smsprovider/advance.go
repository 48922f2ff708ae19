package smsprovider

import (
	"context"
	"net/url"
	"slices"
	"strconv"
	"time"
)

// deliveryTime is from the sending of a message to its arrival.
const deliveryTime = 2 * time.Second

// expired is the code of a message that could not be sent within its validity
// period (from memory).
const expired = 30036

// report is one state to be posted.
type report struct {
	url, token string
	form       url.Values
}

// Advance moves every message on to an instant and posts the reports that fall
// due. It returns how many were posted. A report that is not taken is not
// posted again.
func (p *Provider) Advance(ctx context.Context, now time.Time) int {
	p.mu.Lock()
	var reports []report
	for _, m := range p.moving {
		for !m.Final() && !m.due.After(now) {
			reports = append(reports, p.step(m)...)
		}
	}
	p.moving = slices.DeleteFunc(p.moving, (*Message).Final)
	p.mu.Unlock()
	if p.o.Disorder {
		slices.Reverse(reports)
	}
	posted := 0
	for _, r := range reports {
		for range p.times() {
			if ctx.Err() != nil {
				return posted
			}
			_, _ = p.post(ctx, r.url, r.token, r.form)
			posted++
		}
	}
	return posted
}

func (p *Provider) times() int {
	if p.o.Twice {
		return 2
	}
	return 1
}

// step moves a message one state on, and returns what is to be posted of it.
func (p *Provider) step(m *Message) []report {
	var states []string
	m.Updated = m.due
	switch {
	case m.Status == "sent":
		m.Status, m.ErrorCode = p.arrival(m.To)
	case m.due.After(m.Until):
		m.Status, m.ErrorCode = "failed", expired
	default:
		m.Status, m.Sent, m.due = "sent", m.due, m.due.Add(deliveryTime)
		if p.o.Interim {
			states = append(states, "sending")
		}
	}
	states = append(states, m.Status)
	if m.Callback == "" {
		return nil
	}
	reports := make([]report, 0, len(states))
	for _, s := range states {
		m.Posted++
		reports = append(reports, report{m.Callback, p.accounts[m.Account].Token, statusForm(m, s)})
	}
	return reports
}

// arrival is what becomes of a message at the other end.
func (p *Provider) arrival(to string) (string, int) {
	switch p.handsets[to] {
	case SwitchedOff:
		return "undelivered", 30003
	case NoSuch:
		return "undelivered", 30005
	case LandlineTo:
		return "undelivered", 30006
	case Filtered:
		return "undelivered", 30007
	default:
		return "delivered", 0
	}
}

func statusForm(m *Message, state string) url.Values {
	f := url.Values{
		"AccountSid": {m.Account}, "ApiVersion": {"2010-04-01"}, "From": {m.From}, "To": {m.To},
		"MessageSid": {m.SID}, "SmsSid": {m.SID}, "MessageStatus": {state}, "SmsStatus": {state},
	}
	if m.ErrorCode != 0 && state == m.Status {
		f.Set("ErrorCode", strconv.Itoa(m.ErrorCode))
	}
	if state == "delivered" || state == "undelivered" {
		f.Set("RawDlrDoneDate", m.Updated.UTC().Format("0601021504"))
	}
	return f
}
