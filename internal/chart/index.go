package chart

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"time"
)

// IndexInput is what a drawing of an index over time shows.
type IndexInput struct {
	Title  string
	Zone   *time.Location // nil is UTC
	Points []Point        // oldest first
	// From and To widen the time shown; 0: from the first point to the last.
	From, To  int64 // Unix seconds
	Baselines []Baseline
	// Threshold is the line that the mean of two check-ins has to reach for an
	// alert, points; 0 for none.
	Threshold float64
	// Detectable is the smallest change of one check-in that is more than noise,
	// points to either side of the baseline; 0 for none.
	Detectable float64
	Changes    []Event
	Settling   []Span // after a change, while nothing counts yet
}

// Point is one check-in that was asked for.
type Point struct {
	At     int64   // Unix seconds
	Value  float64 // 0 best to 100 worst; means nothing unless Scored
	Scored bool
	Missed bool // not answered: a gap
	Before bool // before treatment
	Same   bool // said to be as last time
	Alert  bool // an alert opened with it

	Pain, Mobility       float64 // the two halves, as Value
	HasPain, HasMobility bool
}

// Baseline is a baseline while it held.
type Baseline struct {
	From, To int64 // Unix seconds
	Value    float64
	// Weak is a baseline that rests on few check-ins.
	Weak bool
}

// Event is something that happened, in a few words.
type Event struct {
	At    int64 // Unix seconds
	Label string
}

// Span is a stretch of time.
type Span struct{ From, To int64 }

// mostLetters is how many events are named beneath a drawing, the newest; all are
// marked.
const mostLetters = 8

// lettered is the place of the first event that has a letter.
func lettered(events []Event) int { return max(len(events)-mostLetters, 0) }

func (pt Point) scored() bool { return pt.Scored && !pt.Missed && finite(pt.Value) }

// Index draws an index over time, 0 best at the foot to 100 worst at the top.
func Index(in IndexInput) (string, Table) {
	events := shown(in)
	key := indexKey(in)
	lines := (min(len(events), mostLetters) + 1) / 2
	if len(events) > mostLetters {
		lines++
	}
	if len(key) > 0 {
		lines++
	}
	p := plot{left: 46, top: 26, right: 576, bottom: 236, low: 0, high: 100, zone: in.Zone}
	c := newCanvas("index", indexLabel(in), 720, p.bottom+28+float64(lines)*16)
	if len(in.Points) == 0 {
		c.scoreAxis(&p, 20)
		c.line(p.left, p.bottom, p.right, p.bottom, look{class: "axis", width: 1})
		c.text((p.left+p.right)/2, (p.top+p.bottom)/2, middle, normal, "No check-in yet")
		return c.done(), indexTable(in)
	}
	p.span(instants(in)...)
	c.settling(&p, in.Settling)
	labels := c.baselines(&p, in)
	c.scoreAxis(&p, 20)
	c.timeAxis(&p)
	c.events(&p, events)
	c.course(&p, in.Points, in.Zone)
	c.sides(&p, labels)
	c.legend(&p, events, key, in.Zone)
	return c.done(), indexTable(in)
}

// instants are those that decide which time is shown.
func instants(in IndexInput) []int64 {
	at := make([]int64, 0, len(in.Points)+2)
	for _, pt := range in.Points {
		at = append(at, pt.At)
	}
	for _, t := range []int64{in.From, in.To} {
		if t > 0 {
			at = append(at, t)
		}
	}
	return at
}

// shown are the events within the time shown, oldest first.
func shown(in IndexInput) []Event {
	if len(in.Points) == 0 {
		return nil
	}
	var p plot
	p.span(instants(in)...)
	var list []Event
	for _, e := range in.Changes {
		if p.shows(e.At) {
			list = append(list, e)
		}
	}
	slices.SortStableFunc(list, func(a, b Event) int { return cmp.Compare(a.At, b.At) })
	return list
}

// scoreAxis draws the axis of an index and says which end is which.
func (c *canvas) scoreAxis(p *plot, step int) {
	c.line(p.left, p.top, p.left, p.bottom, look{class: "axis", width: 1})
	for v := 0; v <= 100; v += step {
		y := p.y(float64(v))
		c.line(p.left, y, p.right, y, look{class: "rule", width: .5, faint: .25})
		c.text(p.left-6, y+4, end, small, strconv.Itoa(v))
	}
	c.text(2, p.top-9, start, small, "worst")
	c.text(2, p.bottom+17, start, small, "best")
}

// settling shades the time after a change in which nothing counts yet.
func (c *canvas) settling(p *plot, spans []Span) {
	for _, s := range merged(spans) {
		if s.To < p.from || s.From > p.to {
			continue
		}
		x1, x2 := p.x(s.From), p.x(s.To)
		c.box(x1, p.top, x2, p.bottom, look{class: "settling", fill: .05, width: .75, dash: "1 4"})
		if words := "bedding-in"; wide(words, small) < x2-x1 {
			c.text((x1+x2)/2, p.top+12, middle, small, words)
		}
	}
}

// merged joins spans that overlap, so that none is shaded twice.
func merged(spans []Span) []Span {
	sorted := slices.Clone(spans)
	slices.SortFunc(sorted, func(a, b Span) int { return cmp.Compare(a.From, b.From) })
	var list []Span
	for _, s := range sorted {
		switch n := len(list) - 1; {
		case s.To <= s.From:
		case n >= 0 && s.From <= list[n].To:
			list[n].To = max(list[n].To, s.To)
		default:
			list = append(list, s)
		}
	}
	return list
}

// baselines draws each baseline with the band in which a change can't be told
// from noise, and the threshold. It returns their labels.
func (c *canvas) baselines(p *plot, in IndexInput) []side {
	var labels []side
	for i, b := range in.Baselines {
		if !finite(b.Value) || b.To < p.from || b.From > p.to {
			continue
		}
		x1, x2, last := p.x(b.From), p.x(b.To), i == len(in.Baselines)-1
		if last {
			x2 = p.right // the one in force goes on
		}
		if in.Detectable > 0 && finite(in.Detectable) {
			c.box(x1, p.y(b.Value+in.Detectable), x2, p.y(b.Value-in.Detectable), look{class: "band", fill: .08})
			if last {
				labels = append(labels, side{p.y(b.Value + in.Detectable), "detectable from " + one(min(b.Value+in.Detectable, 100))})
			}
		}
		l := look{class: "baseline", width: 1.25}
		word := "baseline "
		if b.Weak {
			l.dash, word = "8 4", "provisional "
		}
		c.line(x1, p.y(b.Value), x2, p.y(b.Value), l)
		if last {
			labels = append(labels, side{p.y(b.Value), word + one(b.Value)})
		}
	}
	if in.Threshold > 0 && finite(in.Threshold) && in.Threshold <= 100 {
		x1 := p.left
		if n := len(in.Baselines); n > 0 {
			x1 = p.x(in.Baselines[n-1].From)
		}
		c.line(x1, p.y(in.Threshold), p.right, p.y(in.Threshold), look{class: "threshold", width: 1.25, dash: "2 3"})
		labels = append(labels, side{p.y(in.Threshold), "alert from " + one(in.Threshold)})
	}
	return labels
}

// events marks what happened: the newest by letter and a line down the plot, older
// ones above it only.
func (c *canvas) events(p *plot, events []Event) {
	right := 0.0
	for i, e := range events {
		x, tip := p.x(e.At), day(e.At, p.zone)+": "+e.Label
		c.mark(wedge, x, p.top-4, tip)
		if k := i - lettered(events); k >= 0 {
			c.line(x, p.top, x, p.bottom, look{class: "change", width: 1, dash: "6 3 1 3"})
			at := min(max(x, right+9), p.right+40)
			c.text(at, p.top-11, middle, small, letter(k))
			right = at
		}
	}
}

func letter(i int) string { return string(rune('A' + i)) }

// course draws the check-ins: a line through those that follow each other, and
// a gap where one was missed or could not be scored.
func (c *canvas) course(p *plot, points []Point, zone *time.Location) {
	var run []spot
	for _, pt := range points {
		if !pt.scored() {
			c.run(run, look{class: "course", width: 2})
			run = nil
			continue
		}
		run = append(run, spot{p.x(pt.At), p.y(pt.Value)})
	}
	c.run(run, look{class: "course", width: 2})
	crowded := len(points) > 160
	for _, pt := range points {
		s, _ := kindOf(pt)
		x, y := p.x(pt.At), p.y(pt.Value)
		switch {
		case !pt.scored():
			y = p.bottom - 8
		case crowded && s == disc && !pt.Alert:
			continue // the line itself is enough
		}
		tip := day(pt.At, zone) + ": " + pointText(pt)
		c.mark(s, x, y, tip)
		if pt.Alert && pt.scored() {
			c.mark(halo, x, y, "")
		}
	}
}

// kindOf is how a check-in is marked, and what that mark means.
func kindOf(pt Point) (shape, string) {
	switch {
	case pt.Missed:
		return dash, "missed"
	case !pt.scored():
		return cross, "too few answers to score"
	case pt.Before:
		return ring, "before treatment"
	case pt.Same:
		return frame, "“same as last time”"
	}
	return disc, "check-in"
}

func pointText(pt Point) string {
	_, words := kindOf(pt)
	switch {
	case !pt.scored():
		return words
	case words == "check-in":
		words = ""
	default:
		words = ", " + words
	}
	if pt.Alert {
		words += ", an alert opened"
	}
	return one(pt.Value) + words
}

// keyed is one line of what the marks mean.
type keyed struct {
	shape shape
	words string
}

// indexKey lists the marks that the drawing uses.
func indexKey(in IndexInput) []keyed {
	var list []keyed
	for _, pt := range in.Points {
		s, words := kindOf(pt)
		if k := (keyed{s, words}); !slices.Contains(list, k) {
			list = append(list, k)
		}
		if k := (keyed{halo, "alert"}); pt.Alert && pt.scored() && !slices.Contains(list, k) {
			list = append(list, k)
		}
	}
	slices.SortFunc(list, func(a, b keyed) int { return int(a.shape) - int(b.shape) })
	return list
}

// legend names the events and the marks beneath the plot.
func (c *canvas) legend(p *plot, events []Event, key []keyed, zone *time.Location) {
	y := p.bottom + 38
	x := p.left
	for _, k := range key {
		c.mark(k.shape, x+5, y-4, "")
		c.text(x+16, y, start, small, k.words)
		x += 34 + wide(k.words, small)*.9
	}
	if len(key) > 0 {
		y += 16
	}
	first := lettered(events)
	for i, e := range events[first:] {
		const column = 330.0
		left := p.left + float64(i%2)*(column+8)
		c.text(left, y, start, small, fit(letter(i)+"  "+day(e.At, zone)+": "+e.Label, column, small))
		if i%2 == 1 || first+i == len(events)-1 {
			y += 16
		}
	}
	if first > 0 {
		c.text(p.left, y, start, small, fmt.Sprintf("and %d earlier changes, listed in the table", first))
	}
}

func indexLabel(in IndexInput) string {
	var scored []Point
	missed := 0
	for _, pt := range in.Points {
		if pt.scored() {
			scored = append(scored, pt)
		} else if pt.Missed {
			missed++
		}
	}
	label := in.Title + ". "
	switch n := len(scored); n {
	case 0:
		return label + "No scored check-in. A table follows."
	case 1:
		label += "One scored check-in: " + one(scored[0].Value)
	default:
		label += fmt.Sprintf("%d scored check-ins, from %s to %s", n, one(scored[0].Value), one(scored[n-1].Value))
	}
	if missed > 0 {
		label += fmt.Sprintf(", %d missed", missed)
	}
	return label + "; 0 best, 100 worst. A table follows."
}

func indexTable(in IndexInput) Table {
	t := Table{Caption: in.Title + ": the index at each check-in, 0 best to 100 worst",
		Headers: []string{"Date", "Index", "Pain", "Mobility", "Remark"}}
	type row struct {
		at    int64
		cells []string
	}
	var rows []row
	half := func(has bool, v float64) string {
		if !has {
			return none
		}
		return one(v)
	}
	for _, pt := range in.Points {
		r := row{pt.At, []string{day(pt.At, in.Zone), half(pt.scored(), pt.Value), half(pt.HasPain && !pt.Missed, pt.Pain),
			half(pt.HasMobility && !pt.Missed, pt.Mobility), ""}}
		if _, words := kindOf(pt); words != "check-in" {
			r.cells[4] = words
		}
		if pt.Alert {
			r.cells[4] = joined(r.cells[4], "alert")
		}
		rows = append(rows, r)
	}
	for _, e := range in.Changes {
		rows = append(rows, row{e.At, []string{day(e.At, in.Zone), "", "", "", "change: " + clean(e.Label)}})
	}
	slices.SortStableFunc(rows, func(a, b row) int { return cmp.Compare(a.at, b.at) })
	for _, r := range rows {
		t.Rows = append(t.Rows, r.cells)
	}
	return t
}

func joined(a, b string) string {
	if a == "" {
		return b
	}
	return a + ", " + b
}
