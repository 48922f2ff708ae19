package dialog

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
)

// wanted reads what a bad sample says of itself: a line that ends in
// "# want: code …" is to be named with those codes, and no other line is.
func wanted(data []byte) []string {
	var want []string
	for i, line := range bytes.Split(data, []byte("\n")) {
		_, codes, ok := strings.Cut(string(line), "# want: ")
		if !ok {
			continue
		}
		for _, code := range strings.Fields(codes) {
			want = append(want, fmt.Sprintf("%d %s", i+1, code))
		}
	}
	slices.Sort(want)
	return want
}

func found(problems []Problem) []string {
	var got []string
	for _, p := range problems {
		got = append(got, fmt.Sprintf("%d %s", p.Line, p.Code))
	}
	slices.Sort(got)
	return slices.Compact(got)
}

func TestCheckerNamesEveryDefectWithItsLine(t *testing.T) {
	files, err := filepath.Glob("testdata/bad/*.yaml")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 30)
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			data, err := os.ReadFile(file)
			require.NoError(t, err)
			_, problems := Load(fstest.MapFS{"walk.yaml": {Data: data}})
			require.NotEmpty(t, wanted(data), "the sample says what is wrong with it")
			require.Equal(t, wanted(data), found(problems), "%v", problems)
			for _, p := range problems {
				require.Equal(t, "walk.yaml", p.File)
				require.NotEmpty(t, p.Message)
			}
		})
	}
}

func TestOverrideCannotTakeSafetyAway(t *testing.T) {
	l := library(t)
	files, err := filepath.Glob("testdata/bad/override/*.yaml")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 12)
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			data, err := os.ReadFile(file)
			require.NoError(t, err)
			got, problems := l.Override(fstest.MapFS{"own.yaml": {Data: data}})
			require.Equal(t, wanted(data), found(problems), "%v", problems)
			require.Same(t, l, got, "with problems nothing is taken over")
		})
	}
}

func TestBuiltinScriptsHaveNoProblem(t *testing.T) {
	_, problems := Load(os.DirFS("scripts"))
	require.Empty(t, problems)
}

// A whole copy of the built-in scripts laid over them changes nothing.
func TestOverrideByACopyIsClean(t *testing.T) {
	l := library(t)
	got, problems := l.Override(os.DirFS("scripts"))
	require.Empty(t, problems)
	require.Equal(t, l.Scripts(), got.Scripts())
	require.NotEqual(t, l.Version(), got.Version())
	require.Equal(t, l.Sizes(), got.Sizes())
}

func TestOverrideChangesTextsAndSteps(t *testing.T) {
	l := library(t)
	own, problems := l.Override(fstest.MapFS{"hill.yaml": {Data: []byte(`
script: checkin
remove: [steps]
steps:
  - id: list
    items: [limping, soreness, night, rising, walking, own1, own2]
  - id: night
    ask: {en: "{dog}: how were the nights? {levels}"}
  - id: appetite
    kind: yesno
    item: appetite
    after: night
    forms: [one]
    ask: {en: "{dog}: eating well? YES or NO"}
`)}})
	require.Empty(t, problems)
	s, lines, err := own.Begin("checkin", OneByOne, household())
	require.NoError(t, err)
	var asked []string
	for range 20 {
		asked = append(asked, lines[len(lines)-1].Step)
		text := "1"
		if k := own.scripts["checkin"].step(s.Step).kind; k == KindYesNo {
			text = "no"
		}
		r := own.Reply(s, household(), text)
		if s, lines = r.Session, r.Say; r.Done {
			break
		}
	}
	require.Equal(t, []string{"limping", "soreness", "night", "appetite", "rising", "walking", "signs"}, asked)
	require.Equal(t, "Bramble: how were the nights? 0 none, 1 one night, 2 two or three, 3 most nights, 4 every night, X sleeps out of hearing",
		own.Render(Line{Script: "checkin", Step: "night", Part: PartAsk, Vars: map[string]string{"dog": "Bramble"}}, "en"))

	unchanged, _, err := l.Begin("checkin", OneByOne, household())
	require.NoError(t, err)
	require.NotNil(t, l.scripts["checkin"].step("steps"), "the built-in library stays as it was")
	require.Equal(t, "limping", unchanged.Step)
}

func TestOverrideAddsALanguage(t *testing.T) {
	own, problems := library(t).Override(fstest.MapFS{"own.yaml": {Data: []byte(`
script: signcheck
languages: [en, cy]
steps:
  - id: now
    ask: {cy: "{dog}: ydy e'n digwydd nawr? YES neu NO. {phone}, neu {emergency}"}
    reask: {cy: "{dog}: nawr? YES neu NO. {phone}, neu {emergency}"}
`)}})
	require.Empty(t, problems)
	ctx := household()
	ctx.Lang = "cy"
	_, lines, err := own.Begin("signcheck", OneByOne, ctx)
	require.NoError(t, err)
	require.Equal(t, "Bramble: ydy e'n digwydd nawr? YES neu NO. 01632 960100, neu 01632 960911", own.Render(lines[0], "cy"))
	require.Equal(t, own.Render(lines[0], "cy"), own.Render(lines[0], "fr"), "what was said stays in the language it was said in")
	ctx.Lang = "nl"
	_, lines, err = own.Begin("signcheck", OneByOne, ctx)
	require.NoError(t, err)
	require.Contains(t, own.Render(lines[0], "nl"), "is it happening now?", "English stands in")
}

func TestOverrideAddsAScript(t *testing.T) {
	own, problems := library(t).Override(fstest.MapFS{"swim.yaml": {Data: []byte(`
script: swim
languages: [en]
steps:
  - id: swum
    kind: yesno
    item: swum
    ask: {en: "Has {dog} been swimming? YES or NO"}
  - id: done
    kind: end
`)}})
	require.Empty(t, problems)
	_, ok := own.Script("swim")
	require.True(t, ok)
	_, problems = library(t).Override(fstest.MapFS{"swim.yaml": {Data: []byte("script: swim\nlanguages: [en]\nsteps:\n  - id: swum\n    item: swum\n")}})
	require.Equal(t, []string{"4 missing-key"}, found(problems))
}

func TestALaidOverTextBringsItsOwnPlaceholders(t *testing.T) {
	l := library(t)
	own, problems := l.Override(fstest.MapFS{"own.yaml": {Data: []byte(`
script: checkin
steps:
  - id: night
    ask: {en: "{owner}, how were the nights of {dog}? {levels}"}
`)}})
	require.Empty(t, problems)
	vars := func(l *Library) []string { return l.scripts["checkin"].step("night").usedIn(PartAsk) }
	require.Equal(t, []string{"dog", "levels", "owner"}, vars(own))
	require.NotContains(t, vars(l), "owner", "the built-in line stays as it was")
	for _, s := range own.scripts {
		for _, st := range s.all() {
			for part := range st.parts {
				require.Equal(t, st.findUsed(part), st.used[part], "%s %s %s", s.id, st.id, part)
			}
		}
	}
}
