package clinic

import (
	"errors"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

const example = "../../deploy/clinic.example.yaml"

func readExample(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile(example)
	require.NoError(t, err)
	return string(data)
}

// load reads one settings file from memory, with the secret that the example
// names by its path.
func load(t *testing.T, text string) (*Clinic, []Problem) {
	t.Helper()
	clinics, problems := LoadFrom(Source{
		Files: fstest.MapFS{
			"clinic.yaml":                  {Data: []byte(text)},
			"scripts/harbour-street/x.txt": {Data: []byte("")},
		},
		Getenv: env,
		ReadFile: func(name string) ([]byte, error) {
			if name == "/run/secrets/harbour-street-spare" {
				return []byte("a third invented token\n"), nil
			}
			if strings.HasPrefix(name, "/run/secrets/harbour-street-whatsapp") {
				return []byte("an invented secret of some length\n"), nil
			}
			return nil, errors.New("no such file")
		},
	})
	problems = slices.DeleteFunc(problems, isFiction)
	if len(clinics) == 0 {
		return nil, problems
	}
	return clinics[0], problems
}

var switchedOff = regexp.MustCompile(`(?m)^( *)#([a-z0-9_]+:)`)

// switchOn takes the # from every setting that the example leaves at its default.
func switchOn(text string) string { return switchedOff.ReplaceAllString(text, "$1$2") }

func TestTheExampleHasNoProblem(t *testing.T) {
	c, problems := load(t, readExample(t))
	require.Empty(t, problems)
	require.NotNil(t, c)
	require.Equal(t, "lee", c.Rules.Lead)
	require.Equal(t, []care.Channel{
		{Name: "text", Kind: "sms", Address: "+447700900150"},
		{Name: "spare", Kind: "sms", Address: "+447700900151"},
		{Name: "whatsapp", Kind: "whatsapp", Address: "+447700900152"},
		{Name: "whatsapp-spare", Kind: "whatsapp", Address: "+447700900153"},
		{Name: "telegram", Kind: "telegram", Address: "harbour_street_bot"},
		{Name: "gateway", Kind: "relay", Address: "harbour-street"},
		{Name: "mail", Kind: "email", Address: "gaitpost@harbour-street.example"},
		{Name: "calls", Kind: "voice", Address: "+447700900154"},
	}, c.Rules.Channels)
	require.Equal(t, "a third invented token", c.Channels[1].AuthToken.Reveal())
}

func TestTheExampleShowsEveryKey(t *testing.T) {
	c, problems := load(t, switchOn(readExample(t)))
	require.Empty(t, problems)
	seen := map[string]bool{}
	for path := range c.set {
		seen[patternOf(path)] = true
	}
	for _, k := range Keys() {
		require.True(t, seen[k.Path], "deploy/clinic.example.yaml lacks %s", k.Path)
	}
}

// A setting that the example shows switched off stands there at its default, so
// that switching it on changes nothing.
func TestTheExampleShowsTheDefaults(t *testing.T) {
	off, _ := load(t, readExample(t))
	on, _ := load(t, switchOn(readExample(t)))
	require.Equal(t, off.Rules.Thresholds, on.Rules.Thresholds)
	require.Equal(t, off.Rules.Limits, on.Rules.Limits)
	require.Equal(t, off.Rules.Reminders, on.Rules.Reminders)
	require.Equal(t, off.Rules.Cadences, on.Rules.Cadences)
	require.Equal(t, off.Rules.Quiet, on.Rules.Quiet)
	require.Equal(t, off.Channels[0].Rate, on.Channels[0].Rate)
	for _, s := range Explain(on) {
		if strings.HasPrefix(s.Key, "thresholds.") || strings.HasPrefix(s.Key, "cadences.") {
			require.Equal(t, s.Default, s.Value, s.Key)
			require.Positive(t, s.Line, s.Key)
		}
	}
}
