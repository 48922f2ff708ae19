package answer

// name is one way to call an item, as stems.
type name struct {
	item  int
	words []string
	own   bool // from the script; it goes before the lexicon's
}

// itemNames gathers what the items are called: by the script, and by owners
// everywhere (the lexicon's names of the standard items).
func (n *naming) itemNames() []name {
	if n.names != nil {
		return n.names
	}
	room := 0
	for _, it := range n.items {
		room += len(it.Names) + len(n.l.items[it.Code])
	}
	n.names = make([]name, 0, room)
	for k, it := range n.items {
		for _, s := range it.Names {
			if w := n.l.nameStems(s); len(w) > 0 {
				n.names = append(n.names, name{k, w, true})
			}
		}
		for _, w := range n.l.items[it.Code] {
			n.names = append(n.names, name{k, w, false})
		}
	}
	return n.names
}

// nameAt gives the item whose longest name begins at token i, and the token
// behind it; -1 where none does, or where two items share the name.
func (n *naming) nameAt(i int, names []name) (item, end int) {
	item, end = -1, i
	own := false
	if i >= len(n.ts) || n.ts[i].is(cCorr) {
		return item, end
	}
	for _, nm := range names {
		if i+len(nm.words) > len(n.ts) {
			continue
		}
		fits := true
		for j, w := range nm.words {
			if n.stems[i+j] != w {
				fits = false
				break
			}
		}
		switch {
		case !fits:
		case i+len(nm.words) > end, i+len(nm.words) == end && nm.own && !own:
			item, end, own = nm.item, i+len(nm.words), nm.own
		case i+len(nm.words) == end && item != nm.item && own == nm.own:
			item = -1
		}
	}
	return item, end
}
