package signs

import "math/bits"

// modelBits is the binary logarithm of the number of the model's features.
const modelBits = 18

// Seeds keep the kinds of features apart.
const (
	seedWord uint32 = 0x51ed270b + 0x01000193*iota
	seedPair
	seedConcept
	seedConceptPair
	seedVerdict
	seedUrgency
	seedPlan
	seedFlag
	seedGram
	seedSkip
)

// mix hashes two numbers into one.
func mix(a, b uint32) uint32 {
	h := a*0x85ebca6b ^ bits.RotateLeft32(b*0xc2b2ae35, 13)
	h ^= h >> 15
	return h * 0x2c1b3c6d
}

// featureSet collects the features of one message, each once.
type featureSet struct {
	seen [1 << (modelBits - 6)]uint64
	list []uint32
}

func (s *featureSet) reset() {
	for _, i := range s.list {
		s.seen[i>>6] = 0
	}
	s.list = s.list[:0]
}

// bucket is the feature's place in the model.
func bucket(h uint32) uint32 { return h >> (32 - modelBits) }

func (s *featureSet) add(h uint32) {
	i := bucket(h)
	if bit := uint64(1) << (i & 63); s.seen[i>>6]&bit == 0 {
		s.seen[i>>6] |= bit
		s.list = append(s.list, i)
	}
}

// features gathers what the model looks at: the words and their neighbours, the
// concepts of each part of the message, what became of every match, and the plan.
func (m *matcher) features(ctx Context, rules Urgency) []uint32 {
	s := &m.feats
	s.reset()
	prev, prev2 := uint32(1), uint32(1)
	for i := range m.rd.toks {
		t := &m.rd.toks[i]
		h := m.wordHash(t)
		if t.brk >= breakClause {
			prev, prev2 = 1, 1
		}
		s.add(mix(seedWord, h+uint32(min(m.neg[i], 1))))
		s.add(mix(seedPair, mix(prev, h)))
		s.add(mix(seedSkip, mix(prev2, h)))
		prev2, prev = prev, h
	}
	m.conceptFeatures(s)
	m.grams(s)
	m.rulesFrom = len(s.list)
	for i := range m.evidence {
		ev := &m.evidence[i]
		s.add(mix(seedVerdict, ev.target.hash+uint32(ev.verdict)))
	}
	s.add(mix(seedUrgency, uint32(rules)))
	plan := uint32(0)
	if ctx.NSAID {
		plan |= 1
	}
	if ctx.Antibody {
		plan |= 2
	}
	s.add(mix(seedPlan, plan*4+uint32(rules)))
	for f := m.all; f != 0; f &= f - 1 {
		s.add(mix(seedFlag, uint32(bits.TrailingZeros64(uint64(f)))))
	}
	return s.list
}

// grams adds the runs of five letters of every longer word, so that a form that
// nobody listed still meets its relatives.
func (m *matcher) grams(s *featureSet) {
	for i := range m.rd.toks {
		t := &m.rd.toks[i]
		if t.end-t.start < 4 {
			continue
		}
		var h uint32 = '^'
		if !m.lx.rawUnknown {
			for k := t.fold; k < t.foldEnd; k++ {
				h = h<<8 | uint32(m.rd.folded[k])
				if k >= t.fold+3 {
					s.add(mix(seedGram, h))
				}
			}
			continue
		}
		for k := t.start; k < t.end; k++ {
			h = h<<8 | uint32(lowerByte(m.text[k]))
			if k >= t.start+3 {
				s.add(mix(seedGram, h))
			}
		}
	}
}

// wordHash is the same for all spellings of a word of the lists.
func (m *matcher) wordHash(t *token) uint32 {
	if t.word != 0 {
		return m.lx.hashes[t.word]
	}
	h := uint32(2166136261)
	if !m.lx.rawUnknown {
		for i := t.fold; i < t.foldEnd; i++ {
			h = (h ^ uint32(m.rd.folded[i])) * 16777619
		}
		return h
	}
	for i := t.start; i < t.end; i++ {
		h = (h ^ uint32(lowerByte(m.text[i]))) * 16777619
	}
	return h
}

func hashString(s string) uint32 {
	h := uint32(2166136261)
	for i := range len(s) {
		h = (h ^ uint32(s[i])) * 16777619
	}
	return h
}

// conceptFeatures adds, for the window at hand, every concept and every ordered
// pair of concepts within a clause.
func (m *matcher) conceptFeatures(s *featureSet) {
	var last uint32
	var lastClause int32 = -1
	var lastNeg uint32
	for i := range m.n {
		at := m.base + i
		cs := m.lx.conceptsOf[m.rd.toks[at].word]
		if m.clause[at] != lastClause {
			last, lastClause = 0, m.clause[at]
		}
		neg := uint32(min(m.neg[at], 1))
		for _, c := range cs {
			if m.mask[c]&(1<<uint(i)) == 0 {
				continue
			}
			h := m.lx.slotHash[c] + neg
			s.add(mix(seedConcept, h))
			s.add(mix(seedConceptPair, mix(last+lastNeg, h)))
			last, lastNeg = m.lx.slotHash[c], neg
		}
	}
}
