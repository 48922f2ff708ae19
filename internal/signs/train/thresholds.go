//go:build train

package main

import (
	"fmt"
	"math"
	"os"

	"gaitpost/internal/signs"
)

// mostHarmless is the largest share of harmless messages that may be flagged for
// the sake of a missed emergency.
const mostHarmless = 0.10

// chooseThresholds writes the thresholds under which, in cross-validation on the
// training part alone, most emergencies are caught as at least same-day while at
// most a tenth of the harmless messages are flagged; among equals, those that
// catch most emergencies as such and same-day signs. It prints what they give.
//
// Lists that were written with the training messages in view find nearly all of
// them and will not find as much in an owner's. So the thresholds for messages in
// which the lists find nothing are chosen as though they found nothing in any.
func (l language) chooseThresholds() error {
	ex, err := l.trainSet()
	if err != nil {
		return err
	}
	var listed, unlisted scored
	listed.ex = ex
	listed.flag, listed.emer = crossValidate(ex, 5, best)
	unlisted.ex = unlistedOf(ex)
	unlisted.flag, unlisted.emer = crossValidate(unlisted.ex, 5, best)
	var at signs.Thresholds
	top := -1.0
	for _, weight := range []float32{1.5, 2.5, 4} {
		for _, by := range []float64{0.5, 0.7, 0.9, 1.2, 1.6, 2.2, 3, 4, 6} {
			t := listed.tune(dear(by, float64(weight)), weight)
			t = unlisted.tuneNone(dear(by, float64(weight)), t)
			f, alone := listed.measure(t), unlisted.measure(t)
			worth := f.seen + alone.seen + 0.1*(alone.exact+alone.sameDay) - 0.2*f.harmless
			if f.harmless <= mostHarmless && alone.harmless <= mostHarmless && worth > top {
				at, top = t, worth
			}
		}
	}
	if top < 0 {
		return fmt.Errorf("no thresholds keep the harmless messages flagged at %.0f %% or less", 100*mostHarmless)
	}
	fmt.Printf("in cross-validation: %v\nwere the lists to find nothing: %v\n", listed.measure(at), unlisted.measure(at))
	return os.WriteFile(l.data("thresholds.txt"), []byte(fmt.Sprintf(thresholdsText, at[0], at[1], at[2], at[3], at[4], at[5])), 0o644)
}

// unlistedOf are the examples as though the lists had found nothing in them.
func unlistedOf(ex []example) []example {
	out := make([]example, len(ex))
	for i, e := range ex {
		e.feats, e.rules = e.feats[:e.from], signs.None
		out[i] = e
	}
	return out
}

// tuneNone finds the thresholds of messages in which the lists find nothing: the
// lowest that flags no more than a tenth of the harmless, and the one that tells
// emergencies among the flagged at least cost.
func (s *scored) tuneNone(c cost, t signs.Thresholds) signs.Thresholds {
	for t[1] = 4; t[1] > -4; t[1] -= 0.1 {
		if s.measure(t).harmless > mostHarmless {
			break
		}
	}
	t[1] += 0.1
	least, best := math.Inf(1), t
	for t[2] = -3; t[2] <= 3; t[2] += 0.1 {
		if got := s.cost(c, signs.None, t); got < least {
			least, best = got, t
		}
	}
	return best
}

const thresholdsText = `# The log-odds at which the model overrules the lists. Chosen by the training tool
# in cross-validation on the training messages alone.
weight %.1f
flag %.1f
raise %.1f
drop-same-day %.1f
raise-same-day %.1f
drop-emergency %.1f
`
