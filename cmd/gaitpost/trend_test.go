package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// ran is what one command line did.
type ran struct {
	code           int
	stdout, stderr string
}

// runCommand runs one command line with a standard input, as a shell would.
func runCommand(t *testing.T, stdin string, args ...string) ran {
	t.Helper()
	var out, errs bytes.Buffer
	code := run(context.Background(), args, env{
		stdin: strings.NewReader(stdin), stdout: &out, stderr: &errs,
		getenv: func(string) string { return "" },
		now:    func() time.Time { return time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC) },
	})
	return ran{code, out.String(), errs.String()}
}

// object reads the one JSON object that a command wrote.
func (r ran) object(t *testing.T, into any) {
	t.Helper()
	require.Equal(t, 0, r.code, r.stderr)
	d := json.NewDecoder(strings.NewReader(r.stdout))
	d.DisallowUnknownFields()
	require.NoError(t, d.Decode(into), r.stdout)
	require.False(t, d.More(), "one object")
}

func publishedFigures(t *testing.T, name string, into any) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", name))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(b, into))
}

// series writes values as a CSV, one a week.
func series(values ...float64) string {
	var b strings.Builder
	b.WriteString("date,value\n")
	at := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)
	for i, v := range values {
		fmt.Fprintf(&b, "%s,%v\n", at.AddDate(0, 0, 7*i).Format(time.DateOnly), v)
	}
	return b.String()
}

// Source: NIST/SEMATECH e-Handbook 6.3.2.4.
func TestTrendEWMA(t *testing.T) {
	var f struct {
		Data, EWMA   []float64
		Upper, Lower float64
	}
	publishedFigures(t, "ewma-nist.json", &f)
	var out trendOutput
	runCommand(t, series(f.Data...), "trend", "--baseline", "50", "--sigma", "2.0539", "--lambda", "0.3", "--L", "3").object(t, &out)
	require.Len(t, out.Rows, 20)
	for i, r := range out.Rows {
		require.InDelta(t, f.EWMA[i], r.EWMA, 0.0051)
		require.InDelta(t, f.Upper, *r.Upper, 1e-4)
		require.InDelta(t, f.Lower, *r.Lower, 1e-4)
		require.Empty(t, r.Signal)
		require.Equal(t, f.Data[i], r.Value)
	}
	require.Equal(t, "2026-01-05", out.Rows[0].Date)
}

// Source: NIST/SEMATECH e-Handbook 6.3.2.3.
func TestTrendCUSUM(t *testing.T) {
	var f struct {
		Data, High, Low []float64
		First           int `json:"first_signal_group"`
	}
	publishedFigures(t, "cusum-nist.json", &f)
	var out trendOutput
	// Limits of the average far out, so that only the sums can signal.
	runCommand(t, series(f.Data...), "trend", "--baseline", "325", "--sigma", "0.635",
		"--k", "0.5", "--h", fmt.Sprint(4.1959/0.635), "--L", "50").object(t, &out)
	for i, r := range out.Rows {
		require.InDelta(t, f.High[i], *r.CUSUMHigh, 1e-9)
		require.InDelta(t, f.Low[i], *r.CUSUMLow, 1e-9)
		require.Equal(t, i+1 >= f.First, r.Signal == "cusum", "group %d", i+1)
	}
}

func TestTrendEWMASpeaksFirst(t *testing.T) {
	var out trendOutput
	runCommand(t, series(0, 0, 50, 50), "trend", "--baseline", "0", "--sigma", "1").object(t, &out)
	require.Equal(t, "ewma", out.Rows[3].Signal)
	require.Greater(t, *out.Rows[3].CUSUMHigh, 5.0)
}

// Source: NIST/SEMATECH e-Handbook 6.3.2.2 for the noise of the data.
func TestTrendDefaultsComeFromTheData(t *testing.T) {
	var f struct {
		Data      []float64
		MeanRange float64 `json:"mean_moving_range"`
	}
	publishedFigures(t, "individuals-nist.json", &f)
	var out trendOutput
	runCommand(t, series(f.Data...), "trend").object(t, &out)
	require.InDelta(t, (49.6+47.6+49.9+51.3+47.8+51.2+52.6+52.4)/8, out.Baseline, 1e-9)
	require.InDelta(t, f.MeanRange/1.128, *out.Sigma, 1e-4)
	want := out.Baseline + 2.962**out.Sigma*math.Sqrt(0.2/1.8)
	require.InDelta(t, want, *out.Rows[0].Upper, 1e-9)
	require.InDelta(t, 0.2*49.6+0.8*out.Baseline, out.Rows[0].EWMA, 1e-9, "the first starts from the baseline")
}

// Source: US EPA 530/R-09-007 example 17-7, its years turned into dates.
func TestTrendSlope(t *testing.T) {
	var f struct {
		EPA struct {
			X, Y                   []float64
			S                      int
			Z, P, Slope, Low, High float64
		}
	}
	publishedFigures(t, "trend.json", &f)
	var b strings.Builder
	b.WriteString("date,value\n")
	for i, year := range f.EPA.X {
		// A "year" of 1000 weeks keeps the spacing exact to the second.
		at := time.Date(1950, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(math.Round((year-89)*10)) * 7 * 24 * time.Hour)
		fmt.Fprintf(&b, "%s,%v\n", at.Format(time.RFC3339), f.EPA.Y[i])
	}
	var out trendOutput
	runCommand(t, b.String(), "trend").object(t, &out)
	require.Equal(t, f.EPA.S, out.MannKendall.S)
	require.InDelta(t, f.EPA.Z, out.MannKendall.Z, 5e-5)
	require.InDelta(t, f.EPA.P, out.MannKendall.P, 5e-6)
	require.InDelta(t, f.EPA.Slope/10, *out.SlopePerWeek, 5e-6)
	require.InDelta(t, f.EPA.Low/10, *out.SlopeLow, 5e-6)
	require.InDelta(t, f.EPA.High/10, *out.SlopeHigh, 5e-6)
}

func TestTrendHasNoNaN(t *testing.T) {
	one := runCommand(t, series(5), "trend")
	var out trendOutput
	one.object(t, &out)
	require.Contains(t, one.stderr, "give --sigma")
	require.Nil(t, out.Sigma)
	require.Nil(t, out.SlopePerWeek)
	require.Nil(t, out.Rows[0].Upper)
	require.Equal(t, 5.0, out.Rows[0].EWMA)
	require.Equal(t, 1.0, out.MannKendall.P)
	require.Contains(t, one.stdout, `"slope_low":null`)

	same := runCommand(t, series(0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1), "trend")
	out = trendOutput{}
	same.object(t, &out)
	require.Zero(t, *out.Sigma)
	require.Zero(t, *out.SlopePerWeek)
	for _, r := range out.Rows {
		require.Empty(t, r.Signal, "a rounding error is no news")
	}
}

func TestTrendTakesTheSecondOfADay(t *testing.T) {
	r := runCommand(t, "date,value\n2026-01-05,1\n2026-01-12T08:00:00Z,2\n2026-01-12T20:00:00Z,3\n", "trend")
	var out trendOutput
	r.object(t, &out)
	require.Len(t, out.Rows, 2)
	require.Equal(t, 3.0, out.Rows[1].Value)
	require.Contains(t, r.stderr, "row 4 takes the place of row 3")
}

func TestTrendReadsWhatSpreadsheetsWrite(t *testing.T) {
	var out trendOutput
	runCommand(t, "\ufeffValue , DATE\r\n\r\n\"1.5\", 2026-01-05\r\n2,2026-01-12\r\n", "trend").object(t, &out)
	require.Equal(t, 1.5, out.Rows[0].Value)
}

func TestTrendNamesEveryProblem(t *testing.T) {
	cases := []struct {
		name, in string
		args     []string
		want     []string
	}{
		{"nothing", "", nil, []string{"row 1: nothing was given"}},
		{"header only", "date,value\n", nil, []string{"no rows below the header"}},
		{"wrong header", "day,value\n2026-01-01,1\n", nil, []string{"row 1, column date: is missing", `row 1, column "day": is not one of`}},
		{"all at once", "date,value\n2026-13-01,1\n2026-01-02,abc\n2026-01-03,\n,4\n2026-01-01,2\n2026-01-05\n2026-01-06,\"5,5\"\n2026-01-07,NaN\n2026-01-08,1e400\n2026-01-09,1e15\n", nil, []string{
			`row 2, column date: "2026-13-01" is not a date`,
			`row 3, column value: "abc" is not a number`,
			"row 4, column value: is empty",
			"row 5, column date: is empty",
			"row 7: 1 cells where there are 2 columns",
			`row 8, column value: "5,5" is not a number; write a point`,
			"row 9, column value: \"NaN\" is not a finite number",
			"row 10, column value",
			"row 11, column value: \"1e15\" is out of range",
		}},
		{"out of order", "date,value\n2026-01-08,1\n2026-01-01,2\n", nil, []string{"row 3, column date: 2026-01-01 is before 2026-01-08 in row 2"}},
		{"a broken quotation", "date,value\n2026-01-01,\"1\n", nil, []string{"row 2: a quotation mark"}},
		{"flags and data together", "date,value\n2026-01-01,x\n", []string{"--lambda", "1.5", "--sigma", "0", "--h", "NaN"}, []string{
			"--lambda is 1.5; allowed is above 0 to 1", "--sigma is 0", "--h is NaN", "row 2, column value",
		}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r := runCommand(t, c.in, append([]string{"trend"}, c.args...)...)
			require.Equal(t, 1, r.code)
			require.Empty(t, r.stdout)
			for _, w := range c.want {
				require.Contains(t, r.stderr, w)
			}
		})
	}
}

func TestManyProblemsAreCut(t *testing.T) {
	r := runCommand(t, "date,value\n"+strings.Repeat("x,y\n", 100), "trend")
	require.Contains(t, r.stderr, "and 150 more")
}

func FuzzTrendInput(f *testing.F) {
	f.Add("date,value\n2026-01-05,1\n2026-01-12,2\n")
	f.Add("date,value\n2026-01-05T00:00:00+14:00,1e308\n")
	f.Add("\"")
	f.Fuzz(func(t *testing.T, in string) {
		r := runCommand(t, in, "trend")
		if r.code == 0 {
			require.True(t, json.Valid([]byte(r.stdout)))
			return
		}
		require.NotEmpty(t, r.stderr)
		require.Empty(t, r.stdout)
	})
}
