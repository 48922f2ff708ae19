package chart

import "fmt"

// Halves draws the pain and the mobility half of an index over time, small: pain
// solid with circles, mobility dashed with squares.
func Halves(in IndexInput) (string, Table) {
	p := plot{left: 46, top: 20, right: 576, bottom: 130, low: 0, high: 100, zone: in.Zone}
	c := newCanvas("halves", halvesLabel(in), 720, 154)
	table := halvesTable(in)
	c.scoreAxis(&p, 50)
	if len(in.Points) == 0 {
		c.line(p.left, p.bottom, p.right, p.bottom, look{class: "axis", width: 1})
		c.text((p.left+p.right)/2, (p.top+p.bottom)/2, middle, normal, "No check-in yet")
		return c.done(), table
	}
	p.span(instants(in)...)
	c.timeAxis(&p)
	var labels []side
	for _, h := range []struct {
		name  string
		shape shape
		look  look
		of    func(Point) (float64, bool)
	}{
		{"pain", disc, look{class: "pain", width: 1.75}, Point.pain},
		{"mobility", frame, look{class: "mobility", width: 1.5, dash: "7 3"}, Point.mobility},
	} {
		if last, ok := c.half(&p, in.Points, h.look, h.shape, h.of); ok {
			labels = append(labels, side{p.y(last), h.name + " " + one(last)})
		}
	}
	c.sides(&p, labels)
	return c.done(), table
}

func (pt Point) pain() (float64, bool) {
	return pt.Pain, pt.HasPain && !pt.Missed && finite(pt.Pain)
}

func (pt Point) mobility() (float64, bool) {
	return pt.Mobility, pt.HasMobility && !pt.Missed && finite(pt.Mobility)
}

// half draws one of the two and returns its last value.
func (c *canvas) half(p *plot, points []Point, l look, s shape, of func(Point) (float64, bool)) (last float64, any bool) {
	var run []spot
	for _, pt := range points {
		v, ok := of(pt)
		if !ok {
			c.run(run, l)
			run = nil
			continue
		}
		last, any = v, true
		at := spot{p.x(pt.At), p.y(v)}
		run = append(run, at)
		if len(points) <= 60 {
			c.mark(s, at.x, at.y, "")
		}
	}
	c.run(run, l)
	return last, any
}

func halvesLabel(in IndexInput) string {
	n := 0
	for _, pt := range in.Points {
		if !pt.Missed && (pt.HasPain || pt.HasMobility) {
			n++
		}
	}
	return fmt.Sprintf("%s. Pain and mobility apart, over %d check-ins; 0 best, 100 worst. A table follows.", in.Title, n)
}

func halvesTable(in IndexInput) Table {
	t := Table{Caption: in.Title + ": pain and mobility, 0 best to 100 worst", Headers: []string{"Date", "Pain", "Mobility"}}
	for _, pt := range in.Points {
		row := []string{day(pt.At, in.Zone), none, none}
		if v, ok := pt.pain(); ok {
			row[1] = one(v)
		}
		if v, ok := pt.mobility(); ok {
			row[2] = one(v)
		}
		if pt.Missed {
			row[1], row[2] = "missed", "missed"
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}
