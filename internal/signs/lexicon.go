package signs

import (
	"bufio"
	"embed"
	"fmt"
	"io/fs"
	"sort"
	"strings"
)

//go:embed data
var dataFiles embed.FS

// lexicon is the data files, compiled for the matcher.
type lexicon struct {
	vocab   map[string]uint16 // normalised word → id; id 0 is any unknown word
	words   []string
	slotsOf [][]slot // per word: every slot it fills
	fuzzy   []bool   // per word: typos may be corrected to it
	value   []int16  // per word: the number it names, else -1
	breaks  []uint8  // per word: the break level it makes before itself
	alias   [][]uint16
	deletes map[string][]uint16
	emoji   map[rune]uint16
	tails   map[string]uint16 // what stands after an apostrophe: s, ll, ve
	heads   map[string]uint16 // what stands before one: l, d, qu

	letters      map[rune]string // letters with a spelling of their own: ß as ss
	endings      []paradigm
	inflected    bool // "word+" takes the English endings
	rawUnknown   bool // the model sees unknown words as typed, not folded
	nounCapitals bool // every noun has a capital, so a capital names no dog
	notBack      int  // content words that a NEGBACK denies before it
	notAhead     int  // content words that a NEG denies behind it

	members   map[string]bool // "CONCEPT word", for NEG and STOP
	slots     map[string]slot // name of a concept, word or choice → slot
	slotNames []string
	up        [][]slot // per slot: the choices and concepts it also fills
	flagOf    []flag   // per slot: the engine's flag, if any

	byFirst [numTiers][][]*pattern
	targets []target

	possessive, number uint16
	nothing            uint16
	num                numSlots
	filler             []bool   // per word: counts for nothing between the places of a pattern
	hashes, slotHash   []uint32 // per word and per slot, for the model
	conceptsOf         [][]slot // per word: the concepts among its slots
	article            []bool   // per word: counts for nothing within a phrase
}

// The tiers of patterns, in the order in which they run.
const (
	tierIdiom   = iota // words that do not mean what they say
	tierPhrase         // several words that make a concept
	tierPhrase2        // phrases built on phrases
	tierSign
	numTiers
)

// target is what a sign pattern speaks for.
type target struct {
	sign  Sign
	event event // instead of a sign: death, euthanasia, distress, person
	opts  targetOption
	hides []string
	hash  uint32 // of its name, for the model
}

type event uint8

const (
	eventNone event = iota
	eventDeath
	eventEuthanasia
	eventDistress
	eventPerson
)

var eventNames = map[string]event{
	"!death": eventDeath, "!euthanasia": eventEuthanasia, "!distress": eventDistress, "!person": eventPerson,
}

type targetOption uint8

const (
	tNoUsual  targetOption = 1 << iota // "as usual" does not quiet it
	tResolves                          // over and well since quiets it
	tExercise                          // after exercise and settled quiets it
	tThing                             // something met or eaten: keeping it from the dog quiets it
	tTablet                            // as told by the label quiets it
	tClears                            // being over quiets it, being well does not
)

var targetOptionNames = map[string]targetOption{
	"nousual": tNoUsual, "resolves": tResolves, "exercise": tExercise,
	"clears": tClears, "thing": tThing, "tablet": tTablet,
}

// noWord is the id of no word at all.
const noWord = ^uint16(0)

func newLexicon() *lexicon {
	lx := &lexicon{
		vocab: map[string]uint16{}, deletes: map[string][]uint16{},
		emoji: map[rune]uint16{}, slots: map[string]slot{}, members: map[string]bool{},
		tails: map[string]uint16{}, heads: map[string]uint16{}, letters: map[rune]string{}, notBack: 3, notAhead: 7,
	}
	lx.addWord("") // id 0
	lx.possessive = lx.addWord("'s")
	lx.number = lx.addWord("#")
	lx.nothing = noWord
	lx.newSlot("") // slot 0 is never filled
	return lx
}

// load reads and compiles one language's data files, which lie in dir. Every
// problem names file and line.
func load(fsys fs.FS, dir string) (*lexicon, error) {
	lx := newLexicon()
	steps := []struct {
		glob string
		read func(string) error
	}{
		{"grammar.txt", lx.readGrammar},
		{"numbers.txt", lx.readNumber},
		{"concepts-*.txt", lx.declareConcept},
		{"concepts-*.txt", lx.readConcept},
		{"idioms.txt", lx.readIdiom},
		{"signs-*.txt", lx.readSign},
		{"aliases.txt", lx.readAlias},
		{"lookalikes.txt", lx.readLookalike},
	}
	for _, s := range steps {
		names, err := fs.Glob(fsys, dir+"/"+s.glob)
		if err != nil {
			return nil, err
		}
		sort.Strings(names)
		for _, name := range names {
			if err := readLines(fsys, name, s.read); err != nil {
				return nil, err
			}
		}
	}
	lx.finish()
	return lx, nil
}

func readLines(fsys fs.FS, name string, read func(string) error) error {
	f, err := fsys.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	sc := bufio.NewScanner(f)
	sc.Buffer(nil, 1<<20)
	for n := 1; sc.Scan(); n++ {
		line := strings.TrimSpace(sc.Text())
		if i := strings.Index(line, " #"); i >= 0 {
			line = strings.TrimSpace(line[:i])
		}
		if line == "" || line[0] == '#' {
			continue
		}
		if err := read(line); err != nil {
			return fmt.Errorf("%s line %d: %w", name, n, err)
		}
	}
	return sc.Err()
}

func (lx *lexicon) addWord(w string) uint16 {
	if id, ok := lx.vocab[w]; ok {
		return id
	}
	id := uint16(len(lx.words))
	lx.vocab[w] = id
	lx.words = append(lx.words, w)
	lx.slotsOf = append(lx.slotsOf, nil)
	lx.fuzzy = append(lx.fuzzy, false)
	lx.value = append(lx.value, -1)
	lx.breaks = append(lx.breaks, breakNone)
	lx.alias = append(lx.alias, nil)
	return id
}

func (lx *lexicon) newSlot(name string) slot {
	s := slot(len(lx.slotNames))
	lx.slots[name] = s
	lx.slotNames = append(lx.slotNames, name)
	lx.up = append(lx.up, nil)
	lx.flagOf = append(lx.flagOf, flagNames[name])
	return s
}

// wordSlot is the slot that exactly this word fills.
func (lx *lexicon) wordSlot(w string) slot {
	if s, ok := lx.slots[w]; ok {
		return s
	}
	s := lx.newSlot(w)
	id := lx.addWord(w)
	lx.slotsOf[id] = append(lx.slotsOf[id], s)
	return s
}

func isConcept(name string) bool { return name != "" && name[0] >= 'A' && name[0] <= 'Z' }

// choice is the slot for one place: a concept, a word, or a|B.
func (lx *lexicon) choice(f string) (slot, error) {
	if s, ok := lx.slots[f]; ok {
		return s, nil
	}
	parts := strings.Split(f, "|")
	if len(parts) == 1 {
		if isConcept(f) {
			return 0, fmt.Errorf("concept %s is not declared", f)
		}
		return lx.wordSlot(lx.fold(f)), nil
	}
	var members []slot
	for _, p := range parts {
		s, err := lx.choice(p)
		if err != nil {
			return 0, err
		}
		members = append(members, s)
	}
	s := lx.newSlot(f)
	for _, m := range members {
		lx.up[m] = append(lx.up[m], s)
	}
	return s, nil
}

// isNegSlot reports whether the place asks for a word that means "not".
func (lx *lexicon) isNegSlot(s slot) bool { return lx.asksFor(s, "NEG") }

// isStopSlot reports whether the place asks for a word that means "stopped".
func (lx *lexicon) isStopSlot(s slot) bool { return lx.asksFor(s, "STOP") }

// asksFor reports whether a place names a concept or one of its single words.
func (lx *lexicon) asksFor(s slot, concept string) bool {
	for _, n := range strings.Split(lx.slotNames[s], "|") {
		if n == concept || lx.members[concept+" "+lx.fold(n)] {
			return true
		}
	}
	return false
}

// finish closes the slot relation, gives every word its full list of slots,
// and indexes the words for typos.
func (lx *lexicon) finish() {
	lx.num = numSlots{lx.slots["NUM"], lx.slots["MANY"], lx.slots["FEVERNUM"], lx.slots["LONGAGO"]}
	lx.filler, lx.article = make([]bool, len(lx.words)), make([]bool, len(lx.words))
	lx.hashes, lx.conceptsOf = make([]uint32, len(lx.words)), make([][]slot, len(lx.words))
	for id, w := range lx.words {
		lx.hashes[id] = hashString(w)
		lx.slotsOf[id] = lx.closure(lx.slotsOf[id])
		for _, s := range lx.slotsOf[id] {
			if n := lx.slotNames[s]; isConcept(n) && !strings.Contains(n, "|") && n != "FILLER" && n != "ARTICLE" {
				lx.conceptsOf[id] = append(lx.conceptsOf[id], s)
			}
		}
		for _, s := range lx.slotsOf[id] {
			lx.filler[id] = lx.filler[id] || lx.slotNames[s] == "FILLER"
			lx.article[id] = lx.article[id] || lx.slotNames[s] == "ARTICLE"
		}
		if lx.fuzzy[id] && len(lx.words[id]) >= minTypoLen {
			lx.addDeletes(lx.words[id], uint16(id))
		}
	}
	for _, n := range lx.slotNames {
		lx.slotHash = append(lx.slotHash, hashString(n))
	}
	for s := range lx.up {
		lx.up[s] = lx.closure(lx.up[s])
	}
	for t := range lx.byFirst {
		for len(lx.byFirst[t]) < len(lx.slotNames) {
			lx.byFirst[t] = append(lx.byFirst[t], nil)
		}
	}
}

// closure is the slots together with all they fill in turn, each once.
func (lx *lexicon) closure(in []slot) []slot {
	seen := map[slot]bool{}
	var out []slot
	for todo := append([]slot(nil), in...); len(todo) > 0; {
		s := todo[0]
		todo = todo[1:]
		if !seen[s] {
			seen[s] = true
			out = append(out, s)
			todo = append(todo, lx.up[s]...)
		}
	}
	return out
}

func (lx *lexicon) addPattern(tier int, p pattern) {
	first := int(p.elems[0].slot)
	for len(lx.byFirst[tier]) <= first {
		lx.byFirst[tier] = append(lx.byFirst[tier], nil)
	}
	lx.byFirst[tier][first] = append(lx.byFirst[tier][first], &p)
}
