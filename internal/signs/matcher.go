package signs

import "math/bits"

// matcher holds the working state of one message. It is pooled: nothing in it
// outlives a call of Screen.
type matcher struct {
	lg   *language
	lx   *lexicon
	rd   reader
	text string

	base  int      // first token of the window
	n     int      // tokens in the window
	mask  []uint64 // per slot: the positions in the window that fill it
	dirty []slot   // slots with a bit set

	content []int32 // content[i]: content words before token i
	strict  []int32 // the same with only articles and the like left out
	sent    []int32 // number of the sentence, clause and part of each token
	clause  []int32
	part    []int32
	ends    []int32 // per token: last token of the longest phrase that starts there
	flags   []flag  // what each token does for the reading of the others
	neg     []negKind
	subj    []subject
	hypo    []bool // under an if

	sentFlags, clauseFlags, partFlags []flag
	all                               flag

	evidence []evidence
	feats    featureSet

	rulesFrom int // where the features that come from the rules start
}

// evidence is one match of a sign's pattern and what became of it.
type evidence struct {
	pat         *pattern
	target      *target
	first, last int  // token positions
	ownNeg      bool // a word for "not" is part of the match
	urgency     Urgency
	verdict     verdict
	ask         bool
}

func newMatcher(lg *language) *matcher {
	lx := lg.words()
	m := &matcher{lg: lg, lx: lx, mask: make([]uint64, len(lx.slotNames))}
	m.rd.lx = lx
	return m
}

// set marks that the token at window position i fills s and all that s fills.
func (m *matcher) set(i int, s slot) {
	m.put(i, s)
	for _, u := range m.lx.up[s] {
		m.put(i, u)
	}
}

func (m *matcher) put(i int, s slot) {
	if m.mask[s] == 0 {
		m.dirty = append(m.dirty, s)
	}
	m.mask[s] |= 1 << uint(i)
}

// fill builds the masks of the window that starts at token base.
func (m *matcher) fill(base int) {
	for _, s := range m.dirty {
		m.mask[s] = 0
	}
	m.dirty = m.dirty[:0]
	m.base, m.n = base, min(window, len(m.rd.toks)-base)
	name := m.lx.slots["DOG"]
	for i := 0; i < m.n; i++ {
		t := &m.rd.toks[base+i]
		for _, s := range m.lx.slotsOf[t.word] {
			m.put(i, s)
		}
		if t.name {
			m.set(i, name)
		}
		if t.num >= 0 {
			m.number(i, t.num)
		}
	}
	m.idioms()
	m.phrases(tierPhrase)
	m.phrases(tierPhrase2)
	m.takeFlags()
}

// numSlots are the concepts that numbers fill by their value.
type numSlots struct{ any, many, fever, year slot }

// number fills the concepts of a number: any, more than one, a fever in either
// scale, a year.
func (m *matcher) number(i int, n int16) {
	m.set(i, m.lx.num.any)
	if n >= 2 && n < 100 {
		m.set(i, m.lx.num.many)
	}
	if n >= 39 && n <= 42 || n >= 103 && n <= 108 {
		m.set(i, m.lx.num.fever)
	}
	if n >= 1980 && n <= 2035 {
		m.set(i, m.lx.num.year)
	}
}

// phrases lets several words together fill a concept.
func (m *matcher) phrases(tier int) {
	m.eachCandidate(tier, func(p *pattern, at int, got uint64) {
		m.set(at, slot(p.target))
		if last := int32(m.base + 63 - bits.LeadingZeros64(got)); last > m.ends[m.base+at] {
			m.ends[m.base+at] = last
		}
	})
}

// idioms empties the words of figures of speech.
func (m *matcher) idioms() {
	m.eachCandidate(tierIdiom, func(p *pattern, at int, got uint64) {
		last := 63 - bits.LeadingZeros64(got)
		span := (^uint64(0) >> uint(63-(last-at))) << uint(at)
		for _, s := range m.dirty {
			m.mask[s] &^= span
		}
		if p.target != 0 {
			m.set(at, slot(p.target))
		}
	})
}

// eachCandidate calls f for every match of a tier's patterns, by position and
// then in the order of the files.
func (m *matcher) eachCandidate(tier int, f func(p *pattern, at int, got uint64)) {
	by := m.lx.byFirst[tier]
	for k := 0; k < len(m.dirty); k++ {
		s := m.dirty[k]
		ps := by[s]
		if len(ps) == 0 {
			continue
		}
		for _, p := range ps {
			if !m.present(p) {
				continue
			}
			for at := m.mask[s]; at != 0; at &= at - 1 {
				i := bits.TrailingZeros64(at)
				if m.mask[s]&(1<<uint(i)) == 0 {
					continue // an idiom emptied it meanwhile
				}
				if got, ok := m.match(p, i); ok {
					f(p, i, got)
				}
			}
		}
	}
}

// present is a cheap first check: every place has a word somewhere.
func (m *matcher) present(p *pattern) bool {
	for _, e := range p.elems {
		if m.mask[e.slot] == 0 {
			return false
		}
	}
	return true
}

// takeFlags notes what the window's tokens do for the reading of the others.
func (m *matcher) takeFlags() {
	for i := 0; i < m.n; i++ {
		m.flags[m.base+i] = 0
	}
	for _, s := range m.dirty {
		f := m.lx.flagOf[s]
		if f == 0 {
			continue
		}
		for at := m.mask[s]; at != 0; at &= at - 1 {
			m.flags[m.base+bits.TrailingZeros64(at)] |= f
		}
	}
}

// layout numbers sentences, clauses and parts and counts content words.
func (m *matcher) layout() {
	n := len(m.rd.toks)
	m.content, m.strict = resize(m.content, n+1), resize(m.strict, n+1)
	m.sent, m.clause, m.part = resize(m.sent, n), resize(m.clause, n), resize(m.part, n)
	m.ends = resize(m.ends, n)
	m.flags, m.neg = resize(m.flags, n), resize(m.neg, n)
	m.subj, m.hypo = resize(m.subj, n), resize(m.hypo, n)
	var s, c, p, words, strict int32 = -1, -1, -1, 0, 0
	for i := range m.rd.toks {
		t := &m.rd.toks[i]
		if t.brk == breakSentence || s < 0 {
			s++
		}
		if t.brk >= breakClause || c < 0 {
			c++
		}
		if t.brk >= breakComma || p < 0 {
			p++
		}
		m.sent[i], m.clause[i], m.part[i] = s, c, p
		m.content[i], m.strict[i] = words, strict
		if !m.lx.article[t.word] {
			strict++
		}
		if !m.lx.filler[t.word] {
			words++
		}
	}
	m.content[n], m.strict[n] = words, strict
	m.sentFlags = resize(m.sentFlags, int(s)+1)
	m.clauseFlags = resize(m.clauseFlags, int(c)+1)
	m.partFlags = resize(m.partFlags, int(p)+1)
}

// resize gives a zeroed slice of length n, reusing the memory where it can.
func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n, n+n/2)
	}
	s = s[:n]
	clear(s)
	return s
}

// sumFlags gathers the tokens' flags by part, clause, sentence and message.
func (m *matcher) sumFlags() {
	m.all = 0
	for i, f := range m.flags {
		if m.neg[i] == negPlain || m.neg[i] == negRaise {
			f &^= fUsual | fSafe | fTold | fExercise | fNew | fLongAgo
		}
		m.partFlags[m.part[i]] |= f
		m.clauseFlags[m.clause[i]] |= f
		m.sentFlags[m.sent[i]] |= f
		m.all |= f
	}
}
