package desk

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/record"
	"gaitpost/internal/store"
)

// figures are what came of the work of one period. Each share has its
// denominator.
type figures struct {
	rules *care.Rules
	from  int64
	now   int64

	Households, Dogs int
	Followed         int // dogs that are followed now
	Asked            int // check-ins asked in the period: the next four together
	Answered         int
	ByStaff          int // taken by telephone or on paper instead
	Missed           int
	Waiting          int
	Entered          int // check-ins that staff entered, asked for or not
	Reply            waits
	Alerts           []reasonFigures
	byReason         map[string]*reasonFigures
	ToAck            waits // from being told to being taken on, of alerts for now or today
	ToClose          waits // from opening to closing, of the same
	Scored, Ideal    int   // followed dogs with a body condition score; of them ideal
	Long             int   // dogs enrolled for at least fourteen weeks
	Judged, Better   int   // of them with readings at both ends; of those meaningfully better
	Worse            int
	CutHouseholds    int // whose record goes further back than what was read
	Work             work
	Spend            spend
}

// reasonFigures are the alerts of one reason that opened in the period.
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
	f := &figures{rules: r, from: from.Unix(), now: now.Unix(), byReason: map[string]*reasonFigures{}}
	f.Spend.begin(r)
	return f
}

// household counts one household by its record.
func (f *figures) household(h *care.Household, log []store.LogEntry) {
	if h.ID == "" {
		return
	}
	f.Spend.household(f, h, log)
	if h.Stranger {
		return
	}
	f.Households++
	whole := len(log) == 0 || log[0].Seq <= 1
	if !whole && log[0].At.Unix() > f.from {
		f.CutHouseholds++
	}
	in := recordInput(f.rules, h, 0, log, !whole)
	for _, a := range record.AlertsOf(in.Entries) {
		f.alert(a)
	}
	f.Work.deeds(f, in.Entries)
	for i := range h.Dogs {
		in.Dog = i
		f.dog(&h.Dogs[i], h.Enrolled, in, whole)
	}
}

func (f *figures) in(at int64) bool { return at >= f.from && at <= f.now }

func (f *figures) checkIn(c *record.CheckIn) {
	if c.State == record.ByStaff && f.in(c.Ended) {
		f.Entered++
	}
	if c.Asked == 0 || !f.in(c.Asked) {
		return
	}
	f.Asked++
	switch c.State {
	case record.Answered:
		f.Answered++
		f.Reply.add(c.Ended - c.Asked)
	case record.ByStaff:
		f.ByStaff++
	case record.Missed:
		f.Missed++
	case record.Waiting:
		f.Waiting++
	}
}

// Ended is how many of the check-ins that were asked wait no more.
func (f *figures) Ended() int { return f.Asked - f.Waiting }

func (f *figures) alert(a *record.Alert) {
	f.Work.alert(f, a)
	if !f.in(a.Opened) {
		return
	}
	r := f.reason(reasonName(string(a.Reason)))
	r.Opened++
	if a.Urgency > care.ForDigest {
		if a.Told > 0 && a.FirstAcked >= a.Told {
			f.ToAck.add(a.FirstAcked - a.Told)
		}
		if a.Closed > 0 {
			f.ToClose.add(a.Closed - a.Opened)
		}
	}
	if a.Closed == 0 {
		return
	}
	r.Closed++
	if !slices.Contains(care.Outcomes, a.Outcome) {
		return
	}
	r.byOutcome[string(a.Outcome)]++
	if worth[a.Outcome] {
		r.Worth++
	} else {
		r.NotWorth++
	}
}

func (f *figures) reason(name string) *reasonFigures {
	if f.byReason[name] == nil {
		f.byReason[name] = &reasonFigures{Reason: name, byOutcome: map[string]int{}}
	}
	return f.byReason[name]
}

const week = int64(7 * 24 * 3600)

// dog counts check-ins and condition and, where its record reaches back to
// enrolment, whether it was meaningfully better at twelve weeks than in its first
// four: the mean of the check-ins of weeks 0 to 3 against those of weeks 10 to 13.
func (f *figures) dog(d *care.Dog, enrolled int64, in record.Input, whole bool) {
	f.Dogs++
	f.Followed += btoi(d.Status == care.Followed)
	if d.BCS > 0 && d.Status == care.Followed {
		f.Scored++
		f.Ideal += btoi(d.BCS == 4 || d.BCS == 5)
	}
	h, err := record.HistoryOf(in)
	if err != nil {
		return
	}
	for i := range h.CheckIns {
		f.checkIn(&h.CheckIns[i])
	}
	if enrolled == 0 || f.now-enrolled < 14*week {
		return
	}
	f.Long++
	if whole {
		f.change(enrolled, h.Readings)
	}
}

// change holds a dog's first four weeks against its weeks 10 to 13.
func (f *figures) change(enrolled int64, readings []clinical.Reading) {
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
}

// Weeks is how long the period is.
func (f *figures) Weeks() float64 { return float64(f.now-f.from) / float64(week) }

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

// waits are lengths of time, in seconds.
type waits struct{ seconds []int64 }

func (w *waits) add(s int64) { w.seconds = append(w.seconds, max(s, 0)) }

// N is how many there are.
func (w *waits) N() int { return len(w.seconds) }

// Median is the middle one in words; "none yet" for none.
func (w *waits) Median() string {
	if len(w.seconds) == 0 {
		return "none yet"
	}
	return w.at(0.5)
}

// Quartiles say between what the middle half lies; "" for fewer than four.
func (w *waits) Quartiles() string {
	if len(w.seconds) < 4 {
		return ""
	}
	return w.at(0.25) + " to " + w.at(0.75)
}

// at is a quantile in words, read between neighbours (Hyndman and Fan, The
// American Statistician 1996;50:361-365, definition 7).
func (w *waits) at(q float64) string {
	slices.Sort(w.seconds)
	place := q * float64(len(w.seconds)-1)
	i := int(place)
	v := float64(w.seconds[i])
	if i+1 < len(w.seconds) {
		v += (place - float64(i)) * float64(w.seconds[i+1]-w.seconds[i])
	}
	return waitText(time.Duration(math.Round(v)) * time.Second)
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
