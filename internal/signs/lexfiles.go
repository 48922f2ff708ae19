package signs

import (
	"fmt"
	"strconv"
	"strings"
)

// readNumber reads "twice = 2": a word that names a number.
func (lx *lexicon) readNumber(line string) error {
	w, v, ok := strings.Cut(line, "=")
	n, err := strconv.Atoi(strings.TrimSpace(v))
	if !ok || err != nil {
		return fmt.Errorf("%q is not word = number", line)
	}
	lx.value[lx.addWord(lx.fold(strings.TrimSpace(w)))] = int16(n)
	return nil
}

// declareConcept makes the concept's slot, so that any file may use it.
func (lx *lexicon) declareConcept(line string) error {
	name, _, ok := strings.Cut(line, ":")
	if !ok || !isConcept(name) || name != strings.ToUpper(name) {
		return fmt.Errorf("%q does not start with a concept in capitals and a colon", line)
	}
	if _, ok := lx.slots[name]; !ok {
		lx.newSlot(name)
	}
	return nil
}

// readConcept reads "POO: poo, poop+, number two": words, words with their
// endings (+), phrases, and other concepts whose words all count too.
func (lx *lexicon) readConcept(line string) error {
	name, rest, _ := strings.Cut(line, ":")
	to := lx.slots[name]
	for _, entry := range strings.Split(rest, ",") {
		entry = strings.TrimSpace(entry)
		if entry == "" {
			continue
		}
		if strings.ContainsAny(entry, " |") {
			if err := lx.readPhrase(entry, to); err != nil {
				return fmt.Errorf("%s: %w", entry, err)
			}
			continue
		}
		if err := lx.readMember(entry, name, to); err != nil {
			return err
		}
	}
	return nil
}

// readMember adds one word, emoji or concept to a concept.
func (lx *lexicon) readMember(entry, name string, to slot) error {
	if isConcept(entry) {
		s, err := lx.choice(entry)
		if err != nil {
			return err
		}
		lx.up[s] = append(lx.up[s], to)
		return nil
	}
	forms := []string{entry}
	if strings.HasSuffix(entry, "+") {
		var err error
		if forms, err = lx.forms(strings.TrimSuffix(entry, "+")); err != nil {
			return err
		}
	}
	for _, w := range forms {
		w = lx.fold(w)
		id := lx.addWord(w)
		if name == "NEG" || name == "STOP" {
			lx.members[name+" "+w] = true
		}
		lx.slotsOf[id] = append(lx.slotsOf[id], to)
		lx.fuzzy[id] = lx.fuzzy[id] || len(w) >= minTypoLen
		if r := []rune(w); r[0] > 0x2000 {
			lx.emoji[r[0]] = id
		}
		if lvl := breakConcepts[name]; lvl > lx.breaks[id] {
			lx.breaks[id] = lvl
		}
	}
	return nil
}

// breakConcepts are the concepts whose words open a new part of a sentence.
var breakConcepts = map[string]uint8{"AND": breakComma, "BUT": breakClause, "FULLSTOP": breakSentence}

// readPhrase adds a phrase; one built on other concepts runs after the plain ones.
func (lx *lexicon) readPhrase(entry string, to slot) error {
	ps, err := lx.parsePattern(entry, true)
	if err != nil {
		return err
	}
	tier := tierPhrase
	for _, f := range splitFields(entry) {
		if isConcept(strings.TrimLeft(f, "+{")) || strings.Contains(f, "|") {
			tier = tierPhrase2
		}
	}
	for _, p := range ps {
		p.target = uint16(to)
		lx.addPattern(tier, p)
		lx.markFuzzy(p)
	}
	return nil
}

// readIdiom reads a phrase whose words then mean nothing, or, after "->", the
// one concept that is named.
func (lx *lexicon) readIdiom(line string) error {
	body, to, _ := strings.Cut(line, "->")
	ps, err := lx.parsePattern(strings.TrimSpace(body), true)
	if err != nil {
		return err
	}
	var s slot
	if to = strings.TrimSpace(to); to != "" {
		if s, err = lx.choice(to); err != nil {
			return err
		}
	}
	for _, p := range ps {
		p.target = uint16(s)
		lx.addPattern(tierIdiom, p)
	}
	return nil
}

// readSign reads "[id options]" or one pattern of the sign named last.
func (lx *lexicon) readSign(line string) error {
	if line[0] == '[' {
		return lx.openTarget(strings.Fields(strings.Trim(line, "[]")))
	}
	if len(lx.targets) == 0 {
		return fmt.Errorf("a pattern stands before the first [sign]")
	}
	ps, err := lx.parsePattern(line, false)
	if err != nil {
		return err
	}
	for _, p := range ps {
		p.target = uint16(len(lx.targets) - 1)
		lx.addPattern(tierSign, p)
		lx.markFuzzy(p)
	}
	return nil
}

func (lx *lexicon) openTarget(head []string) error {
	if len(head) == 0 {
		return fmt.Errorf("an empty [ ]")
	}
	t := target{sign: Sign(head[0]), event: eventNames[head[0]], hash: hashString(head[0])}
	if t.event == eventNone && !t.sign.Known() {
		return fmt.Errorf("sign %q is not known", head[0])
	}
	for _, o := range head[1:] {
		if id, ok := strings.CutPrefix(o, "hides:"); ok {
			t.hides = append(t.hides, id)
			continue
		}
		bit, ok := targetOptionNames[o]
		if !ok {
			return fmt.Errorf("option %q is not known", o)
		}
		t.opts |= bit
	}
	lx.targets = append(lx.targets, t)
	return nil
}

// markFuzzy lets typos be corrected to a pattern's own words.
func (lx *lexicon) markFuzzy(p pattern) {
	for _, e := range p.elems {
		if id, ok := lx.vocab[lx.slotNames[e.slot]]; ok && len(lx.words[id]) >= minTypoLen {
			lx.fuzzy[id] = true
		}
	}
}

// readAlias reads "tonite = tonight" or "hes = he is".
func (lx *lexicon) readAlias(line string) error {
	from, to, ok := strings.Cut(line, "=")
	if !ok {
		return fmt.Errorf("%q is not word = words", line)
	}
	id := lx.addWord(lx.fold(strings.TrimSpace(from)))
	if lx.alias[id] != nil {
		return fmt.Errorf("%q stands twice", from)
	}
	for _, w := range strings.Fields(to) {
		lx.alias[id] = append(lx.alias[id], lx.addWord(lx.fold(w)))
	}
	return nil
}

// readLookalike reads ordinary words that are one letter away from a word of
// the lists and must not be corrected to it.
func (lx *lexicon) readLookalike(line string) error {
	for _, w := range strings.Fields(line) {
		w = lx.fold(w)
		if _, ok := lx.vocab[w]; !ok {
			lx.addWord(w)
		}
	}
	return nil
}

// inflect writes out the regular endings of an English word.
func inflect(w string) []string {
	out := []string{w}
	last := w[len(w)-1]
	switch {
	case last == 'e':
		return append(out, w+"s", w+"d", w[:len(w)-1]+"ing")
	case last == 'y' && !strings.ContainsRune("aeiou", rune(w[len(w)-2])):
		return append(out, w[:len(w)-1]+"ies", w[:len(w)-1]+"ied", w+"ing")
	case strings.HasSuffix(w, "ch"), strings.HasSuffix(w, "sh"), last == 's', last == 'x':
		out = append(out, w+"es")
	default:
		out = append(out, w+"s")
	}
	out = append(out, w+"ed", w+"ing")
	if len(w) >= 3 && !strings.ContainsRune("aeiouwxyh", rune(last)) && strings.ContainsRune("aeiou", rune(w[len(w)-2])) {
		out = append(out, w+string(last)+"ed", w+string(last)+"ing")
	}
	return out
}
