package main

import (
	"bytes"
	"context"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func runTriage(t *testing.T, in string, args ...string) (out, errs string, code int) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	code = run(context.Background(), append([]string{"triage"}, args...), env{
		stdin: strings.NewReader(in), stdout: &stdout, stderr: &stderr,
	})
	return stdout.String(), stderr.String(), code
}

func TestTriageKeyOrder(t *testing.T) {
	out, _, code := runTriage(t, "poo's black & <b>sticky</b> like tar\n")
	require.Zero(t, code)
	require.Equal(t, `{"text":"poo's black & <b>sticky</b> like tar","urgency":"emergency","ask":false,"death":false,"signs":["stool-black"],"reason":"The owner wrote “poo's black & <b>sticky”: black tarry stool."}`+"\n", out)
}

func TestTriageOnePerLine(t *testing.T) {
	out, _, code := runTriage(t, "1 0 0 2 1 1 0\n\nhe collapsed\r\nhe died last night")
	require.Zero(t, code)
	lines := strings.Split(strings.TrimSuffix(out, "\n"), "\n")
	require.Len(t, lines, 4)
	var got [4]triageLine
	for i, l := range lines {
		require.NoError(t, json.Unmarshal([]byte(l), &got[i]))
		require.NotNil(t, got[i].Signs)
	}
	require.Equal(t, "none", got[0].Urgency)
	require.Empty(t, got[1].Text)
	require.Equal(t, "emergency", got[2].Urgency)
	require.True(t, got[3].Death)
}

func TestTriagePlan(t *testing.T) {
	const sick = "was sick tuesday, fine now"
	for on, want := range map[string]string{"": "none", "nsaid": "same-day", "antibody": "none", "nsaid,antibody": "same-day"} {
		var args []string
		if on != "" {
			args = []string{"--on", on}
		}
		out, _, code := runTriage(t, sick, args...)
		require.Zero(t, code)
		require.Contains(t, out, `"urgency":"`+want+`"`, on)
	}
	out, _, _ := runTriage(t, "toes folding under since monday", "--on", "nsaid", "--on", "antibody")
	require.Contains(t, out, `"urgency":"emergency"`)
}

func TestTriageBadInput(t *testing.T) {
	_, errs, code := runTriage(t, "x", "--on", "aspirin")
	require.Equal(t, 1, code)
	require.Contains(t, errs, `--on "aspirin" is not known: use nsaid or antibody`)

	_, errs, code = runTriage(t, "x", "--lang", "tlh")
	require.Equal(t, 1, code)
	require.Contains(t, errs, `--lang "tlh" has no safety screen: use en`)
	spanish, _, code := runTriage(t, "tiene la caca negra y pegajosa\nno ha vomitado\nhe collapsed in el patio\n", "--lang", "es-MX")
	require.Zero(t, code)
	require.Equal(t, []string{"emergency", "none", "emergency"}, urgencies(t, spanish))
	american, _, code := runTriage(t, "he collapsed", "--lang", "en-US")
	require.Zero(t, code)
	require.Contains(t, american, `"urgency":"emergency"`)

	long := strings.Repeat("woof ", 12000) // within 64 kB
	out, _, code := runTriage(t, long+"\n")
	require.Zero(t, code)
	require.Contains(t, out, "woof")

	out, errs, code = runTriage(t, "he collapsed\n"+strings.Repeat("a", maxLine+10)+"\n")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "line 2 is longer than 65536 bytes")
	require.Contains(t, out, "collapse", "the lines before it are not lost")

	out, _, code = runTriage(t, "he \xff\xfe collapsed\n")
	require.Zero(t, code)
	require.True(t, json.Valid([]byte(strings.TrimSpace(out))))
}

// urgencies are the urgencies of triage's lines.
func urgencies(t *testing.T, out string) (got []string) {
	t.Helper()
	for _, l := range strings.Split(strings.TrimSpace(out), "\n") {
		var line triageLine
		require.NoError(t, json.Unmarshal([]byte(l), &line))
		got = append(got, line.Urgency)
	}
	return got
}
