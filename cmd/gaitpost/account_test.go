package main

import (
	"bytes"
	"context"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/store/redistest"
)

// accountBench runs account commands on one real Redis.
func accountBench(t *testing.T) func(stdin string, args ...string) (int, string, string) {
	vars := map[string]string{
		"GAITPOST_CONFIG":      exampleClinic,
		"GAITPOST_REDIS_URL":   "redis://" + redistest.Start(t).Addr + "/0",
		"GAITPOST_CONTACT_KEY": "an invented key for tests",
	}
	return func(stdin string, args ...string) (int, string, string) {
		var out, errs bytes.Buffer
		code := run(context.Background(), append([]string{"account"}, args...), env{
			stdin: strings.NewReader(stdin), stdout: &out, stderr: &errs,
			getenv: func(k string) string { return vars[k] },
			now:    func() time.Time { return time.Date(2026, 3, 3, 10, 0, 0, 0, time.UTC) },
		})
		return code, out.String(), errs.String()
	}
}

func TestAccountsAreAddedListedAndRemoved(t *testing.T) {
	t.Parallel()
	account := accountBench(t)
	code, out, errs := account("", "list")
	require.Zero(t, code, errs)
	require.Contains(t, out, "Nobody may sign in")

	code, out, errs = account("", "add", "R.Lee", "--name", "Dr Lee", "--role", "vet")
	require.Zero(t, code, errs)
	require.Regexp(t, regexp.MustCompile(`r\.lee may sign in to .* as vet\n.*: ([a-z2-9]{4}-){3}[a-z2-9]{4}\n`), out)
	code, _, errs = account("", "add", "r.lee", "--name", "Dr Lee", "--role", "vet")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "already an account")

	code, out, errs = account("slow kettle amber fence\n", "add", "n.osei", "--name", "Nurse Osei", "--role", "nurse", "--password-stdin")
	require.Zero(t, code, errs)
	require.NotContains(t, out, "kettle")
	_, out, _ = account("", "list")
	require.Regexp(t, `n\.osei +Nurse Osei +nurse +2026-03-03 +own`, out)
	require.Regexp(t, `r\.lee +Dr Lee +vet +2026-03-03 +given out, to be changed`, out)

	code, out, errs = account("", "password", "n.osei")
	require.Zero(t, code, errs)
	require.Contains(t, out, "n.osei has a new password")
	code, _, errs = account("", "sign-out", "n.osei")
	require.Zero(t, code, errs)
	code, _, errs = account("", "remove", "r.lee")
	require.Zero(t, code, errs)
	for _, args := range [][]string{{"remove", "r.lee"}, {"password", "r.lee"}, {"sign-out", "r.lee"}} {
		code, _, errs = account("", args...)
		require.Equal(t, 1, code)
		require.Contains(t, errs, `there is no account "r.lee"`)
	}
}

func TestBadAccountsAreRefused(t *testing.T) {
	t.Parallel()
	account := accountBench(t)
	for want, args := range map[string][]string{
		"a role is one of":        {"add", "r.lee", "--name", "Dr Lee", "--role", "owner"},
		"a name is needed":        {"add", "r.lee", "--role", "vet"},
		"a sign-in name has":      {"add", "Dr Lee", "--name", "Dr Lee", "--role", "vet"},
		"give one sign-in name":   {"add"},
		"needs at least 12":       {"add", "r.lee", "--name", "Dr Lee", "--role", "vet", "--password-stdin"},
		"no clinic \"elsewhere\"": {"list", "--clinic", "elsewhere"},
	} {
		code, _, errs := account("short\n", args...)
		require.Equal(t, 1, code, args)
		require.Contains(t, errs, want)
	}
}
