package chart

import (
	"html"
	"math"
	"strconv"
	"strings"
	"unicode"
)

// Sizes of letters, in the drawing's units.
const (
	small  = 11.0
	normal = 12.0
)

// canvas collects the elements of one drawing. Whatever it is given stays
// inside its edges and is a number: a coordinate outside is moved to the edge.
type canvas struct {
	b             strings.Builder
	width, height float64
}

// newCanvas begins a drawing of a size, with what it shows in words.
func newCanvas(class, label string, width, height float64) *canvas {
	c := &canvas{width: width, height: height}
	c.b.WriteString(`<svg xmlns="http://www.w3.org/2000/svg" class="chart ` + class + `" role="img" aria-label="` + escape(label) +
		`" viewBox="0 0 ` + num(width) + " " + num(height) + `" width="` + num(width) + `" height="` + num(height) +
		`" fill="none" stroke="none" font-size="` + num(normal) + `">`)
	return c
}

// done closes the drawing.
func (c *canvas) done() string {
	c.b.WriteString("</svg>")
	return c.b.String()
}

func (c *canvas) x(v float64) float64 { return within(v, 0, c.width) }
func (c *canvas) y(v float64) float64 { return within(v, 0, c.height) }

// within keeps a number between two others; what is no number becomes the lower.
func within(v, low, high float64) float64 {
	if math.IsNaN(v) {
		return low
	}
	return min(max(v, low), high)
}

// finite tells whether a number can be drawn.
func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// num writes a coordinate: two decimals at most, never an exponent or "-0".
func num(v float64) string {
	if !finite(v) {
		return "0"
	}
	s := strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
	if s == "-0" {
		return "0"
	}
	return s
}

// look is how an element is drawn.
type look struct {
	class string
	width float64 // of the line; 0: no line
	dash  string  // of the line; "" is solid
	fill  float64 // opacity of the filling, 0: none
	faint float64 // opacity of the line where it isn't 1
}

func (l look) attributes() string {
	var b strings.Builder
	if l.class != "" {
		b.WriteString(` class="` + l.class + `"`)
	}
	if l.width > 0 {
		b.WriteString(` stroke="currentColor" stroke-width="` + num(l.width) + `"`)
	}
	if l.dash != "" {
		b.WriteString(` stroke-dasharray="` + l.dash + `"`)
	}
	if l.faint > 0 {
		b.WriteString(` stroke-opacity="` + num(l.faint) + `"`)
	}
	if l.fill > 0 {
		b.WriteString(` fill="currentColor"`)
		if l.fill < 1 {
			b.WriteString(` fill-opacity="` + num(l.fill) + `"`)
		}
	}
	return b.String()
}

func (c *canvas) line(x1, y1, x2, y2 float64, l look) {
	c.b.WriteString(`<line x1="` + num(c.x(x1)) + `" y1="` + num(c.y(y1)) + `" x2="` + num(c.x(x2)) + `" y2="` + num(c.y(y2)) + `"` + l.attributes() + `/>`)
}

// box draws a rectangle between two corners.
func (c *canvas) box(x1, y1, x2, y2 float64, l look) {
	x1, x2 = c.x(min(x1, x2)), c.x(max(x1, x2))
	y1, y2 = c.y(min(y1, y2)), c.y(max(y1, y2))
	c.b.WriteString(`<rect x="` + num(x1) + `" y="` + num(y1) + `" width="` + num(x2-x1) + `" height="` + num(y2-y1) + `"` + l.attributes() + `/>`)
}

// spot is a place on a canvas.
type spot struct{ x, y float64 }

// path draws a line through places; two at least.
func (c *canvas) path(at []spot, l look) {
	if len(at) < 2 {
		return
	}
	c.b.WriteString(`<polyline points="` + c.places(at) + `" stroke-linejoin="round"` + l.attributes() + `/>`)
}

// run draws a line through places, and a dot where there is only one.
func (c *canvas) run(at []spot, l look) {
	if len(at) == 1 {
		c.circle(at[0].x, at[0].y, l.width, look{class: l.class, fill: 1})
		return
	}
	c.path(at, l)
}

// area draws a filled outline; three places at least.
func (c *canvas) area(at []spot, l look) {
	if len(at) < 3 {
		return
	}
	c.b.WriteString(`<polygon points="` + c.places(at) + `"` + l.attributes() + `/>`)
}

func (c *canvas) places(at []spot) string {
	parts := make([]string, len(at))
	for i, p := range at {
		parts[i] = num(c.x(p.x)) + "," + num(c.y(p.y))
	}
	return strings.Join(parts, " ")
}

// shape is a mark's form. Each is told from the others without colour.
type shape uint8

const (
	disc    shape = iota // filled circle
	ring                 // open circle
	square               // filled square
	frame                // open square
	cross                // ×
	dash                 // – in the place of something that is missing
	wedge                // filled triangle pointing down
	halo                 // a wide ring around another mark
	diamond              // open diamond
)

// mark draws a shape at a place, with a text that a pointer resting on it shows.
func (c *canvas) mark(s shape, x, y float64, tip string) {
	const r = 3.5
	x, y = within(x, 7, c.width-7), within(y, 7, c.height-7)
	if tip != "" {
		c.b.WriteString("<g><title>" + escape(tip) + "</title>")
		defer c.b.WriteString("</g>")
	}
	open := look{width: 1.5}
	switch s {
	case disc:
		c.circle(x, y, r, look{fill: 1})
	case ring:
		c.circle(x, y, r, open)
	case square:
		c.box(x-r, y-r, x+r, y+r, look{fill: 1})
	case frame:
		c.box(x-r, y-r, x+r, y+r, open)
	case cross:
		c.line(x-r, y-r, x+r, y+r, open)
		c.line(x-r, y+r, x+r, y-r, open)
	case dash:
		c.line(x-r-1, y, x+r+1, y, look{width: 2})
	case wedge:
		c.area([]spot{{x - r, y - r}, {x + r, y - r}, {x, y + r}}, look{fill: 1})
	case halo:
		c.circle(x, y, 6.5, look{width: 1})
	case diamond:
		c.area([]spot{{x, y - 5}, {x + 5, y}, {x, y + 5}, {x - 5, y}}, look{width: 1.5})
	}
}

func (c *canvas) circle(x, y, r float64, l look) {
	c.b.WriteString(`<circle cx="` + num(c.x(x)) + `" cy="` + num(c.y(y)) + `" r="` + num(r) + `"` + l.attributes() + `/>`)
}

// anchor says which part of a text stands at its place.
type anchor string

const (
	start  anchor = "start"
	middle anchor = "middle"
	end    anchor = "end"
)

// text writes words; what would leave the drawing is cut short.
func (c *canvas) text(x, y float64, a anchor, size float64, words string) {
	x, y = c.x(x), within(y, size, c.height-size*.3)
	room := c.width - x
	switch a {
	case middle:
		room = 2 * min(x, c.width-x)
	case end:
		room = x
	}
	words = fit(words, room, size)
	if words == "" {
		return
	}
	c.b.WriteString(`<text x="` + num(x) + `" y="` + num(y) + `" fill="currentColor"`)
	if a != start {
		c.b.WriteString(` text-anchor="` + string(a) + `"`)
	}
	if size != normal {
		c.b.WriteString(` font-size="` + num(size) + `"`)
	}
	c.b.WriteString(">" + escape(words) + "</text>")
}

// wide is how wide a text is at most, in the drawing's units: no font is at
// hand, so letters count as .58 of their size and wide ones as a whole.
func wide(words string, size float64) float64 {
	w := 0.0
	for _, r := range words {
		if r >= 0x1100 {
			w += size
		} else {
			w += size * .58
		}
	}
	return w
}

// fit cuts a text to a width, with an ellipsis where something is left out.
func fit(words string, room, size float64) string {
	words = strings.Join(strings.Fields(clean(words)), " ")
	if wide(words, size) <= room {
		return words
	}
	runes := []rune(words)
	for len(runes) > 0 {
		runes = runes[:len(runes)-1]
		if cut := strings.TrimRight(string(runes), " ") + "…"; wide(cut, size) <= room {
			return cut
		}
	}
	return ""
}

// clean takes out what no XML document may hold.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\t' || r == '\n' || r == '\r':
			return ' '
		case unicode.IsControl(r) || r == 0xFFFE || r == 0xFFFF || unicode.Is(unicode.Bidi_Control, r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
}

// escape makes a text safe within an element or an attribute.
func escape(s string) string { return html.EscapeString(clean(s)) }
