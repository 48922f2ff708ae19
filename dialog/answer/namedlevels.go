package answer

// number adds the level that m is. "0 nights" counts nights anywhere else; here
// the name of an item behind a level is just that.
func (n *naming) number(m *mention) {
	if m.why == LooksLikeCount && m.form == fDigit && m.hi <= maxLevel*1000 {
		if item, end := n.nameAt(m.last+1, n.itemNames()); item >= 0 && (n.pairs() || n.between(end)) {
			m.why = ""
		}
	}
	if m.why != "" || !m.strong && !n.besideName(m) {
		return
	}
	n.parts = append(n.parts, part{at: m.first, kind: partValue, value: settle(n.ts, m, "")})
}

// besideName reports an item's name right before or behind a level.
func (n *naming) besideName(m *mention) bool {
	if k := len(n.parts) - 1; k >= 0 && n.parts[k].kind == partName && smallWords(n.ts[n.parts[k].at+1:m.first], m) {
		return true
	}
	item, _ := n.nameAt(m.last+1, n.itemNames())
	return item >= 0
}

// between reports that the level stands between its own item's name and another
// item with its level: "limping 2 nights 0". end is the place behind the other
// name.
func (n *naming) between(end int) bool {
	k := len(n.parts) - 1
	if k < 0 || n.parts[k].kind != partName || end >= len(n.ts) {
		return false
	}
	_, ok := n.l.oneLevel(&n.ts[end])
	return ok
}

// dropPast marks what was where the same clause says what is: "was 3 now 2".
func dropPast(ts []token, ms []mention) {
	for k := range ms {
		if ms[k].why != "" || !ms[k].past {
			continue
		}
		from, to := clause(ts, ms[k].first)
		for j := range ms {
			if ms[j].why == "" && !ms[j].past && ms[j].first >= from && ms[j].first < to {
				ms[k].why = PastOnly
				break
			}
		}
	}
}

// pairs reports that the message has at least two levels each followed by an
// item's name.
func (n *naming) pairs() bool {
	names, c := n.itemNames(), 0
	for i := range n.ts {
		if n.ts[i].kind == kNum {
			if item, _ := n.nameAt(i+1, names); item >= 0 {
				c++
			}
		}
	}
	return c >= 2
}
