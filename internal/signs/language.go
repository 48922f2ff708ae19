package signs

import (
	"io/fs"
	"slices"
	"strings"
	"sync"
)

// language is what the screen reads one language with. Each part is compiled
// when it is first asked for and never changes afterwards.
type language struct {
	code  string // BCP 47 without a region: "en", "es"
	words func() *lexicon
	model func() *model
	limit func() thresholds
	pool  sync.Pool
	ready bool // trained: only then is it read with
}

// mainLanguage is the language of a contact that names none. Its lists of
// emergencies also read every other language's messages.
const mainLanguage = "en"

var (
	languages = findLanguages(dataFiles)
	english   = languages[mainLanguage]
)

// findLanguages makes one language of every folder of the data files.
func findLanguages(fsys fs.FS) map[string]*language {
	out := map[string]*language{}
	dirs, err := fs.ReadDir(fsys, "data")
	if err != nil {
		panic("signs: the embedded data files are missing: " + err.Error())
	}
	for _, d := range dirs {
		if d.IsDir() {
			out[d.Name()] = newLanguage(fsys, d.Name())
		}
	}
	return out
}

func newLanguage(fsys fs.FS, code string) *language {
	dir := "data/" + code
	lg := &language{
		code:  code,
		words: mustOnce(code+" word lists", func() (*lexicon, error) { return load(fsys, dir) }),
		model: mustOnce(code+" model", func() (*model, error) { return loadModel(fsys, dir) }),
		limit: mustOnce(code+" thresholds", func() (thresholds, error) { return loadThresholds(fsys, dir) }),
	}
	_, noModel := fs.Stat(fsys, dir+"/"+modelFile)
	_, noThresholds := fs.Stat(fsys, dir+"/"+thresholdsFile)
	lg.ready = noModel == nil && noThresholds == nil
	lg.pool.New = func() any { return newMatcher(lg) }
	return lg
}

// mustOnce loads an embedded part once. A part that does not load is a slip in
// the build, which the tests find, so it stops the program.
func mustOnce[T any](what string, load func() (T, error)) func() T {
	return sync.OnceValue(func() T {
		v, err := load()
		if err != nil {
			panic("signs: the embedded " + what + " do not load: " + err.Error())
		}
		return v
	})
}

// Languages lists the languages that the screen reads, as language tags without
// a region, in alphabetical order.
func Languages() []string {
	var out []string
	for code, lg := range languages {
		if lg.ready {
			out = append(out, code)
		}
	}
	slices.Sort(out)
	return out
}

// Reads reports whether the screen has lists for the language. A region makes no
// difference ("es-MX" is read as "es"); "" is English.
func Reads(lang string) bool {
	return lang == "" || slices.Contains(Languages(), baseOf(lang))
}

// languageOf is the language to read with: English for one that has no lists or
// was not trained yet, since its owner may well write English.
func languageOf(lang string) *language {
	if lang == "" || lang == mainLanguage {
		return english
	}
	if lg, ok := languages[baseOf(lang)]; ok && lg.ready {
		return lg
	}
	return english
}

// baseOf is a language tag without its region, in small letters.
func baseOf(lang string) string {
	base, _, _ := strings.Cut(strings.ReplaceAll(lang, "_", "-"), "-")
	return strings.ToLower(base)
}

// alsoEnglish lets the English lists of emergencies read a message in another
// language, since owners mix. What they find raises the finding, never lowers it.
func alsoEnglish(f *Finding, text string, ctx Context, own *lexicon) {
	if f.Urgency == Emergency {
		return
	}
	m := english.pool.Get().(*matcher)
	defer m.giveBack()
	m.run(text, ctx)
	var best *evidence
	for i := range m.evidence {
		ev := &m.evidence[i]
		if ev.verdict != counted || ev.target.event != eventNone {
			continue
		}
		ev.ask = ev.pat.opts&optAsk != 0 || m.hedged(ev)
		s := m.signOf(ev)
		if urgencyOf(s, ev, ctx) != Emergency || !m.isEnglish(ev, own) {
			continue
		}
		f.add(s)
		if best == nil || best.ask && !ev.ask {
			best = ev
		}
	}
	if best == nil {
		return
	}
	f.Urgency, f.Ask = Emergency, best.ask
	f.Reason = m.because(best, best.ask)
	sortSigns(f.Signs, ctx)
}

// shortWord is the length up to which a word may stand in both languages by chance.
const shortWord = 2

// isEnglish reports whether a word of the match is spelt as in the English lists
// and is no word of the message's own language: "come" and "red" prove nothing
// in Spanish.
func (m *matcher) isEnglish(ev *evidence, own *lexicon) bool {
	for i := ev.first; i <= ev.last; i++ {
		t := &m.rd.toks[i]
		w := m.lx.fold(m.text[t.start:t.end])
		if len(w) <= shortWord || m.lx.filler[t.word] || len(m.lx.slotsOf[t.word]) == 0 {
			continue
		}
		_, exact := m.lx.vocab[w]
		_, both := own.vocab[w]
		if exact && !both {
			return true
		}
	}
	return false
}
