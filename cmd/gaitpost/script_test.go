package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func runWithInput(stdin string, args ...string) (code int, stdout, stderr string) {
	var out, errs bytes.Buffer
	code = run(context.Background(), args, env{
		stdin: strings.NewReader(stdin), stdout: &out, stderr: &errs,
		getenv: func(string) string { return "" },
		now:    func() time.Time { return time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC) },
	})
	return code, out.String(), errs.String()
}

func TestScriptCheckOfTheBuiltin(t *testing.T) {
	code, out, errs := runWithInput("", "script", "check")
	require.Equal(t, 0, code, errs)
	require.Regexp(t, `(?m)^checkin, version 1, in en, de, es, fr: \d+ texts of 1 segment, \d+ of 2$`, out)
	require.Regexp(t, `(?m)^\d+ scripts without a problem, `, out)

	code, out, _ = runWithInput("", "script", "check", "--sizes")
	require.Equal(t, 0, code)
	require.Regexp(t, `(?m)^  limping ask \(en\): 1\d\d characters, 1 segment of at most 1$`, out)
}

func TestScriptCheckNamesFileLineAndDefect(t *testing.T) {
	bad := filepath.Join("..", "..", "dialog", "testdata", "bad")
	file := filepath.Join(bad, "too-long.yaml")
	code, out, errs := runWithInput("", "script", "check", file)
	require.Equal(t, 1, code)
	require.Regexp(t, `^`+file+`:8: too-long: .* takes 2 segments \(\d+ characters\) with the longest names; at most 1\n$`, out)
	require.Equal(t, "gaitpost: 1 problem in the scripts\n", errs)

	code, out, _ = runWithInput("", "script", "check", filepath.Join(bad, "override"))
	require.Equal(t, 1, code)
	require.Contains(t, out, filepath.Join(bad, "override", "removed-safety-text.yaml")+":2: removed-safety-line: ")
}

func TestScriptCheckOfAClinicsOwn(t *testing.T) {
	dir := t.TempDir()
	own := filepath.Join(dir, "own.yaml")
	require.NoError(t, os.WriteFile(own, []byte("script: staff\ntexts:\n  - id: later_ok\n    say: {en: \"Later, then, {owner}. {dog} can wait.\"}\n"), 0o600))
	for _, arg := range []string{dir, own} {
		code, out, errs := runWithInput("", "script", "check", arg)
		require.Equal(t, 0, code, out+errs)
	}
}

func TestScriptCheckRefuses(t *testing.T) {
	empty := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(empty, "notes.txt"), nil, 0o600))
	for arg, says := range map[string]string{
		filepath.Join(empty, "none.yaml"): "no such file",
		filepath.Join(empty, "notes.txt"): "must end in .yaml",
		empty:                             "holds no script",
	} {
		code, _, errs := runWithInput("", "script", "check", arg)
		require.Equal(t, 1, code)
		require.Contains(t, errs, says)
	}
}
