//go:build train

package main

import (
	"fmt"

	"gaitpost/internal/signs"
)

// figures are the measures of the bar.
type figures struct {
	seen, exact, sameDay, harmless float64
}

func (f figures) String() string {
	return fmt.Sprintf("emergency seen %.1f, exact %.1f; same-day %.1f; harmless flagged %.1f", 100*f.seen, 100*f.exact, 100*f.sameDay, 100*f.harmless)
}

// measure compares readings with labels.
func measure(ex []example, got func(i int) signs.Urgency) figures {
	var n, hit [3]float64
	exact := 0.0
	for i, e := range ex {
		u := got(i)
		n[e.want]++
		if u != signs.None {
			hit[e.want]++
		}
		if e.want == signs.Emergency && u == signs.Emergency {
			exact++
		}
	}
	return figures{hit[2] / n[2], exact / n[2], hit[1] / n[1], hit[0] / n[0]}
}

// report prints the figures of the rules alone, the model alone and both.
func report(ex []example, flag, emer []float64) {
	fmt.Println("rules:", measure(ex, func(i int) signs.Urgency { return ex[i].rules }))
	for _, t := range []float64{-1, -0.5, 0, 0.5, 1} {
		fmt.Printf("model at %+.1f: %v\n", t, measure(ex, func(i int) signs.Urgency {
			switch {
			case flag[i] < t:
				return signs.None
			case emer[i] > -0.3:
				return signs.Emergency
			}
			return signs.SameDay
		}))
	}
}
