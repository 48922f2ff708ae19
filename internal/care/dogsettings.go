package care

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"gaitpost/internal/cadence"
	"gaitpost/internal/clinical"
)

// OwnNumber is a threshold that holds for one dog in place of the clinic's.
type OwnNumber struct {
	Key   string  `cbor:"1,keyasint"` // as the clinic's settings call it: "level_at"
	Value float64 `cbor:"2,keyasint"`
	By    string  `cbor:"3,keyasint,omitempty"`
	At    int64   `cbor:"4,keyasint"`
}

// OwnCadence is when one dog's prompts of a kind fall due in place of the
// clinic's time.
type OwnCadence struct {
	Kind PromptKind `cbor:"1,keyasint"`
	Cron string     `cbor:"2,keyasint"`
	Gap  int        `cbor:"3,keyasint,omitempty"` // days
	By   string     `cbor:"4,keyasint,omitempty"`
	At   int64      `cbor:"5,keyasint"`
}

// DogSettings changes thresholds or one cadence of one dog.
type DogSettings struct {
	Dog     int8            `cbor:"1,keyasint"`
	Numbers []SetNumber     `cbor:"2,keyasint,omitempty"`
	Cadence *SetDogsCadence `cbor:"3,keyasint,omitempty"`
}

// SetNumber sets one threshold of a dog, or with Clear goes back to the clinic's.
type SetNumber struct {
	Key   string  `cbor:"1,keyasint"`
	Value float64 `cbor:"2,keyasint,omitempty"`
	Clear bool    `cbor:"3,keyasint,omitempty"`
}

// SetDogsCadence sets when a kind of prompt falls due; an empty Cron goes back
// to the clinic's.
type SetDogsCadence struct {
	Kind PromptKind `cbor:"1,keyasint"`
	Cron string     `cbor:"2,keyasint,omitempty"`
	Gap  int        `cbor:"3,keyasint,omitempty"` // days
}

// OwnThreshold is a threshold that may be set for one dog. Its range keeps the
// rule working: none can be set so wide that it never speaks.
type OwnThreshold struct {
	Key      string // as the clinic's settings call it, after "thresholds.index."
	Name     string // for people
	Unit     string
	Min, Max float64
	at       func(*clinical.Thresholds) *float64
}

// Of is the threshold's value among a set of thresholds.
func (o OwnThreshold) Of(t clinical.Thresholds) float64 { return *o.at(&t) }

// OwnThresholds lists what may be set for one dog. How long a baseline is and
// what noise is assumed stay the clinic's: they decide how a whole course is
// read, and changing them midway would make it two courses.
var OwnThresholds = []OwnThreshold{
	{"level_at", "High index, on two check-ins running", "points", 20, 95, func(t *clinical.Thresholds) *float64 { return &t.LevelAt }},
	{"level_clears_below", "A high index is over below", "points", 10, 95, func(t *clinical.Thresholds) *float64 { return &t.LevelClearsBelow }},
	{"level_baseline_below", "High index only where the baseline is below", "points", 10, 95, func(t *clinical.Thresholds) *float64 { return &t.LevelBaselineBelow }},
	{"rise_mean", "Rise of the last two check-ins' mean", "points", 4, 40, func(t *clinical.Thresholds) *float64 { return &t.RiseMean }},
	{"rise_single", "Rise of one check-in alone", "points", 8, 60, func(t *clinical.Thresholds) *float64 { return &t.RiseSingle }},
	{"drift_width", "Slow rise: width of the limit", "standard deviations", 1.5, 6, func(t *clinical.Thresholds) *float64 { return &t.DriftL }},
	{"jump_levels", "One item above its usual answer, twice running", "answer steps", 1, 4, func(t *clinical.Thresholds) *float64 { return &t.JumpLevels }},
}

// OwnCadences are the prompts whose time may be set for one dog.
var OwnCadences = []PromptKind{PromptCheckIn, PromptWeighIn, PromptReassessment}

func ownThreshold(key string) (OwnThreshold, bool) {
	i := slices.IndexFunc(OwnThresholds, func(o OwnThreshold) bool { return o.Key == key })
	if i < 0 {
		return OwnThreshold{}, false
	}
	return OwnThresholds[i], true
}

// Thresholds are those that hold for the dog: the clinic's, with the dog's own
// in their place.
func (d *Dog) Thresholds(clinics clinical.Thresholds) clinical.Thresholds {
	t := clinics
	for _, n := range d.OwnNumbers {
		if o, ok := ownThreshold(n.Key); ok {
			*o.at(&t) = n.Value
		}
	}
	// The clinic may have changed its own half of the pair since.
	t.LevelClearsBelow = min(t.LevelClearsBelow, t.LevelAt)
	return t
}

// thresholds are those of a dog of the household; -1 is none of them.
func (t *turn) thresholds(dog int8) clinical.Thresholds {
	if dog < 0 {
		return t.r.Thresholds
	}
	return t.h.Dogs[dog].Thresholds(t.r.Thresholds)
}

// OwnNumbersText names a dog's own thresholds in one line; "" where it has none.
func (d *Dog) OwnNumbersText() string {
	parts := make([]string, len(d.OwnNumbers))
	for i, n := range d.OwnNumbers {
		parts[i] = n.Key + " " + plainNumber(n.Value)
	}
	return strings.Join(parts, ", ")
}

func plainNumber(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }

// ownCadence is the dog's own cadence of a kind; false where the clinic's holds.
func (d *Dog) ownCadence(k PromptKind) (cadence.Cadence, bool) {
	for _, o := range d.OwnCadences {
		if o.Kind != k {
			continue
		}
		if c, err := cadence.Parse(o.Cron, o.Gap); err == nil {
			return c, true
		}
	}
	return cadence.Cadence{}, false
}

// Cadence is when a kind of prompt falls due for the dog: its own, or the
// clinic's.
func (d *Dog) Cadence(clinics Cadences, k PromptKind) cadence.Cadence {
	if c, ok := d.ownCadence(k); ok {
		return c
	}
	return d.clinicsCadence(clinics, k)
}

// clinicsCadence is the clinic's for a dog on such a plan.
func (d *Dog) clinicsCadence(c Cadences, k PromptKind) cadence.Cadence {
	switch k {
	case PromptWeighIn:
		if d.onLossPlan() {
			return c.WeighInLoss
		}
		return c.WeighIn
	case PromptReassessment:
		return c.Reassessment
	default:
		return c.CheckIn
	}
}

// dogSettings changes what holds for one dog. All of it is checked before any
// of it is changed.
func (t *turn) dogSettings(by string, s *DogSettings) Reason {
	if s.Cadence != nil {
		return t.setCadence(by, s.Dog, s.Cadence)
	}
	d := &t.h.Dogs[s.Dog]
	was := *d
	was.OwnNumbers = slices.Clone(d.OwnNumbers)
	for _, n := range s.Numbers {
		if refusal := was.setNumber(n, by, t.at); refusal != "" {
			return t.refuse(refusal)
		}
	}
	if refusal := t.pairs(&was); refusal != "" {
		return t.refuse(refusal)
	}
	before, after := d.Thresholds(t.r.Thresholds), was.Thresholds(t.r.Thresholds)
	changed := false
	for _, n := range s.Numbers {
		o, _ := ownThreshold(n.Key)
		had, has := d.owns(n.Key), was.owns(n.Key)
		if had == has && o.Of(before) == o.Of(after) {
			continue
		}
		changed = true
		t.fact(Fact{Kind: FactSetting, Dog: s.Dog + 1, Code: n.Key, By: by,
			Text: ownOrClinics(plainNumber(o.Of(before)), had) + " → " + ownOrClinics(plainNumber(o.Of(after)), has)})
	}
	if !changed {
		return t.refuse("Nothing was changed: every value is as it was.")
	}
	d.OwnNumbers = was.OwnNumbers
	return PracticeDone
}

func ownOrClinics(value string, own bool) string {
	if own {
		return value
	}
	return value + " (the clinic's)"
}

func (d *Dog) owns(key string) bool {
	return slices.ContainsFunc(d.OwnNumbers, func(n OwnNumber) bool { return n.Key == key })
}

// setNumber puts one number in place, or says why not.
func (d *Dog) setNumber(n SetNumber, by string, at int64) string {
	o, ok := ownThreshold(n.Key)
	if !ok {
		return fmt.Sprintf("%q is not a threshold that can be set for one dog.", n.Key)
	}
	i := slices.IndexFunc(d.OwnNumbers, func(was OwnNumber) bool { return was.Key == n.Key })
	if n.Clear {
		if i >= 0 {
			d.OwnNumbers = slices.Delete(d.OwnNumbers, i, i+1)
		}
		return ""
	}
	if !(n.Value >= o.Min && n.Value <= o.Max) { // written so that NaN is refused
		return fmt.Sprintf("%s: %s is out of range; allowed is %s to %s %s.", o.Name, plainNumber(n.Value), plainNumber(o.Min), plainNumber(o.Max), o.Unit)
	}
	if i >= 0 && d.OwnNumbers[i].Value == n.Value {
		return ""
	}
	own := OwnNumber{Key: n.Key, Value: n.Value, By: by, At: at}
	if i >= 0 {
		d.OwnNumbers[i] = own
		return ""
	}
	d.OwnNumbers = append(d.OwnNumbers, own)
	return ""
}

// pairs says which two numbers do not go together, "" where all do.
func (t *turn) pairs(d *Dog) string {
	at, below := t.r.Thresholds.LevelAt, t.r.Thresholds.LevelClearsBelow
	for _, n := range d.OwnNumbers {
		switch n.Key {
		case "level_at":
			at = n.Value
		case "level_clears_below":
			below = n.Value
		}
	}
	switch all := d.Thresholds(t.r.Thresholds); {
	case below > at && d.owns("level_clears_below"):
		return fmt.Sprintf("A high index can't be over below %s when it is high from %s on: the first has to be the smaller.", plainNumber(below), plainNumber(at))
	case all.RiseSingle < all.RiseMean:
		return fmt.Sprintf("One check-in alone (%s) can't count for less than two together (%s).", plainNumber(all.RiseSingle), plainNumber(all.RiseMean))
	}
	return ""
}

// setCadence sets when a kind of prompt falls due for one dog, and places the
// next one anew at once.
func (t *turn) setCadence(by string, dog int8, s *SetDogsCadence) Reason {
	d := &t.h.Dogs[dog]
	if !slices.Contains(OwnCadences, s.Kind) {
		return t.refuse("Only check-ins, weigh-ins and reassessments have a time of their own.")
	}
	had, own := d.ownCadence(s.Kind)
	if !own {
		had = d.clinicsCadence(t.r.Cadences, s.Kind)
	}
	rest := slices.DeleteFunc(slices.Clone(d.OwnCadences), func(o OwnCadence) bool { return o.Kind == s.Kind })
	if s.Cron != "" {
		c, err := cadence.Parse(s.Cron, s.Gap)
		if err != nil {
			return t.refuse(sentence(err.Error()))
		}
		if s.Gap < 1 {
			return t.refuse("The gap is at least 1 day: nobody is asked twice on one day.")
		}
		rest = append(rest, OwnCadence{Kind: s.Kind, Cron: c.String(), Gap: s.Gap, By: by, At: t.at})
	} else if !own {
		return t.refuse("Nothing was changed: the clinic's time holds already.")
	}
	d.OwnCadences = rest
	t.fact(Fact{Kind: FactSetting, Dog: dog + 1, Code: string(s.Kind), By: by,
		Text: ownOrClinics(cadenceText(had), own) + " → " + ownOrClinics(cadenceText(d.Cadence(t.r.Cadences, s.Kind)), s.Cron != "")})
	if d.Status == Followed && t.h.primary() >= 0 {
		t.placeAgain(d, s.Kind, t.e.At)
	}
	return PracticeDone
}

func cadenceText(c cadence.Cadence) string {
	if c.IsZero() {
		return "never"
	}
	return fmt.Sprintf("%s, at least %d days apart", c, c.GapDays())
}

// sentence makes an error's text one.
func sentence(s string) string { return strings.ToUpper(s[:1]) + strings.TrimSuffix(s[1:], ".") + "." }

// placeAgain sets a kind's next due time anew, after an instant. A reassessment
// that a change of plan brought forward stays where it is.
func (t *turn) placeAgain(d *Dog, k PromptKind, after time.Time) {
	due := d.due(k)
	if k == PromptReassessment && due.Last == 0 {
		due.Last = dayNumber(t.today())
	}
	t.place(due, t.cadenceOf(d, k), after)
	if k != PromptReassessment {
		return
	}
	for _, e := range d.Plan {
		if e.Started <= t.at-int64(t.r.Thresholds.BeddingInDays)*int64(day) || e.Status == Held {
			continue
		}
		date := cadence.DateIn(time.Unix(e.Started, 0), t.zone()).AddDays(t.r.Thresholds.BeddingInDays)
		if at := t.localTime(date, t.r.Limits.PromptAt); at.After(after) && (due.At == noDue || at.Unix() < due.At) {
			due.At, due.Date = at.Unix(), dayNumber(date)
		}
	}
}
