package answer

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

type kind uint8

const (
	kWord  kind = iota
	kNum        // digits
	kPunct      // one sign, or a line break
	kEmoji
)

// maxTokens bounds the work on one message: 1,600 characters, the longest
// that the provider delivers, hold fewer words than this in any sane text.
const maxTokens = 900

// token is one word, run of digits or sign. from and to are its place in the
// text as written; s is lower case without apostrophes.
type token struct {
	s        string
	cls      classes
	val      int64 // digits or number word; -1 otherwise
	from, to int
	digits   int // how many digits it is written with
	id       int32
	r        rune
	kind     kind
	glued    bool // nothing between it and the token before
	caps     bool // every letter upper case
	title    bool // first letter upper case
	half     bool // ½
}

func (t *token) is(c classes) bool { return t.cls&c != 0 }

// lexer cuts one text into tokens.
type lexer struct {
	l     *Lexicon
	text  string
	i     int
	glued bool
	ts    []token
}

// tokens cuts text into tokens. Digits of any script, full-width and keycap
// forms become plain digits; invisible signs are dropped.
func (l *Lexicon) tokens(text string) []token {
	text = composed(text)
	// Room for a list of digits; words are longer, and signs are rare.
	lx := lexer{l: l, text: text, ts: make([]token, 0, min(len(text)/2+2, 32))}
	for lx.i < len(text) && len(lx.ts) < maxTokens {
		lx.next()
	}
	return l.merge(lx.ts)
}

// composed puts base letters and accents together, so that one spelling of a
// word has one form. Offsets of tokens are offsets into this text.
func composed(text string) string {
	if norm.NFC.IsNormalString(text) {
		return text
	}
	return norm.NFC.String(text)
}

func (lx *lexer) peek() (rune, int) {
	r, n := utf8.DecodeRuneInString(lx.text[lx.i:])
	return fold(r), n
}

func (lx *lexer) next() {
	r, n := lx.peek()
	switch {
	case r == '\n':
		lx.sign(r, n)
	case unicode.IsSpace(r) || unicode.IsControl(r):
		lx.i += n
		lx.glued = false
	case invisible(r):
		// A keycap ends its digit, so that 1️⃣0️⃣ is one and nought, not ten.
		if r == keycap {
			lx.glued = false
		}
		lx.i += n
	case r >= '0' && r <= '9':
		lx.number()
	case isLetter(r):
		lx.word()
	default:
		lx.sign(r, n)
	}
}

func (lx *lexer) add(t token) {
	t.glued = lx.glued
	lx.glued = true
	lx.ts = append(lx.ts, t)
}

func (lx *lexer) number() {
	from := lx.i
	t := token{kind: kNum, from: from}
	for lx.i < len(lx.text) {
		r, n := lx.peek()
		if invisible(r) && r != keycap {
			lx.i += n
			continue
		}
		if r < '0' || r > '9' {
			break
		}
		if t.digits < 15 {
			t.val = t.val*10 + int64(r-'0')
		}
		t.digits++
		lx.i += n
	}
	t.to = lx.i
	if lx.joinedWord(&t) {
		return
	}
	lx.add(t)
}

// joinedWord takes words written with a digit ("2day", "2moro") as one.
func (lx *lexer) joinedWord(t *token) bool {
	end := lx.i
	for end < len(lx.text) && lx.text[end] < utf8.RuneSelf && isLetter(rune(lx.text[end])) {
		end++
	}
	if end == lx.i || end-t.from > 12 {
		return false
	}
	w := strings.ToLower(lx.text[t.from:end])
	id, ok := lx.l.ids[w]
	if !ok {
		return false
	}
	lx.i = end
	lx.addWord(w, id, t.from)
	return true
}

// word takes letters with inner apostrophes. Single letters joined by a slash
// or points ("n/a", "p.m.") are one word.
func (lx *lexer) word() {
	from, letters := lx.i, 0
	plain, caps, upperFirst := true, true, false
	for lx.i < len(lx.text) {
		r, n := lx.peek()
		switch {
		case isLetter(r):
			if unicode.IsUpper(r) {
				upperFirst = upperFirst || letters == 0
				plain = false
			} else {
				caps = false
			}
			letters++
		case isApostrophe(r) && lx.letterAt(lx.i+n):
			plain = false
		case letters == 1 && (r == '/' || r == '.') && lx.singleAfter(lx.i+n):
			plain = false
		case invisible(r) && r != keycap:
			plain = false
		default:
			lx.endWord(from, plain, caps, upperFirst)
			return
		}
		plain = plain && r < utf8.RuneSelf
		lx.i += n
	}
	lx.endWord(from, plain, caps, upperFirst)
}

func (lx *lexer) endWord(from int, plain, caps, title bool) {
	s := lx.text[from:lx.i]
	if !plain {
		s = lowered(s)
	}
	id := lx.l.lookup(s)
	lx.addWord(s, id, from)
	t := &lx.ts[len(lx.ts)-1]
	t.caps, t.title = caps && t.to-t.from > 1, title
	// The point that closes "p.m." belongs to the word.
	if strings.IndexByte(lx.text[from:lx.i], '.') > 0 && lx.i < len(lx.text) && lx.text[lx.i] == '.' {
		lx.i++
	}
}

func (lx *lexer) addWord(s string, id int32, from int) {
	e := &lx.l.words[id]
	if e.word != "" {
		s = e.word // the usual spelling
	}
	lx.add(token{kind: kWord, s: s, id: id, cls: e.cls, val: int64(e.val), from: from, to: lx.i})
}

func (lx *lexer) letterAt(i int) bool {
	r, _ := utf8.DecodeRuneInString(lx.text[i:])
	return isLetter(r)
}

// singleAfter reports whether exactly one letter stands at i.
func (lx *lexer) singleAfter(i int) bool {
	r, n := utf8.DecodeRuneInString(lx.text[i:])
	return isLetter(r) && !lx.letterAt(i+n)
}

func (lx *lexer) sign(r rune, n int) {
	from := lx.i
	lx.i += n
	if half := r == '½'; half || r == '¼' || r == '¾' {
		lx.add(token{kind: kPunct, r: r, from: from, to: lx.i, val: -1, half: half})
		return
	}
	if joins := r == '&' || r == '+'; joins && !lx.glued {
		if id, ok := lx.l.ids[string(r)]; ok { // "me + him"; "2+" stays a sign
			lx.addWord(string(r), id, from)
			return
		}
	}
	t := token{kind: kPunct, r: r, from: from, to: lx.i, val: -1}
	if id, ok := lx.l.ids[lx.text[from:lx.i]]; ok && r > 0x7f {
		t.id, t.cls = id, lx.l.words[id].cls
	}
	if unicode.Is(unicode.So, r) || r > 0x1f000 {
		t.kind = kEmoji
	}
	lx.add(t)
}

// lookup finds a word, also where somebody leant on a key ("noooo", "yesss").
func (l *Lexicon) lookup(s string) int32 {
	s = l.bare(s)
	if id, ok := l.ids[s]; ok {
		return id
	}
	if len(s) > 40 {
		return 0
	}
	if one := unstretch(s, 2, 1); one != s {
		if id, ok := l.ids[one]; ok && hasRun(s, 3) || ok && s[len(s)-1] == s[len(s)-2] {
			return id
		}
		if id, ok := l.ids[unstretch(s, 3, 2)]; ok && hasRun(s, 3) {
			return id
		}
	}
	return 0
}

// unstretch cuts every run of at least min equal bytes to keep of them.
func unstretch(s string, min, keep int) string {
	var b []byte
	for i := 0; i < len(s); {
		j := i
		for j < len(s) && s[j] == s[i] {
			j++
		}
		n := j - i
		if n >= min {
			n = keep
		}
		for ; n > 0; n-- {
			b = append(b, s[i])
		}
		i = j
	}
	return string(b)
}

func hasRun(s string, n int) bool {
	run := 1
	for i := 1; i < len(s); i++ {
		if s[i] != s[i-1] {
			run = 1
		} else if run++; run >= n {
			return true
		}
	}
	return false
}

// merge joins pairs that are one word ("do not" → "dont") and drops the hyphen
// inside a word pair ("thirty-one", "opt-out").
func (l *Lexicon) merge(ts []token) []token {
	out := ts[:0]
	for i := 0; i < len(ts); i++ {
		t := ts[i]
		if t.kind == kPunct && t.r == '-' && t.glued && i > 0 && ts[i-1].kind == kWord &&
			i+1 < len(ts) && ts[i+1].kind == kWord && ts[i+1].glued {
			ts[i+1].glued = false
			continue
		}
		if t.kind == kPunct && t.r == '-' && t.glued && i > 0 && ts[i-1].kind == kNum &&
			i+1 < len(ts) && ts[i+1].kind == kWord && ts[i+1].glued {
			continue // "2-ish", "31-kg"
		}
		if n := len(out); n > 0 && t.kind == kWord && out[n-1].kind == kWord && t.id != 0 && out[n-1].id != 0 {
			if id, ok := l.merges[[2]int32{out[n-1].id, t.id}]; ok {
				e := &l.words[id]
				p := &out[n-1]
				p.s = e.word
				p.id, p.cls, p.val, p.to = id, e.cls, int64(e.val), t.to
				p.caps = p.caps && t.caps
				continue
			}
		}
		out = append(out, t)
	}
	return out
}
