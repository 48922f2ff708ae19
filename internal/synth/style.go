package synth

import (
	"math/rand/v2"
	"strings"
	"unicode"
)

// Style is how somebody texts: each field is a share of their messages, 0 to 1,
// unless said otherwise.
type Style struct {
	Words   float64 // answers in words instead of digits
	Typos   float64
	Chatter float64 // adds something nobody asked about
	Same    float64 // answers SAME to a whole list
	Misses  float64 // prompts left unanswered until the reminder
	Partial float64 // a list with an answer left out
	// Delay is the usual time until a prompt is answered, in minutes.
	Delay float64
}

func (b *builder) style() Style {
	r := b.rng
	s := Style{
		Words: 0.1 + 0.5*r.Float64(), Typos: 0.12 * r.Float64(), Chatter: 0.25 * r.Float64(),
		Misses: 0.14 * r.Float64(), Partial: 0.06 * r.Float64(), Delay: 8 + 110*r.Float64(),
	}
	if r.IntN(4) == 0 {
		s.Words = 0
	}
	if r.IntN(3) == 0 {
		s.Same = 0.12
	}
	if r.IntN(6) == 0 {
		s.Delay = 420 // in the evening
	}
	return s
}

func chance(rng *rand.Rand, p float64) bool { return rng.Float64() < p }

func pick(rng *rand.Rand, list []string) string { return list[rng.IntN(len(list))] }

// typo spoils one longer word as thumbs do: two letters change places, or one is
// left out. Digits stay as they are.
func typo(rng *rand.Rand, text string) string {
	words := strings.Split(text, " ")
	var long []int
	for i, w := range words {
		if len(w) >= 5 && isPlain(w) {
			long = append(long, i)
		}
	}
	if len(long) == 0 {
		return text
	}
	i := long[rng.IntN(len(long))]
	w := []byte(words[i])
	at := 1 + rng.IntN(len(w)-3)
	if rng.IntN(2) == 0 {
		w[at], w[at+1] = w[at+1], w[at]
	} else {
		w = append(w[:at], w[at+1:]...)
	}
	words[i] = string(w)
	return strings.Join(words, " ")
}

func isPlain(w string) bool {
	return !strings.ContainsFunc(w, func(r rune) bool { return r > unicode.MaxASCII || !unicode.IsLetter(r) })
}

// sentence gives a text a capital.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
