package clinic

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const samples = "../../testdata/config"

// env is the environment that the samples name.
func env(name string) string {
	return map[string]string{
		"TEST_TOKEN":                     "an invented token",
		"SHORT_TOKEN":                    "short",
		"LONG_TOKEN":                     "an invented token of some length, but no signing secret",
		"HARBOUR_STREET_SMS_TOKEN":       "another invented token",
		"HARBOUR_STREET_WHATSAPP_TOKEN":  "an invented access token",
		"HARBOUR_STREET_WHATSAPP_SECRET": "an invented app secret",
		"HARBOUR_STREET_WHATSAPP_VERIFY": "an invented verify token",
		"HARBOUR_STREET_TELEGRAM_TOKEN":  "an invented bot token",
		"HARBOUR_STREET_TELEGRAM_SECRET": "an-invented-secret-token",
		"HARBOUR_STREET_MAIL_PASSWORD":   "an invented mail password",
		"HARBOUR_STREET_MAIL_SECRET":     "an invented mail secret",
		// The example secret of the Standard Webhooks reference libraries' tests.
		"HARBOUR_STREET_RELAY_SECRET": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
	}[name]
}

// wanted reads what a sample says about itself: "# want key: part of the
// message" at the end of the line that the problem belongs to.
func wanted(t *testing.T, file string) []string {
	t.Helper()
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	var out []string
	for i, line := range strings.Split(string(data), "\n") {
		for _, w := range strings.Split(line, "# want ")[1:] {
			key, part, ok := strings.Cut(strings.TrimSpace(w), ":")
			require.True(t, ok, "%s:%d", file, i+1)
			out = append(out, fmt.Sprintf("%d %s|%s", i+1, strings.TrimSpace(key), strings.TrimSpace(part)))
		}
	}
	return out
}

// isFiction says whether a problem is only that a number is reserved for
// fiction, as all are in the samples.
func isFiction(p Problem) bool {
	return p.Severity == Doubtful && strings.Contains(p.Message, "numbering plan")
}

func TestEveryBadSampleIsReportedAtItsLineAndKey(t *testing.T) {
	files, err := filepath.Glob(samples + "/*.yaml")
	require.NoError(t, err)
	require.Greater(t, len(files), 50)
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			want := wanted(t, file)
			require.NotEmpty(t, want)
			clinics, problems := Load(file, env, nil)
			problems = slices.DeleteFunc(problems, isFiction)
			for _, p := range problems {
				i := slices.IndexFunc(want, func(w string) bool {
					at, part, _ := strings.Cut(w, "|")
					return at == fmt.Sprintf("%d %s", p.Line, p.Key) && strings.Contains(p.Message, part)
				})
				require.GreaterOrEqual(t, i, 0, "not expected: %s", p)
				want = slices.Delete(want, i, i+1)
			}
			require.Empty(t, want, "not reported")
			bad := strings.HasPrefix(filepath.Base(file), "bad_")
			require.Equal(t, bad, AnyWrong(problems))
			require.Equal(t, bad, len(clinics) == 0, "what is wrong is not used, what is doubtful is")
		})
	}
}

func TestNoProblemRepeatsASecret(t *testing.T) {
	for _, file := range []string{"bad_channel_literal_secret.yaml", "bad_channel_secret_in_env.yaml"} {
		_, problems := Load(filepath.Join(samples, file), env, nil)
		require.NotEmpty(t, problems)
		for _, p := range problems {
			require.NotContains(t, fmt.Sprintf("%s %+v %#v", p, p, p), "0123456789abcdef")
		}
	}
}
