package signs

// Words shorter than this are taken as they stand: too many short words lie
// one letter apart.
const minTypoLen = 5

// addDeletes indexes a word under each of its forms with one letter missing.
func (lx *lexicon) addDeletes(word string, id uint16) {
	for i := range word {
		k := word[:i] + word[i+1:]
		lx.deletes[k] = append(lx.deletes[k], id)
	}
}

// correct finds the vocabulary word one slip away from w: a letter missing,
// added, changed, or two neighbours swapped, or letters doubled. It returns 0
// where there is none, or where w is an ordinary word that only looks like one.
func (lx *lexicon) correct(w []byte) uint16 {
	if len(w) < minTypoLen || len(w) > 20 {
		return 0
	}
	var tmp [24]byte
	single := dropDoubles(tmp[:0], w)
	if len(single) < len(w) {
		if id, ok := lx.vocab[string(single)]; ok && lx.fuzzy[id] {
			return id
		}
	}
	if id := lx.best(lx.deletes[string(w)], w); id != 0 {
		return id
	}
	for i := range w {
		short := append(append(tmp[:0], w[:i]...), w[i+1:]...)
		if id, ok := lx.vocab[string(short)]; ok && lx.fuzzy[id] && len(short) >= minTypoLen {
			return id
		}
		if id := lx.best(lx.deletes[string(short)], w); id != 0 {
			return id
		}
	}
	return 0
}

// dropDoubles appends w to dst with doubled letters made single.
func dropDoubles(dst, w []byte) []byte {
	for i, c := range w {
		if i == 0 || c != w[i-1] {
			dst = append(dst, c)
		}
	}
	return dst
}

// best is the first candidate that is truly one slip away and starts with the
// same letter, or has its first two letters swapped.
func (lx *lexicon) best(ids []uint16, w []byte) uint16 {
	for _, id := range ids {
		v := lx.words[id]
		if oneSlip(v, w) && (v[0] == w[0] || len(w) >= 6 && v[0] == w[1] && v[1] == w[0]) {
			return id
		}
	}
	return 0
}

// oneSlip reports whether a and b differ by one insertion, deletion, change or
// swap of neighbours.
func oneSlip(a string, b []byte) bool {
	i := 0
	for i < len(a) && i < len(b) && a[i] == b[i] {
		i++
	}
	j, k := len(a), len(b)
	for j > i && k > i && a[j-1] == b[k-1] {
		j--
		k--
	}
	switch {
	case j-i <= 1 && k-i <= 1:
		return true
	case j-i == 2 && k-i == 2:
		return a[i] == b[i+1] && a[i+1] == b[i]
	}
	return false
}
