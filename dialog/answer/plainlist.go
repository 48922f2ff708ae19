package answer

// plainScales reads one level per item: a list in the order asked, a numbered
// list, or items by name, one to a clause.
func (l *Lexicon) plainScales(ts []token, items []Item, r *ScalesReading) {
	for _, read := range [...]func([]token, int) ([]ScaleReading, Reason){l.numbered, l.inOrder} {
		vs, reason := read(ts, len(items))
		if len(vs) != len(items) {
			continue
		}
		for k, v := range vs {
			r.put(items[k].Code, v)
		}
		r.Reason = reason
		return
	}
	n := &plainNames{l: l, ts: ts, items: items, naming: naming{l: l, ts: ts, items: items, got: map[int]ScaleReading{}, broken: map[int]bool{}}}
	n.naming.stems = make([]string, len(ts))
	for i := range ts {
		if ts[i].kind == kWord {
			n.naming.stems[i] = stem(ts[i].s)
		}
	}
	n.read(r)
}

// plainNames assigns levels to items by their names.
type plainNames struct {
	l      *Lexicon
	ts     []token
	items  []Item
	naming naming
	rest   *ScaleReading
	unread bool // some clause was not understood
}

func (n *plainNames) read(r *ScalesReading) {
	for i := 0; i < len(n.ts); {
		to := i
		for to < len(n.ts) && !n.parts(to) {
			to++
		}
		n.clause(i, to)
		i = to + 1
	}
	for k, it := range n.items {
		v, ok := n.naming.got[k]
		switch {
		case n.naming.broken[k]:
			continue
		case !ok && n.rest != nil && !n.unread:
			v = *n.rest
		}
		r.put(it.Code, v)
	}
	if len(r.ByItem) > 0 {
		r.Reason = Named
	}
}

// parts reports a sign or an "and" that parts two clauses; the comma of "2,5"
// does not.
func (n *plainNames) parts(i int) bool {
	t := &n.ts[i]
	if t.kind == kWord {
		return t.is(cJoin)
	}
	return t.boundary() && t.r != ':' && parts(n.ts, i)
}

// clause reads "cojera 2", "2 cojera", "el resto 0".
func (n *plainNames) clause(from, to int) {
	item, all, level := -1, false, []token(nil)
	names := n.naming.itemNames()
	for i := from; i < to; {
		if k, end := n.naming.nameAt(i, names); k >= 0 && end <= to {
			if item >= 0 {
				n.unread = true
				return
			}
			item, i = k, end
			continue
		}
		t := &n.ts[i]
		switch {
		case t.is(cAll | cRest):
			all = true
		case t.kind == kPunct, t.is(cBut) && n.rest != nil:
		default:
			level = append(level, *t)
		}
		i++
	}
	if len(level) == 0 && item < 0 && !all || n.l.smallOnly(level) && len(level) > 0 && item < 0 && !all {
		return // "hola", "gracias"
	}
	v := ScaleReading{}
	if len(level) > 0 && all != (item >= 0) {
		var anchors []string
		if item >= 0 {
			anchors = n.items[item].Anchors
		}
		v = n.l.plainLevel(level, anchors)
	}
	switch {
	case !v.answered():
		n.unread = true
	case all:
		n.rest = &v
	default:
		n.naming.set(item, v, false)
	}
}
