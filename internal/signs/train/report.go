//go:build train

package main

import (
	"fmt"
	"math"

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

// scored are examples and what the two heads give them.
type scored struct {
	ex         []example
	flag, emer []float64
}

func (s *scored) add(e example, flag, emer float64) {
	s.ex, s.flag, s.emer = append(s.ex, e), append(s.flag, flag), append(s.emer, emer)
}

func (s *scored) measure(t signs.Thresholds) figures {
	return measure(s.ex, func(i int) signs.Urgency { return t.Overrule(s.ex[i].rules, s.flag[i], s.emer[i]) })
}

// cost of reading an emergency, a same-day sign or a harmless message (first
// index) as none, same-day or emergency, where a false alarm costs one.
type cost [3][3]float64

// dear makes what is missed the dearer, the larger by is.
func dear(by, emergency float64) cost {
	return cost{
		signs.None:      {0, 1, 1.2},
		signs.SameDay:   {by, 0, 0.3},
		signs.Emergency: {emergency * by, by, 0},
	}
}

// mostDrop is the highest threshold for dropping what the lists found: owners
// write plain words more often than the corpus, which is made of hard cases.
const mostDrop = 0

// tune finds the thresholds of least cost. Each urgency of the lists has its
// own thresholds, so that each is searched for by itself.
func (s *scored) tune(c cost, weight float32) signs.Thresholds {
	t := signs.Thresholds{weight}
	for _, part := range []struct {
		rules    signs.Urgency
		at, over int // which thresholds
		top      float32
	}{{signs.None, 1, 2, 3}, {signs.SameDay, 3, 4, mostDrop}, {signs.Emergency, 5, 5, mostDrop}} {
		least := math.Inf(1)
		try := t
		for a := float32(-4); a <= part.top; a += 0.1 {
			for b := float32(-3); b <= 3; b += 0.1 {
				try[part.at] = a
				if part.over != part.at {
					try[part.over] = b
				}
				if got := s.cost(c, part.rules, try); got < least {
					least, t = got, try
				}
				if part.over == part.at {
					break
				}
			}
		}
	}
	return t
}

// cost of the readings of what the lists gave one urgency.
func (s *scored) cost(c cost, rules signs.Urgency, t signs.Thresholds) float64 {
	sum := 0.0
	for i := range s.ex {
		if e := &s.ex[i]; e.rules == rules {
			sum += c[e.want][t.Overrule(rules, s.flag[i], s.emer[i])]
		}
	}
	return sum
}

// evaluate cross-validates the model, shows what the thresholds in use and
// those of several costs give, on messages that the lists were and were not
// written for, and on the messages kept apart. It prints no message.
func (l language) evaluate() error {
	ex, err := l.trainSet()
	if err != nil {
		return err
	}
	held, err := l.readExamples(l.corpus("held"))
	if err != nil {
		return err
	}
	flag, emer := crossValidate(ex, 5, best)
	var known, unknown, apart scored
	for i, e := range ex {
		if e.fresh {
			unknown.add(e, flag[i], emer[i])
		} else {
			known.add(e, flag[i], emer[i])
		}
	}
	hf, he := fitBoth(ex, best)
	for _, e := range held {
		apart.add(e, hf.score(e.feats), he.score(e.feats))
	}
	show := func(name string, t signs.Thresholds) {
		fmt.Printf("%s %.1f\n  known to the lists: %v\n  not known to them:  %v\n  kept apart:         %v\n",
			name, t, known.measure(t), unknown.measure(t), apart.measure(t))
	}
	show("in use", signs.Chosen(string(l)))
	for _, weight := range []float32{2, 2.5, 3} {
		for _, by := range []float64{0.5, 0.7, 0.9} {
			show(fmt.Sprintf("missed at %.1f", by), unknown.tune(dear(by, float64(weight)), weight))
		}
	}
	return nil
}

// misses prints the training messages that cross-validation reads wrongly: where
// the lists have a gap. Messages kept apart are not among them.
func (l language) misses() error {
	ex, err := l.trainSet()
	if err != nil {
		return err
	}
	flag, emer := crossValidate(ex, 5, best)
	for i, e := range ex {
		if got := signs.Chosen(string(l)).Overrule(e.rules, flag[i], emer[i]); got != e.want {
			fmt.Printf("%v read as %v (lists: %v)\t%s\n", e.want, got, e.rules, e.text)
		}
	}
	return nil
}
