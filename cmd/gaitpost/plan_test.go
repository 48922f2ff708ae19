package main

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

// planDeployment is a practice with one dog, and its plan command.
func planDeployment(t *testing.T, enrolled ...string) (plan func(...string) (string, string, int), environ map[string]string) {
	t.Helper()
	d := deployment(t)
	_, errs, code := asked(t, d, append([]string{"enrol", "--owner", "Ruth", "--phone", "07700 900401", "--dog", "Bramble", "--no-invite"}, enrolled...)...)
	require.Equal(t, 0, code, errs)
	return func(args ...string) (string, string, int) {
		return asked(t, d, append([]string{"plan", "--phone", "07700 900401", "--dog", "Bramble"}, args...)...)
	}, d
}

func TestPlanShowsWhatIsAndWhatMightBe(t *testing.T) {
	t.Parallel()
	plan, _ := planDeployment(t, "--weight", "32.5", "--bcs", "7", "--medicine", "nsaid:carprofen since 2026-01-02")
	out, errs, code := plan()
	require.Equal(t, 0, code, errs)
	for _, want := range []string{"The plan of Bramble on 2026-03-02", "pain relief: covered\n  1 carprofen (nsaid), active; since 2026-01-02",
		"body weight: not covered\n  Body condition 7 of 9 (2 Mar 2026); 32.5 kg is 5.4 kg above a worked-out target of 27.1 kg.",
		"blood-test/1: Blood test [vet decides]", "source: Marshall et al."} {
		require.Contains(t, out, want)
	}
	out, errs, code = plan("--json")
	require.Equal(t, 0, code, errs)
	var v planView
	require.NoError(t, json.Unmarshal([]byte(out), &v))
	require.Len(t, v.Areas, 6)
	require.Equal(t, "carprofen", v.Areas[0].Entries[0].What)
	require.Equal(t, "blood-test", v.Suggestions[0].Kind)
	require.Equal(t, "open", v.Suggestions[0].Answer)
}

// Two anti-inflammatories together are said and not blocked (Lascelles et al.,
// Vet Ther 2005;6:237-251).
func TestPlanWarnsBeforeAChange(t *testing.T) {
	t.Parallel()
	plan, environ := planDeployment(t, "--medicine", "nsaid:carprofen since 2026-01-02")
	second := []string{"--start", "meloxicam", "--class", "nsaid"}
	out, errs, code := plan(second...)
	require.Equal(t, 1, code)
	require.Contains(t, out, "to know: Two anti-inflammatories together: carprofen and meloxicam.")
	require.Contains(t, errs, "nothing was changed yet; say --yes to go on")
	out, _, _ = plan()
	require.NotContains(t, out, "meloxicam")
	out, errs, code = plan(append(second, "--yes", "--who", "the owner", "--why", "stiff", "--review", "2026-04-01")...)
	require.Equal(t, 0, code, errs)
	require.Contains(t, out, "Bramble: start: meloxicam")
	require.Contains(t, out, "note: ", "the alert that it raised")
	out, _, _ = plan()
	require.Contains(t, out, "2 meloxicam (nsaid), active; since 2026-03-02; why: stiff; who: the owner; review 2026-04-01")

	// plan-change says the same and goes on.
	out, errs, code = asked(t, environ, "plan-change", "--phone", "07700 900401", "--dog", "Bramble", "--stop", "meloxicam", "--reason", "a mistake")
	require.Equal(t, 0, code, errs)
	require.Contains(t, out, "Bramble: stop: meloxicam")
	out, errs, code = asked(t, environ, "plan-change", "--phone", "07700 900401", "--dog", "Bramble", "--start", "prednisolone", "--class", "steroid")
	require.Equal(t, 0, code, errs)
	require.Contains(t, out, "to know: An anti-inflammatory with a steroid: carprofen and prednisolone.")
}

func TestPlanGoesThroughItsStates(t *testing.T) {
	t.Parallel()
	plan, _ := planDeployment(t, "--medicine", "nsaid:carprofen since 2026-01-02")
	for _, step := range []struct {
		args []string
		want string
	}{
		{[]string{"--hold", "carprofen", "--reason", "sick"}, "1 carprofen (nsaid), held; since 2026-01-02; last change: sick"},
		{[]string{"--stop", "carprofen", "--reason", "sick again"}, "ended or declined\n  1 carprofen (nsaid), ended; since 2026-01-02; ended 2026-03-02; last change: sick again"},
		{[]string{"--restart", "carprofen", "--reason", "it was the bin", "--yes"}, "1 carprofen (nsaid), active; since 2026-03-02; last change: it was the bin"},
		{[]string{"--details", "carprofen", "--who", "Ruth", "--source", "out-of-hours"}, "who: Ruth; from: out-of-hours vet"},
		{[]string{"--withdraw", "carprofen", "--reason", "Moss's"}, "entered in error\n  1 carprofen (nsaid)"},
	} {
		_, errs, code := plan(step.args...)
		require.Equal(t, 0, code, errs)
		out, _, _ := plan()
		require.Contains(t, out, step.want)
	}
}

func TestPlanDecidesAboutSuggestions(t *testing.T) {
	t.Parallel()
	plan, _ := planDeployment(t, "--bcs", "7", "--medicine", "nsaid:carprofen since 2026-01-02")
	out, errs, code := plan("--accept", "body-weight", "--reason", "talked over")
	require.Equal(t, 0, code, errs)
	require.Contains(t, out, `Bramble: accepted: Talk about body weight`)
	require.Contains(t, out, `--start "weight loss" --area weight`)
	out, errs, code = plan("--decline", "blood-test/1", "--reason", "done last week", "--until", "2026-06-01")
	require.Equal(t, 0, code, errs)
	require.Contains(t, out, "Bramble: declined: Blood test")
	out, _, _ = plan()
	require.Contains(t, out, "declined: done last week, until 2026-06-01")
	require.Contains(t, out, "accepted: talked over")
	_, errs, code = plan("--start", "weight loss", "--area", "weight", "--yes")
	require.Equal(t, 0, code, errs)
	out, _, _ = plan()
	require.NotContains(t, out, "  body-weight:", "it is on the plan")
}

func TestPlanRefusals(t *testing.T) {
	t.Parallel()
	plan, environ := planDeployment(t)
	for want, args := range map[string][]string{
		"one thing at a time":      {"--accept", "home", "--stop", "x"},
		"given are --stop and":     {"--hold", "y", "--stop", "x"},
		"no longer stands":         {"--accept", "therapy", "--reason", "x"},
		"say why":                  {"--decline", "home"},
		"not the number":           {"--decline", "home/x", "--reason", "x"},
		"--until":                  {"--decline", "home", "--reason", "x", "--until", "soon"},
		"a dose is not kept":       {"--start", "carprofen 50 mg", "--class", "nsaid"},
		"no \"rugs\" on the plan":  {"--stop", "rugs"},
		"no \"ramps\" on the plan": {"--withdraw", "ramps", "--reason", "x"},
		"not a day to come":        {"--start", "rugs", "--area", "home", "--review", "2020-01-01"},
	} {
		_, errs, code := plan(args...)
		require.Equal(t, 1, code, want)
		require.Contains(t, errs, want)
	}
	_, errs, code := asked(t, environ, "plan", "--dog", "Bramble")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "--phone is missing")
	_, errs, code = asked(t, environ, "plan", "--phone", "07700 900401", "--dog", "Moss")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "it has Bramble")
}
