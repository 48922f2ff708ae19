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

// effects judges every change that was meant to change comfort, newest first.
func (in *Input) effects(h *history, d *care.Dog) []effect {
	t := in.Rules.Thresholds
	sigma, _ := d.Course.Sigma(t)
	readings := h.readings
	if len(readings) == 0 {
		readings = d.Course.Readings()
	}
	var list []effect
	for i, c := range h.changes {
		if !c.comfort {
			continue
		}
		ch := clinical.Change{At: c.at, Alters: true}
		for k, o := range h.changes {
			if k != i {
				ch.OtherStart = append(ch.OtherStart, o.at)
			}
			if o.comfort && o.at < c.at {
				ch.Since = o.at
			}
			if o.comfort && o.at > c.at && ch.Until == 0 {
				ch.Until = o.at
			}
		}
		list = append(list, in.effectText(c, clinical.EffectOf(t, sigma, readings, ch)))
	}
	slices.Reverse(list)
	return list
}

func (in *Input) effectText(c change, e clinical.Effect) effect {
	l := effect{What: capital(c.action) + " " + short(c.what, 30), Day: in.day(c.at), Verdict: verdicts[e.Verdict], Before: "–", After: "–"}
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
