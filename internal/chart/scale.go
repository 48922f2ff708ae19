package chart

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// plot is the part of a drawing that holds data, and what its edges mean.
type plot struct {
	left, top, right, bottom float64
	from, to                 int64   // Unix seconds at the left and right edge
	low, high                float64 // values at the bottom and top edge
	zone                     *time.Location
}

// span sets the time that a plot shows: from the first to the last of the
// instants, with some room where they are one.
func (p *plot) span(at ...int64) {
	if len(at) == 0 {
		return
	}
	p.from, p.to = sane(slices.Min(at)), sane(slices.Max(at))
	if least := int64(14 * secondsPerDay); p.to-p.from < least {
		extra := least - (p.to - p.from)
		p.from = max(p.from-extra/2, earliest)
		p.to = p.from + least
		return
	}
	pad := (p.to - p.from) / 60
	p.from, p.to = max(p.from-pad, earliest), p.to+pad
}

const secondsPerDay = 24 * 60 * 60

// x is the place of an instant; within the plot whatever it is.
func (p *plot) x(at int64) float64 {
	share := float64(sane(at)-p.from) / float64(max(p.to-p.from, 1))
	return p.left + within(share, 0, 1)*(p.right-p.left)
}

// y is the place of a value; within the plot whatever it is.
func (p *plot) y(v float64) float64 {
	share := (v - p.low) / (p.high - p.low)
	return p.bottom - within(share, 0, 1)*(p.bottom-p.top)
}

// shows tells whether an instant lies within the time shown.
func (p *plot) shows(at int64) bool { return at >= p.from && at <= p.to }

// tick is one label of the time axis.
type tick struct {
	at    int64
	label string
}

// mostTicks is how many labels a time axis has at most.
const mostTicks = 9

// ticks are the labels of the time axis: days or weeks for a short time, months
// or years for a long one, thinned out until they are few.
func (p *plot) ticks() []tick {
	zone := zoneOr(p.zone)
	from, to := time.Unix(p.from, 0).In(zone), time.Unix(p.to, 0).In(zone)
	days := int(to.Sub(from).Hours()/24) + 1
	for _, step := range []int{1, 2, 7, 14} {
		if days/step+1 > mostTicks {
			continue
		}
		first := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, zone)
		return p.walk(first, 0, step, "2 Jan")
	}
	months := (to.Year()-from.Year())*12 + int(to.Month()) - int(from.Month()) + 1
	for _, step := range []int{1, 2, 3, 6, 12, 24, 60, 120, 240, 600} {
		if months/step+1 > mostTicks {
			continue
		}
		month := (int(from.Month()) - 1) / min(step, 12) * min(step, 12)
		year := from.Year()
		if step > 12 {
			year -= year % (step / 12)
		}
		form := "Jan 2006"
		if step >= 12 {
			form = "2006"
		}
		return p.walk(time.Date(year, time.Month(month+1), 1, 0, 0, 0, 0, zone), step, 0, form)
	}
	return nil
}

// walk lists the instants from first on, some months and days apart, that the
// plot shows.
func (p *plot) walk(first time.Time, months, days int, form string) []tick {
	var list []tick
	for i := 0; ; i++ {
		t := first.AddDate(0, i*months, i*days)
		if t.Unix() > p.to || i > 10*mostTicks {
			return list
		}
		if t.Unix() >= p.from {
			list = append(list, tick{t.Unix(), t.Format(form)})
		}
	}
}

// timeAxis draws the axis of time with its labels.
func (c *canvas) timeAxis(p *plot) {
	c.line(p.left, p.bottom, p.right, p.bottom, look{class: "axis", width: 1})
	for _, t := range p.ticks() {
		x := p.x(t.at)
		c.line(x, p.bottom, x, p.bottom+4, look{width: 1})
		c.text(x, p.bottom+17, middle, small, t.label)
	}
}

// side is a label beside a plot that belongs to a height.
type side struct {
	y     float64
	words string
}

// sides writes labels beside the plot's right edge, moved apart where they would
// lie on each other, each with a short line to the height it belongs to.
func (c *canvas) sides(p *plot, labels []side) {
	const apart = 13.0
	slices.SortStableFunc(labels, func(a, b side) int { return cmp.Compare(a.y, b.y) })
	at := make([]float64, len(labels))
	for i, l := range labels {
		at[i] = l.y
		if i > 0 {
			at[i] = max(at[i], at[i-1]+apart)
		}
	}
	low := p.bottom + 2
	for i := len(at) - 1; i >= 0; i-- {
		at[i] = min(at[i], low)
		low = at[i] - apart
	}
	for i, l := range labels {
		c.line(p.right, l.y, p.right+8, at[i], look{class: "leader", width: .75, faint: .6})
		c.text(p.right+11, at[i]+4, start, small, l.words)
	}
}

// round125 is the step of 1, 2 or 5 times a power of ten that parts a range into
// at most so many.
func round125(spread float64, parts int) float64 {
	if !(spread > 0) || !finite(spread) {
		return 1
	}
	raw := spread / float64(parts)
	base := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, f := range []float64{1, 2, 5} {
		if f*base >= raw {
			return f * base
		}
	}
	return 10 * base
}
