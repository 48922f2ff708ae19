package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// asked runs one command line with an environment of its own.
func asked(t *testing.T, environ map[string]string, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(context.Background(), args, env{
		stdin: strings.NewReader(""), stdout: &out, stderr: &errs,
		getenv: func(name string) string { return environ[name] },
		now:    func() time.Time { return time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC) },
	})
	return out.String(), errs.String(), code
}

const exampleClinic = "../../deploy/clinic.example.yaml"

func TestCheckConfigOfTheExample(t *testing.T) {
	t.Parallel()
	out, errs, code := asked(t, nil, "check-config", exampleClinic)
	require.Equal(t, 1, code, "secrets are needed")
	require.Contains(t, out, "channels[text].auth_token_env: this environment variable is not set")
	require.Contains(t, errs, "14 problems in the settings", "each channel's secrets")

	out, _, code = asked(t, nil, "check-config", "--no-secrets", exampleClinic)
	require.Equal(t, 0, code, out)
	require.Contains(t, out, "auth_token_env: warning: this environment variable is not set")
	require.Contains(t, out, exampleClinic+": ok: Harbour Street Vets, 2 practitioners, next check-in Tue 2026-03-03 10:00 +00:00")
}

func TestCheckConfigListsEverything(t *testing.T) {
	t.Parallel()
	bad := "../../testdata/config/bad_everything_at_once.yaml"
	out, _, code := asked(t, nil, "check-config", bad)
	require.Equal(t, 1, code)
	require.Contains(t, out, bad+`:4: zone: there is no such time zone (got "Nowhere/Else"; allowed a name from the IANA time zone database, like Europe/London)`)
	require.Contains(t, out, bad+": 15 problems, 1 warning")

	_, errs, code := asked(t, nil, "check-config", "no-such-folder")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "problem")
	_, _, code = asked(t, nil, "check-config")
	require.Equal(t, 1, code, "a file is needed")
}

// Files given one by one are one deployment: two with one id, and one number,
// are a problem.
func TestCheckConfigComparesFiles(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	data, err := os.ReadFile(exampleClinic)
	require.NoError(t, err)
	again := filepath.Join(dir, "again.yaml")
	require.NoError(t, os.WriteFile(again, data, 0o600))
	out, _, code := asked(t, nil, "check-config", "--no-secrets", exampleClinic, again)
	require.Equal(t, 1, code)
	require.Contains(t, out, "again.yaml:17: id: the clinic in "+exampleClinic+" has this id already")
	require.Contains(t, out, "has this number already")
}

func TestCheckConfigExplains(t *testing.T) {
	t.Parallel()
	out, _, code := asked(t, nil, "check-config", "--no-secrets", "--explain", exampleClinic)
	require.Equal(t, 0, code)
	require.Regexp(t, `thresholds\.alerts\.escalate_after +15m +default +allowed 1m to 60m`, out)
	require.Regexp(t, `practitioners\[okafor\]\.minimal +yes +line \d+ +default no`, out)
}

// The example of the environment names just what the program reads.
func TestTheEnvironmentExampleIsComplete(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile("../../deploy/gaitpost.env.example")
	require.NoError(t, err)
	var want []string
	for _, k := range environment {
		want = append(want, k.name)
		require.NotEmpty(t, k.about, k.name)
	}
	var inExample, inSource []string
	for _, m := range regexp.MustCompile(`(?m)^#?(GAITPOST_[A-Z0-9_]+)=`).FindAllStringSubmatch(string(data), -1) {
		inExample = append(inExample, strings.TrimSuffix(m[1], "_FILE"))
	}
	walkGo(t, func(path, src string) {
		for _, m := range regexp.MustCompile(`"(GAITPOST_[A-Z0-9_]+)"`).FindAllStringSubmatch(src, -1) {
			// What only a build for the fault tests reads is no setting of the program's.
			if !strings.HasSuffix(path, "_test.go") && !strings.HasPrefix(src, "//go:build faultpoints") {
				inSource = append(inSource, m[1])
			}
		}
	})
	require.Equal(t, unique(want), unique(inExample))
	require.Equal(t, unique(want), unique(inSource), "add a new variable to environment in settings.go")
}

func unique(s []string) []string {
	slices.Sort(s)
	return slices.Compact(s)
}
