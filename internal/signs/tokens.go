package signs

import (
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// maxTokens bounds the work for one message; 1,600 characters hold fewer.
const maxTokens = 1024

// Break levels stand between a token and the one before it.
const (
	breakNone     = iota
	breakComma    // comma, "and", "then": a list or a loose joint
	breakClause   // "but", "though", a dash, a semicolon
	breakSentence // full stop, question mark, new line
)

// token is one word of the message after normalising.
type token struct {
	start, end int32  // bytes of the owner's text, for quoting
	word       uint16 // index into the lexicon's vocabulary, 0 for unknown words
	num        int16  // value of a number below 10,000, else -1
	brk        uint8  // break level before this token
	asks       bool   // the sentence it belongs to ends in a question mark
	name       bool   // one of the household's dog names

	fold, foldEnd int32 // its letters in reader.folded
}

// reader turns text into tokens. It is reused between messages.
type reader struct {
	lx    *lexicon
	toks  []token
	buf   []byte // the word being read, folded
	names []string
	brk   uint8
	first int // index of the first token of the sentence

	folded []byte // all words of the message in folded form, one after another
	word   int32  // where the word being read starts in folded
}

// read fills r.toks from text.
func (r *reader) read(text string, names []string) {
	r.toks, r.buf, r.folded, r.names = r.toks[:0], r.buf[:0], r.folded[:0], names
	r.word = 0
	r.brk, r.first = breakSentence, 0
	start := 0
	for i := 0; i < len(text) && len(r.toks) < maxTokens; {
		c := text[i]
		if c < utf8.RuneSelf {
			if isWordByte(c) {
				if len(r.buf) == 0 {
					start = i
				}
				r.buf = append(r.buf, lowerByte(c))
				i++
				continue
			}
			i = r.ascii(text, i, start)
			continue
		}
		ru, n := utf8.DecodeRuneInString(text[i:])
		if len(r.buf) == 0 {
			start = i
		}
		i = r.other(text, ru, [3]int{start, i, i + n})
	}
	r.flush(start, len(text))
}

func isWordByte(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9'
}

func lowerByte(c byte) byte {
	if c >= 'A' && c <= 'Z' {
		return c + 'a' - 'A'
	}
	return c
}

// ascii handles one ASCII byte that is not part of a word and returns the
// index after it.
func (r *reader) ascii(text string, i, start int) int {
	c := text[i]
	if c == '\'' || c == '`' {
		return r.apostrophe(text, i, i+1, start)
	}
	// A point or a slash between digits belongs to the number: 3.5, 1/2.
	if (c == '.' || c == '/') && len(r.buf) > 0 && i+1 < len(text) && isDigit(text[i+1]) && isDigit(r.buf[len(r.buf)-1]) {
		r.buf = append(r.buf, c)
		return i + 1
	}
	r.flush(start, i)
	r.separate(c, text, i)
	return i + 1
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// apostrophe joins "can't" to one word and splits endings such as "'s" and
// "'ll" off as words of their own.
func (r *reader) apostrophe(text string, i, next, start int) int {
	if len(r.buf) == 0 {
		return next
	}
	if w, ok := r.lx.heads[string(r.buf)]; ok { // "l'eau", "qu'il"
		r.buf = r.buf[:0]
		r.emit(w, int32(start), int32(i), -1)
		return next
	}
	end := next
	for end < len(text) && isWordByte(text[end]) {
		end++
	}
	var tail [2]byte
	if end-next > len(tail) || end == next {
		return next
	}
	for k := next; k < end; k++ {
		tail[k-next] = lowerByte(text[k])
	}
	w, ok := r.lx.tails[string(tail[:end-next])]
	if !ok {
		return next
	}
	r.flush(start, i)
	r.emit(w, int32(next), int32(end), -1)
	return end
}

// separate notes the break that a punctuation byte makes.
func (r *reader) separate(c byte, text string, i int) {
	switch c {
	case '?':
		r.closeQuestion()
		r.raise(breakSentence)
	case '.', '!', '\n', '\r':
		r.raise(breakSentence)
	case ';', '(', ')', '|':
		r.raise(breakClause)
	case '-':
		if i > 0 && text[i-1] == ' ' || i+1 < len(text) && text[i+1] == '-' {
			r.raise(breakClause)
		}
	case ',', ':':
		r.raise(breakComma)
	}
}

func (r *reader) raise(level uint8) {
	if level > r.brk {
		r.brk = level
	}
}

// closeQuestion marks the tokens of the sentence that just ended as asked.
func (r *reader) closeQuestion() {
	for i := len(r.toks) - 1; i >= 0; i-- {
		r.toks[i].asks = true
		if r.toks[i].brk == breakSentence {
			return
		}
	}
}

// other handles one rune outside ASCII. pos is where the word in the buffer
// starts, where the rune starts and where it ends; the result is where to go on.
func (r *reader) other(text string, ru rune, pos [3]int) int {
	start, at, end := pos[0], pos[1], pos[2]
	switch ru {
	case '’', '‘', '´', 'ʼ', '′':
		return r.apostrophe(text, at, end, start)
	case '–', '—', '…', '•', '·':
		r.flush(start, at)
		r.raise(breakClause)
		return end
	case utf8.RuneError:
		r.flush(start, at)
		return end
	}
	if w, ok := r.lx.emoji[ru]; ok {
		r.flush(start, at)
		r.emit(w, int32(at), int32(end), -1)
		return end
	}
	if unicode.IsMark(ru) || unicode.Is(unicode.Cf, ru) {
		return end
	}
	if unicode.IsLetter(ru) || unicode.IsDigit(ru) {
		r.fold(ru)
		return end
	}
	r.flush(start, at)
	if unicode.IsPunct(ru) {
		r.raise(breakComma)
	}
	return end
}

// fold adds a letter without its accent, or in its plain form.
func (r *reader) fold(ru rune) {
	ru = unicode.ToLower(ru)
	if to, ok := r.lx.letters[ru]; ok {
		r.buf = append(r.buf, to...)
		return
	}
	var tmp [utf8.UTFMax]byte
	n := utf8.EncodeRune(tmp[:], ru)
	for _, b := range norm.NFKD.Append(nil, tmp[:n]...) {
		if b < utf8.RuneSelf && isWordByte(b) {
			r.buf = append(r.buf, lowerByte(b))
		} else if b >= utf8.RuneSelf && len(r.buf) == 0 {
			r.buf = append(r.buf, '?') // a letter of another script: an unknown word
		}
	}
}

// flush ends the word in the buffer, if any.
func (r *reader) flush(start, end int) {
	if len(r.buf) == 0 {
		return
	}
	defer func() { r.buf = r.buf[:0] }()
	w := squeeze(r.buf)
	if !r.lx.rawUnknown {
		r.word = int32(len(r.folded))
		r.folded = append(r.folded, w...)
	}
	if n, rest, ok := leadingNumber(w); ok {
		id, known := r.lx.vocab[string(w)]
		if !known {
			id = r.lx.number
		}
		r.emit(id, int32(start), int32(end), n)
		if len(rest) > 0 {
			if id, ok := r.lx.vocab[string(rest)]; ok {
				r.emitAlias(id, start, end)
			}
		}
		return
	}
	id, ok := r.lx.vocab[string(w)]
	if !ok {
		id = r.lx.correct(w)
	}
	r.emitAlias(id, start, end)
	for _, name := range r.names {
		if equalFold(name, w) {
			r.toks[len(r.toks)-1].name = true
		}
	}
}

// emitAlias emits the words that an alias stands for, or the word itself.
func (r *reader) emitAlias(id uint16, start, end int) {
	if to := r.lx.alias[id]; to != nil {
		for _, w := range to {
			r.emit(w, int32(start), int32(end), r.lx.value[w])
		}
		return
	}
	r.emit(id, int32(start), int32(end), r.lx.value[id])
}

// afterNothing serves "nothing but red": that "but" opens no new clause.
func (r *reader) afterNothing() bool {
	n := len(r.toks)
	return n > 0 && r.toks[n-1].word == r.lx.nothing
}

func (r *reader) emit(w uint16, start, end int32, num int16) {
	if len(r.toks) >= maxTokens {
		return
	}
	if lvl := r.lx.breaks[w]; lvl > r.brk && !r.afterNothing() {
		r.brk = lvl
	}
	r.toks = append(r.toks, token{start: start, end: end, word: w, num: num, brk: r.brk,
		fold: r.word, foldEnd: int32(len(r.folded))})
	r.word = int32(len(r.folded))
	r.brk = breakNone
}

// squeeze shortens three or more equal letters in a row to two ("sooo").
func squeeze(b []byte) []byte {
	out := b[:0]
	for i, c := range b {
		if i >= 2 && c == b[i-1] && len(out) >= 2 && out[len(out)-1] == c && out[len(out)-2] == c && !isDigit(c) {
			continue
		}
		out = append(out, c)
	}
	return out
}

// leadingNumber splits "4x" into 4 and "x". A fraction or a decimal keeps its
// whole part; anything from 10,000 up is a number without a value.
func leadingNumber(w []byte) (n int16, rest []byte, ok bool) {
	if !isDigit(w[0]) {
		return 0, nil, false
	}
	v, i := 0, 0
	for ; i < len(w) && isDigit(w[i]); i++ {
		if v < 10000 {
			v = v*10 + int(w[i]-'0')
		}
	}
	for i < len(w) && (w[i] == '.' || w[i] == '/' || isDigit(w[i])) {
		i++
	}
	if v >= 10000 {
		v = -1
	}
	return int16(v), w[i:], true
}

// equalFold compares a name with a folded word, ASCII letters only.
func equalFold(name string, w []byte) bool {
	if len(name) != len(w) {
		return false
	}
	for i := range w {
		if lowerByte(name[i]) != w[i] {
			return false
		}
	}
	return true
}
