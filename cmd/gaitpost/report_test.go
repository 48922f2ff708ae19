package main

import (
	"encoding/csv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestReportFromTheCommandLine(t *testing.T) {
	t.Parallel()
	d := deployment(t)
	_, errs, code := asked(t, d, "enrol", written(t, "caseload.csv", invitedTable))
	require.Equal(t, 0, code, errs)
	report := func(args ...string) (string, string, int) {
		return asked(t, d, append([]string{"report", "--phone", "07700 900401"}, args...)...)
	}
	for what, words := range map[string]string{"report": "not a validated instrument", "card": "not watched round the clock",
		"timeline": "start carprofen", "reaction": "Suspected reaction", "referral": "Summary for physiotherapy"} {
		out, errs, code := report("--dog", "bramble", "--what", what)
		require.Equal(t, 0, code, errs)
		require.True(t, strings.HasPrefix(out, "<!doctype html>"), what)
		require.Contains(t, out, words)
		require.Contains(t, out, "Bramble")
		require.Contains(t, out, "<style>", "the file stands alone")
		require.NotContains(t, out, "900401", "an owner's number is not on paper")
	}
	out, errs, code := report("--dog", "Bramble", "--what", "referral-text", "--numbers")
	require.Equal(t, 0, code, errs)
	require.Contains(t, out, "Owner's number: +447700900401")
	out, errs, code = report("--dog", "Bramble", "--what", "csv")
	require.Equal(t, 0, code, errs)
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 2, "one weight")

	for _, c := range []struct {
		args []string
		want string
	}{
		{nil, "--dog is missing; the household has Bramble, Moss"},
		{[]string{"--dog", "Pip"}, `there is no dog called "Pip" in this household; it has Bramble, Moss`},
		{[]string{"--dog", "Moss", "--what", "poster"}, `--what is "poster"`},
		{[]string{"--phone", "07700 900499", "--dog", "Moss"}, "no household is enrolled with the number …499"},
		{[]string{"--phone", "12", "--dog", "Moss"}, "--phone: "},
		{[]string{"--phone", "", "--dog", "Moss"}, "--phone is missing"},
	} {
		_, errs, code := report(c.args...)
		require.Equal(t, 1, code, c.args)
		require.Contains(t, errs, c.want)
	}
}
