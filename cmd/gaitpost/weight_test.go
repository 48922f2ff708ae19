package main

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

const losing = "date,kg,scale\n2026-01-05,30.0,clinic\n2026-01-19,29.4,clinic\n"

func TestWeightSaysPaceTargetAndArrival(t *testing.T) {
	var out weightOutput
	runCommand(t, losing, "weight", "--on-plan", "--target", "26").object(t, &out)
	// 30.0 to 29.4 kg in 14 days is 1.005 % a week (testdata/published/weight.json).
	require.InDelta(t, 1.005, *out.PacePercentPerWeek, 0.0005)
	require.Equal(t, "in-band", out.PaceBand)
	require.Equal(t, 26.0, *out.TargetKG)
	require.Equal(t, "known", out.Arrival.Status)
	// ln(29.4/26) ÷ −ln(1 − .01005) = 12.17 weeks after 19 January.
	require.Equal(t, "2026-04-14", *out.Arrival.Date)
	require.Less(t, *out.Arrival.Early, *out.Arrival.Date)
	require.Less(t, *out.Arrival.Date, *out.Arrival.Late)
	require.Len(t, out.Milestones, 3)
	require.Equal(t, 28.17, out.Milestones[0].KG)
	require.Empty(t, out.Flags)
	require.InDelta(t, 883.8, out.RERKcal, 0.05) // 70 × 29.4^0.75
}

func TestWeightTakesTheTargetFromTheBodyScore(t *testing.T) {
	var out weightOutput
	runCommand(t, "date,kg,scale\n2026-01-05,26,clinic\n", "weight", "--bcs", "8").object(t, &out)
	require.Equal(t, 20.0, *out.TargetKG) // 26 ÷ 1.3
	require.Nil(t, out.PacePercentPerWeek)
	require.Equal(t, "unknown", out.Arrival.Status)

	// The score of the first visit keeps its target as the dog gets lighter.
	in := "date,kg,scale\n2026-01-05,26,clinic\n2026-02-02,25,clinic\n"
	out = weightOutput{}
	runCommand(t, in, "weight", "--bcs", "8", "--bcs-date", "2026-01-05").object(t, &out)
	require.Equal(t, 20.0, *out.TargetKG)

	none := runCommand(t, losing, "weight")
	require.Contains(t, none.stdout, `"target_kg":null`)
	require.Contains(t, none.stdout, `"arrival":{"date":null,"early":null,"late":null,"status":"no-target"}`)
}

func TestWeightFlagsSayWhy(t *testing.T) {
	cases := []struct {
		in   string
		args []string
		flag string
		why  string
	}{
		{"2026-01-05,30.0,home\n2026-01-19,28.5,home\n", []string{"--on-plan"}, "too-fast",
			"Losing 2.5 % a week, more than 2.0: 30.00 kg to 28.50 kg in 14 days."},
		{"2026-01-05,30.0,home\n2026-01-19,30.9,home\n", []string{"--on-plan"}, "gain",
			"Heavier on a loss plan: 30.00 kg to 30.90 kg in 14 days."},
		{"2026-01-05,30.0,home\n2026-02-02,30.0,home\n", []string{"--on-plan"}, "plateau",
			"No loss that the scale could show: 30.00 kg to 30.00 kg in 28 days."},
		{"2026-01-05,30.0,home\n2026-02-02,28.0,clinic\n", nil, "unplanned-loss",
			"Lost 6.7 % without a plan to: 30.00 kg to 28.00 kg in 28 days, on different scales (home, then clinic)."},
		{"2026-01-05,18.0,clinic\n", []string{"--bcs", "3"}, "thin",
			"The body condition score is 3 of 9, which is thin."},
	}
	for _, c := range cases {
		var out weightOutput
		runCommand(t, "date,kg,scale\n"+c.in, append([]string{"weight"}, c.args...)...).object(t, &out)
		require.NotEmpty(t, out.Flags)
		require.Equal(t, c.flag, out.Flags[0].Flag)
		require.Equal(t, c.why, out.Flags[0].Why)
	}
}

func TestWeightSaysWhenScalesAreMixed(t *testing.T) {
	var out weightOutput
	runCommand(t, "date,kg,scale\n2026-01-05,30.0,home\n2026-01-19,29.4,clinic\n", "weight", "--on-plan").object(t, &out)
	require.Equal(t, "across-scales", out.PaceBasis)
	require.True(t, out.LostAcrossScales)
	require.Equal(t, "scale-changed", out.Flags[0].Flag)
}

func TestWeightAsksAboutWhatCannotBe(t *testing.T) {
	var out weightOutput
	runCommand(t, "date,kg,scale\n2026-01-05,30,home\n2026-01-19,66,home\n2026-02-02,6.5,home\n", "weight").object(t, &out)
	require.Equal(t, []weightQuestion{{3, 66, "ask-unit"}, {4, 6.5, "ask-decimal"}}, out.AskAgain)
}

func TestWeightNamesEveryProblem(t *testing.T) {
	r := runCommand(t, "date,kg,scale\nx,0,kitchen\n1999-01-01,31,home\n2026-01-05,30,home\n2026-01-01,30,home\n2026-01-06,\"30,5\",home\n",
		"weight", "--bcs", "11", "--target", "0")
	require.Equal(t, 1, r.code)
	require.Empty(t, r.stdout)
	for _, w := range []string{
		"--bcs is 11; allowed is 1 to 9", "--target is 0; allowed is 0.5 to 200 kg",
		`row 2, column date: "x" is not a date`, "row 2, column kg: 0 is not a dog's weight", `row 2, column scale: "kitchen" is not home or clinic`,
		"row 3, column date", "row 5, column date: 2026-01-01 is before row 4", "row 6, column kg",
	} {
		require.Contains(t, r.stderr, w)
	}
}

func FuzzWeightInput(f *testing.F) {
	f.Add(losing, true)
	f.Add("date,kg,scale\n2026-01-05,30,home\n2026-01-05,29,clinic\n", false)
	f.Fuzz(func(t *testing.T, in string, onPlan bool) {
		args := []string{"weight", "--bcs", "7"}
		if onPlan {
			args = append(args, "--on-plan")
		}
		r := runCommand(t, in, args...)
		if r.code == 0 {
			require.True(t, json.Valid([]byte(r.stdout)))
			return
		}
		require.NotEmpty(t, r.stderr)
		require.Empty(t, r.stdout)
	})
}
