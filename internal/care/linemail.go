package care

import (
	"fmt"
	"strings"
	"time"

	"gaitpost/internal/contact"
)

// Mail is what a message to a practitioner holds where it goes by e-mail: the
// same as the text, without its narrowness.
type Mail struct {
	Subject string     `cbor:"1,keyasint"`
	Lines   []MailLine `cbor:"2,keyasint,omitempty"`
	// Digest may be unsubscribed from; alerts may not.
	Digest bool    `cbor:"3,keyasint,omitempty"`
	Review *Review `cbor:"4,keyasint,omitempty"`
}

// MailLine is one alert in a mail.
type MailLine struct {
	N    uint16 `cbor:"1,keyasint"` // the number she knows it by
	Text string `cbor:"2,keyasint"`
	// Household and Dog say whose course a picture shows; "" for no picture.
	Household contact.ID `cbor:"3,keyasint,omitempty"`
	Dog       int8       `cbor:"4,keyasint,omitempty"`
}

// Review is a date on which something of a plan is to be looked at again, for
// the practitioner's calendar.
type Review struct {
	UID  string `cbor:"1,keyasint"` // the same for a date that is moved
	Seq  uint32 `cbor:"2,keyasint"` // rises with every move
	What string `cbor:"3,keyasint"`
	On   int64  `cbor:"4,keyasint"` // Unix seconds, any instant of the day
}

// NoticeReview says that a review date was set: mail only.
const NoticeReview NoticeKind = "review"

// worsens reports whether an alert is about a course that rises, which a picture
// shows best.
func (r AlertReason) worsens() bool {
	switch r {
	case Level, Rise, Drift, Jump:
		return true
	}
	return false
}

// contacts are where this line is reached, in the person's own order.
func (t *lineTurn) contacts() []contact.Address {
	if t.l.Practitioner == "" {
		return []contact.Address{t.r.LastResort}
	}
	p, _ := t.r.Practitioner(t.l.Practitioner)
	return p.Contacts
}

// wayTo is the clinic's channel to an address, "" for none.
func (t *lineTurn) wayTo(a contact.Address) string {
	if a.IsZero() || t.isCut(a) {
		return ""
	}
	for _, c := range t.r.Channels {
		if c.Kind == a.Channel {
			return c.Name
		}
	}
	return ""
}

// mailbox is where this practitioner reads mail.
func (t *lineTurn) mailbox() (to contact.Address, via string, ok bool) {
	for _, a := range t.contacts() {
		if a.Channel == contact.Email {
			if via := t.wayTo(a); via != "" {
				return a, via, true
			}
		}
	}
	return contact.Address{}, "", false
}

// sendTo puts a message to one of her addresses in the outbox.
func (t *lineTurn) sendTo(to contact.Address, via, text string, m *Mail) {
	t.out.Send = append(t.out.Send, Message{
		ID: fmt.Sprintf("line-%s-%s-%x-%x", t.l.Clinic, t.l.Practitioner, t.l.Seq, len(t.out.Send)),
		To: to, Via: via, Text: text, Purpose: ForStaff, NotAfter: t.e.At.Add(24 * time.Hour), Mail: m,
	})
}

// sendEvery tells her at every address she gave, in her order: an emergency that
// a colleague did not take on must not wait for one telephone. Mail goes its own
// way.
func (t *lineTurn) sendEvery(text string) Reason {
	reason := LineNobody
	for _, a := range t.contacts() {
		if via := t.wayTo(a); via != "" && a.Channel != contact.Email {
			t.sendTo(a, via, text, nil)
			reason = LineTold
		}
	}
	return reason
}

// mailLine is an alert as a mail shows it.
func (t *lineTurn) mailLine(n *Numbered) MailLine {
	l := MailLine{N: n.N, Text: t.shortLine(n)}
	if t.minimal() {
		return l
	}
	if who := whoIs(n.Item); who != "" {
		l.Text = fmt.Sprintf("%d %s, %s, %s: %s.", n.N, n.Item.Urgency, who, n.Item.Reason, n.Item.Sentence)
	}
	if n.Item.Reason.worsens() && n.Item.DogIndex >= 0 {
		l.Household, l.Dog = n.Item.Household, n.Item.DogIndex
	}
	return l
}

// mailAlert sends an alert by mail beside the text.
func (t *lineTurn) mailAlert(n *Numbered, text string) Reason {
	to, via, ok := t.mailbox()
	if !ok || n.Item.Urgency == ForDigest {
		return LineNobody
	}
	subject := fmt.Sprintf("%s: alert %d", strings.ToUpper(n.Item.Urgency.String()), n.N)
	if !t.minimal() && n.Item.Dog != "" {
		subject = fmt.Sprintf("%s: %s, %s", strings.ToUpper(n.Item.Urgency.String()), n.Item.Dog, n.Item.Reason)
	}
	t.sendTo(to, via, text, &Mail{Subject: subject, Lines: []MailLine{t.mailLine(n)}})
	return LineTold
}

// mailDigest sends the digest by mail where she reads it there. What is new
// comes first, and all of it: a mail has room.
func (t *lineTurn) mailDigest(fresh, old []Item) bool {
	to, via, ok := t.mailbox()
	if !ok || t.l.MailOff {
		return false
	}
	day := t.e.At.In(t.r.Zone).Format("Mon 2 Jan")
	m := &Mail{Digest: true, Subject: fmt.Sprintf("Digest %s: %s, %d still open", day, count(len(fresh), "new alert"), len(old))}
	text := []string{m.Subject + "."}
	for _, it := range append(fresh[:len(fresh):len(fresh)], old...) {
		l := t.mailLine(t.number(it))
		m.Lines = append(m.Lines, l)
		text = append(text, l.Text)
	}
	t.sendTo(to, via, strings.Join(text, "\n"), m)
	return true
}

// mailReview sends a date for her calendar.
func (t *lineTurn) mailReview(n *Notice) Reason {
	to, via, ok := t.mailbox()
	if !ok || n.Review == nil {
		return LineNobody
	}
	r := *n.Review
	subject := r.What
	if t.minimal() {
		r.What, subject = "A review", "A review date"
	}
	on := time.Unix(r.On, 0).In(t.r.Zone).Format("Mon 2 Jan 2006")
	t.sendTo(to, via, subject+": "+on+".", &Mail{Subject: subject + ", " + on, Review: &r})
	return LineTold
}

// mailWish lets her have digests by mail or by text.
func (t *lineTurn) mailWish(words []string) Reason {
	switch wish := strings.ToUpper(strings.Join(words, " ")); {
	case wish == "OFF" && !t.l.MailOff:
		t.l.MailOff = true
		t.send("Digests come by text from now on. MAIL ON brings them back to your mail.")
	case wish == "ON":
		t.l.MailOff = false
		t.send("Digests come by mail.")
	case wish == "OFF":
		return LineActed // said before
	default:
		t.send("MAIL ON or MAIL OFF: whether digests come by mail.")
		return LineUnclear
	}
	return LineActed
}

// reviewSet tells the lead practitioner of a review date for her calendar.
func (t *turn) reviewSet(dog int8, e *Entry) {
	if e.Review <= t.at || t.r.Lead == "" {
		return
	}
	t.out.Notices = append(t.out.Notices, Notice{
		Key: fmt.Sprintf("%s/review/%d/%d/%d", t.h.ID, dog, e.ID, t.h.Seq), To: t.r.Lead, At: t.e.At, What: NoticeReview,
		Item: Item{Household: t.h.ID, DogIndex: dog, Dog: t.h.Dogs[dog].Name},
		Review: &Review{
			UID: fmt.Sprintf("%s-%d-%d", t.h.ID, dog, e.ID), Seq: uint32(t.h.Seq), On: e.Review,
			What: "Review of " + e.What + " for " + t.h.Dogs[dog].Name,
		},
	})
}
