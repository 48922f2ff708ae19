package desk

import (
	"fmt"
	"strings"

	"gaitpost/dialog"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/record"
	"gaitpost/internal/store"
)

// spend is what went to and fro with owners in the period, and what it cost.
// Segments are counted from the texts as the scripts write them now.
type spend struct {
	rules            *care.Rules
	Out, In          int // messages to and from owners
	Staff            int // of Out, written by staff
	SegmentsOut      int // of text messages that were handed to a provider
	SegmentsIn       int
	Wide             int // text messages outside the text-message alphabet
	Elsewhere        int // messages that went by another channel, which has no segments
	Failed, Late     int
	Forms            [2]formSpend // by dialog.Form
	ByFormUnrecorded int          // completed check-ins asked before the form was kept
}

// formSpend is what the completed check-ins of one form took.
type formSpend struct {
	Name      string
	Completed int
	Out, In   int // segments
}

func (s *spend) begin(r *care.Rules) {
	s.rules = r
	s.Forms[dialog.OneByOne].Name, s.Forms[dialog.AllAtOnce].Name = "One by one", "All at once"
}

// session is a check-in under way with one person.
type session struct {
	dog  int8
	form int // dialog.Form plus one; 0 unknown
	done bool
	in   int
}

// sentText is one message on its way.
type sentText struct {
	contact int8
	text    string
	staff   bool
	unsent  bool // never handed to a provider
	of      *session
}

// spendWalk goes through one household's record.
type spendWalk struct {
	*spend
	f    *figures
	h    *care.Household
	open map[int8]*session
	sent map[string]*sentText
	out  []*sentText
	all  []*session
}

func (s *spend) household(f *figures, h *care.Household, log []store.LogEntry) {
	w := spendWalk{spend: s, f: f, h: h, open: map[int8]*session{}, sent: map[string]*sentText{}}
	for i := range log {
		if f.in(log[i].At.Unix()) {
			w.entry(&log[i])
		}
	}
	w.settle()
}

func (w *spendWalk) entry(e *store.LogEntry) {
	for i := range e.Facts {
		k := &e.Facts[i]
		switch k.Kind {
		case care.FactPrompt:
			w.prompt(k)
		case care.FactWords:
			w.words(k)
		case care.FactSaid:
			w.said(k)
		case care.FactWrote:
			w.message(k.ID, &sentText{contact: k.Contact, text: k.Text, staff: true})
		case care.FactReading:
			if o := w.open[k.Contact]; o != nil && o.dog == k.Dog {
				o.done = true
			}
		case care.FactFate:
			w.fate(k)
		}
	}
	for c, o := range w.open {
		if o.done { // its last line has been said in the same turn
			delete(w.open, c)
		}
	}
}

func (w *spendWalk) prompt(k *care.Fact) {
	switch {
	case !strings.HasPrefix(k.Text, string(care.PromptCheckIn)+"/"):
	case k.Code == "sent":
		o := &session{dog: k.Dog, form: int(k.Number)}
		w.open[max(k.Contact, 1)] = o
		w.all = append(w.all, o)
	case k.Code == "closed":
		for c, o := range w.open {
			if o.dog == k.Dog {
				delete(w.open, c)
			}
		}
	}
}

func (w *spendWalk) words(k *care.Fact) {
	w.In++
	if !w.bySMS(k.Contact) {
		w.Elsewhere++
		return
	}
	n := dialog.Measure(k.Text).Segments
	w.SegmentsIn += n
	if o := w.open[k.Contact]; o != nil {
		o.in += n
	}
}

func (w *spendWalk) said(k *care.Fact) {
	if k.Line == nil {
		return
	}
	text := w.rules.Scripts.Render(*k.Line, w.person(k.Contact).Lang)
	if m := w.sent[k.ID]; m != nil && k.ID != "" {
		m.text += "\n" + text
		return
	}
	m := &sentText{contact: k.Contact, text: text}
	if k.Line.Script == string(care.PromptCheckIn) {
		m.of = w.open[k.Contact]
	}
	w.message(k.ID, m)
}

func (w *spendWalk) message(id string, m *sentText) {
	w.out = append(w.out, m)
	if id != "" {
		w.sent[id] = m
	}
}

// fate takes a report; what we never handed over costs nothing.
func (w *spendWalk) fate(k *care.Fact) {
	if k.Code != care.Failed.String() {
		return
	}
	if k.Text == care.CodeLate {
		w.Late++
	} else {
		w.Failed++
	}
	if m := w.sent[k.ID]; m != nil && record.NeverSent(k.Text) {
		m.unsent = true
	}
}

// settle adds the household's messages up.
func (w *spendWalk) settle() {
	for _, m := range w.out {
		w.Out++
		w.Staff += btoi(m.staff)
		if !w.bySMS(m.contact) {
			w.Elsewhere++
			continue
		}
		if m.unsent {
			continue
		}
		l := dialog.Measure(m.text)
		w.SegmentsOut += l.Segments
		w.Wide += btoi(len(l.Culprits) > 0)
		if m.of != nil && m.of.done && m.of.form > 0 {
			w.Forms[m.of.form-1].Out += l.Segments
		}
	}
	for _, o := range w.all {
		switch {
		case !o.done:
		case o.form < 1 || o.form > len(w.Forms):
			w.ByFormUnrecorded++
		default:
			w.Forms[o.form-1].Completed++
			w.Forms[o.form-1].In += o.in
		}
	}
}

func (w *spendWalk) person(n int8) care.Contact {
	if i := int(n) - 1; i >= 0 && i < len(w.h.Contacts) {
		return w.h.Contacts[i]
	}
	return care.Contact{Address: contact.Address{Channel: contact.SMS}}
}

func (w *spendWalk) bySMS(n int8) bool { return w.person(n).Address.Channel == contact.SMS }

// Priced reports whether a price is set for at least what is sent.
func (s *spend) Priced() bool { return s.rules.Costs.Sent != nil }

// HasReceived reports whether a price is set for what is received.
func (s *spend) HasReceived() bool { return s.rules.Costs.Received != nil }

// Cost is what segments cost, in the clinic's currency.
func (s *spend) Cost(out, in int) string {
	return money(s.cost(out, in), s.rules.Costs.Currency)
}

func (s *spend) cost(out, in int) float64 {
	sum := 0.0
	if p := s.rules.Costs.Sent; p != nil {
		sum += float64(out) * *p
	}
	if p := s.rules.Costs.Received; p != nil {
		sum += float64(in) * *p
	}
	return sum
}

// Total is what all messages of the period cost.
func (s *spend) Total() string { return s.Cost(s.SegmentsOut, s.SegmentsIn) }

// PerDog is what one followed dog costs in a week.
func (s *spend) PerDog(dogs int, weeks float64) string {
	if dogs == 0 || weeks <= 0 {
		return "–"
	}
	return money3(s.cost(s.SegmentsOut, s.SegmentsIn)/float64(dogs)/weeks, s.rules.Costs.Currency)
}

// Prices names the prices that are set.
func (s *spend) Prices() string {
	c := s.rules.Costs
	if c.Sent == nil {
		return "not set"
	}
	text := fmt.Sprintf("%g %s a segment sent", *c.Sent, c.Currency)
	if c.Received == nil {
		return text + "; none set for segments received"
	}
	return text + fmt.Sprintf(", %g %s received", *c.Received, c.Currency)
}

// Each is so many segments for one completed check-in; "–" without one.
func (f formSpend) Each(n int) string {
	if f.Completed == 0 {
		return "–"
	}
	return fmt.Sprintf("%.1f", float64(n)/float64(f.Completed))
}

// EachCost is what one completed check-in of a form costs.
func (s *spend) EachCost(f formSpend) string {
	switch {
	case !s.Priced():
		return "not set"
	case f.Completed == 0:
		return "–"
	}
	return money3(s.cost(f.Out, f.In)/float64(f.Completed), s.rules.Costs.Currency)
}

func money(v float64, currency string) string { return fmt.Sprintf("%.2f %s", v, currency) }

// money3 shows a tenth of a penny too, since a segment costs a few pence.
func money3(v float64, currency string) string { return fmt.Sprintf("%.3f %s", v, currency) }
