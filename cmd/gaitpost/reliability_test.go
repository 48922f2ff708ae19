package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Source: Bland and Altman, Lancet 1986 (peak flow, n = 17).
func TestReliabilityOfPairs(t *testing.T) {
	var f struct {
		Wright1, Wright2 []float64
		SW               float64 `json:"wright_sw"`
		R                float64 `json:"wright_repeatability"`
		ICC              float64 `json:"wright_icc11"`
	}
	publishedFigures(t, "agreement-bland-altman.json", &f)
	var b strings.Builder
	b.WriteString("subject,first,second\n")
	for i := range f.Wright1 {
		fmt.Fprintf(&b, "s%d,%v,%v\n", i, f.Wright1[i], f.Wright2[i])
	}
	var out reliabilityOutput
	runCommand(t, b.String(), "reliability").object(t, &out)
	require.Equal(t, 17, out.Dogs)
	require.InDelta(t, f.SW, out.Sigma, 0.005)
	require.InDelta(t, f.R, out.Repeatability, 0.05)
	require.InDelta(t, f.ICC, *out.ICC.OneWay, 5e-4)
	require.Equal(t, "use-own", out.Verdict)
	require.Nil(t, out.Alpha)
}

// checkIns invents dogs whose answers scatter about their own level.
func checkIns(dogs, times int, scatter float64) string {
	rng := rand.New(rand.NewPCG(61, 62))
	var b strings.Builder
	b.WriteString(strings.Join(checkInColumns(), ",") + "\n")
	for d := range dogs {
		own := 0.5 + 3*rng.Float64()
		for k := range times {
			fmt.Fprintf(&b, "dog %d,2026-01-%02d", d, 5+3*k)
			for range 8 {
				level := min(max(math.Round(own+scatter*rng.NormFloat64()), 0), 4)
				fmt.Fprintf(&b, ",%v", level)
			}
			b.WriteString("\n")
		}
	}
	return b.String()
}

func TestReliabilityOfCheckIns(t *testing.T) {
	var out reliabilityOutput
	runCommand(t, checkIns(40, 2, 0.3), "reliability").object(t, &out)
	require.Equal(t, 40, out.Dogs)
	require.Equal(t, 80, out.CheckIns)
	require.Less(t, out.SigmaHigh, 7.7)
	require.Equal(t, "use-own", out.Verdict)
	require.Equal(t, max(4, out.Sigma), out.SigmaToAssume)
	require.Greater(t, *out.Alpha.All.Value, 0.9)
	require.Equal(t, 3, out.Alpha.Pain.Items)
	require.Equal(t, 5, out.Alpha.Mobility.Items)
	require.Len(t, out.Items, 8)
	require.Greater(t, *out.Items[0].Kappa, 0.7)
	require.Equal(t, 2, out.ICC.Occasions)
	for _, v := range []*float64{out.ICC.OneWay, out.ICC.Random, out.ICC.Fixed} {
		require.Greater(t, *v, 0.9)
	}
	require.GreaterOrEqual(t, *out.ICC.OneWayK, *out.ICC.OneWay)

	noisy := reliabilityOutput{}
	runCommand(t, checkIns(40, 3, 1.5), "reliability").object(t, &noisy)
	require.Greater(t, noisy.Sigma, out.Sigma)
	require.Equal(t, 3, noisy.ICC.Occasions)
}

func TestReliabilityKeepsTheDefaultForFewDogs(t *testing.T) {
	var out reliabilityOutput
	runCommand(t, checkIns(5, 2, 0.3), "reliability").object(t, &out)
	require.Equal(t, "too-few-dogs", out.Verdict)
	require.Equal(t, 7.7, out.SigmaToAssume)
	require.Greater(t, out.SigmaHigh, out.Sigma)
}

func TestReliabilityTableForPeople(t *testing.T) {
	r := runCommand(t, checkIns(12, 2, 0.5), "reliability", "--table")
	require.Equal(t, 0, r.code, r.stderr)
	for _, w := range []string{"Dogs with repeats        12 (24 check-ins)", "Noise of one check-in", "Alpha, pain", "Weighted kappa, own2"} {
		require.Contains(t, r.stdout, w)
	}
	require.NotContains(t, r.stdout, "NaN")
}

func TestReliabilitySaysWhatWasLeftOut(t *testing.T) {
	in := strings.Join(checkInColumns(), ",") + `
a,2026-01-05,1,1,1,1,1,1,1,1
a,2026-01-08,1,2,1,1,1,1,x,
b,2026-01-05,2,2,2,2,2,2,2,2
b,2026-03-05,2,2,3,2,2,2,2,2
c,2026-01-05,3,3,3,3,3,3,3,3
d,2026-01-05,1,,,1,1,1,1,1
d,2026-01-08,1,1,1,1,1,1,1,1
`
	var out reliabilityOutput
	runCommand(t, in, "reliability").object(t, &out)
	require.Equal(t, 2, out.Dogs)
	require.Len(t, out.Notes, 3)
	require.Contains(t, out.Notes[0], "2 dogs have only one scored check-in")
	require.Contains(t, out.Notes[1], "1 check-ins have too few answers")
	require.Contains(t, out.Notes[2], "more than two weeks apart")
}

func TestReliabilityWithoutSpreadHasReasonsNotNaN(t *testing.T) {
	r := runCommand(t, "subject,first,second\na,5,5\nb,5,5\n", "reliability")
	var out reliabilityOutput
	r.object(t, &out)
	require.Zero(t, out.Sigma)
	require.Nil(t, out.ICC.OneWay)
	require.Contains(t, out.ICC.Reason, "equal")
}

func TestReliabilityNamesEveryProblem(t *testing.T) {
	head := strings.Join(checkInColumns(), ",") + "\n"
	r := runCommand(t, head+",2026-01-05,1,1,1,1,1,1,1,5\na,x,-1,1,1,1,1,1,1,1\na,2026-01-08,1,1,1,1,1,1,1,1\na,2026-01-01,1,1,1,1,1,1,1,1\n", "reliability")
	require.Equal(t, 1, r.code)
	for _, w := range []string{
		"row 2, column dog: is empty", `row 2, column own2: "5" is not 0 to 4, X or empty`,
		"row 3, column date", `row 3, column limping: "-1"`, "row 5, column date: 2026-01-01 is before row 4",
	} {
		require.Contains(t, r.stderr, w)
	}
	r = runCommand(t, "subject,first,second\na,1,\na,2,3\n", "reliability")
	require.Equal(t, 1, r.code)
	require.Contains(t, r.stderr, "row 2, column second: is empty")
	require.Contains(t, r.stderr, `row 3, column subject: "a" was already in row 2`)
	r = runCommand(t, "subject,first,second\na,1,2\n", "reliability")
	require.Equal(t, 1, r.code)
	require.Contains(t, r.stderr, "two subjects")
}
