package answer

import "slices"

// part is one meaningful piece of a message that names items.
type part struct {
	at    int
	kind  partKind
	item  int
	value ScaleReading
}

type partKind uint8

const (
	partName  partKind = iota // an item
	partValue                 // a level, X or SAME
	partAll                   // all, everything
	partRest                  // the rest, the others
	partBut                   // except
	partEnd                   // the end of a clause
	partFix                   // sorry, I meant
)

// naming assigns levels to items by their names.
type naming struct {
	l      *Lexicon
	ts     []token
	items  []Item
	parts  []part
	names  []name
	stems  []string // of every word in ts
	got    map[int]ScaleReading
	broken map[int]bool // said twice, differently
	rest   *ScaleReading
	all    *ScaleReading
}

func newNaming(l *Lexicon, ts []token, items []Item) *naming {
	n := &naming{l: l, ts: ts, items: items, got: map[int]ScaleReading{}, broken: map[int]bool{},
		parts: make([]part, 0, min(len(ts)+1, 24))}
	n.stems = make([]string, len(ts))
	for i := range ts {
		if ts[i].kind == kWord {
			n.stems[i] = stem(ts[i].s)
		}
	}
	n.split()
	return n
}

// read fills r with what was named.
func (n *naming) read(r *ScalesReading) {
	var pending []int
	start := 0
	for i := range n.parts {
		if n.parts[i].kind == partEnd {
			text := n.textBetween(start, i)
			ps := n.parts[start:i]
			if !n.quiet(text) {
				ps = digitsOnly(ps)
			}
			pending = n.clause(ps, pending, text)
			start = i + 1
		}
	}
	if len(n.got) == 0 && n.all != nil && n.rest == nil && n.all.Same && len(n.broken) == 0 {
		r.SameAll, r.Reason = true, Carried
		return
	}
	for k, it := range n.items {
		v, ok := n.got[k]
		switch {
		case n.broken[k]:
			continue
		case ok:
		case n.rest != nil && len(n.got) > 0:
			v = *n.rest
		case n.all != nil:
			v = *n.all
		}
		r.put(it.Code, v)
	}
	r.Reason = NotAnAnswer
	switch {
	case len(r.ByItem) > 0:
		r.Reason = Named
	case n.values() > 0:
		r.Reason = WrongCount
	}
}

// quiet reports that a clause says nothing beside items, levels and small
// words. Only then are words in it levels ("limping never") and does "all" mean
// all items; elsewhere they are part of a tale.
func (n *naming) quiet(text []token) bool {
	if len(text) == 0 {
		return true
	}
	base := n.indexOf(text)
	for i := 0; i < len(text); {
		if item, end := n.nameAt(base+i, n.itemNames()); item >= 0 {
			i = end - base
			continue
		}
		if t := &text[i]; t.kind == kWord && !small(t) && t.s != "x" && t.s != "n/a" {
			return false
		}
		i++
	}
	return true
}

// digitsOnly drops what only a quiet clause may say.
func digitsOnly(ps []part) []part {
	out := make([]part, 0, len(ps))
	for _, p := range ps {
		if p.kind == partName || p.kind == partFix || p.kind == partValue && p.value.Reason != Word && p.value.Reason != Carried {
			out = append(out, p)
		}
	}
	return out
}

func (n *naming) values() int {
	c := 0
	for i := range n.parts {
		if n.parts[i].kind == partValue {
			c++
		}
	}
	return c
}

// textBetween gives the tokens of the clause whose parts are start to end.
func (n *naming) textBetween(start, end int) []token {
	from := 0
	if start > 0 {
		from = n.parts[start-1].at + 1
	}
	return n.ts[min(from, n.parts[end].at):n.parts[end].at]
}

// split finds the parts of the message, in order.
func (n *naming) split() {
	var mb [12]mention
	ms := n.l.levels(n.ts, mb[:0])
	dropPast(n.ts, ms)
	names := n.itemNames()
	k := 0
	for i := 0; i < len(n.ts); {
		for k < len(ms) && ms[k].last < i {
			k++
		}
		if k < len(ms) && ms[k].first == i {
			n.number(&ms[k])
			i = ms[k].last + 1
			continue
		}
		i = n.word(i, names)
	}
	n.parts = append(n.parts, part{at: len(n.ts), kind: partEnd})
}

// word adds the part that begins with the word or sign at i and gives the
// place behind it.
func (n *naming) word(i int, names []name) int {
	t := &n.ts[i]
	add := func(k partKind, item int, v ScaleReading) {
		n.parts = append(n.parts, part{at: i, kind: k, item: item, value: v})
	}
	zero := ScaleReading{OK: true, Reason: Word}
	switch {
	case t.kind == kPunct && (t.r == ',' || t.r == ';' || t.r == '\n' || t.r == '.' || t.r == '!'):
		add(partEnd, 0, ScaleReading{})
		return i + 1
	case t.kind != kWord:
		return i + 1
	}
	if item, end := n.nameAt(i, names); item >= 0 {
		if p := before(n.ts, i, 1); p != nil && p.s == "no" && t.is(cSign) {
			n.parts = append(n.parts, part{at: i, kind: partName, item: item})
			add(partValue, 0, zero)
			return end
		}
		add(partName, item, ScaleReading{})
		return end
	}
	switch {
	case t.s == "x" && (i == 0 || !n.ts[i].glued) && has(before(n.ts, i, 1), ^classes(0)), t.s == "n/a":
		add(partValue, 0, ScaleReading{NotApplicable: true, Reason: NotApplicable})
	case t.s == "same" && !has(before(n.ts, i, 1), cNeg):
		add(partValue, 0, ScaleReading{Same: true, Reason: Carried})
		if end := n.l.matchAt(pSame, n.ts, i); end > i {
			return end
		}
	case t.s == "unchanged":
		add(partValue, 0, ScaleReading{Same: true, Reason: Carried})
	case t.is(cZero) && t.s != "nothing":
		add(partValue, 0, zero)
	case t.is(cAll):
		add(partAll, 0, ScaleReading{})
	case t.is(cRest):
		add(partRest, 0, ScaleReading{})
	case t.is(cBut) && t.s != "only":
		add(partBut, 0, ScaleReading{})
	case t.s == "zeros" || t.s == "zeroes" || t.s == "noughts":
		add(partValue, 0, zero)
	case n.l.matchAt(pCorrect, n.ts, i) > i:
		add(partFix, 0, ScaleReading{})
	}
	return i + 1
}

// clause assigns within one clause. Names without a level wait for the next
// clause ("limping, soreness and nights 0").
func (n *naming) clause(ps []part, pending []int, text []token) []int {
	fix := false
	for i := 0; i < len(ps); i++ {
		switch ps[i].kind {
		case partFix:
			fix = true
		case partBut:
			if !slices.ContainsFunc(ps[i:], func(p part) bool { return p.kind == partName }) {
				continue
			}
			n.setDefault(ps[:i])
			if n.all != nil && i > 0 {
				return n.assign(ps[i+1:], nil, fix, text)
			}
		}
	}
	if n.defaults(ps) {
		return nil
	}
	return n.assign(ps, pending, fix, text)
}

// setDefault takes a lone level in front of "except" as the level of all.
func (n *naming) setDefault(ps []part) {
	var v *ScaleReading
	for i := range ps {
		switch ps[i].kind {
		case partName:
			return
		case partValue:
			if v != nil {
				return
			}
			v = &ps[i].value
		}
	}
	if v != nil {
		n.all = v
	}
}

// defaults reads "rest same", "0 for all": one level and no names.
func (n *naming) defaults(ps []part) bool {
	var v *ScaleReading
	all, rest, restAt := false, false, 0
	for i := range ps {
		switch ps[i].kind {
		case partAll:
			all = true
		case partRest:
			rest, restAt = true, i
		}
	}
	if !all && !rest {
		return false
	}
	from := 0
	if rest && !all {
		// "limping 2 rest 0": the level behind "rest", or the only one.
		from = restAt
		if restAt > 0 && ps[restAt-1].kind == partValue && (restAt == len(ps)-1) {
			from = restAt - 1
		}
	}
	for i := from; i < len(ps); i++ {
		if ps[i].kind == partName {
			return false
		}
		if ps[i].kind == partValue {
			if v != nil {
				return false
			}
			v = &ps[i].value
		}
	}
	if v == nil {
		return false
	}
	if rest {
		n.rest = v
		n.assign(ps[:from], nil, false, nil)
	} else {
		n.all = v
	}
	return true
}

// assign gives levels to names: names first ("limping 2 nights 0"), or levels
// first ("2 limping 0 nights").
func (n *naming) assign(ps []part, pending []int, fix bool, text []token) []int {
	var names []int
	var values []part
	nameFirst := len(pending) > 0
	for i := range ps {
		switch ps[i].kind {
		case partName:
			nameFirst = nameFirst || len(values) == 0
			names = append(names, ps[i].item)
		case partValue:
			values = append(values, ps[i])
		}
	}
	switch {
	case len(values) == 0 && len(names) > 0:
		if v := n.inWords(names[0], text); v.answered() && len(pending) == 0 {
			n.set(names[0], v, fix)
			return nil
		}
		if !n.onlyNames(text) {
			return nil // "limping worse" has said what it has to say
		}
		return append(pending, names...)
	case len(values) == 0:
		return nil
	case len(names) == 0 && len(values) == 1:
		for _, k := range pending {
			n.set(k, values[0].value, fix)
		}
		return nil
	case nameFirst:
		return n.namesFirst(ps, pending, fix)
	}
	n.valuesFirst(ps, fix)
	return nil
}

func (n *naming) namesFirst(ps []part, wait []int, fix bool) []int {
	wait = append([]int(nil), wait...)
	var last []int // the items that had the value before
	for i := range ps {
		switch ps[i].kind {
		case partName:
			wait = append(wait, ps[i].item)
		case partValue:
			for _, k := range wait {
				n.set(k, ps[i].value, fix)
			}
			if len(wait) == 0 {
				for _, k := range last {
					n.broken[k] = true // "limping 2 3"
				}
				continue
			}
			last, wait = wait, nil
		}
	}
	return nil
}

func (n *naming) valuesFirst(ps []part, fix bool) {
	var v *ScaleReading
	for i := range ps {
		switch ps[i].kind {
		case partValue:
			v = &ps[i].value
		case partName:
			if v != nil {
				n.set(ps[i].item, *v, fix)
			}
		}
	}
}

// onlyNames reports that a clause only lists items.
func (n *naming) onlyNames(text []token) bool {
	if len(text) == 0 {
		return false
	}
	base := n.indexOf(text)
	for i := 0; i < len(text); {
		if item, end := n.nameAt(base+i, n.itemNames()); item >= 0 {
			i = end - base
			continue
		}
		if t := &text[i]; t.kind == kNum || t.kind == kWord && !t.is(cArticle|cJoin|cPolite) && t.s != "for" && t.s != "his" && t.s != "her" {
			return false
		}
		i++
	}
	return true
}

// inWords reads one item's level from its anchor's words: "limping most steps".
func (n *naming) inWords(item int, text []token) ScaleReading {
	if len(text) == 0 {
		return ScaleReading{}
	}
	if v, ok := n.l.anchor(text, n.items[item].Anchors, true); ok {
		return ScaleReading{Value: v, OK: true, Reason: AnchorWord}
	}
	names := n.itemNames()
	rest := make([]token, 0, len(text))
	base := n.indexOf(text)
	for i := 0; i < len(text); {
		if k, end := n.nameAt(base+i, names); k == item {
			i = end - base
			continue
		}
		rest = append(rest, text[i])
		i++
	}
	if v, ok := n.l.anchor(rest, n.items[item].Anchors, false); ok {
		return ScaleReading{Value: v, OK: true, Reason: AnchorWord}
	}
	if v, ok := n.l.anchor(rest, n.items[item].Anchors, true); ok {
		return ScaleReading{Value: v, OK: true, Reason: AnchorWord}
	}
	return ScaleReading{}
}

func (n *naming) indexOf(text []token) int {
	for i := range n.ts {
		if n.ts[i].from == text[0].from {
			return i
		}
	}
	return 0
}

// set gives an item its level. Said twice with different levels it is open
// again, unless the second is a correction.
func (n *naming) set(item int, v ScaleReading, fix bool) {
	if old, ok := n.got[item]; ok && !fix && (old.Value != v.Value || old.OK != v.OK || old.Same != v.Same) {
		n.broken[item] = true
		return
	}
	if fix {
		v.Reason = Corrected
		delete(n.broken, item)
	}
	n.got[item] = v
}
