package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"time"

	"github.com/spf13/cobra"

	"gaitpost/internal/clinical"
)

// trendOptions are the flags of trend. A nil number is worked out from the data.
type trendOptions struct {
	baseline, sigma *float64
	lambda, l       float64
	k, h            float64 // in sigmas
}

// baselineValues is how many values make the baseline where none is given.
const baselineValues = 8

// maxTrendRows bounds the pairs that the slope looks at.
const maxTrendRows = 3000

func newTrendCmd(e env) *cobra.Command {
	var o trendOptions
	var baseline, sigma float64
	cmd := &cobra.Command{
		Use:   "trend",
		Short: "Chart a series of values and say how it is moving, as JSON",
		Long: `Trend reads a CSV with the header date,value from standard input, oldest first,
and writes one JSON object: an EWMA chart with asymptotic limits, a two-sided
tabular CUSUM (both sums positive), the Theil-Sen slope per week with its 95 %
range, and the Mann-Kendall test. Numbers are not rounded; what cannot be worked
out is null. The EWMA starts from the baseline.

Dates are like 2026-03-31 or RFC 3339. Of two rows on one day the second counts,
with a note on stderr. Rows are counted with the header as row 1.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if cmd.Flags().Changed("baseline") {
				o.baseline = &baseline
			}
			if cmd.Flags().Changed("sigma") {
				o.sigma = &sigma
			}
			return trendRun(e, o)
		},
	}
	f := cmd.Flags()
	f.Float64Var(&baseline, "baseline", 0, "the usual value (default: mean of the first 8 values, or of all if fewer)")
	f.Float64Var(&sigma, "sigma", 0, "noise of one value (default: mean moving range / 1.128)")
	f.Float64Var(&o.lambda, "lambda", 0.2, "EWMA: weight of the newest value, above 0 to 1")
	f.Float64Var(&o.l, "L", 2.962, "EWMA: width of the limits in standard deviations of the average")
	f.Float64Var(&o.k, "k", 0.5, "CUSUM: allowance in sigmas")
	f.Float64Var(&o.h, "h", 5, "CUSUM: decision limit in sigmas")
	return cmd
}

// dated is one value of a series, its date as it was written.
type dated struct {
	row   int
	date  string
	at    time.Time
	value float64
}

// trendRow is one row of the output; the order of the fields is that of the keys.
type trendRow struct {
	Date      string   `json:"date"`
	Value     float64  `json:"value"`
	EWMA      float64  `json:"ewma"`
	Upper     *float64 `json:"upper"`
	Lower     *float64 `json:"lower"`
	CUSUMHigh *float64 `json:"cusum_high"`
	CUSUMLow  *float64 `json:"cusum_low"`
	Signal    string   `json:"signal"`
}

type trendOutput struct {
	Rows         []trendRow `json:"rows"`
	Baseline     float64    `json:"baseline"`
	Sigma        *float64   `json:"sigma"`
	SlopePerWeek *float64   `json:"slope_per_week"`
	SlopeLow     *float64   `json:"slope_low"`
	SlopeHigh    *float64   `json:"slope_high"`
	MannKendall  struct {
		S int     `json:"s"`
		Z float64 `json:"z"`
		P float64 `json:"p"`
	} `json:"mann_kendall"`
}

func trendRun(e env, o trendOptions) error {
	var p problems
	o.check(&p)
	series := readSeries(e.stdin, e.stderr, &p)
	if err := p.err(); err != nil {
		return err
	}
	values, weeks := make([]float64, len(series)), make([]float64, len(series))
	for i, d := range series {
		values[i] = d.value
		weeks[i] = d.at.Sub(series[0].at).Hours() / (24 * 7)
	}
	out := trendOutput{Baseline: o.baselineOf(values), Sigma: o.sigmaOf(values)}
	if out.Sigma == nil {
		fmt.Fprintln(e.stderr, "note: one value has no noise to work out; give --sigma for limits")
	} else if *out.Sigma == 0 {
		fmt.Fprintln(e.stderr, "note: all values are equal, so that there is no noise and no limit; give --sigma for limits")
	}
	out.Rows = o.chart(series, out.Baseline, out.Sigma)
	if s, ok := clinical.TheilSen(weeks, values, 0.95); ok {
		out.SlopePerWeek = &s.PerUnit
		if s.Interval {
			out.SlopeLow, out.SlopeHigh = &s.Low, &s.High
		}
	}
	k := clinical.MannKendall(weeks, values)
	out.MannKendall.S, out.MannKendall.Z, out.MannKendall.P = k.S, k.Z, k.P
	return json.NewEncoder(e.stdout).Encode(out)
}

func (o trendOptions) check(p *problems) {
	between := func(flag string, v, low, high float64, lowOpen bool) {
		if !(v >= low && v <= high) || (lowOpen && v == low) {
			from := fmt.Sprintf("%v", low)
			if lowOpen {
				from = "above " + from
			}
			p.add("--%s is %v; allowed is %s to %v", flag, v, from, high)
		}
	}
	const most = 1e12
	if o.baseline != nil {
		between("baseline", *o.baseline, -most, most, false)
	}
	if o.sigma != nil {
		between("sigma", *o.sigma, 0, most, true)
	}
	between("lambda", o.lambda, 0, 1, true)
	between("L", o.l, 0, 100, true)
	between("k", o.k, 0, 100, false)
	between("h", o.h, 0, 1000, true)
}

// readSeries reads date,value: oldest first, one value a day.
func readSeries(in io.Reader, notes io.Writer, p *problems) []dated {
	var series []dated
	for _, r := range readTable(in, []string{"date", "value"}, p) {
		at, badDate := isoDate(r.cells[0])
		if badDate != "" {
			p.at(r.row, "date", "%s", badDate)
		}
		v, badValue := number(r.cells[1])
		if badValue == "" && math.Abs(v) > 1e12 {
			badValue = fmt.Sprintf("%q is out of range", clip(r.cells[1]))
		}
		if badValue != "" {
			p.at(r.row, "value", "%s", badValue)
		}
		if badDate != "" || badValue != "" {
			continue
		}
		next := dated{r.row, r.cells[0], at, v}
		if n := len(series) - 1; n >= 0 {
			switch last := series[n]; {
			case at.Before(last.at):
				p.at(r.row, "date", "%s is before %s in row %d; rows go from old to new", r.cells[0], last.date, last.row)
				continue
			case sameDay(at, last.at):
				fmt.Fprintf(notes, "note: row %d takes the place of row %d on the same day\n", r.row, last.row)
				series[n] = next
				continue
			}
		}
		series = append(series, next)
	}
	if len(series) > maxTrendRows {
		p.add("%d values; the most is %d", len(series), maxTrendRows)
	}
	return series
}

func (o trendOptions) baselineOf(values []float64) float64 {
	if o.baseline != nil {
		return *o.baseline
	}
	m, _ := clinical.Mean(values[:min(len(values), baselineValues)])
	return m
}

func (o trendOptions) sigmaOf(values []float64) *float64 {
	if o.sigma != nil {
		return o.sigma
	}
	if s, ok := clinical.MovingRangeSigma(values); ok {
		return &s
	}
	return nil
}

// chart runs both charts along the series. Without noise there are no limits and no
// signals: a rounding error must not look like news.
func (o trendOptions) chart(series []dated, baseline float64, sigma *float64) []trendRow {
	limits := sigma != nil && *sigma > 0
	var noise float64
	if sigma != nil {
		noise = *sigma
	}
	ewma := clinical.EWMAChart{Center: baseline, Sigma: noise, Lambda: o.lambda, L: o.l}
	cusum := clinical.CUSUMChart{Center: baseline, Sigma: noise, K: o.k, H: o.h}
	lower, upper := ewma.Limits()
	rows := make([]trendRow, len(series))
	average, sums := baseline, cusum.Start()
	for i, d := range series {
		average = ewma.Next(average, d.value)
		sums = cusum.Next(sums, d.value)
		rows[i] = trendRow{Date: d.date, Value: d.value, EWMA: average}
		if !limits {
			continue
		}
		r, s := &rows[i], sums
		r.Upper, r.Lower, r.CUSUMHigh, r.CUSUMLow = &upper, &lower, &s.High, &s.Low
		switch {
		case average > upper || average < lower:
			r.Signal = "ewma"
		case s.High > cusum.Limit() || s.Low > cusum.Limit():
			r.Signal = "cusum"
		}
	}
	return rows
}
