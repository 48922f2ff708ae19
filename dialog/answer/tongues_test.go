package answer

import (
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// tongues are the languages that are read narrowly.
var tongues = []string{"es", "fr", "de"}

// said reads a text as one kind of answer and writes the reading as tables do.
func said(l *Lexicon, kind, text string) string {
	switch kind {
	case "scale":
		return sayScale(l.Scale(text, nil))
	case "yesno":
		return sayYesNo(l.YesNo(text))
	case "weight":
		return sayWeight(l.Weight(text, Kilograms))
	case "number":
		if r := l.Number(text, 0, 14); r.OK {
			return strconv.Itoa(r.Value)
		}
		return "-"
	}
	c, _ := l.Control(text)
	return c.String()
}

func TestTongueTables(t *testing.T) {
	t.Parallel()
	for _, lang := range tongues {
		list := rows(t, lang+".tsv", 3)
		require.GreaterOrEqual(t, len(list), 120, lang)
		for _, r := range list {
			if got := said(For(lang), r.text, r.want[0]); got != r.want[1] {
				t.Errorf("%s:%d %s %q: got %s, want %s", r.file, r.line, r.text, r.want[0], got, r.want[1])
			}
		}
	}
}

// Lists of the check-in: in order, by name, and what is not certain left open.
func TestTongueLists(t *testing.T) {
	t.Parallel()
	items := []Item{{Code: "limping"}, {Code: "soreness"}, {Code: "night"}}
	for _, c := range []struct{ lang, text, want string }{
		{"es", "1 0 2", "102"}, {"es", "cojera 2, dolor 0, noches 1", "201"}, {"es", "todo 0", "000"}, {"es", "cojera 2, el resto 0", "200"},
		{"es", "noches 3", "--3"}, {"es", "todo 0, menos cojera 2", "200"}, {"es", "cojera peor, el resto 0", "---"},
		{"fr", "1 0 2", "102"}, {"fr", "boiterie 2, douleur 0, nuits 1", "201"}, {"fr", "tout 0", "000"}, {"fr", "boiterie 2, le reste 0", "200"},
		{"de", "1 0 2", "102"}, {"de", "Lahmheit 2, Schmerzen 0, Nächte 1", "201"}, {"de", "alles 0", "000"}, {"de", "Lahmheit 2, Rest 0", "200"},
		{"de", "Lahmheit 2, Lahmheit 3", "---"},
	} {
		r := For(c.lang).Scales(c.text, items)
		got := ""
		for _, it := range items {
			got += sayScale(r.ByItem[it.Code])
		}
		require.Equal(t, c.want, got, "%s %q %+v", c.lang, c.text, r)
	}
	for lang, text := range map[string]string{"es": "igual", "fr": "pareil", "de": "wie zuletzt"} {
		require.True(t, For(lang).Scales(text, items).SameAll, lang)
	}
}

func TestTakingBackInEveryLanguage(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		lang, text string
		old        int
		named, ok  bool
	}{
		{"en", "sorry, 3 not 2", 2, true, true}, {"es", "perdón, 3, no 2", 2, true, true}, {"fr", "pardon, 3 pas 2", 2, true, true},
		{"de", "Entschuldigung, 3 statt 2", 2, true, true}, {"es", "quería decir 3", 0, false, true}, {"fr", "je voulais dire 3", 0, false, true},
		{"de", "ich meinte 3", 0, false, true}, {"es", "no come", 0, false, false}, {"de", "3", 0, false, false},
	} {
		old, named, ok := For(c.lang).TakesBack(c.text)
		require.Equal(t, []any{c.old, c.named, c.ok}, []any{old, named, ok}, "%s %q", c.lang, c.text)
	}
}

func TestLanguageNamed(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"English": "en", "in English please": "en", "ENGLISH": "en", "español": "es", "Espanol": "es", "en español por favor": "es", "Français": "fr",
		"francais": "fr", "en français s'il vous plaît": "fr", "Deutsch": "de", "auf Deutsch": "de", "deutsch bitte": "de", "Sprechen Sie Deutsch?": "de",
		"polski": "pl", "": "", "hola": "", "german shepherd": "", "no english": "", "English or Deutsch": "", "he ate a german sausage": "", "2": "",
	} {
		got, ok := LanguageNamed(text)
		require.Equal(t, want, got, text)
		require.Equal(t, want != "", ok, text)
	}
	require.Equal(t, []string{"de", "en", "es", "fr"}, Languages())
	require.Same(t, For("es"), For("es-MX"))
	require.Same(t, English(), For("xx"))
}

// FuzzTongues runs every reader of every language on anything.
func FuzzTongues(f *testing.F) {
	for _, lang := range tongues {
		for _, r := range rows(f, lang+".tsv", 3) {
			f.Add(r.want[0])
		}
	}
	f.Add("")
	f.Add("\xff\xfe")
	f.Add("pero pero pero")
	f.Add("- - -")
	items := weekly()
	f.Fuzz(func(t *testing.T, text string) {
		for _, lang := range tongues {
			l := For(lang)
			if r := l.Scale(text, weekly()[0].Anchors); r.Value < 0 || r.Value > maxLevel || !r.OK && r.Value != 0 || r.Reason == "" {
				t.Fatalf("%s %q: %+v", lang, text, r)
			}
			if r := l.YesNo(text); r.Reason == "" || !r.OK && (r.Value || r.Detail != "") {
				t.Fatalf("%s %q: %+v", lang, text, r)
			}
			if r := l.Weight(text, Kilograms); r.Reason == "" || r.OK && (r.Grams < minGrams || r.Grams > maxGrams || r.CannotWeigh) {
				t.Fatalf("%s %q: %+v", lang, text, r)
			}
			if r := l.Number(text, 0, 14); r.Reason == "" || r.Value < 0 || r.Value > 14 {
				t.Fatalf("%s %q: %+v", lang, text, r)
			}
			if c, why := l.Control(text); why == "" || c.String() == "unknown" {
				t.Fatalf("%s %q: %v %q", lang, text, c, why)
			}
			if r := l.Scales(text, items); r.Reason == "" || !r.SameAll && len(r.Missing)+len(r.ByItem) != len(items) {
				t.Fatalf("%s %q: %+v", lang, text, r)
			}
			l.Choice(text, signsList())
			l.TakesBack(text)
			LanguageNamed(text)
		}
	})
}
