package answer

import (
	"strings"
	"unicode"
)

// keycap is the combining enclosure that makes 2️⃣ of a 2.
const keycap = '\u20e3'

// fold maps look-alike forms to the plain sign: digits of every script,
// full-width letters, circled digits, curly quotes, the many dashes.
func fold(r rune) rune {
	if r < 0x80 {
		if r == '\r' {
			return '\n'
		}
		return r
	}
	switch {
	case r >= 0xff01 && r <= 0xff5e:
		return r - 0xfee0
	case r >= '①' && r <= '⑨':
		return '1' + r - '①'
	case r == '⓪':
		return '0'
	case r >= '❶' && r <= '❾':
		return '1' + r - '❶'
	}
	switch r {
	case '\u2018', '\u2019', '\u02bc', '\u00b4', '\u2032', '`':
		return '\''
	case '\u201c', '\u201d', '\u201e', '\u00ab', '\u00bb':
		return '"'
	case '\u2010', '\u2011', '\u2012', '\u2013', '\u2014', '\u2015', '\u2212':
		return '-'
	case '\u2026':
		return '.'
	case '\u00b7', '\u066b':
		return '.'
	case '\u3001', '\uff0c', '\u060c':
		return ','
	case '\u2044', '\u2215':
		return '/'
	case '\u00a0', '\u2007', '\u2009', '\u202f':
		return ' '
	case '\u2028', '\u2029', '\u0085':
		return '\n'
	}
	if unicode.Is(unicode.Nd, r) {
		return digitOf(r)
	}
	return r
}

// digitOf gives the plain digit of a decimal digit in any script. Unicode
// keeps each script's ten digits together in value order.
func digitOf(r rune) rune {
	for _, rg := range unicode.Nd.R16 {
		if r >= rune(rg.Lo) && r <= rune(rg.Hi) {
			return '0' + (r-rune(rg.Lo))%10
		}
	}
	for _, rg := range unicode.Nd.R32 {
		if r >= rune(rg.Lo) && r <= rune(rg.Hi) {
			return '0' + (r-rune(rg.Lo))%10
		}
	}
	return r
}

// invisible signs carry no meaning here: joiners, direction marks, variation
// selectors, skin tones.
func invisible(r rune) bool {
	switch {
	case r < 0x80:
		return false
	case r == keycap, r == 0xad, r == 0xfeff:
		return true
	case r >= 0x200b && r <= 0x200f, r >= 0x202a && r <= 0x202e, r >= 0x2060 && r <= 0x2069:
		return true
	case r >= 0xfe00 && r <= 0xfe0f, r >= 0x1f3fb && r <= 0x1f3ff, r >= 0xe0000 && r <= 0xe007f:
		return true
	}
	return false
}

func isLetter(r rune) bool {
	if r < 0x80 {
		return r|0x20 >= 'a' && r|0x20 <= 'z'
	}
	return unicode.IsLetter(r) || unicode.IsMark(r) && r != keycap
}

func isApostrophe(r rune) bool { return r == '\'' || r == '`' }

// lowered is the lower-case form without apostrophes and joining signs.
func lowered(s string) string {
	var b strings.Builder
	b.Grow(len(s))
	for _, r := range s {
		r = fold(r)
		if isApostrophe(r) || r == '.' || invisible(r) {
			continue
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}
