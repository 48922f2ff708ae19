package chart

import (
	"fmt"
	"time"
)

// TrendInput is what the small drawing of a list shows: 0 best to 100 worst.
type TrendInput struct {
	Zone        *time.Location // nil is UTC
	Points      []TrendPoint   // oldest first
	Baseline    float64
	HasBaseline bool
}

// TrendPoint is one check-in.
type TrendPoint struct {
	At     int64 // Unix seconds
	Value  float64
	Scored bool // false is a gap
}

// Trend draws a course as small as a word, for lists: the line, a dashed
// baseline, and the last value as a dot.
func Trend(in TrendInput) (string, Table) {
	p := plot{left: 8, top: 4, right: 112, bottom: 28, low: 0, high: 100, zone: in.Zone}
	t := Table{Caption: "Index, 0 best to 100 worst", Headers: []string{"Date", "Index"}}
	var at []int64
	var values []float64
	for _, pt := range in.Points {
		text := none
		if at = append(at, pt.At); pt.Scored && finite(pt.Value) {
			values, text = append(values, pt.Value), one(pt.Value)
		}
		t.Rows = append(t.Rows, []string{day(pt.At, in.Zone), text})
	}
	label := "No check-in yet"
	if n := len(values); n > 0 {
		label = fmt.Sprintf("Index from %s to %s over %d check-ins", one(values[0]), one(values[n-1]), n)
		if n == 1 {
			label = "Index " + one(values[0]) + " at one check-in"
		}
	}
	c := newCanvas("trend", label, 120, 32)
	if in.HasBaseline && finite(in.Baseline) {
		c.line(p.left, p.y(in.Baseline), p.right, p.y(in.Baseline), look{class: "baseline", width: 1, dash: "3 3", faint: .7})
	}
	if len(values) == 0 {
		c.line(p.left, p.bottom, p.right, p.bottom, look{class: "axis", width: 1, faint: .4})
		return c.done(), t
	}
	p.span(at...)
	var run []spot
	var last spot
	for _, pt := range in.Points {
		if !pt.Scored || !finite(pt.Value) {
			c.run(run, look{class: "course", width: 1.5})
			run = nil
			continue
		}
		last = spot{p.x(pt.At), p.y(pt.Value)}
		run = append(run, last)
	}
	c.run(run, look{class: "course", width: 1.5})
	c.circle(last.x, last.y, 2.5, look{fill: 1})
	return c.done(), t
}
