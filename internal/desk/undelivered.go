package desk

import (
	"cmp"
	"net/http"
	"slices"
	"strings"
	"time"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/record"
	"gaitpost/internal/store"
)

const (
	// stuckAfter is when a message that still waits to be sent counts as lost.
	stuckAfter = 12 * time.Hour
	// asidesRead is how many given-up entries of one queue and partition are read.
	asidesRead = 100
)

// lost is a message to an owner that did not arrive, or waits to be sent.
type lost struct {
	id           contact.ID
	message      string // its whole id
	owner, phone string
	dog          string
	fate         care.Fate
	code         string
	purpose      care.Purpose
	at           int64
	// current: nothing that was sent to this person since has arrived.
	current bool
}

// lostOf lists the messages of a household that did not arrive and that nobody
// has seen to, newest first.
func lostOf(h *care.Household) []lost {
	var list []lost
	arrived := map[int8]bool{}
	for _, m := range slices.Backward(h.Sent) {
		if m.Fate == care.Delivered || m.Fate == care.Read {
			arrived[m.Contact] = true
		}
		if !m.Undelivered() && m.Fate != care.Queued || m.Rung != 0 || int(m.Contact) >= len(h.Contacts) {
			continue
		}
		c := h.Contacts[m.Contact]
		l := lost{id: h.ID, message: h.MessageID(m), owner: c.Name, phone: h.Rings(m.Contact), fate: m.Fate, code: m.Code,
			purpose: m.Purpose, at: m.At, current: !arrived[m.Contact]}
		if m.Late {
			l.code = care.CodeLate
		}
		if len(h.Dogs) > 0 {
			l.dog = h.Dogs[0].Name
		}
		list = append(list, l)
	}
	return list
}

// isLost reports whether there is something to see to at an instant.
func (l *lost) isLost(now time.Time) bool {
	return l.fate != care.Queued || now.Sub(time.Unix(l.at, 0)) >= stuckAfter
}

// undelivered is one of them as a page shows it.
type undelivered struct {
	ID, Message    string
	DogName, Owner string
	Phone          string
	What           string // what kind of message
	Fate, ToDo     string
	Safety         bool
	At             int64
}

var purposeWords = map[care.Purpose]string{care.ForPrompt: "a check-in or another question", care.ForReply: "a reply", care.ForSafety: "a safety reply",
	care.ForOptOut: "the confirmation that texts have stopped", care.FromPractice: "a message that staff wrote"}

func undeliveredOf(l lost) undelivered {
	u := undelivered{ID: string(l.id), Message: l.message, DogName: l.dog, Owner: l.owner, Phone: l.phone, At: l.at,
		What: purposeWords[l.purpose], Fate: record.FateWords(l.fate, l.code), Safety: l.purpose == care.ForSafety}
	if u.Owner == "" {
		u.Owner = "An unknown number"
	}
	u.ToDo = toDo(l)
	if l.fate == care.Queued {
		u.Fate = "still waiting to be sent; it may be lost"
	}
	return u
}

// toDo says what to do about a message that did not arrive.
func toDo(l lost) string {
	switch {
	case l.purpose == care.ForSafety:
		return "Ring now: the owner wrote of something urgent and may not have read what to do."
	case l.fate == care.Queued:
		return "Ring, and tell whoever runs the server."
	case l.code == care.CodeLate && l.purpose == care.ForPrompt:
		return "Nothing: the next question comes by itself."
	case l.purpose == care.FromPractice:
		return "Ring and say it: the owner does not know what you wrote."
	case l.fate == care.Unknown:
		return "Ring if it mattered: it may or may not have been read."
	case l.purpose == care.ForOptOut:
		return "Nothing: texts have stopped all the same."
	}
	return "Ring, and ask whether the number is still right."
}

// undelivered lists the newest messages that did not arrive.
func (s *summary) undelivered(now time.Time, currentOnly bool) []undelivered {
	var list []undelivered
	for i := range s.lost {
		l := &s.lost[i]
		if !l.isLost(now) || currentOnly && !l.current {
			continue
		}
		if len(list) == shownAlerts {
			break
		}
		list = append(list, undeliveredOf(*l))
	}
	return list
}

type undeliveredPage struct {
	page
	Owners    []undelivered
	Asides    []asideLine
	Reception bool
	Most      int
}

// asideLine is something given up that belongs to no owner's conversation, or to
// one whose messages are no longer followed.
type asideLine struct {
	Queue, Stream string
	Partition     int
	To, What, Why string
	Since         int64
}

func (d *Desk) undelivered(v *visit) error {
	summary, err := d.rosters.get(v.ctx(), v.clinic.Rules, v.now)
	if err != nil {
		return err
	}
	p := &undeliveredPage{page: d.page(v, "Messages not delivered"), Reception: !seesClinical(v), Most: shownAlerts}
	p.Owners = summary.undelivered(v.now, false)
	slices.SortStableFunc(p.Owners, func(a, b undelivered) int {
		return cmp.Or(cmp.Compare(btoi(b.Safety), btoi(a.Safety)), cmp.Compare(b.At, a.At))
	})
	asides, err := d.asides(v)
	if err != nil {
		return err
	}
	for _, a := range asides {
		if !slices.ContainsFunc(p.Owners, func(u undelivered) bool { return a.Message != nil && u.Message == a.Message.ID }) {
			p.Asides = append(p.Asides, d.asideLine(v, a))
		}
	}
	if err := d.trailed(v, account.Entry{Deed: account.SawUndelivered}); err != nil {
		return err
	}
	return d.render(v, http.StatusOK, "undelivered", p)
}

// asides are the entries of the reader's clinic that were given up, newest first.
// One that can't be read any more names no clinic and is nobody's here: its
// message shows as still waiting.
func (d *Desk) asides(v *visit) ([]store.Aside, error) {
	var mine []store.Aside
	for _, q := range []store.Queue{store.Messages(contact.SMS), store.Messages(contact.WhatsApp), store.Messages(contact.Telegram),
		store.Messages(contact.Relay), store.Messages(contact.Email), store.Messages(contact.Voice), store.Notices, store.Commands} {
		list, err := d.Store.SetAsides(v.ctx(), q, asidesRead)
		if err != nil {
			return nil, err
		}
		for _, a := range list {
			if !a.Damaged && a.Clinic == v.clinic.Rules.Clinic {
				mine = append(mine, a)
			}
		}
	}
	slices.SortFunc(mine, func(a, b store.Aside) int { return b.Since.Compare(a.Since) })
	return mine, nil
}

func (d *Desk) asideLine(v *visit, a store.Aside) asideLine {
	l := asideLine{Queue: string(a.Queue), Stream: a.StreamID, Partition: a.Partition, Why: a.Why, Since: a.Since.Unix(), To: "nobody named"}
	switch {
	case a.Notice != nil:
		l.What, l.To = "word of an alert", d.lineName(v, a.Notice.To)
	case a.Command != nil:
		l.What, l.To = "a practitioner's instruction by text", d.lineName(v, a.Practitioner)
	case a.FromLine:
		l.What, l.To = "a text to staff", d.lineName(v, a.Practitioner)
	case a.Message != nil:
		l.What, l.To = purposeWords[a.Message.Purpose], a.Message.To.Value
	}
	return l
}

func (d *Desk) lineName(v *visit, id string) string {
	if id == "" {
		return "the last-resort contact"
	}
	return d.nameOf(v, id)
}

// rung keeps what was done about a message that did not arrive.
func (d *Desk) rung(v *visit) error {
	id, err := about(v)
	if err != nil {
		return err
	}
	note, err := text(v, "note", maxNote)
	if err != nil {
		return err
	}
	message := v.Param("message")
	if !strings.HasPrefix(message, string(id)+"-") {
		return errNotFound
	}
	if err := d.dropAsides(v, func(a store.Aside) bool { return a.Message != nil && a.Message.ID == message }); err != nil {
		return err
	}
	return d.act(v, deed{id: id, say: "rung", toPage: Prefix + "/undelivered", what: care.Practice{Rung: &care.Rung{Message: message, Note: note}},
		entry: account.Entry{Deed: account.SawTo, Detail: message}})
}

func (d *Desk) dropAsides(v *visit, which func(store.Aside) bool) error {
	list, err := d.asides(v)
	if err != nil {
		return err
	}
	for _, a := range list {
		if which(a) {
			if err := d.Store.DropAside(v.ctx(), a); err != nil {
				return err
			}
		}
	}
	return nil
}

// seenTo takes something given up that belongs to no owner off the list. The
// trail keeps who did, and what was done.
func (d *Desk) seenTo(v *visit) error {
	note, err := needed(v, "note", maxLine, "Please say what you did about it.")
	if err != nil {
		return err
	}
	list, err := d.asides(v)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(list, func(a store.Aside) bool {
		return string(a.Queue) == v.FormValue("queue") && itoa(a.Partition) == v.FormValue("partition") && a.StreamID == v.FormValue("stream")
	})
	if i < 0 {
		return refuse("Somebody has seen to that already.")
	}
	l := d.asideLine(v, list[i])
	if err := d.trailed(v, account.Entry{Deed: account.SawTo, Detail: l.What + " to " + l.To + ": " + note}); err != nil {
		return err
	}
	if err := d.Store.DropAside(v.ctx(), list[i]); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, Prefix+"/undelivered?say=rung")
}
