package signs

import (
	"bytes"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
)

// TestLanguageIsComplete: every concept that the program knows and every sign has
// words in every language, so that none is silently missing.
func TestLanguageIsComplete(t *testing.T) {
	for _, code := range Languages() {
		lx := languages[code].words()
		for name := range flagNames {
			if name != "NEGBACK" { // not every language puts its "not" behind the verb
				require.Contains(t, lx.slots, name, code)
			}
		}
		for _, name := range []string{"ARTICLE", "FILLER", "AND", "BUT", "NUM", "MANY", "FEVERNUM"} {
			require.Contains(t, lx.slots, name, code)
		}
		have := map[Sign]bool{Unclear: true, VomitingRepeated: true, SingleVomit: true}
		events := map[event]bool{}
		for _, tg := range lx.targets {
			have[tg.sign] = true
			events[tg.event] = true
		}
		for _, s := range All() {
			require.True(t, have[s], "%s: no pattern speaks for %s", code, s)
		}
		for name, e := range eventNames {
			require.True(t, events[e], "%s: no pattern speaks for %s", code, name)
		}
	}
}

func TestLanguages(t *testing.T) {
	require.Contains(t, Languages(), "en")
	for lang, want := range map[string]string{"": "en", "en": "en", "en-GB": "en", "EN_us": "en", "tlh": "en"} {
		require.Equal(t, want, languageOf(lang).code, lang)
	}
	require.True(t, Reads(""))
	require.True(t, Reads("en-AU"))
	require.False(t, Reads("tlh"))
}

// small is a made-up language with a grammar of every kind and no model to speak of.
func small(t *testing.T) *language {
	t.Helper()
	model := append([]byte(modelMagic), modelBits)
	model = append(model, bytes.Repeat([]byte{0}, 16+2<<modelBits)...)
	fsys := fstest.MapFS{}
	for name, text := range map[string]string{
		"grammar.txt": "letter ß: ss\nhead l: le\ntail s: es\nending ar: ~a, ~ado\nnot-back: 1\ncapitals: nouns",
		"concepts-a.txt": "DOG: chien\nNUM: #\nMANY: multi\nFEVERNUM: febr\nLONGAGO: olim\nFILLER: le, es\n" +
			"NEG: nicht\nNEGBACK: nicht\nVOMIT: vomitar+\nSPASS: spaß",
		"signs-a.txt":    "[vomiting]\nVOMIT\n[wound]\nSPASS",
		"thresholds.txt": "weight 1\nflag 9\nraise 9\ndrop-same-day -9\nraise-same-day 9\ndrop-emergency -9",
		"model.bin":      string(model),
		"lookalikes.txt": "come red drops",
	} {
		fsys["data/xx/"+name] = &fstest.MapFile{Data: []byte(text)}
	}
	lg := findLanguages(fsys)["xx"]
	require.NotNil(t, lg)
	require.True(t, lg.ready)
	languages["xx"] = lg
	t.Cleanup(func() { delete(languages, "xx") })
	return lg
}

// TestGrammar: what a language's grammar file says is how its words are read.
func TestGrammar(t *testing.T) {
	lx := small(t).words()
	words := func(s string) (out []string) {
		r := reader{lx: lx}
		r.read(s, nil)
		for _, tk := range r.toks {
			out = append(out, lx.words[tk.word])
		}
		return out
	}
	require.Equal(t, []string{"le", "chien"}, words("L'chien"))
	require.Equal(t, []string{"chien", "es"}, words("chien's"))
	require.Equal(t, []string{"spass"}, words("SPAß"))
	require.Equal(t, []string{"vomitado"}, words("vomitádo"))
	for text, want := range map[string]Urgency{
		"vomita": SameDay, "vomitado": SameDay, "nicht vomita": None, "vomita nicht": None, "Spaß": SameDay,
		"vomita chien chien nicht": SameDay, // further back than the grammar lets it reach
	} {
		require.Equal(t, want, Screen(text, Context{Lang: "xx-YY"}).Urgency, text)
	}
}

// TestAlsoEnglish: an English emergency is caught in a message of another
// language, words that both languages have prove nothing, and English messages
// are read with nothing but English.
func TestAlsoEnglish(t *testing.T) {
	small(t)
	for text, want := range map[string]Urgency{
		"chien chien he collapsed":                   Emergency,
		"his poo is black and sticky like tar chien": Emergency,
		"he hasn't collapsed chien":                  None,
		"he threw up twice chien":                    None, // emergencies alone
		"come red drops":                             None,
		"vomita":                                     SameDay,
	} {
		f := check(t, text, Context{Lang: "xx"})
		require.Equal(t, want, f.Urgency, "%q → %+v", text, f)
	}
	require.Equal(t, None, Screen("vomitado", Context{Lang: "en"}).Urgency)
	f := Screen("vomita, he collapsed", Context{Lang: "xx"})
	require.Equal(t, []Sign{Collapse, Vomiting}, f.Signs)
	require.Contains(t, f.Reason, "collapsed")
}

// TestUntrainedLanguage: a folder without a model is read as English.
func TestUntrainedLanguage(t *testing.T) {
	fsys := fstest.MapFS{"data/yy/grammar.txt": {Data: []byte("nothing: nul")}}
	languages["yy"] = findLanguages(fsys)["yy"]
	t.Cleanup(func() { delete(languages, "yy") })
	require.NotContains(t, Languages(), "yy")
	require.Equal(t, Emergency, Screen("he collapsed", Context{Lang: "yy"}).Urgency)
}

// TestThresholdErrors: a slip in the thresholds is named.
func TestThresholdErrors(t *testing.T) {
	for text, want := range map[string]string{
		"weight much":            `"weight much" is not a threshold's name and a number`,
		"height 2":               `"height 2" is not`,
		"weight 1\nweight 2":     "line 2",
		"weight 1\nflag 2":       "lacks 4 of the six thresholds",
		"# nothing but a remark": "lacks 6",
	} {
		_, err := loadThresholds(fstest.MapFS{"d/thresholds.txt": {Data: []byte(text)}}, "d")
		require.ErrorContains(t, err, want)
	}
}
