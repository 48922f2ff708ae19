package desk

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/store"
)

// figures are what came of the work of one period. Each share has its
// denominator.
type figures struct {
	rules *care.Rules
	from  int64
	now   int64

	Households, Dogs int
	Asked, Answered  int // check-ins that went out in the period; of them answered
	Entered          int // check-ins that staff entered
	Reply            string
	replies          []int64 // seconds from question to scored answer
	MessagesOut      int
	MessagesIn       int
	Staff            int // messages that staff wrote
	Undelivered      int
	Alerts           []reasonFigures
	byReason         map[string]*reasonFigures
	ToAck            string
	acks             []int64 // seconds until a now or today alert was acknowledged or closed
	Scored, Ideal    int     // dogs with a body condition score; of them ideal
	Judged, Better   int     // dogs followed for 12 weeks with readings at both ends; of them meaningfully better
	Worse            int
	CutHouseholds    int // whose record goes further back than what was read
}

// reasonFigures are the alerts of one reason.
type reasonFigures struct {
	Reason          string
	Opened, Closed  int
	Worth, NotWorth int
	Outcomes        []string
	byOutcome       map[string]int
}

// worth says which outcomes made an alert worth the interruption; the others,
// but for a call that only reached nobody, did not.
var worth = map[care.Outcome]bool{care.Phoned: true, care.Booked: true, care.SeenByVet: true, care.SentToEmergency: true,
	care.PlanChanged: true, care.SuspectedReaction: true, care.Referred: true, care.DogDied: true}

func newFigures(r *care.Rules, from, now time.Time) *figures {
	return &figures{rules: r, from: from.Unix(), now: now.Unix(), byReason: map[string]*reasonFigures{}}
}

// openedAlert is an alert of the period that is being followed.
type openedAlert struct {
	reason  string
	at      int64
	urgency care.Urgency
	taken   bool
}

func (f *figures) household(h *care.Household, log []store.LogEntry) {
	if h.Stranger || h.ID == "" {
		return
	}
	f.Households++
	if len(log) > 0 && log[0].Seq > 1 && log[0].At.Unix() > f.from {
		f.CutHouseholds++
	}
	w := walk{f: f, asked: map[int8]int64{}, alerts: map[uint16]*openedAlert{}, readings: map[int8][]clinical.Reading{}, said: map[string]bool{}}
	for i := range log {
		w.entry(&log[i])
	}
	whole := len(log) > 0 && log[0].Seq <= 1
	for i := range h.Dogs {
		f.dog(&h.Dogs[i], h.Enrolled, w.readings[int8(i+1)], whole)
	}
}

type walk struct {
	f        *figures
	asked    map[int8]int64
	alerts   map[uint16]*openedAlert
	readings map[int8][]clinical.Reading
	said     map[string]bool
}

func (w *walk) entry(e *store.LogEntry) {
	at := e.At.Unix()
	in := at >= w.f.from
	for i := range e.Facts {
		k := &e.Facts[i]
		switch k.Kind {
		case care.FactReading:
			w.reading(k, at)
		case care.FactPrompt:
			w.prompt(k, at, in)
		case care.FactAlert:
			w.alert(k, at, in)
		case care.FactWords:
			w.f.MessagesIn += btoi(in)
		case care.FactSaid:
			if in && !w.said[k.ID] {
				w.said[k.ID] = true
				w.f.MessagesOut++
			}
		case care.FactWrote:
			w.f.MessagesOut += btoi(in)
			w.f.Staff += btoi(in)
		case care.FactFate:
			w.f.Undelivered += btoi(in && k.Code == "failed")
		}
	}
}

func (w *walk) prompt(k *care.Fact, at int64, in bool) {
	switch {
	case k.Code == "entered":
		w.f.Entered += btoi(in)
		w.asked[k.Dog] = 0
	case k.Code == "sent" && strings.HasPrefix(k.Text, string(care.PromptCheckIn)+"/") && in:
		w.f.Asked++
		w.asked[k.Dog] = at
	}
}

func (w *walk) reading(k *care.Fact, at int64) {
	if k.Reading == nil {
		return
	}
	w.readings[k.Dog] = append(w.readings[k.Dog], *k.Reading)
	if asked := w.asked[k.Dog]; asked > 0 {
		w.f.Answered++
		w.f.replies = append(w.f.replies, at-asked)
		w.asked[k.Dog] = 0
	}
}

func (w *walk) alert(k *care.Fact, at int64, in bool) {
	switch k.Code {
	case "opened":
		if in {
			w.alerts[k.Alert] = &openedAlert{reason: reasonName(k.ID), at: at, urgency: care.Urgency(k.Number)}
			w.f.reason(reasonName(k.ID)).Opened++
		}
	case "acknowledged", "closed":
		a := w.alerts[k.Alert]
		if a == nil {
			return
		}
		if !a.taken && a.urgency > care.ForDigest {
			w.f.acks = append(w.f.acks, at-a.at)
		}
		a.taken = true
		if k.Code == "closed" {
			w.f.closed(a, care.Outcome(k.Text))
			delete(w.alerts, k.Alert)
		}
	}
}

func (f *figures) reason(name string) *reasonFigures {
	if f.byReason[name] == nil {
		f.byReason[name] = &reasonFigures{Reason: name, byOutcome: map[string]int{}}
	}
	return f.byReason[name]
}

func (f *figures) closed(a *openedAlert, o care.Outcome) {
	r := f.reason(a.reason)
	r.Closed++
	if !slices.Contains(care.Outcomes, o) {
		return
	}
	r.byOutcome[string(o)]++
	if worth[o] {
		r.Worth++
	} else {
		r.NotWorth++
	}
}

const week = int64(7 * 24 * 3600)

// dog counts condition and, where its record reaches back to enrolment, whether
// it was meaningfully better at twelve weeks than in its first four: the mean of
// the check-ins of weeks 0 to 3 against those of weeks 10 to 13.
func (f *figures) dog(d *care.Dog, enrolled int64, readings []clinical.Reading, whole bool) {
	f.Dogs++
	if d.BCS > 0 && d.Status == care.Followed {
		f.Scored++
		f.Ideal += btoi(d.BCS == 4 || d.BCS == 5)
	}
	if !whole || enrolled == 0 || f.now-enrolled < 14*week {
		return
	}
	var before, after []float64
	for _, r := range readings {
		switch age := (r.At - enrolled) / week; {
		case !r.Index.Scored:
		case age < 4:
			before = append(before, float64(r.Index.Total))
		case age >= 10 && age < 14:
			after = append(after, float64(r.Index.Total))
		}
	}
	b, ok1 := clinical.Mean(before)
	a, ok2 := clinical.Mean(after)
	if !ok1 || !ok2 {
		return
	}
	f.Judged++
	f.Better += btoi(b-a >= f.rules.Thresholds.MeaningfulChange)
	f.Worse += btoi(a-b >= f.rules.Thresholds.MeaningfulChange)
}

func (f *figures) finish() {
	for _, r := range f.byReason {
		for _, o := range care.Outcomes {
			if n := r.byOutcome[string(o)]; n > 0 {
				r.Outcomes = append(r.Outcomes, fmt.Sprintf("%s %d", o, n))
			}
		}
		f.Alerts = append(f.Alerts, *r)
	}
	slices.SortFunc(f.Alerts, func(a, b reasonFigures) int {
		return cmp.Or(cmp.Compare(b.Opened, a.Opened), cmp.Compare(a.Reason, b.Reason))
	})
	f.Reply, f.ToAck = medianText(f.replies), medianText(f.acks)
}

// medianText is the middle of some waits, with how many there were.
func medianText(seconds []int64) string {
	if len(seconds) == 0 {
		return "none yet"
	}
	slices.Sort(seconds)
	m := time.Duration(seconds[len(seconds)/2]) * time.Second
	return fmt.Sprintf("%s in the middle, of %d", waitText(m), len(seconds))
}

func waitText(d time.Duration) string {
	switch {
	case d < time.Minute:
		return "under a minute"
	case d < 2*time.Hour:
		return plural(int(d.Minutes()), "minute")
	case d < 48*time.Hour:
		return fmt.Sprintf("%.1f hours", d.Hours())
	default:
		return fmt.Sprintf("%.1f days", d.Hours()/24)
	}
}

// Share is n of m with its percentage; the pages never show one without m.
func (f *figures) Share(n, m int) string {
	if m == 0 {
		return "– (0 of 0)"
	}
	return fmt.Sprintf("%.0f %% (%d of %d)", 100*float64(n)/float64(m), n, m)
}

// Judged is how many closed alerts have an outcome that says whether they were
// worth it.
func (r reasonFigures) Judged() int { return r.Worth + r.NotWorth }
