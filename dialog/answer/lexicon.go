package answer

import (
	"embed"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
)

//go:embed lexicon/*.txt lexicon/*.list
var lexiconFiles embed.FS

// classes is a set of word classes; see classNames.
type classes uint64

// Lexicon holds the words of one language: what class each word belongs to,
// the value of number words, and phrases. It is safe for use by any number of
// goroutines; beside its words it remembers the stems of scripts' names and
// anchors, which changes no reading.
type Lexicon struct {
	ids     map[string]int32      // word → id, from 1
	words   []entry               // by id; 0 is the unknown word
	merges  map[[2]int32]int32    // two words read as one ("do not" → "dont")
	phrases [setCount][][]phrase  // by set, then by id of the first word
	items   map[string][][]string // item code → its names as stems

	plain    bool // read narrowly: see plain.go
	sources  map[string]string
	patterns map[string]*regexp.Regexp

	cached     sync.Map     // names and anchors of scripts, as stems
	cachedSize atomic.Int64 // entries in cached
}

// entry is what is known of one word.
type entry struct {
	word string // as the lexicon spells it
	cls  classes
	val  int   // of number words; -1 otherwise
	gram int64 // of units: micrograms

}

// slot is one place of a phrase: any of some words or any word of a class.
type slot struct {
	ids      []int32
	cls      classes
	optional bool
}

// phrase is a sequence of slots.
type phrase []slot

// English returns the English lexicon: British, Irish, American, Australasian,
// South African and Indian wordings. It is loaded once.
var English = sync.OnceValue(func() *Lexicon {
	l, err := load("en")
	if err != nil {
		panic("answer: the embedded English lexicon does not load: " + err.Error())
	}
	return l
})

// load reads lexicon/<lang>.txt.
func load(lang string) (*Lexicon, error) {
	data, err := lexiconFiles.ReadFile("lexicon/" + lang + ".txt")
	if err != nil {
		return nil, fmt.Errorf("no lexicon for language %q: %w", lang, err)
	}
	return parseLexicon(string(data))
}

// loader collects a lexicon. Phrases wait for the end of the file, because a
// slot may name a class whose words come later.
type loader struct {
	l       *Lexicon
	kind    string // of the section: words, phrases, numbers, units, same, merge, item
	name    string
	waiting []waitingPhrase
}

type waitingPhrase struct {
	set  int
	line int
	text string
}

// parseLexicon reads the word-list format: "#" starts a comment, "[words C]"
// lists words of class C, "[phrases S]" one phrase a line (a|b alternatives,
// trailing ? optional, <C> any word of class C), "[numbers]" and "[tallies]" words and their
// value, "[units]" words and micrograms, "[spelling]" and "[merge]" left = right, and
// "[item CODE]" the names owners use for a standard item. "[plain]" says that the
// language is read narrowly and without regard to accents, "[pattern P]" lists
// regular expressions.
func parseLexicon(text string) (*Lexicon, error) {
	ld := &loader{l: &Lexicon{
		ids: map[string]int32{}, words: make([]entry, 1), merges: map[[2]int32]int32{},
		items: map[string][][]string{},
	}}
	ld.l.words[0] = entry{val: -1}
	for n, line := range strings.Split(text, "\n") {
		if i := strings.IndexByte(line, '#'); i >= 0 {
			line = line[:i]
		}
		line = strings.TrimSpace(line)
		if line == "" {
			continue
		}
		if err := ld.line(line, n+1); err != nil {
			return nil, fmt.Errorf("line %d: %w", n+1, err)
		}
	}
	return ld.l, ld.finish()
}

func (ld *loader) line(line string, n int) error {
	if strings.HasPrefix(line, "[") {
		ld.kind, ld.name, _ = strings.Cut(strings.Trim(line, "[]"), " ")
		if ld.kind == "plain" {
			ld.l.plain = true
		}
		return nil
	}
	switch ld.kind {
	case "words":
		return ld.wordLine(line)
	case "phrases":
		set, ok := setNames[ld.name]
		if !ok {
			return fmt.Errorf("phrase set %q is not known", ld.name)
		}
		ld.waiting = append(ld.waiting, waitingPhrase{set, n, line})
		return nil
	case "numbers", "units", "tallies":
		return ld.valueLine(line)
	case "merge":
		left, right, ok := strings.Cut(line, "=")
		f := strings.Fields(left)
		if !ok || len(f) != 2 {
			return fmt.Errorf("%q: want two words = one word", line)
		}
		ld.l.merges[[2]int32{ld.l.intern(f[0]), ld.l.intern(f[1])}] = ld.l.intern(strings.TrimSpace(right))
		return nil
	case "spelling":
		left, right, ok := strings.Cut(line, "=")
		if !ok {
			return fmt.Errorf("%q: want words = word", line)
		}
		id := ld.l.intern(strings.TrimSpace(right))
		for _, w := range strings.Fields(left) {
			ld.l.ids[ld.l.bare(squeeze(w))] = id
		}
		return nil
	case "pattern":
		return ld.pattern(line)
	case "item":
		for _, name := range strings.Split(line, ",") {
			ld.l.items[ld.name] = append(ld.l.items[ld.name], ld.l.nameStems(name))
		}
		return nil
	}
	return fmt.Errorf("section %q is not known", ld.kind)
}

func (ld *loader) wordLine(line string) error {
	c, ok := classNames[ld.name]
	if !ok {
		return fmt.Errorf("word class %q is not known", ld.name)
	}
	for _, w := range strings.Fields(line) {
		ld.l.words[ld.l.intern(w)].cls |= c
	}
	return nil
}

func (ld *loader) valueLine(line string) error {
	f := strings.Fields(line)
	v, err := strconv.ParseInt(f[len(f)-1], 10, 64)
	if err != nil || len(f) < 2 {
		return fmt.Errorf("%q: want words and then a whole number", line)
	}
	for _, w := range f[:len(f)-1] {
		e := &ld.l.words[ld.l.intern(w)]
		switch ld.kind {
		case "units":
			e.gram, e.cls = v, e.cls|cUnit
		case "tallies":
			e.val, e.cls = int(v), e.cls|cTally
		default:
			e.val, e.cls = int(v), e.cls|cNumWord
		}
	}
	return nil
}

// finish compiles the phrases and links words to their stems.
func (ld *loader) finish() error {
	for _, w := range ld.waiting {
		p, err := ld.compile(w.text)
		if err != nil {
			return fmt.Errorf("line %d: %w", w.line, err)
		}
		ld.index(w.set, p)
	}
	for set := range ld.l.phrases {
		for len(ld.l.phrases[set]) < len(ld.l.words) {
			ld.l.phrases[set] = append(ld.l.phrases[set], nil)
		}
	}
	return nil
}

func (ld *loader) compile(text string) (phrase, error) {
	var p phrase
	for _, f := range strings.Fields(text) {
		var s slot
		if t, ok := strings.CutSuffix(f, "?"); ok {
			f, s.optional = t, true
		}
		for _, alt := range strings.Split(f, "|") {
			if name, ok := strings.CutPrefix(alt, "<"); ok {
				c, known := classNames[strings.TrimSuffix(name, ">")]
				if !known {
					return nil, fmt.Errorf("class in %q is not known", f)
				}
				s.cls |= c
				continue
			}
			s.ids = append(s.ids, ld.l.intern(alt))
		}
		p = append(p, s)
	}
	return p, nil
}

// index files p under every word it can begin with.
func (ld *loader) index(set int, p phrase) {
	add := func(id int32) {
		for int(id) >= len(ld.l.phrases[set]) {
			ld.l.phrases[set] = append(ld.l.phrases[set], nil)
		}
		at := &ld.l.phrases[set][id]
		*at = append(*at, p)
	}
	for _, s := range p {
		for _, id := range s.ids {
			add(id)
		}
		if s.cls&cNumWord != 0 {
			add(0) // digits have no word
		}
		for id := range ld.l.words {
			if ld.l.words[id].cls&s.cls != 0 {
				add(int32(id))
			}
		}
		if !s.optional {
			return
		}
	}
}

// intern returns the id of w, giving it one where it has none.
func (l *Lexicon) intern(w string) int32 {
	w = l.bare(squeeze(w))
	if id, ok := l.ids[w]; ok {
		return id
	}
	id := int32(len(l.words))
	l.ids[w] = id
	l.words = append(l.words, entry{word: w, val: -1})
	return id
}

// squeeze removes apostrophes, as the tokeniser does.
func squeeze(w string) string { return strings.NewReplacer("'", "", "’", "").Replace(w) }

// matchAt returns the token after the longest phrase of set that begins at
// token i, or -1.
func (l *Lexicon) matchAt(set int, ts []token, i int) int {
	best := -1
	if ts[i].kind != kWord && ts[i].kind != kNum {
		return best
	}
	for _, p := range l.phrases[set][ts[i].id] {
		if end := p.match(ts, i); end > best {
			best = end
		}
	}
	return best
}

func (p phrase) match(ts []token, i int) int {
	if len(p) == 0 {
		return i
	}
	s := p[0]
	if i < len(ts) && s.takes(&ts[i]) {
		if end := p[1:].match(ts, i+1); end >= 0 {
			return end
		}
	}
	if s.optional {
		return p[1:].match(ts, i)
	}
	return -1
}

func (s *slot) takes(t *token) bool {
	if t.cls&s.cls != 0 || t.kind == kNum && s.cls&cNumWord != 0 {
		return true
	}
	for _, id := range s.ids {
		if id == t.id {
			return true
		}
	}
	return false
}
