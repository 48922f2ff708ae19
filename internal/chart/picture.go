package chart

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"time"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// PictureInput is what a small picture of a course shows. It is for messages and
// mail, which take no SVG.
type PictureInput struct {
	Title string
	Zone  *time.Location // nil is UTC
	// Points are the scored check-ins of an index of 0 best to 100 worst, oldest
	// first; what is missed or unscored leaves a gap.
	Points    []Point
	Baseline  float64 // points
	HasBase   bool
	Threshold float64 // 0 for none
	// Upward draws better upwards, as owners read a picture; otherwise worse is
	// up, as the practitioner's drawings have it.
	Upward bool
	Foot   string // one line below
}

const (
	pictureWidth, pictureHeight = 640, 320
	pictureLeft, pictureRight   = 56, 616
	pictureTop, pictureBottom   = 48, 262
	pictureText                 = 17 // pixels
)

var (
	ink   = color.RGBA{0x1f, 0x24, 0x2b, 0xff}
	faint = color.RGBA{0x8d, 0x96, 0xa0, 0xff}
	blue  = color.RGBA{0x1d, 0x5f, 0xa8, 0xff}
	rust  = color.RGBA{0x9c, 0x4a, 0x1a, 0xff}
)

// Picture draws a course as a PNG of 640 × 320 pixels. The same input gives the
// same bytes. Errors come from the encoder or the typeface, never from the data:
// a course without points is a picture that says so.
func Picture(in PictureInput) ([]byte, error) {
	c, err := newPicture(in.Zone)
	if err != nil {
		return nil, err
	}
	c.write(pictureLeft, 28, in.Title, ink)
	c.write(pictureLeft, pictureHeight-12, in.Foot, ink)
	var scored []Point
	for _, p := range in.Points {
		if p.scored() {
			scored = append(scored, p)
		}
	}
	if len(scored) == 0 {
		c.write(pictureLeft+160, (pictureTop+pictureBottom)/2, "No check-in yet", ink)
		return c.png()
	}
	p := newPictureScale(scored, in)
	c.axis(&p, in)
	if in.HasBase {
		c.level(p.y(in.Baseline), faint, "usual", 6)
	}
	if in.Threshold > 0 {
		c.level(p.y(in.Threshold), rust, "alert", 2)
	}
	c.course(&p, in.Points)
	return c.png()
}

const oneDay = 24 * 3600 // seconds

// pictureScale turns values into places.
type pictureScale struct {
	from, to int64
	upward   bool
}

func newPictureScale(scored []Point, in PictureInput) pictureScale {
	s := pictureScale{from: scored[0].At, to: scored[len(scored)-1].At, upward: in.Upward}
	if s.from == s.to {
		s.from, s.to = s.from-oneDay, s.to+oneDay
	}
	return s
}

func (s *pictureScale) x(at int64) float64 {
	share := float64(at-s.from) / float64(s.to-s.from)
	return pictureLeft + share*(pictureRight-pictureLeft)
}

func (s *pictureScale) y(v float64) float64 {
	share := math.Min(math.Max(v, 0), 100) / 100
	if s.upward {
		share = 1 - share
	}
	return pictureBottom - share*(pictureBottom-pictureTop)
}

// picture is a drawing under way.
type picture struct {
	img  *image.RGBA
	face font.Face
	zone *time.Location
}

func newPicture(zone *time.Location) (*picture, error) {
	if zone == nil {
		zone = time.UTC
	}
	parsed, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("reading the typeface: %w", err)
	}
	face, err := opentype.NewFace(parsed, &opentype.FaceOptions{Size: pictureText, DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		return nil, fmt.Errorf("setting the typeface: %w", err)
	}
	img := image.NewRGBA(image.Rect(0, 0, pictureWidth, pictureHeight))
	draw.Draw(img, img.Bounds(), image.White, image.Point{}, draw.Src)
	return &picture{img, face, zone}, nil
}

func (c *picture) png() ([]byte, error) {
	var b bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&b, c.img); err != nil {
		return nil, fmt.Errorf("writing a picture: %w", err)
	}
	return b.Bytes(), nil
}

// write sets a line of text with its foot at y, cut where the picture ends.
func (c *picture) write(x, y float64, text string, col color.Color) {
	room := fixed.I(pictureWidth - int(x) - 8)
	runes := []rune(text)
	for len(runes) > 0 && font.MeasureString(c.face, string(runes)) > room {
		runes = runes[:len(runes)-1]
	}
	d := font.Drawer{Dst: c.img, Src: image.NewUniform(col), Face: c.face, Dot: fixed.P(int(x), int(y))}
	d.DrawString(string(runes))
}

func (c *picture) axis(p *pictureScale, in PictureInput) {
	c.line(pictureLeft, pictureBottom, pictureRight, pictureBottom, 1.5, faint)
	good, bad := "easier", "harder"
	top, bottom := bad, good
	if in.Upward {
		top, bottom = good, bad
	}
	c.write(4, pictureTop+6, top, ink)
	c.write(4, pictureBottom, bottom, ink)
	const dated = "2 Jan"
	c.write(pictureLeft, pictureBottom+22, time.Unix(p.from, 0).In(c.zone).Format(dated), ink)
	end := time.Unix(p.to, 0).In(c.zone).Format(dated)
	width := font.MeasureString(c.face, end).Ceil()
	c.write(float64(pictureRight-width), pictureBottom+22, end, ink)
}

// level draws a dashed line across, named at its right end.
func (c *picture) level(y float64, col color.Color, name string, dash float64) {
	for x := float64(pictureLeft); x < pictureRight; x += 2 * dash {
		c.line(x, y, math.Min(x+dash, pictureRight), y, 1.5, col)
	}
	width := font.MeasureString(c.face, name).Ceil()
	c.write(float64(pictureRight-width), y-5, name, ink)
}

// course joins neighbouring check-ins and marks each.
func (c *picture) course(p *pictureScale, points []Point) {
	var last *Point
	for i := range points {
		pt := &points[i]
		if !pt.scored() {
			last = nil
			continue
		}
		if last != nil {
			c.line(p.x(last.At), p.y(last.Value), p.x(pt.At), p.y(pt.Value), 2.5, blue)
		}
		c.dot(p.x(pt.At), p.y(pt.Value), 4, blue)
		last = pt
	}
}

// line draws a straight line of some width.
func (c *picture) line(x1, y1, x2, y2, width float64, col color.Color) {
	length := math.Hypot(x2-x1, y2-y1)
	if length == 0 {
		return
	}
	dx, dy := -(y2-y1)/length*width/2, (x2-x1)/length*width/2
	c.fill(col, [][2]float64{{x1 + dx, y1 + dy}, {x2 + dx, y2 + dy}, {x2 - dx, y2 - dy}, {x1 - dx, y1 - dy}})
}

func (c *picture) dot(x, y, radius float64, col color.Color) {
	const corners = 24
	shape := make([][2]float64, corners)
	for i := range shape {
		a := 2 * math.Pi * float64(i) / corners
		shape[i] = [2]float64{x + radius*math.Cos(a), y + radius*math.Sin(a)}
	}
	c.fill(col, shape)
}

func (c *picture) fill(col color.Color, shape [][2]float64) {
	r := vector.NewRasterizer(pictureWidth, pictureHeight)
	r.MoveTo(float32(shape[0][0]), float32(shape[0][1]))
	for _, p := range shape[1:] {
		r.LineTo(float32(p[0]), float32(p[1]))
	}
	r.ClosePath()
	r.Draw(c.img, c.img.Bounds(), image.NewUniform(col), image.Point{})
}
