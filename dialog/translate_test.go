package dialog

import (
	"io/fs"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/sms"
)

const walkScript = `script: walk
languages: [en]
steps:
  - id: eats
    kind: choice
    item: eats
    protected: true
    requires: [phone]
    must_say: {en: [ring]}
    ask: {en: "Has {dog} eaten? {options} ring {phone}"}
    options:
      - {id: well, text: {en: well}}
  - id: done
    kind: end
`

func walk2(es string) fstest.MapFS {
	return fstest.MapFS{"walk.yaml": {Data: []byte(walkScript)}, "es/walk.yaml": {Data: []byte(es)}}
}

// A translation is refused where it lacks, adds or breaks something, each with
// the file, the language and the step.
func TestTheCheckerRefusesABrokenTranslation(t *testing.T) {
	t.Parallel()
	const head = "script: walk\nlanguage: es\nwords:\n"
	const ask = "    ask: \"¿Come {dog}? {options} llame al {phone}\"\n"
	for name, c := range map[string]struct{ es, want string }{
		"whole":            {head + "  eats:\n    must_say: [llame]\n" + ask + "    options: {well: {text: bien}}\n", ""},
		"no text":          {head + "  eats:\n    must_say: [llame]\n    options: {well: {text: bien}}\n", `step eats: its ask is missing in "es" (Spanish)`},
		"no option":        {head + "  eats:\n    must_say: [llame]\n" + ask, `step eats: the option well is missing in "es" (Spanish)`},
		"no must_say":      {head + "  eats:\n" + ask + "    options: {well: {text: bien}}\n", `step eats: its must_say is missing in "es" (Spanish)`},
		"words not said":   {head + "  eats:\n    must_say: [vuele]\n" + ask + "    options: {well: {text: bien}}\n", `step eats: its ask in "es" must say "vuele"`},
		"number dropped":   {head + "  eats:\n    must_say: [come]\n    ask: \"¿Come {dog}? {options}\"\n    options: {well: {text: bien}}\n", `step eats: its ask in "es" must keep {phone}`},
		"outside alphabet": {head + "  eats:\n    must_say: [llame]\n    ask: \"¿Está {dog}? {options} llame al {phone}\"\n    options: {well: {text: bien}}\n", `ask in "es" holds "á"`},
		"unknown step":     {head + "  drinks:\n" + ask, "the script has no step drinks"},
		"unknown option":   {head + "  eats:\n    must_say: [llame]\n" + ask + "    options: {well: {text: bien}, ill: {text: mal}}\n", "step eats has no option ill"},
		"unknown key":      {head + "  eats:\n    kind: yesno\n" + ask, `a step's words has no key "kind"`},
		"unknown script":   {"script: gone\nlanguage: es\nwords:\n  eats:\n" + ask, "there is no script gone"},
		"other folder":     {"script: walk\nlanguage: fr\nwords:\n  eats:\n" + ask, "the file is in fr and lies in the folder es"},
		"no language":      {"script: walk\nwords:\n  eats:\n" + ask, "the language must stand before the words"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, problems := Load(walk2(c.es))
			if c.want == "" {
				require.Empty(t, problems)
				return
			}
			ok := slices.ContainsFunc(problems, func(p Problem) bool { return strings.Contains(p.Message, c.want) })
			require.True(t, ok, "%v", problems)
		})
	}
}

// A built-in script lacks none of the four languages: without the French folder
// every step that speaks is named, with the language.
func TestABuiltinScriptMustHaveEveryLanguage(t *testing.T) {
	t.Parallel()
	sub := os.DirFS("scripts")
	files := fstest.MapFS{}
	require.NoError(t, fs.WalkDir(sub, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasPrefix(path, "fr/") {
			return err
		}
		data, err := fs.ReadFile(sub, path)
		files[path] = &fstest.MapFile{Data: data}
		return err
	}))
	_, problems := load(files, Languages)
	for _, want := range []string{`step limping: its ask is missing in "fr" (French)`, `step emergency_open: its say is missing in "fr" (French)`} {
		ok := slices.ContainsFunc(problems, func(p Problem) bool { return strings.Contains(p.Message, want) })
		require.True(t, ok, want)
	}
	_, problems = Load(files)
	require.Empty(t, problems, "a folder of one's own may have fewer")
	for _, id := range untranslated {
		s, ok := library(t).Script(id)
		require.False(t, ok && len(s.Languages()) == len(Languages), "%s has every language: take it off the list", id)
	}
}

// Every text of every language fits as the English one must: within its limit
// of segments, a scale in one, in the alphabet of text messages; a question says
// which dog; and a protected text keeps the numbers of its English.
func TestEveryLanguageHoldsTheLimits(t *testing.T) {
	t.Parallel()
	l := library(t)
	for _, id := range l.Scripts() {
		s := l.scripts[id]
		if slices.Contains(untranslated, id) {
			continue
		}
		require.Subset(t, s.Languages(), Languages, id)
		require.Empty(t, s.unicode, "%s: no language needs more than the text-message alphabet", id)
		for _, st := range s.all() {
			for part, texts := range st.parts {
				for _, lang := range Languages {
					n := s.size(st, part, lang)
					require.LessOrEqual(t, n.Segments, n.Limit, "%s %s %s %s", id, st.id, part, lang)
					require.Equal(t, sms.GSM7, sms.Encode(texts[lang].text).Encoding)
					if st.kind == KindScale {
						require.Equal(t, 1, n.Segments, "%s %s %s %s", id, st.id, part, lang)
					}
					held := placeholdersIn(texts[lang].text)
					for _, number := range numbers {
						require.Equal(t, slices.Contains(placeholdersIn(texts[english].text), number), slices.Contains(held, number), "%s %s %s %s %s", id, st.id, part, lang, number)
					}
				}
			}
		}
	}
}

// No English words slip into a text of another language, not even where a value
// is missing.
func TestNothingStaysEnglish(t *testing.T) {
	t.Parallel()
	l := library(t)
	for _, id := range l.Scripts() {
		s := l.scripts[id]
		for _, lang := range Languages[1:] {
			if !slices.Contains(s.Languages(), lang) {
				continue
			}
			for _, st := range s.all() {
				for part := range st.parts {
					text := " " + l.Render(s.line(st, part, &Context{Lang: lang}, st.itemsOf()), lang) + " "
					for _, word := range []string{" the ", " your ", " ring ", " he ", " soon ", " once ", " week ", " dog ", " vet ", "Please"} {
						require.NotContains(t, text, word, "%s %s %s %s", id, st.id, part, lang)
					}
				}
			}
		}
	}
}

// What was said stays what it was when somebody changes their language.
func TestALineKeepsItsLanguage(t *testing.T) {
	t.Parallel()
	l := library(t)
	ctx := household()
	english := l.Say("checkin", "closing_usual", ctx)
	ctx.Lang = "de"
	german := l.Say("checkin", "closing_usual", ctx)
	require.Empty(t, english.Lang)
	require.Equal(t, "de", german.Lang)
	require.Equal(t, "Danke, Ruth. Bramble etwa wie immer. Dr Lee liest das on Tuesday.", l.Render(german, "en"))
	require.Equal(t, "Bitte rufen Sie Hill Vets an: 01632 960100. Wenn es nicht warten kann und wir geschlossen haben: 01632 960911.",
		l.Render(l.Say("nowhere", "nothing", ctx), ""))
}

// A clinic's own step needs the languages that the clinic uses, and no others;
// where an owner's language is missing English stands in.
func TestAClinicGivesTheLanguagesItUses(t *testing.T) {
	t.Parallel()
	own := fstest.MapFS{"own.yaml": {Data: []byte(`
script: checkin
steps:
  - id: appetite
    kind: yesno
    item: appetite
    after: night
    forms: [one]
    ask: {en: "{dog}: eating well? YES or NO", de: "{dog}: guter Appetit? JA oder NEIN"}
`)}}
	l, problems := library(t).Override(own)
	require.Empty(t, problems)
	ctx := household()
	ctx.Lang = "fr"
	s := l.scripts["checkin"]
	require.Equal(t, "Bramble: eating well? YES or NO", l.Render(s.line(s.step("appetite"), PartAsk, &ctx, nil), "fr"))
	_, problems = library(t).Override(own, "de")
	require.Empty(t, problems)
	_, problems = library(t).Override(own, "de", "fr")
	require.Len(t, problems, 1)
	require.Contains(t, problems[0].Message, `step appetite: its ask is missing in "fr" (French)`)
}
