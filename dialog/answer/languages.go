package answer

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// lexicons are the languages that answers are read in, by code.
var lexicons = map[string]func() *Lexicon{
	"en": English,
	"es": sync.OnceValue(func() *Lexicon { return mustLoad("es") }),
	"fr": sync.OnceValue(func() *Lexicon { return mustLoad("fr") }),
	"de": sync.OnceValue(func() *Lexicon { return mustLoad("de") }),
}

// mustLoad loads an embedded lexicon; one that does not load is a slip in the
// build, which the tests find.
func mustLoad(lang string) *Lexicon {
	l, err := load(lang)
	if err != nil {
		panic(fmt.Sprintf("answer: the embedded lexicon %q does not load: %v", lang, err))
	}
	return l
}

// Languages lists the languages that answers are read in, as codes of ISO 639-1,
// in alphabetical order.
func Languages() []string {
	var out []string
	for lang := range lexicons {
		out = append(out, lang)
	}
	slices.Sort(out)
	return out
}

// For returns the words of a language; English where there are none. A region
// makes no difference: "es-MX" is read as "es".
func For(lang string) *Lexicon {
	base, _, _ := strings.Cut(lang, "-")
	if load, ok := lexicons[base]; ok {
		return load()
	}
	return English()
}

// bare is a word as a plain lexicon keeps it: without accents, which owners leave
// out as often as not. Letters that are no letter with a mark become two.
func (l *Lexicon) bare(w string) string {
	if !l.plain {
		return w
	}
	return bareWord(w)
}

func bareWord(w string) string {
	if isASCII(w) {
		return w
	}
	var b strings.Builder
	for _, r := range norm.NFD.String(w) {
		switch {
		case unicode.Is(unicode.Mn, r) && r < 0x370:
		case r == 'ß':
			b.WriteString("ss")
		case r == 'œ':
			b.WriteString("oe")
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

func isASCII(s string) bool {
	for i := range len(s) {
		if s[i] >= 0x80 {
			return false
		}
	}
	return true
}

// barely is a text in lower case, with plain apostrophes and, in a plain lexicon,
// without accents.
func (l *Lexicon) barely(text string) string {
	if !l.plain {
		return text
	}
	return bareWord(strings.ToLower(strings.NewReplacer("’", "'", "`", "'").Replace(text)))
}

// named are the languages' names and the words that may stand beside one; the
// names are in data so that a language is added where its words are.
var named = sync.OnceValue(func() (out struct {
	names map[string]string // name → code
	small map[string]bool
}) {
	data, err := lexiconFiles.ReadFile("lexicon/languages.list")
	if err != nil {
		panic("answer: the names of languages are missing: " + err.Error())
	}
	out.names, out.small = map[string]string{}, map[string]bool{}
	for _, line := range strings.Split(string(data), "\n") {
		key, words, ok := strings.Cut(line, ":")
		if !ok || strings.HasPrefix(line, "#") {
			continue
		}
		for _, w := range strings.Fields(words) {
			if key == "small" {
				out.small[bareWord(w)] = true
			} else {
				out.names[bareWord(w)] = key
			}
		}
	}
	return out
})

// LanguageNamed reads a message that names a language and nothing else, which
// asks to be written to in it: "Deutsch", "in English please", "auf Deutsch
// bitte". lang is its code, of ISO 639-1, which need not be one that is read here.
func LanguageNamed(text string) (lang string, ok bool) {
	words := strings.FieldsFunc(bareWord(strings.ToLower(composed(text))), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r)
	})
	const most = 8
	if len(words) > most {
		return "", false
	}
	n := named()
	for _, w := range words {
		code, is := n.names[w]
		switch {
		case is && lang != "" && lang != code:
			return "", false
		case is:
			lang = code
		case !n.small[w]:
			return "", false
		}
	}
	return lang, lang != ""
}
