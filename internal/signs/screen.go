package signs

import "math/bits"

// Screen reads one message. Any text is allowed, also broken UTF-8; the same
// text and context always give the same finding. A message in another language
// than English is also held against the English lists of emergencies. Safe for
// use by many goroutines at once.
func Screen(text string, ctx Context) Finding {
	lg := languageOf(ctx.Lang)
	m := lg.pool.Get().(*matcher)
	m.run(text, ctx)
	f := m.decide(ctx)
	m.weigh(&f, ctx)
	m.giveBack()
	if lg != english {
		alsoEnglish(&f, text, ctx, lg.words())
	}
	return f
}

// giveBack returns the matcher to its pool without the message.
func (m *matcher) giveBack() {
	m.text = ""
	m.rd.names = nil
	m.lg.pool.Put(m)
}

// run reads the text up to judged evidence.
func (m *matcher) run(text string, ctx Context) {
	m.text = text
	m.rd.read(text, ctx.DogNames)
	m.layout()
	m.evidence = m.evidence[:0]
	n := len(m.rd.toks)
	if n <= window {
		m.fill(0)
		m.readContext()
		m.findSigns(0)
	} else {
		m.runLong(n)
	}
	for i := range m.evidence {
		m.evidence[i].verdict = m.judge(&m.evidence[i])
	}
	m.settle()
}

// overlap is how many tokens a window shares with the one before, so that no
// phrase is cut in two.
const overlap = 16

// runLong reads a message of more than one window: first the flags of all of
// it, then, window by window, the signs.
func (m *matcher) runLong(n int) {
	for base := 0; base < n; base += window - overlap {
		m.fill(base)
	}
	m.readContext()
	for base := 0; base < n; base += window - overlap {
		flags := append([]flag(nil), m.flags[base:min(base+window, n)]...)
		m.fill(base)
		copy(m.flags[base:], flags)
		from := 0
		if base > 0 {
			from = base + overlap/2
		}
		m.findSigns(from)
	}
}

// findSigns collects every match of a sign's pattern that starts at token
// from or later in the window.
func (m *matcher) findSigns(from int) {
	m.eachCandidate(tierSign, func(p *pattern, at int, got uint64) {
		if m.base+at < from {
			return
		}
		last := m.base + 63 - bits.LeadingZeros64(got)
		if m.vetoed(p, m.base+at) || p.opts&optEnd != 0 && !m.closesPart(last) {
			return
		}
		t := &m.lx.targets[p.target]
		ev := evidence{pat: p, target: t, first: m.base + at, last: last, ownNeg: p.opts&optHasNeg != 0}
		for b := got; b != 0; b &= b - 1 {
			ev.ownNeg = ev.ownNeg || m.flags[m.base+bits.TrailingZeros64(b)]&(fNeg|fNegDet) != 0
		}
		m.evidence = append(m.evidence, ev)
	})
}

// vetoed reports whether a word the pattern excludes stands in its sentence.
func (m *matcher) vetoed(p *pattern, at int) bool {
	for _, v := range p.veto {
		for b := m.mask[v]; b != 0; b &= b - 1 {
			if m.sent[m.base+bits.TrailingZeros64(b)] == m.sent[at] {
				return true
			}
		}
	}
	return false
}
