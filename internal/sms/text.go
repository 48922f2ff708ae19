package sms

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// MaxInboundRunes is the longest inbound text that is read, in characters: the
// longest message body the sending interface of the common messaging providers
// accepts. What follows is cut off.
const MaxInboundRunes = 1600

// lookAlikes are characters outside GSM-7 that have an equal inside it. Only
// those are here that a reader takes for the same thing: letters with accents
// that GSM-7 lacks stay as they are, since "papá" is not "papa".
var lookAlikes = map[rune]string{
	'‘': "'", '’': "'", '‚': "'", '‛': "'", '′': "'", '´': "'", '`': "'", 'ʼ': "'", '＇': "'",
	'“': `"`, '”': `"`, '„': `"`, '‟': `"`, '″': `"`, '«': `"`, '»': `"`, '＂': `"`,
	'‐': "-", '‑': "-", '‒': "-", '–': "-", '−': "-", '•': "-", '·': "-",
	'…': "...", '×': "x", '÷': "/", '⁄': "/", '∕': "/",
	'≤': "<=", '≥': ">=", '→': "->", '\t': " ",
	'\u00a0': " ", '\u1680': " ", '\u2000': " ", '\u2001': " ", '\u2002': " ", '\u2003': " ",
	'\u2004': " ", '\u2005': " ", '\u2006': " ", '\u2007': " ", '\u2008': " ", '\u2009': " ",
	'\u200a': " ", '\u202f': " ", '\u205f': " ", '\u3000': " ",
	'\u2028': "\n", '\u2029': "\n", '\u0085': "\n", '\v': "\n",
	'\u00ad': "", '\u200b': "", '\u2060': "", '\ufeff': "",
}

// fractions need a space after a digit, or "2½" would become twenty-one halves.
var fractions = map[rune]string{
	'¼': "1/4", '½': "1/2", '¾': "3/4", '⅓': "1/3", '⅔': "2/3",
	'⅛': "1/8", '⅜': "3/8", '⅝': "5/8", '⅞': "7/8",
}

// Plain rewrites one of our own texts so that it needs no UCS-2 where that is
// possible without changing what it says: curly quotes, dashes, fixed spaces,
// fractions and a degree sign become GSM-7 characters. What has no equal there
// (an emoji, á) stays, and Encode names it.
func Plain(text string) string {
	if len(Encode(text).Culprits) == 0 {
		return text
	}
	// One composed letter may be in the alphabet where its two parts are not.
	runes := []rune(norm.NFC.String(text))
	var b strings.Builder
	for i, r := range runes {
		b.WriteString(plainRune(r, at(runes, i-1), at(runes, i+1)))
	}
	return b.String()
}

// at returns runes[i], or 0 beyond either end.
func at(runes []rune, i int) rune {
	if i < 0 || i >= len(runes) {
		return 0
	}
	return runes[i]
}

func plainRune(r, before, after rune) string {
	if septets(r) > 0 {
		return string(r)
	}
	if s, ok := lookAlikes[r]; ok {
		return s
	}
	if s, ok := fractions[r]; ok {
		if unicode.IsDigit(before) {
			return " " + s
		}
		return s
	}
	switch r {
	case '—', '―': // between words it must not look like a hyphen
		if unicode.IsLetter(before) && unicode.IsLetter(after) {
			return " - "
		}
		return "-"
	case '°':
		if after == 'C' || after == 'F' {
			return " "
		}
		return " degrees"
	}
	return string(r)
}

// Clean makes an inbound text safe to keep and show: line ends become \n, a tab
// becomes a space, control characters and marks that reorder the display are
// removed, invalid UTF-8 becomes U+FFFD, and it is cut after MaxInboundRunes
// characters. It does not trim and does not change words.
func Clean(text string) string {
	text = strings.ToValidUTF8(text, "\uFFFD")
	text = strings.ReplaceAll(text, "\r\n", "\n")
	text = strings.Map(cleanRune, text)
	return text[:runeCut(text, MaxInboundRunes)]
}

func cleanRune(r rune) rune {
	switch r {
	case '\n', '\r', '\v', '\f', '\u0085', '\u2028', '\u2029':
		return '\n'
	case '\t':
		return ' '
	case '\ufeff':
		return -1
	}
	switch {
	case unicode.IsControl(r):
		return -1
	case r == '\u200e', r == '\u200f', r >= '\u202a' && r <= '\u202e', r >= '\u2066' && r <= '\u2069':
		return -1
	}
	return r
}
