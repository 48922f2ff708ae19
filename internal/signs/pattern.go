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
	optNotNew                     // needs the absence of words for usual
	optHasStop                    // the pattern itself holds a word for "stop"
	optStrict                     // only articles may stand between its places
)

var optionNames = map[string]option{
	"@ask": optAsk, "@firm": optFirm, "@new": optNew, "@weak": optWeak,
	"@any": optAny, "@negok": optNegOK, "@hypook": optHypoOK,
}

// pattern is one line of a data file, compiled.
type pattern struct {
	elems  []element
	veto   []slot // none of these in the same sentence
	opts   option
	target uint16 // a concept's slot, or an index into lexicon.targets
	cap    Urgency
	capped bool // the urgency is given by the pattern rather than by the sign
	id     uint16
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
	var p pattern
	var groups [][]element // alternatives per place, for {A B}
	gap, cross := uint8(defaultGap), uint8(breakComma)
	if adjacent {
		p.opts |= optStrict
		gap, cross = 0, breakNone
	}
	next, nextCross := gap, cross
	for _, f := range splitFields(line) {
		switch {
		case f[0] == '@':
			o, ok := optionNames[f]
			if !ok {
				return nil, fmt.Errorf("option %s is not known", f)
			}
			p.opts |= o
		case f[0] == '=':
			u, err := ParseUrgency(f[1:])
			if err != nil {
				return nil, err
			}
			p.cap, p.capped = u, true
		case f[0] == '!':
			s, err := lx.choice(f[1:])
			if err != nil {
				return nil, err
			}
			p.veto = append(p.veto, s)
		case f == "...":
			next, nextCross = longGap, breakClause
		case f[0] == '/':
			n, err := strconv.Atoi(f[1:])
			if err != nil {
				return nil, fmt.Errorf("gap %s is not a number", f)
			}
			next = uint8(n)
		case f[0] == '{':
			g, err := lx.group(strings.Trim(f, "{}"), next, nextCross)
			if err != nil {
				return nil, err
			}
			groups = append(groups, g)
			next, nextCross = gap, cross
		default:
			if f[0] == '+' {
				f, next, nextCross = f[1:], 0, breakNone
			}
			s, err := lx.choice(f)
			if err != nil {
				return nil, err
			}
			groups = append(groups, []element{{s, next, nextCross}})
			next, nextCross = gap, cross
			if lx.isNegSlot(s) && !adjacent {
				next, nextCross = negGap, breakNone
			}
		}
	}
	if len(groups) == 0 {
		return nil, fmt.Errorf("the line asks for nothing")
	}
	return lx.expand(p, groups), nil
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
