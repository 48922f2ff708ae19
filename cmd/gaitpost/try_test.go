package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// played runs try and returns the prompts and the JSON of the last line.
func played(t *testing.T, stdin string, args ...string) ([]string, map[string]any) {
	t.Helper()
	code, out, errs := runWithInput(stdin, append([]string{"try"}, args...)...)
	require.Equal(t, 0, code, errs)
	lines := strings.Split(strings.TrimSuffix(out, "\n"), "\n")
	var last map[string]any
	require.NoError(t, json.Unmarshal([]byte(lines[len(lines)-1]), &last))
	for _, l := range lines[:len(lines)-1] {
		require.True(t, strings.HasPrefix(l, "> "), l)
	}
	return lines[:len(lines)-1], last
}

func TestTryPlaysACheckIn(t *testing.T) {
	prompts, last := played(t, "1\n0\n0\n2\n1\nx\n3\nno\n1\n", "checkin", "--medicine", "--own1", "the beach", "--dog", "Moss")
	require.Len(t, prompts, 9)
	require.True(t, strings.HasPrefix(prompts[0], "> Moss: limping"), prompts[0])
	require.Equal(t, map[string]any{
		"script": "checkin", "form": "one", "reason": "finished",
		"recorded": map[string]any{"limping": 1.0, "soreness": 0.0, "night": 0.0, "rising": 2.0, "walking": 1.0,
			"steps": "x", "own1": 3.0, "signs": false, "doses": 1.0},
	}, last)
}

func TestTryAllAtOnce(t *testing.T) {
	_, last := played(t, "1 0 0 2 1 1\nno\n", "checkin", "--form", "all")
	require.Equal(t, "all", last["form"])
	require.Equal(t, "finished", last["reason"])
	require.Equal(t, map[string]any{"limping": 1.0, "soreness": 0.0, "night": 0.0, "rising": 2.0, "walking": 1.0, "steps": 1.0, "signs": false},
		last["recorded"])
}

func TestTryCarriesOver(t *testing.T) {
	_, last := played(t, "same\n", "checkin", "--before", "limping=2")
	require.Equal(t, []any{"limping"}, last["carried"])
	require.Equal(t, "incomplete", last["reason"])
}

func TestTryWeighs(t *testing.T) {
	_, last := played(t, "31.25 kg\n1\n", "weighin")
	require.Equal(t, map[string]any{"weight": 31.25, "scale": "home"}, last["recorded"])
}

func TestTrySaysWhatASignCallsFor(t *testing.T) {
	prompts, last := played(t, "he just collapsed and can't get up\n", "checkin")
	require.Contains(t, strings.Join(prompts, "\n"), "Bramble needs a vet now. Ring us on 01632 960100")
	require.Equal(t, "incomplete", last["reason"])
}

func TestTryStopsAndHelps(t *testing.T) {
	prompts, last := played(t, "HELP\n1\nSTOP\n2\n", "checkin")
	require.Contains(t, prompts[1], "Help: ring 01632 960100")
	require.Contains(t, prompts[len(prompts)-1], "no more texts")
	require.Equal(t, "stopped", last["reason"])
	require.Equal(t, map[string]any{"limping": 1.0}, last["recorded"])
}

func TestTryRefuses(t *testing.T) {
	for _, c := range []struct {
		args []string
		says string
	}{
		{nil, "give the name of one script"},
		{[]string{"chat"}, "there is no script"},
		{[]string{"safety"}, "single texts alone"},
		{[]string{"checkin", "--form", "both"}, "use one or all"},
		{[]string{"weighin", "--form", "all"}, "not asked in the form"},
		{[]string{"checkin", "--before", "limping=7"}, "from 0 to 4"},
		{[]string{"checkin", "--before", "humour=1"}, "from 0 to 4"},
	} {
		code, _, errs := runWithInput("", append([]string{"try"}, c.args...)...)
		require.Equal(t, 1, code, c.args)
		require.Contains(t, errs, c.says)
	}
}
