package main

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestContactsOfAHousehold(t *testing.T) {
	t.Parallel()
	d := deployment(t)
	_, errs, code := asked(t, d, "enrol", written(t, "caseload.csv", invitedTable))
	require.Zero(t, code, errs)
	ruth := []string{"--phone", "07700 900401"}
	ask := func(args ...string) (string, string, int) {
		return asked(t, d, append([]string{"contact"}, args...)...)
	}

	out, errs, code := ask(append([]string{"list"}, ruth...)...)
	require.Zero(t, code, errs)
	require.Equal(t, "1  Ruth  sms …401  invited\n", out)

	out, errs, code = ask(append([]string{"add", "--new", "07700 900477", "--replace"}, ruth...)...)
	require.Zero(t, code, errs)
	require.Contains(t, out, "…477")
	out, _, _ = ask("list", "--phone", "07700 900477")
	require.Equal(t, "1  Ruth  sms …401  no longer used\n2  Ruth  sms …477  invited\n", out, "found by the new number, history and all")

	_, errs, code = ask("add", "--new", "07700 900478", "--channel", "whatsapp", "--person", "Sam", "--phone", "07700 900477")
	require.Zero(t, code, errs)
	out, _, _ = ask("list", "--phone", "07700 900478")
	require.Contains(t, out, "3  Sam  whatsapp …478  invited\n")

	for _, c := range []struct {
		want string
		args []string
	}{
		{"belongs to another household", []string{"add", "--new", "07700 900402", "--phone", "07700 900401"}},
		{"in this household already", []string{"add", "--new", "07700 900477", "--phone", "07700 900401"}},
		{"no household is enrolled", []string{"list", "--phone", "07700 900499"}},
		{"no channel", []string{"add", "--new", "07700 900479", "--channel", "pigeon", "--phone", "07700 900401"}},
		{"--new", []string{"add", "--new", "12", "--phone", "07700 900401"}},
		{"somebody else", []string{"add", "--new", "07700 900479", "--person", "Jo", "--replace", "--phone", "07700 900401"}},
		{"nobody joins by a link", []string{"join", "--channel", "whatsapp", "--phone", "07700 900401"}},
		{"Show it to them", []string{"join", "--channel", "telegram", "--phone", "07700 900402"}},
	} {
		_, errs, code = ask(c.args...)
		require.Equal(t, 1, code, c.want)
		require.Contains(t, errs, c.want)
		require.NotContains(t, errs, "07700", "a refusal repeats no number")
	}
}
