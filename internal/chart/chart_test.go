package chart

import (
	"encoding/xml"
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the golden drawings anew")

var began = time.Date(2026, 1, 6, 18, 0, 0, 0, time.UTC).Unix()

const week = 7 * secondsPerDay

// weekly are check-ins a week apart; below 0 is one that was missed.
func weekly(values ...float64) []Point {
	var list []Point
	for i, v := range values {
		pt := Point{At: began + int64(i)*week, Value: v, Scored: v >= 0, Missed: v < 0,
			Pain: v * .8, Mobility: v * 1.2, HasPain: v >= 0, HasMobility: v >= 0}
		list = append(list, pt)
	}
	return list
}

// An invented dog: eight settled weeks, a missed one, a rise, a change of plan.
func bramble() IndexInput {
	points := weekly(31, 29, 33, 30, 28, 31, 32, 30, -1, 33, 46, 44, -1, -1, 38, 30, 24, 22)
	points[0].Before, points[3].Same, points[10].Alert = true, true, true
	points[5].Scored = false
	change := began + 11*week + 2*secondsPerDay
	return IndexInput{
		Title: "Bramble: index over time", Points: points, Threshold: 34.5, Detectable: 13,
		Baselines: []Baseline{{From: began + 2*week, To: began + 7*week, Value: 31, Weak: true}, {From: began + 7*week, To: began + 17*week, Value: 30.5}},
		Changes:   []Event{{began + 5*week, "start weight loss"}, {change, `start "paced" walks & <ramp>`}},
		Settling:  []Span{{change, change + 4*week}},
	}
}

func weighIns() WeightInput {
	in := WeightInput{Title: "Bramble: weight", Target: 27.1, StartAt: began, Start: 32.5, Slow: 1, Fast: 2,
		Milestones: []Milestone{{30.52, "6.1 %: 30.5 kg"}, {29.9, "8 %: 29.9 kg"}, {29.62, "8.85 %: 29.6 kg"}}}
	for i, kg := range []float64{32.5, 32.1, 31.9, 31.2, 31.3, 30.7, 30.4} {
		in.WeighIns = append(in.WeighIns, WeighIn{At: began + int64(i)*2*week, Kg: kg, Home: i%3 == 1})
	}
	return in
}

func grid() ItemsInput {
	in := ItemsInput{Title: "Bramble"}
	for i := range 15 {
		in.At = append(in.At, began+int64(i)*week)
	}
	for i, name := range []string{"Limping", "Soreness", "Night", "Getting up", "Walking", "Steps", "Into the car", "A very long activity that nobody could write on a card"} {
		r := ItemRow{Name: name, Usual: float64(i) / 2}
		for k := range 15 {
			r.Levels = append(r.Levels, (i+k)%7-2)
		}
		in.Rows = append(in.Rows, r)
	}
	in.Rows[2].Usual = -1
	return in
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join("testdata", name+".svg")
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(got+"\n"), 0o600))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, strings.TrimSpace(string(want)), got, "%s changed; look at it and run with -update", file)
}

func TestDrawingsStayAsTheyWere(t *testing.T) {
	t.Parallel()
	index, _ := Index(bramble())
	halves, _ := Halves(bramble())
	weight, _ := Weight(weighIns())
	items, _ := Items(grid())
	empty, _ := Index(IndexInput{Title: "Moss: index over time"})
	single, _ := Index(IndexInput{Title: "Pip: index over time", Points: weekly(25), Changes: []Event{{began, "start carprofen"}}})
	trend, _ := Trend(trendOf(bramble()))
	for name, svg := range map[string]string{"index": index, "halves": halves, "weight": weight, "items": items,
		"empty": empty, "single": single, "trend": trend} {
		golden(t, name, svg)
		wellFormed(t, svg)
	}
}

func trendOf(in IndexInput) TrendInput {
	out := TrendInput{Baseline: 30, HasBaseline: true}
	for _, pt := range in.Points {
		out.Points = append(out.Points, TrendPoint{pt.At, pt.Value, pt.scored()})
	}
	return out
}

// element is one element of a drawing as it was read back.
type element struct {
	name string
	at   map[string]string
	text string
}

// wellFormed reads a drawing as XML and wants every place of every element, and
// every text as wide as it may be, inside the view box. It returns the elements.
func wellFormed(t require.TestingT, svg string) []element {
	var list []element
	var width, height float64
	dec := xml.NewDecoder(strings.NewReader(svg))
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			break
		}
		require.NoError(t, err, svg)
		switch tok := tok.(type) {
		case xml.StartElement:
			e := element{name: tok.Name.Local, at: map[string]string{}}
			for _, a := range tok.Attr {
				require.NotContains(t, []string{"style", "onload", "onclick", "href"}, a.Name.Local)
				e.at[a.Name.Local] = a.Value
			}
			if e.name == "svg" {
				_, err := fmt.Sscanf(e.at["viewBox"], "0 0 %g %g", &width, &height)
				require.NoError(t, err)
			}
			list = append(list, e)
		case xml.CharData:
			if n := len(list) - 1; n >= 0 {
				list[n].text += string(tok)
			}
		}
	}
	require.NotContains(t, svg, "NaN")
	require.NotContains(t, svg, "Inf")
	for _, e := range list {
		require.NotContains(t, []string{"style", "script", "foreignObject", "image", "use"}, e.name)
		inside(t, e, width, height)
	}
	return list
}

func inside(t require.TestingT, e element, width, height float64) {
	n := func(name string) float64 {
		if e.at[name] == "" {
			return 0
		}
		v, err := strconv.ParseFloat(e.at[name], 64)
		require.NoError(t, err, "%s %s=%q", e.name, name, e.at[name])
		return v
	}
	place := func(x, y float64) {
		const least = -.01
		require.True(t, x >= least && y >= least && x <= width+.01 && y <= height+.01, "%s at %v,%v is outside %v,%v: %v", e.name, x, y, width, height, e)
	}
	switch e.name {
	case "line":
		place(n("x1"), n("y1"))
		place(n("x2"), n("y2"))
	case "rect":
		require.GreaterOrEqual(t, n("width"), 0.0)
		require.GreaterOrEqual(t, n("height"), 0.0)
		place(n("x"), n("y"))
		place(n("x")+n("width"), n("y")+n("height"))
	case "circle":
		place(n("cx")-n("r"), n("cy")-n("r"))
		place(n("cx")+n("r"), n("cy")+n("r"))
	case "polyline", "polygon":
		for _, pair := range strings.Fields(e.at["points"]) {
			var x, y float64
			_, err := fmt.Sscanf(pair, "%g,%g", &x, &y)
			require.NoError(t, err)
			place(x, y)
		}
	case "text":
		size := normal
		if e.at["font-size"] != "" {
			size = n("font-size")
		}
		x, w := n("x"), wide(e.text, size)
		switch e.at["text-anchor"] {
		case "middle":
			x -= w / 2
		case "end":
			x -= w
		}
		place(x, n("y")-size*.9)
		place(x+w, n("y")+size*.3)
	}
}

// odd is what could go wrong: numbers that are none, times from a clock set
// wrong, words of any kind.
func odd(r *rand.Rand) float64 {
	return [...]float64{math.NaN(), math.Inf(1), math.Inf(-1), -5, 1e300, 0, 100, 250, r.Float64() * 100, r.Float64() * 100, r.Float64() * 100}[r.IntN(11)]
}

func oddTime(r *rand.Rand) int64 {
	if r.IntN(12) == 0 {
		return [...]int64{0, -1, math.MaxInt64, math.MinInt64, 1}[r.IntN(5)]
	}
	return began + r.Int64N(12*52*week)
}

func oddWords(r *rand.Rand) string {
	return [...]string{"", "start walks", "</text><script>alert(1)</script>", "a\x00b\x1b\n\t", "\xff\xfe bad", "“rounds” & 'marks' \"",
		strings.Repeat("very long ", 80), "\u202emirrored", "水泳を始める水泳を始める水泳を始める水泳を始める水泳を始める水泳を始める水泳を始める", "🐕🐕🐕"}[r.IntN(10)]
}

func oddIndex(r *rand.Rand) IndexInput {
	in := IndexInput{Title: oddWords(r), Threshold: odd(r), Detectable: odd(r)}
	if r.IntN(3) == 0 {
		in.From, in.To = oddTime(r), oddTime(r)
	}
	for range r.IntN(30) * r.IntN(20) {
		in.Points = append(in.Points, Point{At: oddTime(r), Value: odd(r), Pain: odd(r), Mobility: odd(r), Scored: r.IntN(4) > 0, Missed: r.IntN(5) == 0,
			Before: r.IntN(9) == 0, Same: r.IntN(9) == 0, Alert: r.IntN(9) == 0, HasPain: r.IntN(4) > 0, HasMobility: r.IntN(4) > 0})
	}
	for range r.IntN(4) {
		in.Baselines = append(in.Baselines, Baseline{From: oddTime(r), To: oddTime(r), Value: odd(r), Weak: r.IntN(2) == 0})
	}
	for range r.IntN(14) {
		in.Changes = append(in.Changes, Event{oddTime(r), oddWords(r)})
		in.Settling = append(in.Settling, Span{oddTime(r), oddTime(r)})
	}
	return in
}

func TestNoInputBreaksADrawing(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	for range 100 {
		in := oddIndex(r)
		for _, draw := range []func(IndexInput) (string, Table){Index, Halves} {
			svg, table := draw(in)
			wellFormed(t, svg)
			sameWidth(t, table)
			require.GreaterOrEqual(t, len(table.Rows), len(in.Points))
		}
		svg, table := Trend(trendOf(in))
		wellFormed(t, svg)
		sameWidth(t, table)

		w := WeightInput{Title: oddWords(r), Target: odd(r), StartAt: oddTime(r), Start: odd(r), Slow: odd(r), Fast: odd(r), To: oddTime(r)}
		g := ItemsInput{Title: oddWords(r)}
		for range r.IntN(30) {
			w.WeighIns = append(w.WeighIns, WeighIn{oddTime(r), odd(r), r.IntN(2) == 0})
			g.At = append(g.At, oddTime(r))
		}
		for range r.IntN(9) {
			w.Milestones = append(w.Milestones, Milestone{odd(r), oddWords(r)})
			row := ItemRow{Name: oddWords(r), Usual: odd(r)}
			for range r.IntN(40) {
				row.Levels = append(row.Levels, r.IntN(12)-6)
			}
			g.Rows = append(g.Rows, row)
		}
		svg, table = Weight(w)
		wellFormed(t, svg)
		sameWidth(t, table)
		svg, table = Items(g)
		wellFormed(t, svg)
		sameWidth(t, table)
	}
}

func sameWidth(t *testing.T, table Table) {
	t.Helper()
	require.NotEmpty(t, table.Caption+" ")
	for _, row := range table.Rows {
		require.Len(t, row, len(table.Headers))
	}
}

func TestAMissedCheckInIsAGap(t *testing.T) {
	t.Parallel()
	svg, table := Index(IndexInput{Title: "Bramble", Points: weekly(20, 22, -1, 30, 31)})
	lines := 0
	for _, e := range wellFormed(t, svg) {
		if e.name == "polyline" && e.at["class"] == "course" {
			lines++
			require.Len(t, strings.Fields(e.at["points"]), 2)
		}
	}
	require.Equal(t, 2, lines)
	require.Equal(t, []string{"20 Jan 2026", "–", "–", "–", "missed"}, table.Rows[2])
	require.Contains(t, svg, "1 missed")
	require.Contains(t, svg, ">missed</text>")
}

// Places are where the figures say: 0 at the foot, 100 at the top, and a
// threshold of 50 half way.
func TestTheIndexStandsWhereItBelongs(t *testing.T) {
	t.Parallel()
	svg, _ := Index(IndexInput{Title: "Bramble", Points: weekly(0, 50, 100), Threshold: 50,
		Baselines: []Baseline{{From: began, To: began + 2*week, Value: 25}}})
	at := map[string]element{}
	for _, e := range wellFormed(t, svg) {
		at[e.at["class"]] = e
	}
	places := strings.Fields(at["course"].at["points"])
	require.Len(t, places, 3)
	for i, want := range []string{",236", ",131", ",26"} {
		require.True(t, strings.HasSuffix(places[i], want), places[i])
	}
	require.Equal(t, "131", at["threshold"].at["y1"])
	require.Equal(t, "183.5", at["baseline"].at["y1"])
	require.NotEqual(t, at["threshold"].at["stroke-dasharray"], at["baseline"].at["stroke-dasharray"])
	for _, words := range []string{">worst<", ">best<", "baseline 25.0", "alert from 50.0", ">100<", ">0<"} {
		require.Contains(t, svg, words)
	}
}

// Nothing is told by colour: the drawings have none.
func TestThereIsNoColour(t *testing.T) {
	t.Parallel()
	for _, draw := range []func(IndexInput) (string, Table){Index, Halves} {
		svg, _ := draw(bramble())
		for _, e := range wellFormed(t, svg) {
			for _, a := range []string{"fill", "stroke"} {
				require.Contains(t, []string{"", "none", "currentColor"}, e.at[a])
			}
		}
	}
}

func TestLongTimesHaveFewLabels(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	for _, days := range []int64{1, 13, 30, 61, 120, 364, 800, 2000, 6000, 40000} {
		p := plot{left: 0, right: 560, zone: zone}
		p.span(began, began+days*secondsPerDay)
		ticks := p.ticks()
		require.LessOrEqual(t, len(ticks), mostTicks, days)
		require.GreaterOrEqual(t, len(ticks), 2, days)
		for i := 1; i < len(ticks); i++ {
			require.Greater(t, ticks[i].at, ticks[i-1].at)
			apart := p.x(ticks[i].at) - p.x(ticks[i-1].at)
			require.Greater(t, apart, wide(ticks[i].label, small), "%d days: labels touch", days)
		}
	}
}

func TestLabelsBesideAPlotDoNotOverlap(t *testing.T) {
	t.Parallel()
	svg, _ := Weight(weighIns())
	var heights []float64
	for _, e := range wellFormed(t, svg) {
		if e.name == "text" && strings.Contains(e.text, "kg") && strings.Contains(e.text, "%") || strings.HasPrefix(e.text, "target") {
			y, err := strconv.ParseFloat(e.at["y"], 64)
			require.NoError(t, err)
			heights = append(heights, y)
		}
	}
	require.Len(t, heights, 4)
	for i := 1; i < len(heights); i++ {
		require.GreaterOrEqual(t, heights[i]-heights[i-1], 12.9)
	}
}

func TestWordsAreCutAndEscaped(t *testing.T) {
	t.Parallel()
	require.Equal(t, "a…", fit("abcdef", 18, 11))
	require.Empty(t, fit("abcdef", 2, 11))
	require.Equal(t, "one two", fit(" one\n\ttwo ", 500, 11))
	require.Equal(t, "&lt;b&gt; &amp; &#34;", escape("<b>\x00 & \""))
}
