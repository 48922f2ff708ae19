package desk

import (
	"strconv"
	"strings"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
)

// trendLength is how many check-ins the small trend of a list shows.
const trendLength = 8

// row is one dog as the caseload lists it.
type row struct {
	ID     contact.ID
	Dog    int8
	Name   string
	Owner  string
	Ref    string
	Status care.DogStatus

	HasIndex  bool
	Index     float64 // points, 0 best to 100 worst
	IndexAt   int64
	HasBase   bool
	Baseline  float64
	Provision bool    // the baseline is a provisional one
	Change    float64 // index less baseline; above 0 is worse
	Trend     []TrendPoint

	Grams, Target int64
	Over          float64 // percent above target; 0 without both
	OnPlan        bool    // on a weight-loss plan

	LastReply int64
	Missed    int
	Open      care.Urgency
	HasOpen   bool
	Alerts    int
	Uncovered []care.Area

	search string
}

// TrendPoint is one check-in of a small trend.
type TrendPoint struct {
	At    int64 // Unix seconds
	Index float64
}

// rowsOf are the dogs of a household, as they stand at an instant.
func rowsOf(r *care.Rules, h *care.Household, now time.Time) []row {
	rows := make([]row, 0, len(h.Dogs))
	for i := range h.Dogs {
		rows = append(rows, rowOf(r, h, int8(i), now))
	}
	return rows
}

func rowOf(r *care.Rules, h *care.Household, i int8, now time.Time) row {
	d := &h.Dogs[i]
	w := row{ID: h.ID, Dog: i, Name: d.Name, Ref: d.Ref, Status: d.Status, Missed: int(d.Missed), Target: d.Target}
	var phones []string
	for k := range h.Contacts {
		c := &h.Contacts[k]
		if k == 0 {
			w.Owner = c.Name
		}
		w.LastReply = max(w.LastReply, c.Talk.LastIn)
		phones = append(phones, c.Name, c.Address.Value, strings.Replace(c.Address.Value, "+44", "0", 1))
	}
	w.search = fold(strings.Join(append(phones, d.Name, d.Ref), "\n"))
	w.course(d.Thresholds(r.Thresholds), d)
	w.weight(d)
	for _, a := range h.Alerts {
		if a.Dog == i && a.IsOpen() {
			w.HasOpen, w.Open = true, max(w.Open, a.Urgency)
			w.Alerts++
		}
	}
	w.Uncovered = care.Uncovered(r, d, now.Unix())
	return w
}

func (w *row) course(t clinical.Thresholds, d *care.Dog) {
	for _, p := range d.Course.Readings() {
		if p.Index.Scored {
			w.HasIndex, w.Index, w.IndexAt = true, float64(p.Index.Total), p.At
			w.Trend = append(w.Trend, TrendPoint{p.At, float64(p.Index.Total)})
		}
	}
	if n := len(w.Trend); n > trendLength {
		w.Trend = append([]TrendPoint(nil), w.Trend[n-trendLength:]...)
	}
	if b := d.Course.Baseline(t); b.Kind != clinical.NoBaseline {
		w.HasBase, w.Baseline, w.Provision = true, b.Value, b.Kind.Wide()
	}
	if w.HasIndex && w.HasBase {
		w.Change = w.Index - w.Baseline
	}
}

func (w *row) weight(d *care.Dog) {
	if n := len(d.Weights); n > 0 {
		w.Grams = int64(d.Weights[n-1].Grams)
	}
	if w.Target == 0 {
		if g, ok := clinical.TargetWeight(clinical.Grams(w.Grams), clinical.BodyScore(d.BCS)); ok {
			w.Target = int64(g)
		}
	}
	if w.Target > 0 && w.Grams > w.Target {
		w.Over = 100 * (float64(w.Grams)/float64(w.Target) - 1)
	}
	for _, e := range d.Plan {
		if e.Area == care.AreaWeight && e.Status == care.Active {
			w.OnPlan = true
		}
	}
}

// Kg is a weight for people.
func (w row) Kg() string { return kg(w.Grams) }

// TargetKg is the target for people.
func (w row) TargetKg() string { return kg(w.Target) }

func kg(grams int64) string { return one(float64(grams)/1000) + " kg" }

// Worse reports a change for the worse of at least the meaningful change, in
// words; so does Better.
func (w row) Word(meaningful float64) string {
	switch {
	case !w.HasIndex || !w.HasBase:
		return ""
	case w.Change >= meaningful:
		return "worse"
	case w.Change <= -meaningful:
		return "better"
	default:
		return "about as usual"
	}
}

// fold is a text as it is searched: lower case, without accents' marks.
func fold(s string) string { return strings.ToLower(foldMarks.Replace(s)) }

var foldMarks = strings.NewReplacer("á", "a", "à", "a", "â", "a", "ä", "a", "å", "a", "ã", "a", "é", "e", "è", "e", "ê", "e", "ë", "e",
	"í", "i", "ì", "i", "î", "i", "ï", "i", "ó", "o", "ò", "o", "ô", "o", "ö", "o", "õ", "o", "ø", "o", "ú", "u", "ù", "u", "û", "u",
	"ü", "u", "ç", "c", "ñ", "n", "ß", "ss", "Á", "a", "É", "e", "Í", "i", "Ó", "o", "Ö", "o", "Ú", "u", "Ü", "u", "Ä", "a", "Å", "a", "Ø", "o", "’", "'")

// one writes a figure with one decimal.
func one(f float64) string { return strconv.FormatFloat(f, 'f', 1, 64) }
