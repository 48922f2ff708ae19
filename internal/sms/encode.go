// Package sms knows what a text message costs on the telephone network: its
// alphabet, its length in units and the segments it is split into. It also
// makes outgoing texts cheap and incoming texts safe to handle.
//
// Sources: 3GPP TS 23.038 (alphabets) and TS 23.040 (concatenation).
package sms

import "unicode/utf8"

// Encoding is the alphabet a text message travels in.
type Encoding int

const (
	// GSM7 is the 7-bit default alphabet with its extension table.
	GSM7 Encoding = iota
	// UCS2 is 16-bit text; characters beyond U+FFFF take two units.
	UCS2
)

// String returns the name the trade uses: "GSM-7" or "UCS-2".
func (e Encoding) String() string {
	if e == UCS2 {
		return "UCS-2"
	}
	return "GSM-7"
}

// Limits in units, septets for GSM-7 and UTF-16 code units for UCS-2. A part of
// a longer message holds less, because six octets of it go to the header that
// says which part it is (TS 23.040, 9.2.3.24.1).
const (
	singleGSM7 = 160
	partGSM7   = 153
	singleUCS2 = 70
	partUCS2   = 67
)

// Count is what one text costs.
type Count struct {
	Encoding Encoding
	// Units is the length in septets (GSM-7) or UTF-16 code units (UCS-2).
	Units int
	// Segments is the number of message parts billed; 1 for the empty text.
	Segments int
	// Culprits are the characters outside GSM-7 that forced UCS-2, each once,
	// in order of appearance; nil for GSM-7. An invalid byte is shown as U+FFFD.
	Culprits []rune
}

// Encode says how text is sent: in which alphabet, how long it is, and in how
// many segments. An escape pair or a surrogate pair is never split over two
// segments, so a part may stay one unit short. Every text has an answer.
func Encode(text string) Count {
	if culprits := outsideGSM7(text); len(culprits) > 0 {
		c := measure(text, utf16Units, singleUCS2, partUCS2)
		c.Encoding, c.Culprits = UCS2, culprits
		return c
	}
	return measure(text, septets, singleGSM7, partGSM7)
}

// Fits says whether text takes at most this many segments.
func Fits(text string, segments int) bool {
	return Encode(text).Segments <= segments
}

func outsideGSM7(text string) []rune {
	var culprits []rune
	seen := map[rune]bool{}
	for _, r := range text {
		if septets(r) == 0 && !seen[r] {
			seen[r] = true
			culprits = append(culprits, r)
		}
	}
	return culprits
}

func utf16Units(r rune) int {
	if r > 0xFFFF {
		return 2
	}
	return 1
}

// measure adds up the units and, when they exceed one message, fills parts
// one character after the other.
func measure(text string, cost func(rune) int, single, part int) Count {
	c := Count{Segments: 1}
	filled := 0
	for _, r := range text {
		n := cost(r)
		c.Units += n
		if filled+n > part {
			c.Segments++
			filled = 0
		}
		filled += n
	}
	if c.Units <= single {
		c.Segments = 1
	}
	return c
}

// runeCut returns the byte offset after the first n runes of text, or
// len(text) when it is shorter.
func runeCut(text string, n int) int {
	at := 0
	for ; n > 0 && at < len(text); n-- {
		_, size := utf8.DecodeRuneInString(text[at:])
		at += size
	}
	return at
}
