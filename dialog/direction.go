package dialog

import (
	"strings"

	"golang.org/x/text/language"
	"golang.org/x/text/unicode/bidi"
)

// Directional isolates of Unicode Standard Annex 9: what stands between one of
// the first two and the last is laid out by itself.
const (
	leftToRightIsolate = "\u2066"
	firstStrongIsolate = "\u2068"
	popIsolate         = "\u2069"
)

// rightToLeft are the scripts (ISO 15924) that run from right to left.
var rightToLeft = map[string]bool{"Arab": true, "Hebr": true, "Thaa": true, "Syrc": true, "Nkoo": true, "Adlm": true, "Rohg": true}

// isolated is the style of a language's texts. The isolates themselves are no
// part of the text-message alphabet, so only a language that goes beyond it has
// them; no right-to-left script can be written in that alphabet anyway.
func isolated(lang string, wide bool) style {
	y := style{lang: lang, wide: wide}
	if wide && lang != english {
		script, _ := language.Make(lang).Script()
		y.isolate = rightToLeft[script.String()]
	}
	return y
}

// apart sets a name or a number apart from words that run the other way, so that
// "01632 960100" keeps its order and moves nothing beside it.
func (y style) apart(v string) string {
	if !y.isolate || v == "" {
		return v
	}
	v = strings.Map(withoutDirection, v)
	if strings.ContainsFunc(v, runsLeft) {
		return firstStrongIsolate + v + popIsolate
	}
	return leftToRightIsolate + v + popIsolate
}

// withoutDirection drops signs by which a value could reach out of its isolate.
func withoutDirection(r rune) rune {
	if r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 || r == 0x200e || r == 0x200f || r == 0x061c {
		return -1
	}
	return r
}

// runsLeft reports a letter that runs from right to left.
func runsLeft(r rune) bool {
	p, _ := bidi.LookupRune(r)
	return p.Class() == bidi.R || p.Class() == bidi.AL
}
