package dialog

import (
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/sms"
)

// No name makes a text travel in UCS-2 behind anybody's back: whatever a
// placeholder is filled with, a text of a language that fits the text-message
// alphabet fits it still. Only languages that a script declares as unicode go
// beyond it.
func TestNoValueMakesATextUCS2(t *testing.T) {
	t.Parallel()
	lib, err := Builtin()
	require.NoError(t, err)
	values := []string{"Bodő", "Žižka", "Łukasz", "Жук", "🐕 Rex", "O’Hara – “Pip”", "שלומי", "a\u0301\u0323b", "\xff\xfe", "½ tablet …"}
	for _, v := range values {
		vars := map[string]string{}
		for _, p := range Placeholders {
			vars[p.Name] = v
		}
		vars["items"], vars["dog1"], vars["dog2"] = "own1 own2", v, v
		for _, id := range lib.Scripts() {
			s := lib.scripts[id]
			for _, st := range s.all() {
				for _, part := range partKeys {
					for _, lang := range s.languages {
						if _, ok := st.parts[part][lang]; !ok || slices.Contains(s.unicode, lang) {
							continue
						}
						text := lib.Render(s.line(st, part, &Context{Lang: lang, Vars: vars}, []string{"own1", "own2"}), lang)
						n := sms.Encode(text)
						require.Equal(t, sms.GSM7, n.Encoding, "%s %s %s %s with %q: %q in %q", id, st.id, part, lang, v, string(n.Culprits), text)
					}
				}
			}
		}
	}
	for lang := range locales {
		require.Equal(t, sms.GSM7, sms.Encode(plainValue(locales[lang].fallback, false)).Encoding, lang)
	}
	for _, p := range Placeholders {
		require.Equal(t, sms.GSM7, sms.Encode(p.Fallback).Encoding, p.Name)
	}
}

func TestNamesAsTextsWriteThem(t *testing.T) {
	t.Parallel()
	for name, want := range map[string][2]string{
		"Bramble": {"Bramble", ""}, "Bodő": {"Bodo", ""}, "Siân": {"Sian", ""}, "Zoë": {"Zoe", ""}, "José": {"José", ""},
		"O’Hara": {"O'Hara", ""}, "Łukasz": {"Lukasz", ""}, "Rex🐕": {"Rex", "🐕"}, "Жук": {"", "Жук"}, "": {"", ""},
	} {
		text, lost := InTexts(name)
		require.Equal(t, want, [2]string{text, lost}, name)
	}
}

// The checker names the character, its code, and where in the text it is.
func TestTheCheckerSaysWhichCharacterAndWhere(t *testing.T) {
	t.Parallel()
	const script = "script: walk\nversion: 1\nlanguages: [en]\nsteps:\n  - id: eats\n    kind: yesno\n    item: eats\n    ask: {en: \"Has {dog} eaten – or drunk? YES or NO\"}\n"
	_, problems := Load(fstest.MapFS{"walk.yaml": {Data: []byte(script)}})
	i := slices.IndexFunc(problems, func(p Problem) bool { return p.Code == "not-gsm7" })
	require.GreaterOrEqual(t, i, 0, "%v", problems)
	for _, words := range []string{"“–”", "U+2013", "at character 17", "eaten – or drun", `in "en"`, "step eats"} {
		require.Contains(t, strings.ReplaceAll(problems[i].Message, `"–"`, "“–”"), words)
	}
	require.Equal(t, 8, problems[i].Line)
}

func TestMeasure(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]Length{
		"":                                  {Segments: 1},
		strings.Repeat("a", 160):            {Units: 160, Segments: 1},
		strings.Repeat("a", 161):            {Units: 161, Segments: 2},
		"is Bodő up?":                       {Units: 11, Segments: 1, Culprits: []rune{'ő'}, At: 6},
		"ő" + strings.Repeat("a", 69) + "ű": {Units: 71, Segments: 2, Culprits: []rune{'ő', 'ű'}},
	} {
		require.Equal(t, want, Measure(text), text)
	}
}
