package answer

// Scales reads one level per item from one message: a list in the order asked
// ("1 0 0 2 1 1 0", "10021 10"), a numbered list ("1) 0 2) 1"), or items by
// name ("limping 2, nights 0, rest same", "all 0 except steps 2"). What is not
// certain is left in Missing and asked again.
func (l *Lexicon) Scales(text string, items []Item) ScalesReading {
	r := ScalesReading{ByItem: make(map[string]ScaleReading, len(items)), Reason: NotAnAnswer}
	ts := l.tokens(text)
	switch {
	case len(ts) == 0:
		r.Reason = Empty
	case len(items) == 1:
		v := l.scale(ts, items[0].Anchors, nil)
		r.put(items[0].Code, v)
		r.Reason = v.Reason
	case len(items) > 1 && l.whole(pSame, ts):
		r.SameAll, r.OK, r.Reason = true, true, Carried
	case len(items) > 1 && l.plain:
		l.plainScales(ts, items, &r)
	case len(items) > 1:
		l.readList(ts, items, &r)
	}
	for _, it := range items {
		if _, ok := r.ByItem[it.Code]; !ok && !r.SameAll {
			r.Missing = append(r.Missing, it.Code)
		}
	}
	r.OK = r.SameAll || len(r.ByItem) > 0
	return r
}

func (r *ScalesReading) put(code string, v ScaleReading) {
	if v.answered() {
		r.ByItem[code] = v
	}
}

func (l *Lexicon) readList(ts []token, items []Item, r *ScalesReading) {
	for _, read := range [...]func([]token, int) ([]ScaleReading, Reason){l.numbered, l.inOrder, l.inOrderLoose} {
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
	newNaming(l, ts, items).read(r)
}

// oneLevel reads a token that is one level by itself: a digit 0–4, a word for
// one, X, or the letter O for nought.
func (l *Lexicon) oneLevel(t *token) (ScaleReading, bool) {
	switch {
	case t.kind == kNum && t.digits == 1 && t.val <= maxLevel:
		return ScaleReading{Value: int(t.val), OK: true, Reason: Digit}, true
	case t.kind != kWord:
	case t.s == "x" || t.s == "n/a" || t.s == "na":
		return ScaleReading{NotApplicable: true, Reason: NotApplicable}, true
	case t.s == "o":
		return ScaleReading{OK: true, Reason: Word}, true
	case t.s == "same":
		return ScaleReading{Same: true, Reason: Carried}, true
	case t.is(cNumWord) && t.val <= maxLevel:
		return ScaleReading{Value: int(t.val), OK: true, Reason: Word}, true
	case t.is(cZero):
		return ScaleReading{OK: true, Reason: Word}, true
	}
	return ScaleReading{}, false
}

// inOrder reads a bare list whose values are single signs. Digits run together
// count one by one, and the number of values must fit exactly.
func (l *Lexicon) inOrder(ts []token, n int) ([]ScaleReading, Reason) {
	vs := make([]ScaleReading, 0, n)
	runs, joins := 0, 0
	from, to := listBounds(l, ts)
	var join rune
	for i := from; i < to; i++ {
		t := &ts[i]
		if v, ok := l.oneLevel(t); ok {
			vs = append(vs, v)
			if i > from && t.glued && ts[i-1].kind != kPunct {
				runs++ // "1x2"
			}
			continue
		}
		switch {
		case t.kind == kNum:
			run := levelsOf(t)
			if run == nil {
				return nil, NotAnAnswer
			}
			vs, runs = append(vs, run...), runs+1
		case t.kind == kPunct && tight(ts, i):
			if join != 0 && join != t.r {
				return nil, Ambiguous
			}
			join, joins = t.r, joins+1
		case t.kind == kPunct && listSign(t.r), t.is(cJoin):
		default:
			return nil, NotAnAnswer
		}
	}
	switch {
	case len(vs) != n:
		return nil, WrongCount
	case runs > 0 && (joins > 0 || n < 3):
		return nil, Ambiguous
	case joins > 0 && (joins != n-1 || n == 2 && join != ','):
		return nil, Ambiguous // "1-2 0 0": a range in a list
	}
	return vs, List
}

// listBounds cuts what stands before a list and a remark behind it. Since the
// values must fit the items exactly, words before it do no harm.
func listBounds(l *Lexicon, ts []token) (from, to int) {
	value := func(i int) bool {
		_, ok := l.oneLevel(&ts[i])
		return ok && !(ts[i].is(cSoft) && ts[i].kind == kWord && ts[i].s != "o") || ts[i].kind == kNum
	}
	for from < len(ts) && !value(from) {
		from++
	}
	to = from
	for i := from; i < len(ts); i++ {
		t := &ts[i]
		if value(i) {
			to = i + 1
			continue
		}
		if t.kind == kPunct && listSign(t.r) || t.kind == kPunct && tight(ts, i) || t.is(cJoin) {
			continue
		}
		break
	}
	if !remark(l, ts, to) {
		return from, len(ts)
	}
	return from, to
}

// remark reports that what follows a list is no part of it: nothing, or words
// in which no further level stands.
func remark(l *Lexicon, ts []token, to int) bool {
	if to >= len(ts) {
		return true
	}
	if ts[to].kind == kWord && !ts[to].is(cPolite|cFollow|cSoft) {
		return false
	}
	for i := to; i < len(ts); i++ {
		if ts[i].kind == kNum && ts[i].val <= maxLevel && !has(after(ts, i, 1), cCount|cAmPm|cAgeUnit|cUnit) || ts[i].is(cCorr) && ts[i].s != "sorry" {
			return false
		}
	}
	return true
}

// tight finds a sign that joins two digits without a space and could as well
// make a range, a fraction or a decimal of them.
func tight(ts []token, i int) bool {
	switch ts[i].r {
	case '.', '-', '/', ',':
	default:
		return false
	}
	return ts[i].glued && i+1 < len(ts) && ts[i+1].glued && ts[i+1].kind != kPunct && i > 0 && ts[i-1].kind != kPunct
}

func listSign(r rune) bool {
	switch r {
	case ',', ';', '\n', '|', '.', '/', '-', '!', '"', '\'', '(', ')':
		return true
	}
	return false
}

// levelsOf splits "10021" into its levels; nil where a digit is no level.
func levelsOf(t *token) []ScaleReading {
	if t.digits > 15 || t.digits < 2 {
		return nil
	}
	vs := make([]ScaleReading, t.digits)
	v := t.val
	for i := t.digits - 1; i >= 0; i-- {
		d := v % 10
		if d > maxLevel {
			return nil
		}
		vs[i] = ScaleReading{Value: int(d), OK: true, Reason: Digit}
		v /= 10
	}
	return vs
}

// inOrderLoose reads a list in which some value is written in another way: "1,
// 0, 1-2, about 2".
func (l *Lexicon) inOrderLoose(ts []token, n int) ([]ScaleReading, Reason) {
	commas := 0
	for i := range ts {
		commas += int(b2i(loose(ts, i)))
	}
	if commas < n-1 {
		return nil, WrongCount
	}
	vs := make([]ScaleReading, 0, n)
	start := 0
	for i := 0; i <= len(ts); i++ {
		if i < len(ts) && !loose(ts, i) {
			continue
		}
		if part := ts[start:i]; len(part) > 0 {
			v := l.scale(part, nil, nil)
			if !v.answered() {
				return nil, NotAnAnswer
			}
			vs = append(vs, v)
		}
		start = i + 1
	}
	if len(vs) != n || n < 2 {
		return nil, WrongCount
	}
	return vs, List
}

// loose finds a sign that parts two values and can't be a decimal comma.
func loose(ts []token, i int) bool {
	r := ts[i].r
	return ts[i].kind == kPunct && (r == ',' || r == ';' || r == '\n') && !tight(ts, i)
}

// numbered reads "1) 0 2) 1" and "1. 0⏎2. 1". The numbers must rise; where the
// sign between could mean something else ("1.0", "1-0") they must be complete.
func (l *Lexicon) numbered(ts []token, n int) ([]ScaleReading, Reason) {
	vs := make([]ScaleReading, n)
	last, pairs, plain := 0, 0, true
	for i := 0; i < len(ts); {
		t := &ts[i]
		if t.kind != kNum {
			if i == 0 && t.kind == kWord && !t.is(cPolite|cSoft|cRating) && t.s != "q" {
				return nil, NotAnAnswer
			}
			i++
			continue
		}
		sep := i + 1
		if sep+1 >= len(ts) || ts[sep].kind != kPunct {
			return nil, NotAnAnswer
		}
		at := sep + 1
		for at < len(ts) && (ts[at].is(cArticle) || ts[at].kind == kPunct && (ts[at].r == '-' || ts[at].r == '.')) {
			at++
		}
		switch ts[sep].r {
		case ')', ':', '=':
		case '.', '-', '/':
			plain = false
		default:
			return nil, NotAnAnswer
		}
		if at >= len(ts) || int(t.val) <= last || int(t.val) > n {
			return nil, NotAnAnswer
		}
		v, ok := l.oneLevel(&ts[at])
		if !ok {
			return nil, NotAnAnswer
		}
		last = int(t.val)
		vs[last-1], pairs, i = v, pairs+1, at+1
	}
	if pairs == 0 || (!plain || pairs < 2) && pairs != n {
		return nil, NotAnAnswer
	}
	return vs, Numbered
}
