package signs

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// paradigm writes out the forms of words that end alike: "~" is what is left of
// the word without the ending.
type paradigm struct {
	ending string
	forms  []string
}

// readGrammar reads one "key: value" line of how a language is spelt.
func (lx *lexicon) readGrammar(line string) error {
	key, value, ok := strings.Cut(line, ":")
	if !ok {
		return fmt.Errorf("%q is not key: value", line)
	}
	key, arg, _ := strings.Cut(key, " ")
	value = strings.TrimSpace(value)
	switch key {
	case "endings":
		lx.inflected = value == "english"
	case "unfolded-unknowns":
		lx.rawUnknown = value == "yes"
	case "capitals":
		lx.nounCapitals = value == "nouns"
	case "nothing":
		lx.nothing = lx.addWord(lx.fold(value))
	case "letter":
		r := []rune(arg)
		if len(r) != 1 {
			return fmt.Errorf("%q is not one letter", arg)
		}
		lx.letters[r[0]] = value
	case "tail":
		lx.tails[arg] = lx.addWord(value)
	case "head":
		lx.heads[arg] = lx.addWord(value)
	case "not-back":
		return setCount(&lx.notBack, key, value)
	case "not-ahead":
		return setCount(&lx.notAhead, key, value)
	case "ending":
		lx.addEnding(arg, value)
	default:
		return fmt.Errorf("%q is not known", key)
	}
	return nil
}

// setCount reads a number of words.
func setCount(to *int, key, value string) error {
	n, err := strconv.Atoi(value)
	if err != nil || n < 0 {
		return fmt.Errorf("%s %q is not a number of words", key, value)
	}
	*to = n
	return nil
}

// addEnding reads "ending ar: ~o, ~as, ~a"; the longest ending that fits a word wins.
func (lx *lexicon) addEnding(ending, value string) {
	p := paradigm{ending: lx.fold(ending)}
	for _, f := range strings.Split(value, ",") {
		p.forms = append(p.forms, strings.TrimSpace(f))
	}
	lx.endings = append(lx.endings, p)
}

// forms writes out "word+" by the language's endings.
func (lx *lexicon) forms(w string) ([]string, error) {
	if lx.inflected {
		return inflect(w), nil
	}
	best := -1
	for i, p := range lx.endings {
		if strings.HasSuffix(lx.fold(w), p.ending) && (best < 0 || len(p.ending) > len(lx.endings[best].ending)) {
			best = i
		}
	}
	if best < 0 {
		return nil, fmt.Errorf("%s+: the grammar has no ending that fits", w)
	}
	p := lx.endings[best]
	stem := strings.TrimSuffix(lx.fold(w), p.ending)
	out := []string{w}
	for _, f := range p.forms {
		out = append(out, strings.ReplaceAll(f, "~", stem))
	}
	return out, nil
}

// fold is a word in the form the reader makes of it: small letters, no accents,
// no apostrophes. What stands for itself, such as an emoji, is kept.
func (lx *lexicon) fold(w string) string {
	if w == "'s" {
		return w
	}
	w = strings.ToLower(strings.ReplaceAll(w, "'", ""))
	var out []byte
	for _, r := range w {
		switch to, ok := lx.letters[r]; {
		case ok:
			out = append(out, to...)
		case r < 0x80 || r > 0x2000 || !unicode.IsLetter(r) && !unicode.IsMark(r):
			out = append(out, string(r)...)
		default:
			out = appendFolded(out, r)
		}
	}
	return string(out)
}

// appendFolded appends a small letter without its accent, or in its plain form.
// What has no plain form is left out.
func appendFolded(to []byte, r rune) []byte {
	for _, b := range norm.NFKD.Append(nil, []byte(string(r))...) {
		if b < 0x80 && isWordByte(b) {
			to = append(to, lowerByte(b))
		}
	}
	return to
}
