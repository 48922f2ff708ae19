//go:build train

package main

import (
	"fmt"
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
func (l language) chooseThresholds() error {
	ex, err := l.trainSet()
	if err != nil {
		return err
	}
	var all scored
	all.ex = ex
	all.flag, all.emer = crossValidate(ex, 5, best)
	var at signs.Thresholds
	top := -1.0
	for _, weight := range []float32{1.5, 2.5, 4} {
		for _, by := range []float64{0.3, 0.5, 0.7, 0.9, 1.2, 1.6, 2.2, 3, 4, 6} {
			t := all.tune(dear(by, float64(weight)), weight)
			f := all.measure(t)
			worth := f.seen + 0.1*(f.exact+f.sameDay) - 0.2*f.harmless
			if f.harmless <= mostHarmless && worth > top {
				at, top = t, worth
			}
		}
	}
	if top < 0 {
		return fmt.Errorf("no thresholds keep the harmless messages flagged at %.0f %% or less", 100*mostHarmless)
	}
	fmt.Printf("in cross-validation: %v\n", all.measure(at))
	return os.WriteFile(l.data("thresholds.txt"), []byte(fmt.Sprintf(thresholdsText, at[0], at[1], at[2], at[3], at[4], at[5])), 0o644)
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
