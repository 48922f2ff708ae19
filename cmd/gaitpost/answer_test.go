package main

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func runAnswer(t *testing.T, in string, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(context.Background(), append([]string{"answer"}, args...), env{
		stdin: strings.NewReader(in), stdout: &o, stderr: &e,
		getenv: func(string) string { return "" },
	})
	return code, o.String(), e.String()
}

func TestAnswerWritesOneObjectALine(t *testing.T) {
	tests := []struct {
		name, in string
		args     []string
		want     string
	}{
		{"scale", "2ish\nx\n\nhe's 4 now\n", []string{"--kind", "scale"},
			`{"text":"2ish","value":2,"reason":"hedged"}` + "\n" +
				`{"text":"x","value":null,"reason":"not-applicable"}` + "\n" +
				`{"text":"","value":null,"reason":"empty"}` + "\n" +
				`{"text":"he's 4 now","value":null,"reason":"looks-like-age"}` + "\n"},
		{"yes and no", "yep\nnah <3\nmaybe", []string{"--kind", "yesno"},
			`{"text":"yep","value":true,"reason":"word"}` + "\n" +
				`{"text":"nah <3","value":false,"reason":"word"}` + "\n" +
				`{"text":"maybe","value":null,"reason":"unsure"}` + "\n"},
		{"weight in kilograms", "31\n70 lb\n", []string{"--kind", "weight"},
			`{"text":"31","value":31.000,"reason":"default-unit"}` + "\n" +
				`{"text":"70 lb","value":31.751,"reason":"measured"}` + "\n"},
		{"weight in pounds", "70\n31 kg\n", []string{"--kind", "weight", "--unit", "lb"},
			`{"text":"70","value":31.751,"reason":"default-unit"}` + "\n" +
				`{"text":"31 kg","value":31.000,"reason":"measured"}` + "\n"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			code, out, errs := runAnswer(t, tt.in, tt.args...)
			require.Equal(t, 0, code, errs)
			require.Equal(t, tt.want, out)
		})
	}
}

func TestAnswerRefusesWhatItDoesNotKnow(t *testing.T) {
	for _, tt := range []struct {
		args []string
		want string
	}{
		{nil, "say what was asked with --kind: scale, yesno or weight"},
		{[]string{"--kind", "mood"}, `--kind "mood" is not known`},
		{[]string{"--kind", "weight", "--unit", "stone"}, `--unit "stone" is not known: use kg or lb`},
	} {
		code, out, errs := runAnswer(t, "2\n", tt.args...)
		require.Equal(t, 1, code)
		require.Empty(t, out)
		require.Contains(t, errs, tt.want)
	}
}

func TestAnswerNamesTheLineThatIsTooLong(t *testing.T) {
	code, out, errs := runAnswer(t, "2\n"+strings.Repeat("9", maxLine+10)+"\n", "--kind", "scale")
	require.Equal(t, 1, code)
	require.Equal(t, `{"text":"2","value":2,"reason":"digit"}`+"\n", out)
	require.Contains(t, errs, "line 2 is longer than 65536 bytes")
}
