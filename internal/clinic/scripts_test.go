package clinic

import (
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"gaitpost/dialog"
)

// withScript loads a clinic that lays one file over the built-in scripts.
func withScript(t *testing.T, text string) ([]*Clinic, []string, *dialog.Library) {
	t.Helper()
	builtin, err := dialog.Builtin()
	require.NoError(t, err)
	clinics, problems := LoadFrom(Source{
		Getenv: env, Scripts: builtin, Prefix: "config/",
		Files: fstest.MapFS{
			"c.yaml":        {Data: []byte(plain(t) + "scripts: own\n")},
			"own/help.yaml": {Data: []byte(text)},
		},
	})
	return clinics, wrong(problems), builtin
}

func TestAClinicsOwnScriptsAreLaidOver(t *testing.T) {
	clinics, problems, builtin := withScript(t, `script: help
version: 1
texts:
  - id: stop_confirmed
    say: {en: "{practice}: no more texts about {dog}. To have them back reply START, or ring {phone}."}
`)
	require.Empty(t, problems)
	require.Len(t, clinics, 1)
	require.NotEqual(t, builtin.Version(), clinics[0].Rules.Scripts.Version())
}

// A number that an override takes out of a protected text is a problem of the
// settings, at the script's own file.
func TestNoScriptOfAClinicRemovesANumber(t *testing.T) {
	clinics, problems, _ := withScript(t, `script: help
version: 1
texts:
  - id: stop_confirmed
    say: {en: "{practice}: no more texts about {dog}. To have them back reply START."}
`)
	require.Empty(t, clinics)
	require.Contains(t, strings.Join(problems, "\n"), "config/own/help.yaml:")
	require.Contains(t, strings.Join(problems, "\n"), "phone")
}
