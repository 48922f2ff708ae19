package record

import (
	"fmt"
	"slices"
	"strings"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
)

// effect is what one change that was meant to change comfort did, in words.
type effect struct {
	What, Day     string
	Verdict       string
	Before, After string
	Gain, Overlap string
	Caveats       []string
}

var verdicts = map[clinical.EffectVerdict]string{
	clinical.EffectTooFew:  "Too few check-ins to say.",
	clinical.EffectBetter:  "Better by a meaningful change, and by more than noise.",
	clinical.EffectWorse:   "Worse by a meaningful change, and by more than noise.",
	clinical.EffectSmall:   "A change beyond noise, smaller than a meaningful one.",
	clinical.EffectUnclear: "No change that can be told from noise.",
}

// Judged is a change that was meant to change comfort, and what it did.
type Judged struct {
	Change
	Effect clinical.Effect
}

// Effects judges every change that was meant to change comfort, newest first.
func (h *History) Effects(t clinical.Thresholds, d *care.Dog) []Judged {
	sigma, _ := d.Course.Sigma(t)
	readings := h.Readings
	if len(readings) == 0 {
		readings = d.Course.Readings()
	}
	var list []Judged
	for i, c := range h.Changes {
		if !c.Comfort {
			continue
		}
		ch := clinical.Change{At: c.At, Alters: true}
		for k, o := range h.Changes {
			if k != i {
				ch.OtherStart = append(ch.OtherStart, o.At)
			}
			if o.Comfort && o.At < c.At {
				ch.Since = o.At
			}
			if o.Comfort && o.At > c.At && ch.Until == 0 {
				ch.Until = o.At
			}
		}
		list = append(list, Judged{c, clinical.EffectOf(t, sigma, readings, ch)})
	}
	slices.Reverse(list)
	return list
}

func (in *Input) effects(h *History, d *care.Dog) []effect {
	var list []effect
	for _, j := range h.Effects(d.Thresholds(in.Rules.Thresholds), d) {
		list = append(list, in.effectText(j.Change, j.Effect))
	}
	return list
}

func (in *Input) effectText(c Change, e clinical.Effect) effect {
	l := effect{What: capital(c.Action) + " " + short(c.What, 30), Day: in.day(c.At), Verdict: verdicts[e.Verdict], Before: "–", After: "–"}
	if e.BeforeN > 0 {
		l.Before = fmt.Sprintf("%.1f (%s)", e.MeanBefore, plural(e.BeforeN, "check-in"))
	}
	if e.AfterN > 0 {
		l.After = fmt.Sprintf("%.1f (%s)", e.MeanAfter, plural(e.AfterN, "check-in"))
	}
	if e.BeforeN > 0 && e.AfterN > 0 {
		l.Gain = strings.Replace(fmt.Sprintf("%+.1f", -e.MeanGain), "-", "−", 1)
		l.Overlap = fmt.Sprintf("%.2f", e.Overlap.NAP)
	}
	for _, k := range e.Caveats {
		if k == clinical.CaveatPlacebo {
			continue // said once for all of them
		}
		l.Caveats = append(l.Caveats, k.Text())
	}
	return l
}
