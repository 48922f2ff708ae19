package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"gaitpost/internal/clinical"
)

func newReliabilityCmd(e env) *cobra.Command {
	var table bool
	cmd := &cobra.Command{
		Use:   "reliability",
		Short: "Say from repeated check-ins how much noise to assume, as JSON",
		Long: `Reliability reads repeated check-ins from standard input: two or more of each
dog, a few days apart, while nothing about the dog or its plan changed. It says how
far two check-ins of an unchanged dog differ, and what noise to set instead of the
default of 7.7 points.

Two forms of CSV, told apart by the header:
  dog,date,limping,soreness,night,rising,walking,steps,own1,own2
      one row per check-in; answers 0 to 4, X for "does not apply", empty for
      not answered
  subject,first,second
      one row per dog; two values of any score (the index, 0 to 100)

Rows are counted with the header as row 1.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return reliabilityRun(e, table) },
	}
	cmd.Flags().BoolVar(&table, "table", false, "write a table for people instead of JSON")
	return cmd
}

// repeatedDog is one dog's repeated check-ins, oldest first.
type repeatedDog struct {
	name     string
	at       []time.Time
	items    []clinical.Items
	index    []float64 // of the scored ones
	unscored int
	lastRow  int
}

type reliabilityICC struct {
	OneWay    *float64 `json:"icc_1_1"`
	Random    *float64 `json:"icc_2_1"`
	Fixed     *float64 `json:"icc_3_1"`
	OneWayK   *float64 `json:"icc_1_k"`
	RandomK   *float64 `json:"icc_2_k"`
	FixedK    *float64 `json:"icc_3_k"`
	Occasions int      `json:"occasions"`
	Reason    string   `json:"reason"`
}

type reliabilityAlpha struct {
	Value  *float64 `json:"value"`
	Dogs   int      `json:"dogs"`
	Items  int      `json:"items"`
	Reason string   `json:"reason"`
}

type reliabilityItem struct {
	Item   string   `json:"item"`
	Kappa  *float64 `json:"weighted_kappa"`
	Pairs  int      `json:"pairs"`
	Reason string   `json:"reason"`
}

type reliabilityOutput struct {
	Dogs     int `json:"dogs"`
	CheckIns int `json:"check_ins"`

	// What one check-in's noise is: within-dog standard deviation, its 95 % range,
	// and how far two check-ins of an unchanged dog differ at most, 19 times of 20.
	Sigma         float64 `json:"sigma"`
	SigmaLow      float64 `json:"sigma_low"`
	SigmaHigh     float64 `json:"sigma_high"`
	Repeatability float64 `json:"repeatability"`
	SigmaDefault  float64 `json:"sigma_default"`
	SigmaToAssume float64 `json:"sigma_to_assume"`
	Verdict       string  `json:"verdict"`
	Why           string  `json:"why"`

	SecondMinusFirst float64           `json:"second_minus_first"`
	ICC              reliabilityICC    `json:"icc"`
	Alpha            *alphaByHalf      `json:"alpha"`
	Items            []reliabilityItem `json:"items"`
	Notes            []string          `json:"notes"`
}

type alphaByHalf struct {
	All      reliabilityAlpha `json:"all"`
	Pain     reliabilityAlpha `json:"pain"`
	Mobility reliabilityAlpha `json:"mobility"`
}

func reliabilityRun(e env, table bool) error {
	in := bufio.NewReader(e.stdin)
	var p problems
	dogs, checkIns := readRepeated(in, &p)
	if err := p.err(); err != nil {
		return err
	}
	out, err := reliabilityOf(dogs, checkIns)
	if err != nil {
		return err
	}
	if table {
		return out.table(e.stdout)
	}
	return json.NewEncoder(e.stdout).Encode(out)
}

// readRepeated reads either form; the second result says whether it was check-ins
// with answers.
func readRepeated(in *bufio.Reader, p *problems) ([]*repeatedDog, bool) {
	head, _ := in.Peek(512)
	first, _, _ := bytes.Cut(head, []byte("\n"))
	if bytes.Contains(bytes.ToLower(first), []byte("subject")) {
		return readPairs(in, p), false
	}
	return readCheckIns(in, p), true
}

func readPairs(in io.Reader, p *problems) []*repeatedDog {
	var dogs []*repeatedDog
	seen := map[string]int{}
	for _, r := range readTable(in, []string{"subject", "first", "second"}, p) {
		d := &repeatedDog{name: r.cells[0]}
		if d.name == "" {
			p.at(r.row, "subject", "is empty; a name or number is needed")
		} else if row, ok := seen[d.name]; ok {
			p.at(r.row, "subject", "%q was already in row %d", clip(d.name), row)
		}
		seen[d.name] = r.row
		for i, column := range []string{"first", "second"} {
			v, bad := number(r.cells[i+1])
			if bad == "" && math.Abs(v) > 1e9 {
				bad = fmt.Sprintf("%q is out of range", clip(r.cells[i+1]))
			}
			if bad != "" {
				p.at(r.row, column, "%s", bad)
			}
			d.index = append(d.index, v)
		}
		dogs = append(dogs, d)
	}
	return dogs
}

func checkInColumns() []string {
	columns := []string{"dog", "date"}
	for i := range clinical.ItemCount {
		columns = append(columns, clinical.Item(i).String())
	}
	return columns
}

func readCheckIns(in io.Reader, p *problems) []*repeatedDog {
	columns := checkInColumns()
	var dogs []*repeatedDog
	byName := map[string]*repeatedDog{}
	for _, r := range readTable(in, columns, p) {
		before := len(*p)
		name := r.cells[0]
		if name == "" {
			p.at(r.row, "dog", "is empty; a name or number is needed")
		}
		at, bad := isoDate(r.cells[1])
		if bad != "" {
			p.at(r.row, "date", "%s", bad)
		}
		items := readLevels(r, columns, p)
		d := byName[name]
		if d == nil {
			d = &repeatedDog{name: name}
			byName[name], dogs = d, append(dogs, d)
		}
		if n := len(d.at) - 1; bad == "" && n >= 0 && at.Before(d.at[n]) {
			p.at(r.row, "date", "%s is before row %d of the same dog; a dog's rows go from old to new", r.cells[1], d.lastRow)
		}
		if len(*p) == before {
			d.add(r.row, at, items)
		}
	}
	return dogs
}

func readLevels(r tableRow, columns []string, p *problems) clinical.Items {
	items := clinical.NoAnswers()
	for i := range items {
		switch s := r.cells[2+i]; {
		case s == "":
		case strings.EqualFold(s, "x"):
			items[i] = clinical.NotApplicable
		case len(s) == 1 && s[0] >= '0' && s[0] <= '4':
			items[i] = clinical.Level(s[0] - '0')
		default:
			p.at(r.row, columns[2+i], "%q is not 0 to 4, X or empty", clip(s))
		}
	}
	return items
}

func (d *repeatedDog) add(row int, at time.Time, items clinical.Items) {
	d.at, d.items, d.lastRow = append(d.at, at), append(d.items, items), row
	if x, err := clinical.IndexOf(items); err == nil && x.Scored {
		d.index = append(d.index, float64(x.Total))
		return
	}
	d.unscored++
}

// fewDogs: below it the figures are shown and the default is kept.
const fewDogs = 10

func reliabilityOf(dogs []*repeatedDog, checkIns bool) (reliabilityOutput, error) {
	rows := make([][]float64, len(dogs))
	for i, d := range dogs {
		rows[i] = d.index
	}
	r, err := clinical.RepeatabilityOf(rows)
	if err != nil {
		return reliabilityOutput{}, fmt.Errorf("nothing can be said yet: %w", err)
	}
	th := clinical.DefaultThresholds()
	out := reliabilityOutput{
		Dogs: r.Subjects, CheckIns: r.Readings,
		Sigma: r.Within, SigmaLow: r.Low, SigmaHigh: r.High, Repeatability: r.Coefficient,
		SigmaDefault: th.SigmaDefault, ICC: iccOf(rows, r), Items: []reliabilityItem{},
		Notes: notesOf(dogs),
	}
	out.SecondMinusFirst = meanShift(rows)
	out.decide(th)
	if checkIns {
		out.Alpha = alphasOf(dogs)
		for i := range clinical.ItemCount {
			out.Items = append(out.Items, kappaOf(dogs, clinical.Item(i)))
		}
	}
	return out, nil
}

// decide names what noise to assume. The default stays where the dogs are few, or
// where their own noise cannot be told from it.
func (o *reliabilityOutput) decide(th clinical.Thresholds) {
	o.SigmaToAssume = o.SigmaDefault
	switch {
	case o.Dogs < fewDogs:
		o.Verdict = "too-few-dogs"
		o.Why = fmt.Sprintf("%d dogs are too few to replace the default; from %d on it can be done.", o.Dogs, fewDogs)
	case o.SigmaLow <= o.SigmaDefault && o.SigmaDefault <= o.SigmaHigh:
		o.Verdict = "keep-default"
		o.Why = fmt.Sprintf("The noise found, %.1f (%.1f to %.1f), cannot be told from the default of %.1f.",
			o.Sigma, o.SigmaLow, o.SigmaHigh, o.SigmaDefault)
	default:
		o.SigmaToAssume = max(th.SigmaFloor, o.Sigma)
		o.Verdict = "use-own"
		o.Why = fmt.Sprintf("The noise found, %.1f (%.1f to %.1f), differs from the default of %.1f; assume %.1f.",
			o.Sigma, o.SigmaLow, o.SigmaHigh, o.SigmaDefault, o.SigmaToAssume)
	}
}

// iccOf uses as many check-ins of each dog as every dog has.
func iccOf(rows [][]float64, r clinical.Repeatability) reliabilityICC {
	k := math.MaxInt
	for _, row := range rows {
		if len(row) >= 2 {
			k = min(k, len(row))
		}
	}
	var even [][]float64
	for _, row := range rows {
		if len(row) >= 2 {
			even = append(even, row[:k])
		}
	}
	out := reliabilityICC{Occasions: k}
	a, err := clinical.AgreementOf(even)
	if err != nil {
		out.Reason = err.Error()
		return out
	}
	out.OneWay = &r.OneWay
	out.Random, out.Fixed = &a.Random, &a.Fixed
	out.OneWayK, out.RandomK, out.FixedK = &a.OneWayK, &a.RandomK, &a.FixedK
	return out
}

// meanShift is the mean of second − first: not 0 where owners answer otherwise the
// second time.
func meanShift(rows [][]float64) float64 {
	var d []float64
	for _, row := range rows {
		if len(row) >= 2 {
			d = append(d, row[1]-row[0])
		}
	}
	m, _ := clinical.Mean(d)
	return m
}

func notesOf(dogs []*repeatedDog) []string {
	notes := []string{}
	var once, unscored, far int
	for _, d := range dogs {
		unscored += d.unscored
		if len(d.index) < 2 {
			once++
		}
		if n := len(d.at); n > 1 && d.at[n-1].Sub(d.at[0]) > time.Duration(14*24*(n-1))*time.Hour {
			far++
		}
	}
	if once > 0 {
		notes = append(notes, fmt.Sprintf("%d dogs have only one scored check-in and were left out", once))
	}
	if unscored > 0 {
		notes = append(notes, fmt.Sprintf("%d check-ins have too few answers for an index and were left out", unscored))
	}
	if far > 0 {
		notes = append(notes, fmt.Sprintf("%d dogs have check-ins more than two weeks apart; real change may look like noise", far))
	}
	return notes
}

func alphasOf(dogs []*repeatedDog) *alphaByHalf {
	return &alphaByHalf{
		All:      alphaOf(dogs, 0, clinical.ItemCount),
		Pain:     alphaOf(dogs, 0, int(clinical.Rising)),
		Mobility: alphaOf(dogs, int(clinical.Rising), clinical.ItemCount),
	}
}

// alphaOf takes each dog's first check-in with all of these items answered: a dog
// counts once, since repeats of one dog are not independent.
func alphaOf(dogs []*repeatedDog, from, to int) reliabilityAlpha {
	out := reliabilityAlpha{Items: to - from}
	columns := make([][]float64, to-from)
	for _, d := range dogs {
		for _, items := range d.items {
			if !complete(items[from:to]) {
				continue
			}
			out.Dogs++
			for i, l := range items[from:to] {
				columns[i] = append(columns[i], float64(l))
			}
			break
		}
	}
	if out.Dogs < 3 {
		out.Reason = "fewer than three dogs answered all of these items"
		return out
	}
	a, err := clinical.Alpha(clinical.Covariance(columns))
	if err != nil {
		out.Reason = err.Error()
		return out
	}
	out.Value = &a
	return out
}

func complete(levels []clinical.Level) bool {
	for _, l := range levels {
		if !l.Answered() {
			return false
		}
	}
	return true
}

// kappaOf compares each dog's first two check-ins on one item, with quadratic
// weights.
func kappaOf(dogs []*repeatedDog, item clinical.Item) reliabilityItem {
	const levels = int(clinical.MaxLevel) + 1
	out := reliabilityItem{Item: item.String()}
	table := make([][]float64, levels)
	for i := range table {
		table[i] = make([]float64, levels)
	}
	for _, d := range dogs {
		if len(d.items) < 2 || !d.items[0][item].Answered() || !d.items[1][item].Answered() {
			continue
		}
		out.Pairs++
		table[d.items[0][item]][d.items[1][item]]++
	}
	k, err := clinical.WeightedKappa(table, clinical.DistanceWeights(levels, 2))
	if err != nil {
		out.Reason = "everybody gave the same answer"
		if out.Pairs == 0 {
			out.Reason = "nobody answered it twice"
		}
		return out
	}
	out.Kappa = &k
	return out
}

// table writes the same for people.
func (o *reliabilityOutput) table(w io.Writer) error {
	var b strings.Builder
	value := func(v *float64, reason string) string {
		if v == nil {
			return "-  (" + reason + ")"
		}
		return fmt.Sprintf("%.2f", *v)
	}
	fmt.Fprintf(&b, "Dogs with repeats        %d (%d check-ins)\n", o.Dogs, o.CheckIns)
	fmt.Fprintf(&b, "Noise of one check-in    %.1f points (95 %% range %.1f to %.1f); default %.1f\n", o.Sigma, o.SigmaLow, o.SigmaHigh, o.SigmaDefault)
	fmt.Fprintf(&b, "Two check-ins differ by  %.1f points at most, 19 times of 20\n", o.Repeatability)
	fmt.Fprintf(&b, "Second minus first       %+.1f points on average\n", o.SecondMinusFirst)
	fmt.Fprintf(&b, "ICC(1,1) (2,1) (3,1)     %s  %s  %s\n", value(o.ICC.OneWay, o.ICC.Reason), value(o.ICC.Random, o.ICC.Reason), value(o.ICC.Fixed, o.ICC.Reason))
	if o.Alpha != nil {
		fmt.Fprintf(&b, "Alpha, all items         %s\n", value(o.Alpha.All.Value, o.Alpha.All.Reason))
		fmt.Fprintf(&b, "Alpha, pain              %s\n", value(o.Alpha.Pain.Value, o.Alpha.Pain.Reason))
		fmt.Fprintf(&b, "Alpha, mobility          %s\n", value(o.Alpha.Mobility.Value, o.Alpha.Mobility.Reason))
	}
	for _, i := range o.Items {
		fmt.Fprintf(&b, "Weighted kappa, %-8s %s\n", i.Item, value(i.Kappa, i.Reason))
	}
	for _, n := range o.Notes {
		fmt.Fprintf(&b, "Note: %s.\n", n)
	}
	fmt.Fprintf(&b, "%s\n", o.Why)
	_, err := io.WriteString(w, b.String())
	return err
}
