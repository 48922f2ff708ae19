package record

import (
	"slices"
	"strconv"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
)

// Corrected is one thing that staff put right, or took out.
type Corrected struct {
	At        int64 // when it was corrected
	Of        int64 // the instant of what was wrong
	Weight    bool
	Withdrawn bool
	By, Why   string
}

// takenAt is when a weight was taken: in its own time where it was entered
// later.
func takenAt(f *care.Fact, at int64) int64 {
	if on, err := strconv.ParseInt(f.ID, 10, 64); err == nil && on > 0 {
		return on
	}
	return at
}

func (x *reader) weight(f *care.Fact, at int64) {
	scale, _ := clinical.ScaleByCode(f.Code)
	w := Weight{clinical.WeighIn{At: takenAt(f, at), Grams: clinical.Grams(f.Number), Scale: scale}, f.By}
	i := len(x.h.Weights)
	for i > 0 && x.h.Weights[i-1].At > w.At {
		i--
	}
	x.h.Weights = slices.Insert(x.h.Weights, i, w)
}

// corrected lets what staff put right stand in the place of what was wrong, and
// leaves out what they withdrew. The log keeps both.
func (x *reader) corrected(f *care.Fact, at int64) {
	c := Corrected{At: at, By: f.By, Why: f.Text}
	switch f.Code {
	case "check-in", "check-in withdrawn":
		if f.Reading == nil {
			return
		}
		c.Of, c.Withdrawn = f.Reading.At, f.Code != "check-in"
		x.correctedReading(*f.Reading, c.Withdrawn)
	case "weight", "weight withdrawn":
		c.Weight, c.Withdrawn, c.Of = true, f.Code != "weight", takenAt(f, at)
		x.correctedWeight(c.Of, clinical.Grams(f.Number), c.Withdrawn)
	}
	x.h.Corrected = append(x.h.Corrected, c)
}

func (x *reader) correctedReading(r clinical.Reading, out bool) {
	i := slices.IndexFunc(x.h.CheckIns, func(c CheckIn) bool { return c.State < Missed && c.Reading.At == r.At })
	if i < 0 {
		return
	}
	v := clinical.Revision{Out: r.At}
	if out {
		x.h.CheckIns = slices.Delete(x.h.CheckIns, i, i+1)
	} else {
		x.h.CheckIns[i].Reading, v.In = r, &r
	}
	if x.in.Cut {
		return
	}
	if _, err := x.course.Revise(x.in.Rules.Thresholds, v); err == nil {
		x.baseline(r.At)
	}
}

func (x *reader) correctedWeight(of int64, g clinical.Grams, out bool) {
	i := slices.IndexFunc(x.h.Weights, func(w Weight) bool { return w.At == of })
	switch {
	case i < 0:
	case out:
		x.h.Weights = slices.Delete(x.h.Weights, i, i+1)
	default:
		x.h.Weights[i].Grams = g
	}
}
