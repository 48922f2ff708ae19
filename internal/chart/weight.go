package chart

import (
	"fmt"
	"math"
	"strconv"
	"time"
)

// WeightInput is what a drawing of body weight over time shows. Weights are in
// kilograms.
type WeightInput struct {
	Title    string
	Zone     *time.Location // nil is UTC
	WeighIns []WeighIn      // oldest first
	Target   float64        // 0 for none
	// The corridor of a loss plan begins at Start on StartAt and falls by Slow to
	// Fast percent of body weight a week, down to the target. StartAt 0: no plan.
	StartAt    int64 // Unix seconds
	Start      float64
	Slow, Fast float64
	// To is how far the corridor is drawn; 0: as far as the weigh-ins go.
	To         int64
	Milestones []Milestone
}

// WeighIn is one weight.
type WeighIn struct {
	At int64   // Unix seconds
	Kg float64 // above 0
	// Home is a weigh-in on the owner's scale, not the practice's.
	Home bool
}

// Milestone is a weight that is worth a mark, in a word or two.
type Milestone struct {
	Kg    float64
	Label string
}

func (in WeightInput) corridor() bool {
	return in.StartAt > 0 && in.Start > 0 && finite(in.Start) && in.Slow > 0 && in.Fast >= in.Slow && in.Fast < 100
}

func (in WeightInput) usable() []WeighIn {
	var list []WeighIn
	for _, w := range in.WeighIns {
		if finite(w.Kg) && w.Kg > 0 {
			list = append(list, w)
		}
	}
	return list
}

// Weight draws body weight over time with the target, the corridor of the plan
// and its milestones. A filled circle is the practice's scale, an open square the
// owner's.
func Weight(in WeightInput) (string, Table) {
	weighed := in.usable()
	p := plot{left: 46, top: 20, right: 416, bottom: 196, zone: in.Zone}
	c := newCanvas("weight", weightLabel(in, weighed), 560, 238)
	if len(weighed) == 0 {
		c.line(p.left, p.bottom, p.right, p.bottom, look{class: "axis", width: 1})
		c.line(p.left, p.top, p.left, p.bottom, look{class: "axis", width: 1})
		c.text((p.left+p.right)/2, (p.top+p.bottom)/2, middle, normal, "Not weighed yet")
		return c.done(), weightTable(in)
	}
	at := make([]int64, 0, len(weighed)+2)
	for _, w := range weighed {
		at = append(at, w.At)
	}
	if in.corridor() {
		at = append(at, in.StartAt)
	}
	if in.To > 0 {
		at = append(at, in.To)
	}
	p.span(at...)
	in.bounds(&p, weighed)
	c.kgAxis(&p)
	c.timeAxis(&p)
	labels := c.plan(&p, in)
	c.weights(&p, weighed)
	c.sides(&p, labels)
	c.scales(&p, weighed)
	return c.done(), weightTable(in)
}

// bounds sets which weights the plot shows: all that are drawn, and a little more.
func (in WeightInput) bounds(p *plot, weighed []WeighIn) {
	low, high := math.Inf(1), math.Inf(-1)
	take := func(v float64) {
		if finite(v) && v > 0 {
			low, high = min(low, v), max(high, v)
		}
	}
	for _, w := range weighed {
		take(w.Kg)
	}
	take(in.Target)
	for _, m := range in.Milestones {
		take(m.Kg)
	}
	if in.corridor() {
		take(in.Start)
	}
	pad := max((high-low)*.08, high*.02)
	p.low, p.high = max(low-pad, 0), high+pad
}

func (c *canvas) kgAxis(p *plot) {
	c.line(p.left, p.top, p.left, p.bottom, look{class: "axis", width: 1})
	step := round125(p.high-p.low, 6)
	decimals := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	for v := math.Ceil(p.low/step) * step; v <= p.high+step/1e6; v += step {
		y := p.y(v)
		c.line(p.left, y, p.right, y, look{class: "rule", width: .5, faint: .25})
		c.text(p.left-6, y+4, end, small, strconv.FormatFloat(v, 'f', decimals, 64))
	}
	c.text(2, p.top-8, start, small, "kg")
}

// plan draws corridor, target and milestones, and returns their labels.
func (c *canvas) plan(p *plot, in WeightInput) []side {
	var labels []side
	if in.corridor() {
		upper, lower := in.edge(p, in.Slow), in.edge(p, in.Fast)
		outline := append([]spot{}, upper...)
		for i := len(lower) - 1; i >= 0; i-- {
			outline = append(outline, lower[i])
		}
		c.area(outline, look{class: "corridor", fill: .08})
		c.path(upper, look{class: "corridor-edge", width: .75, dash: "1 3"})
		c.path(lower, look{class: "corridor-edge", width: .75, dash: "1 3"})
		words := fmt.Sprintf("%s–%s %% a week", trim(in.Slow), trim(in.Fast))
		labels = append(labels, side{upper[len(upper)-1].y, words})
	}
	if in.Target > 0 && finite(in.Target) {
		c.line(p.left, p.y(in.Target), p.right, p.y(in.Target), look{class: "target", width: 1.25, dash: "8 4"})
		labels = append(labels, side{p.y(in.Target), "target " + one(in.Target) + " kg"})
	}
	for _, m := range in.Milestones {
		if !finite(m.Kg) || m.Kg <= 0 {
			continue
		}
		c.line(p.right-26, p.y(m.Kg), p.right, p.y(m.Kg), look{class: "milestone", width: 1})
		labels = append(labels, side{p.y(m.Kg), m.Label})
	}
	return labels
}

// edge is a line of steady loss from the start of the plan on, percent a week,
// down to the target.
func (in WeightInput) edge(p *plot, perWeek float64) []spot {
	const steps = 24
	from, to := sane(in.StartAt), p.to
	var line []spot
	for i := range steps + 1 {
		at := from + (to-from)*int64(i)/steps
		kg := in.Start * math.Pow(1-perWeek/100, float64(at-from)/(7*secondsPerDay))
		if in.Target > 0 {
			kg = max(kg, min(in.Target, in.Start))
		}
		line = append(line, spot{p.x(at), p.y(kg)})
	}
	return line
}

// weights draws the weigh-ins. A line joins those of one scale only.
func (c *canvas) weights(p *plot, weighed []WeighIn) {
	for _, home := range []bool{false, true} {
		l, s := look{class: "practice", width: 1.75}, disc
		if home {
			l, s = look{class: "home", width: 1.25, dash: "5 3"}, frame
		}
		var line []spot
		for _, w := range weighed {
			if w.Home != home {
				continue
			}
			at := spot{p.x(w.At), p.y(w.Kg)}
			line = append(line, at)
			c.mark(s, at.x, at.y, day(w.At, p.zone)+": "+kilos(w.Kg)+", "+where(w))
		}
		c.path(line, l)
	}
}

// scales says which mark is which scale.
func (c *canvas) scales(p *plot, weighed []WeighIn) {
	x, y := p.left, p.bottom+36
	for _, home := range []bool{false, true} {
		for _, w := range weighed {
			if w.Home != home {
				continue
			}
			s := disc
			if home {
				s = frame
			}
			c.mark(s, x+5, y-4, "")
			c.text(x+16, y, start, small, where(w))
			x += 34 + wide(where(w), small)
			break
		}
	}
}

func where(w WeighIn) string {
	if w.Home {
		return "at home"
	}
	return "at the practice"
}

func kilos(kg float64) string { return strconv.FormatFloat(kg, 'f', 2, 64) + " kg" }

// trim writes a number as short as it is.
func trim(v float64) string { return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64) }

func weightLabel(in WeightInput, weighed []WeighIn) string {
	label := in.Title + ". "
	switch n := len(weighed); n {
	case 0:
		return label + "Not weighed yet."
	case 1:
		label += "One weigh-in: " + kilos(weighed[0].Kg)
	default:
		label += fmt.Sprintf("%d weigh-ins, from %s to %s", n, kilos(weighed[0].Kg), kilos(weighed[n-1].Kg))
	}
	if in.Target > 0 && finite(in.Target) {
		label += ", target " + kilos(in.Target)
	}
	return label + ". A table follows."
}

func weightTable(in WeightInput) Table {
	t := Table{Caption: in.Title + ": weigh-ins in kilograms", Headers: []string{"Date", "Weight", "Where"}}
	for _, w := range in.WeighIns {
		weight := none
		if finite(w.Kg) && w.Kg > 0 {
			weight = kilos(w.Kg)
		}
		t.Rows = append(t.Rows, []string{day(w.At, in.Zone), weight, where(w)})
	}
	if in.Target > 0 && finite(in.Target) {
		t.Rows = append(t.Rows, []string{"target", kilos(in.Target), ""})
	}
	for _, m := range in.Milestones {
		if finite(m.Kg) && m.Kg > 0 {
			t.Rows = append(t.Rows, []string{clean(m.Label), kilos(m.Kg), ""})
		}
	}
	return t
}
