package signs

import (
	"fmt"
	"math/bits"
	"strconv"
	"strings"
)

// window is how many tokens the matcher looks at in one pass: one machine word.
const window = 64

// slot is the number of one thing a pattern can ask for: a word, a concept, or
// a choice of several.
type slot uint16

// element is one place of a pattern.
type element struct {
	slot  slot
	gap   uint8 // most content words between it and the place before
	cross uint8 // highest break level allowed in between
}

// option changes how a match is judged.
type option uint16

const (
	optAsk     option = 1 << iota // unsure even when matched
	optFirm                       // "as usual" and "fine now" do not weaken it
	optNew                        // counts only beside words for new or sudden
	optWeak                       // counts only when nothing stronger speaks
	optAny                        // whoever's body it seems to be
	optNegOK                      // words for "not" do not undo it
	optHypoOK                     // an if does not undo it
	optHasNeg                     // the pattern itself holds a word for "not"
	optHasStop                    // the pattern itself holds a word for "stop"
	optStrict                     // only articles may stand between its places
	optEnd                        // its last word ends a part of the sentence
)

var optionNames = map[string]option{
	"@ask": optAsk, "@firm": optFirm, "@new": optNew, "@weak": optWeak,
	"@any": optAny, "@negok": optNegOK, "@hypook": optHypoOK, "@end": optEnd,
}

// pattern is one line of a data file, compiled.
type pattern struct {
	elems  []element
	veto   []slot // none of these in the same sentence
	opts   option
	target uint16 // a concept's slot, or an index into lexicon.targets
	cap    Urgency
	capped bool // the urgency is given by the pattern rather than by the sign
}

const (
	defaultGap = 3
	negGap     = 1 // behind a "not"
	longGap    = 12
)

// parsePattern compiles one line, which may stand for several patterns (either
// order). Grammar, by place: NAME is a concept, a lower-case word is that word,
// a|B is a choice, +x follows directly, /3 x at most three content words later,
// ... x a long way on, {A B} in either order, !X nowhere in the sentence,
// @ask and the like are options, =emergency sets the urgency.
func (lx *lexicon) parsePattern(line string, adjacent bool) ([]pattern, error) {
	pp := patternParser{lx: lx, gap: defaultGap, cross: breakComma}
	if adjacent {
		pp.p.opts |= optStrict
		pp.gap, pp.cross, pp.adjacent = 0, breakNone, true
	}
	pp.next, pp.nextCross = pp.gap, pp.cross
	for _, f := range splitFields(line) {
		if err := pp.field(f); err != nil {
			return nil, err
		}
	}
	if len(pp.groups) == 0 {
		return nil, fmt.Errorf("the line asks for nothing")
	}
	return lx.expand(pp.p, pp.groups), nil
}

// patternParser is the state of parsePattern.
type patternParser struct {
	lx              *lexicon
	p               pattern
	groups          [][]element // alternatives per place, for {A B}
	gap, cross      uint8       // what the line's places keep between them
	next, nextCross uint8       // what the next place keeps
	adjacent        bool
}

// field takes one field of the line.
func (pp *patternParser) field(f string) error {
	switch f[0] {
	case '@', '=', '!':
		return pp.option(f)
	case '/':
		n, err := strconv.Atoi(f[1:])
		if err != nil {
			return fmt.Errorf("gap %s is not a number", f)
		}
		pp.next = uint8(n)
		return nil
	case '{':
		g, err := pp.lx.group(strings.Trim(f, "{}"), pp.next, pp.nextCross)
		if err == nil {
			pp.place(g)
		}
		return err
	}
	if f == "..." {
		pp.next, pp.nextCross = longGap, breakClause
		return nil
	}
	if f[0] == '+' {
		f, pp.next, pp.nextCross = f[1:], 0, breakNone
	}
	s, err := pp.lx.choice(f)
	if err != nil {
		return err
	}
	pp.place([]element{{s, pp.next, pp.nextCross}})
	if pp.lx.isNegSlot(s) && !pp.adjacent {
		pp.next, pp.nextCross = negGap, breakNone
	}
	return nil
}

func (pp *patternParser) place(g []element) {
	pp.groups = append(pp.groups, g)
	pp.next, pp.nextCross = pp.gap, pp.cross
}

// option takes @ask, =emergency and !word.
func (pp *patternParser) option(f string) error {
	switch f[0] {
	case '@':
		o, ok := optionNames[f]
		if !ok {
			return fmt.Errorf("option %s is not known", f)
		}
		pp.p.opts |= o
	case '=':
		u, err := ParseUrgency(f[1:])
		if err != nil {
			return err
		}
		pp.p.cap, pp.p.capped = u, true
	case '!':
		s, err := pp.lx.choice(f[1:])
		if err != nil {
			return err
		}
		pp.p.veto = append(pp.p.veto, s)
	}
	return nil
}

// splitFields splits at spaces, keeping {A B} together.
func splitFields(line string) []string {
	var out []string
	depth, start := 0, -1
	for i, c := range line {
		switch {
		case c == '{':
			depth++
		case c == '}':
			depth--
		}
		if c == ' ' && depth == 0 {
			if start >= 0 {
				out = append(out, line[start:i])
			}
			start = -1
		} else if start < 0 {
			start = i
		}
	}
	if start >= 0 {
		out = append(out, line[start:])
	}
	return out
}

// group compiles the members of {A B}.
func (lx *lexicon) group(body string, gap, cross uint8) ([]element, error) {
	var g []element
	for _, f := range strings.Fields(body) {
		s, err := lx.choice(f)
		if err != nil {
			return nil, err
		}
		g = append(g, element{s, gap, cross})
	}
	if len(g) < 2 || len(g) > 3 {
		return nil, fmt.Errorf("{%s} needs two or three members", body)
	}
	return g, nil
}

// expand writes out every order of every group.
func (lx *lexicon) expand(p pattern, groups [][]element) []pattern {
	out := []pattern{p}
	for _, g := range groups {
		var grown []pattern
		for _, base := range out {
			for _, perm := range orders(g) {
				q := base
				q.elems = append(append([]element(nil), base.elems...), perm...)
				grown = append(grown, q)
			}
		}
		out = grown
	}
	for i := range out {
		for _, e := range out[i].elems {
			if lx.isNegSlot(e.slot) {
				out[i].opts |= optHasNeg
			}
			if lx.isStopSlot(e.slot) {
				out[i].opts |= optHasStop
			}
		}
	}
	return out
}

func orders(g []element) [][]element {
	if len(g) == 1 {
		return [][]element{g}
	}
	var out [][]element
	for i := range g {
		rest := append(append([]element(nil), g[:i]...), g[i+1:]...)
		for _, o := range orders(rest) {
			p := append([]element{g[i]}, o...)
			// Inside a group the gap counts from the group's first member on.
			if len(p) > 1 && p[1].gap == 0 {
				p[1].gap, p[1].cross = defaultGap, breakComma
			}
			out = append(out, p)
		}
	}
	return out
}

// match looks for p from token position at (within the window) and returns the
// positions of its places as a mask.
func (m *matcher) match(p *pattern, at int) (uint64, bool) {
	return m.step(p, 1, at, 1<<uint(at))
}

func (m *matcher) step(p *pattern, k, prev int, got uint64) (uint64, bool) {
	if k == len(p.elems) {
		return got, true
	}
	e := p.elems[k]
	if prev >= window-1 {
		return 0, false
	}
	count := m.content
	if p.opts&optStrict != 0 {
		count = m.strict
	}
	cand := m.mask[e.slot] & (^uint64(0) << uint(prev+1))
	for cand != 0 {
		c := bits.TrailingZeros64(cand)
		cand &= cand - 1
		if int(count[m.base+c]-count[m.base+prev+1]) > int(e.gap) {
			return 0, false
		}
		if m.breakBetween(m.base+prev, m.base+c) > e.cross {
			return 0, false
		}
		if all, ok := m.step(p, k+1, c, got|1<<uint(c)); ok {
			return all, true
		}
	}
	return 0, false
}

// breakBetween is the highest break level in (a, b].
func (m *matcher) breakBetween(a, b int) uint8 {
	switch {
	case m.sent[a] != m.sent[b]:
		return breakSentence
	case m.clause[a] != m.clause[b]:
		return breakClause
	case m.part[a] != m.part[b]:
		return breakComma
	}
	return breakNone
}
