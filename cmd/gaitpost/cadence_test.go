package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func runCadenceCmd(args ...string) (code int, stdout, stderr string) {
	var out, errs bytes.Buffer
	code = run(context.Background(), append([]string{"cadence"}, args...), env{
		stdin: strings.NewReader(""), stdout: &out, stderr: &errs,
		getenv: func(string) string { return "" },
		now:    func() time.Time { return time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC) },
	})
	return code, out.String(), errs.String()
}

func TestCadenceCommand(t *testing.T) {
	for _, c := range []struct {
		name         string
		args         []string
		stdout, note string
	}{
		{"from now in UTC", []string{"0 10 * * 2", "--count", "2"}, "2026-03-03T10:00:00Z\n2026-03-10T10:00:00Z\n", ""},
		{"gap over the London change", []string{"0 10 * * 2", "--gap", "13d", "--zone", "Europe/London", "--from", "2026-03-01T08:00", "--count", "3"},
			"2026-03-03T10:00:00Z\n2026-03-17T10:00:00Z\n2026-03-31T10:00:00+01:00\n", ""},
		{"strictly after", []string{"0 10 * * *", "--from", "2026-03-01T10:00:00Z", "--count", "1"}, "2026-03-02T10:00:00Z\n", ""},
		{"local from", []string{"0 10 * * *", "--zone", "America/Chicago", "--from", "2026-03-01T09:59", "--count", "1"}, "2026-03-01T10:00:00-06:00\n", ""},
		{"moved", []string{"30 2 * * 0", "--zone", "America/New_York", "--from", "2026-03-02T00:00", "--count", "1"}, "2026-03-08T03:00:00-04:00\n", "02:30 does not exist"},
		{"run once", []string{"30 1 * * *", "--zone", "America/New_York", "--from", "2026-10-31T12:00", "--count", "2"},
			"2026-11-01T01:30:00-04:00\n2026-11-02T01:30:00-05:00\n", "occurs twice"},
		{"dropped", []string{"0 10 * * *", "--zone", "Pacific/Apia", "--from", "2011-12-29T12:00", "--count", "1"}, "2011-12-31T10:00:00+14:00\n", "2011-12-30: this date does not exist"},
	} {
		code, stdout, stderr := runCadenceCmd(c.args...)
		require.Equal(t, 0, code, "%s: %s", c.name, stderr)
		require.Equal(t, c.stdout, stdout, c.name)
		if c.note == "" {
			require.Empty(t, stderr, c.name)
			continue
		}
		require.Contains(t, stderr, c.note, c.name)
		require.Equal(t, 1, strings.Count(stderr, "\n"), "%s: one note, one line", c.name)
	}
}

func TestCadenceCommandRefuses(t *testing.T) {
	for _, c := range []struct {
		args []string
		says string
	}{
		{nil, "one cron expression in quotes"},
		{[]string{"0", "10", "*", "*", "2"}, "one cron expression in quotes"},
		{[]string{"0 10 * *"}, "five fields"},
		{[]string{"0 10 30 2 *"}, "never fires"},
		{[]string{"@every 1h"}, "@every"},
		{[]string{"0 10 * * 2", "--zone", "Mars/Olympus"}, `--zone "Mars/Olympus" is not a known zone`},
		{[]string{"0 10 * * 2", "--zone", "Local"}, "is not a known zone"},
		{[]string{"0 10 * * 2", "--zone", ""}, "is not a known zone"},
		{[]string{"0 10 * * 2", "--gap", "13"}, "number of days"},
		{[]string{"0 10 * * 2", "--gap", "13h"}, "number of days"},
		{[]string{"0 10 * * 2", "--gap=-1d"}, "number of days"},
		{[]string{"0 10 * * 2", "--from", "tomorrow"}, `--from "tomorrow"`},
		{[]string{"0 10 * * 2", "--count", "0"}, `--count "0"`},
		{[]string{"0 10 * * 2", "--count", "many"}, `--count "many"`},
	} {
		code, stdout, stderr := runCadenceCmd(c.args...)
		require.Equal(t, 1, code, c.args)
		require.Empty(t, stdout, c.args)
		require.Contains(t, stderr, c.says, c.args)
		require.Equal(t, 1, strings.Count(stderr, "\n"), "one sentence: %s", stderr)
		require.NotContains(t, stderr, "strconv", c.args)
	}
}
