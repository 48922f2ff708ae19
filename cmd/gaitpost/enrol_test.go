package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/store/redistest"
)

const invitedTable = `owner,phone,dog,bcs,weight_kg,medicines
Ruth,07700 900401,Bramble,7,"32,5",nsaid:carprofen since 2026-01-02
Ruth,07700 900401,Moss,,,
Ian,07700 900402,Pip,,8.25,
`

// deployment is a server of its own, and an environment that names it.
func deployment(t *testing.T) map[string]string {
	t.Helper()
	return map[string]string{
		"GAITPOST_CONFIG":      exampleClinic,
		"GAITPOST_REDIS_URL":   "redis://" + redistest.Start(t).Addr + "/0",
		"GAITPOST_CONTACT_KEY": "an invented key for tests",
	}
}

func written(t *testing.T, name, text string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	return file
}

func TestEnrolACaseloadTwice(t *testing.T) {
	t.Parallel()
	d := deployment(t)
	file := written(t, "caseload.csv", invitedTable)
	out, errs, code := asked(t, d, "enrol", file)
	require.Equal(t, 0, code, errs)
	require.Contains(t, out, "Ruth (…401): Bramble, Moss: new\n")
	require.Contains(t, out, "Ian (…402): Pip: new\n")
	require.Contains(t, out, "2 households enrolled")
	require.NotContains(t, out, "07700")

	out, errs, code = asked(t, d, "enrol", file)
	require.Equal(t, 0, code, errs)
	require.Contains(t, out, "Ruth (…401): Bramble, Moss: unchanged\n")

	changed := written(t, "caseload.csv", strings.Replace(invitedTable, "Bramble,7", "Bramble,6", 1))
	out, errs, code = asked(t, d, "enrol", changed)
	require.Equal(t, 0, code, errs)
	require.Contains(t, out, "Ruth (…401): Bramble, Moss: changed (Bramble: body condition score)\n")
	require.Contains(t, out, "Ian (…402): Pip: unchanged\n")

	// What was changed back is a change again, not a repetition.
	out, _, _ = asked(t, d, "enrol", file)
	require.Contains(t, out, "changed (Bramble: body condition score)")
}

func TestEnrolByFlagsAndChangeThePlan(t *testing.T) {
	t.Parallel()
	d := deployment(t)
	out, errs, code := asked(t, d, "enrol", "--owner", "Ruth", "--phone", "07700 900401", "--dog", "Bramble",
		"--weight", "32.5", "--medicine", "nsaid:carprofen", "--medicine", "other:joint diet", "--loss-plan", "--no-invite")
	require.Equal(t, 0, code, errs)
	require.Contains(t, out, "Ruth (…401): Bramble: new")

	plan := func(args ...string) (string, string, int) {
		return asked(t, d, append([]string{"plan-change", "--phone", "07700 900401", "--dog", "bramble"}, args...)...)
	}
	out, errs, code = plan("--stop", "carprofen", "--reason", "sick twice", "--comfort")
	require.Equal(t, 0, code, errs)
	require.Contains(t, out, "bramble: stop: carprofen")
	_, errs, code = plan("--stop", "carprofen")
	require.Equal(t, 1, code)
	require.Contains(t, errs, `nothing was changed: Bramble has no "carprofen" on the plan.`)
	_, errs, code = plan("--start", "meloxicam", "--class", "nsaid", "--on", "2026-03-01")
	require.Equal(t, 0, code, errs)
	_, errs, code = plan("--hold", "meloxicam", "--start", "x")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "given are --start and --hold")
	_, errs, code = plan()
	require.Equal(t, 1, code)
	require.Contains(t, errs, "one of --start, --stop")
	_, errs, code = plan("--start", "something")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "--class: something new needs the class")

	_, errs, code = asked(t, d, "plan-change", "--phone", "07700 900499", "--dog", "Bramble", "--stop", "carprofen")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "no household is enrolled with the number …499")
}

func TestEnrolRefusals(t *testing.T) {
	t.Parallel()
	good := map[string]string{"GAITPOST_CONFIG": exampleClinic}
	bad := written(t, "bad.csv", "owner,phone,dog\nRuth,12,Pip\nIan,07700 900402,\n")
	for name, c := range map[string]struct {
		environ map[string]string
		args    []string
		want    string
	}{
		"nothing":       {good, []string{"--dry-run"}, "there is nobody to enrol"},
		"no settings":   {nil, []string{"--dry-run"}, "--config is missing; give it, or set GAITPOST_CONFIG"},
		"no key":        {good, []string{bad}, "GAITPOST_CONTACT_KEY is not set"},
		"short key":     {map[string]string{"GAITPOST_CONFIG": exampleClinic, "GAITPOST_CONTACT_KEY": "short"}, []string{bad}, "at least 16 are needed"},
		"bad rows":      {good, []string{"--dry-run", bad}, "nobody was enrolled; 2 problems"},
		"file or flags": {good, []string{"--dry-run", "--owner", "Ruth", bad}, "not both"},
		"no clinic":     {good, []string{"--dry-run", "--clinic", "elsewhere", bad}, `there is no clinic "elsewhere"`},
		"no file":       {good, []string{"--dry-run", "nowhere.csv"}, "the file can't be read"},
		"no Redis":      {map[string]string{"GAITPOST_CONFIG": exampleClinic, "GAITPOST_CONTACT_KEY": "an invented key for tests"}, []string{"--owner", "Ruth", "--phone", "07700 900401", "--dog", "Pip"}, "--redis is missing"},
		"odd Redis":     {map[string]string{"GAITPOST_CONFIG": exampleClinic, "GAITPOST_CONTACT_KEY": "an invented key for tests", "GAITPOST_REDIS_URL": "redis://:hidden@x:y/z"}, []string{"--owner", "Ruth", "--phone", "07700 900401", "--dog", "Pip"}, "the address of Redis can't be read"},
	} {
		out, errs, code := asked(t, c.environ, append([]string{"enrol"}, c.args...)...)
		require.Equal(t, 1, code, name)
		require.Contains(t, errs, c.want, name)
		require.NotContains(t, out+errs, "hidden", name)
	}
	_, errs, _ := asked(t, good, "enrol", "--dry-run", bad)
	require.Contains(t, errs, "bad.csv:2: phone: ")
	require.Contains(t, errs, "bad.csv:3: dog: the dog's name is missing")
}

func TestEnrolDryRunNeedsNoRedis(t *testing.T) {
	t.Parallel()
	out, errs, code := asked(t, map[string]string{"GAITPOST_CONFIG": exampleClinic}, "enrol", "--dry-run", written(t, "c.csv", invitedTable))
	require.Equal(t, 0, code, errs)
	require.Contains(t, out, "Ruth (…401): Bramble, Moss\n")
	require.Contains(t, out, "2 households can be enrolled; nothing was changed")
	require.Contains(t, errs, "numbering plan", "doubts are told")
}

func TestTheKeyCanBeAFile(t *testing.T) {
	t.Parallel()
	file := written(t, "key", "an invented key for tests\n")
	e := env{getenv: func(name string) string { return map[string]string{"GAITPOST_CONTACT_KEY_FILE": file}[name] }}
	h, err := contactHasher(e)
	require.NoError(t, err)
	require.NotNil(t, h)
	e.getenv = func(string) string { return file }
	_, err = contactHasher(e)
	require.ErrorContains(t, err, "both set")
}
