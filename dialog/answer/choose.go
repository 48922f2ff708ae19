package answer

// weigh marks each number with what its sentence says about it: negated, old,
// hypothetical, a correction, hedged, standing where an answer stands.
func (l *Lexicon) weigh(ts []token, ms []mention) {
	for k := range ms {
		m := &ms[k]
		m.hedged = hedged(ts, m)
		m.strong = stands(ts, m)
		m.corrected = l.corrects(ts, ms, k)
		if m.why != "" {
			continue
		}
		switch {
		case negated(ts, m):
			m.why = Negated
		case m.form == fWord && inProse(ts, m):
			m.why = NotAnAnswer
		case hypothetical(ts, m):
			m.why = Hypothetical
		case asked(ts, m):
			m.why = Asked
		case m.last+1 < len(ts) && ts[m.last+1].r == '+' && ts[m.last+1].glued, compared(ts, m), k == 0 && denied(ts, m):
			m.why = Ambiguous
		}
	}
	l.age(ts, ms)
	for k := 1; k < len(ms); k++ {
		// "improved from 3 to 2": what stands before the 3 no longer matters.
		if p := before(ts, ms[k].first, 1); ms[k-1].past && (has(p, cOr) || has(p, cArticle) && has(before(ts, ms[k].first, 2), cOr)) {
			ms[k].strong = goesOn(ts, &ms[k])
		}
	}
}

// compared finds numbers that measure a difference or a bound: "down 1", "2
// better than last week", "not as bad as 3".
func compared(ts []token, m *mention) bool {
	p, n := before(ts, m.first, 1), after(ts, m.last, 1)
	switch {
	case p != nil && (p.s == "up" || p.s == "down") && (before(ts, m.first, 2) == nil || m.form != fDigit || has(before(ts, m.first, 2), cSubject)):
		return true
	case n != nil && (n.s == "better" || n.s == "worse" || n.s == "higher" || n.s == "lower" || n.s == "less" || n.s == "more" || n.s == "points"):
		return true
	case p != nil && p.s == "as":
		for i := 2; i <= 4; i++ {
			if q := before(ts, m.first, i); q != nil && q.s == "as" {
				return true
			}
		}
	}
	return false
}

// denied finds "no 2" with nothing before it to take back.
func denied(ts []token, m *mention) bool {
	p := before(ts, m.first, 1)
	return p != nil && p.s == "no" && before(ts, m.first, 2) == nil && m.first == 1 && !has(after(ts, m.last, 1), cCorr)
}

// clause gives the bounds of the clause around token i.
func clause(ts []token, i int) (from, to int) {
	from, to = i, i+1
	for from > 0 && !parts(ts, from-1) {
		from--
	}
	for to < len(ts) && !parts(ts, to) {
		to++
	}
	return from, to
}

// parts reports a sign that parts two clauses; the point of 40.1 does not.
func parts(ts []token, i int) bool {
	if !ts[i].boundary() {
		return false
	}
	return !ts[i].glued || i == 0 || i+1 >= len(ts) || !ts[i+1].glued || ts[i-1].kind != kNum || ts[i+1].kind != kNum
}

func hedged(ts []token, m *mention) bool {
	if ts[m.first].is(cHedge) {
		return true // "twoish"
	}
	for n := 1; n <= 3; n++ {
		p := before(ts, m.first, n)
		if p == nil {
			break
		}
		if p.is(cHedge) {
			return true
		}
		if !p.is(cArticle | cAdj | cSoft | cLead) {
			break
		}
	}
	for n := 1; n <= 3; n++ {
		p := after(ts, m.last, n)
		if p == nil {
			break
		}
		if p.is(cHedge) {
			return true
		}
	}
	i := m.last + 1
	return i < len(ts) && ts[i].r == '?'
}

func negated(ts []token, m *mention) bool {
	for n := 1; n <= 3; n++ {
		p := before(ts, m.first, n)
		if p == nil {
			return false
		}
		if p.is(cNeg) {
			return true
		}
		if !p.is(cArticle|cHedge|cAdj) && p.s != "than" && p.s != "even" && p.s != "quite" && p.s != "of" {
			return false
		}
		if p.s == "than" {
			return true // "rather than 2", "more like 3 than 2"
		}
		if q := before(ts, m.first, n+1); p.s == "of" && q != nil && q.s == "instead" {
			return true
		}
	}
	return false
}

// hypothetical finds "if it gets to 3"; "if I'm honest" and "if anything" are
// ways of speaking.
func hypothetical(ts []token, m *mention) bool {
	from, _ := clause(ts, m.first)
	for i := from; i < m.first; i++ {
		if p := before(ts, i, 1); ts[i].is(cIf) && !has(p, cMaybe|cKnow) {
			n := after(ts, i, 1)
			return n == nil || n.s != "i" && n.s != "im" && n.s != "anything"
		}
	}
	return false
}

// asked finds "is 2 normal?" and "what does 3 mean"; "2?" is an answer with a
// doubt, and without the question mark "should be 2" or "was 3 now 2" tell.
func asked(ts []token, m *mention) bool {
	from, to := clause(ts, m.first)
	for from < m.first && ts[from].is(cPolite|cJoin|cBut) {
		from++
	}
	if !ts[from].is(cAsk) || from == m.first {
		return false
	}
	if to < len(ts) && ts[to].r == '?' {
		return true
	}
	return to == len(ts) && !ts[from].is(cPast|cCorr|cIsVerb)
}

// stands reports whether the number stands where an answer stands: at the
// start of a clause, or behind words that lead up to one, and with nothing
// behind it that it would count.
func stands(ts []token, m *mention) bool {
	return leadsUp(ts, m) && goesOn(ts, m)
}

func leadsUp(ts []token, m *mention) bool {
	if ts[m.first].s == "one" && thatOne(ts, m.first) {
		return false
	}
	if p := before(ts, m.first, 1); has(p, cArticle) && p.s != "the" {
		return true // "a 2"
	} else if has(p, cAdj) && has(before(ts, m.first, 2), cArticle) {
		return true // "a solid 2"
	}
	from, _ := clause(ts, m.first)
	unknown := 0
	for i := m.first - 1; i >= from; i-- {
		t := &ts[i]
		if t.kind == kPunct && (t.r == '(' || t.r == '-' && !ts[i+1].glued) {
			break // a dash parts as a comma does
		}
		if t.kind != kWord || t.is(cLeading) {
			continue
		}
		// One unknown word may be the dog's name: "Bramble 2".
		if unknown++; unknown > 1 || t.id != 0 || !t.title || i != from || len(t.s) > 2 && t.s[len(t.s)-2:] == "ed" {
			return false
		}
	}
	return true
}

// inProse finds number words that tell rather than answer: "a big one", "one a
// day", "mince pies. three." A word is an answer only with nothing but small
// words before it, or where it is offered as one ("a two", "call it three").
func inProse(ts []token, m *mention) bool {
	one := ts[m.first].s == "one"
	if p := before(ts, m.first, 1); one && p != nil && p.s == "a" && !has(after(ts, m.last, 1), cArticle) {
		return false // "oh about a one"
	}
	if one && (thatOne(ts, m.first) || has(before(ts, m.first, 1), cAdj) || has(after(ts, m.last, 1), cArticle)) {
		return true
	}
	if p := before(ts, m.first, 1); !one && (has(p, cArticle) && p.s != "the" || has(p, cRating|cSign)) {
		return false
	}
	end := m.first
	if one {
		end = len(ts)
	}
	return !smallWords(ts[:end], m)
}

// smallWords reports that ts has no content beside greetings, small words, the
// names of signs and perhaps one name.
func smallWords(ts []token, m *mention) bool {
	names := 0
	for i := range ts {
		t := &ts[i]
		switch {
		case t.kind != kWord, i >= m.first && i <= m.last:
		case t.is(cSmall):
		case t.id == 0 && t.title && names < 2:
			names++
		default:
			return false
		}
	}
	return true
}

// thatOne finds "the bad one", "this one": no number at all.
func thatOne(ts []token, i int) bool {
	p := before(ts, i, 1)
	if has(p, cAdj) {
		p = before(ts, i, 2)
	}
	return has(p, cPointer)
}

func goesOn(ts []token, m *mention) bool {
	n := after(ts, m.last, 1)
	if i := m.last + 1; i < len(ts) && ts[i].glued && (ts[i].kind == kWord && !ts[i].is(cHedge|cSuffix) && ts[i].s[0] != 'x' || ts[i].r == '>') {
		return false // "2a", "2>"
	}
	if n == nil || n.is(cFollow|cPolite|cSoft|cHedge|cNow|cNeg|cCorr|cPast|cUp|cBut|cJoin|cNo|cYes|cLast|cIf|cSign|cOr|cMaybe) {
		return true
	}
	if n.kind == kNum || n.s == "x" {
		return true // judged elsewhere: several numbers, a kiss
	}
	return n.id == 0 && n.title && n.kind == kWord && after(ts, m.last, 2) == nil
}

// corrects reports whether number k takes back an earlier one: "no wait 3", "I
// meant 1", "2, sorry, 3", "*3".
func (l *Lexicon) corrects(ts []token, ms []mention, k int) bool {
	floor := 0
	if k > 0 {
		floor = ms[k-1].last + 1
	}
	first := ms[k].first
	for i := floor; i < first; i++ {
		end := l.matchAt(pCorrect, ts, i)
		if end < 0 && k > 0 && ts[i].is(cNo) {
			end = i + 1
		}
		if end > 0 && end <= first && quiet(ts[end:first]) {
			return true
		}
	}
	if first > 0 && ts[first-1].r == '*' && ts[first].glued && (first+1 == len(ts) || ts[first+1].r != '*') {
		return true
	}
	// "2 ... 3 sorry"
	if k > 0 && k == len(ms)-1 {
		for i := ms[k].last + 1; i < len(ts); i++ {
			if end := l.matchAt(pCorrect, ts, i); end > 0 {
				return quiet(ts[ms[k].last+1:i]) && quiet(ts[end:])
			}
		}
	}
	return false
}

// quiet reports that only signs and small words stand in ts.
func quiet(ts []token) bool {
	for i := range ts {
		if ts[i].kind == kWord && !ts[i].is(cSoft|cArticle|cLead|cPolite|cHedge|cCorr|cAdj|cNo|cIsVerb|cRating) || ts[i].kind == kNum {
			return false
		}
	}
	return true
}

// age marks old values. Time words belong to the number before them, unless
// the clause begins with one: "3 last week 2 today", "last week 3 today 2".
func (l *Lexicon) age(ts []token, ms []mention) {
	for k := range ms {
		m := &ms[k]
		if p := before(ts, m.first, 1); has(p, cPast) || has(p, cArticle|cHedge|cAdj) && has(before(ts, m.first, 2), cPast) {
			m.past = true
		}
		if p, q := before(ts, m.first, 1), before(ts, m.first, 2); p != nil && p.s == "from" || p != nil && p.is(cArticle) && q != nil && q.s == "from" {
			m.past = true
			m.markOld()
		}
	}
	for from := 0; from < len(ts); {
		_, to := clause(ts, from)
		l.ageClause(ts, ms, from, to)
		from = to + 1
	}
}

func (m *mention) markOld() {
	if m.why == "" {
		m.why = PastOnly
	}
}

func (l *Lexicon) ageClause(ts []token, ms []mention, from, to int) {
	prefix, seen := false, false
	last := -1 // the number before the place looked at
	next := func(i int) int {
		for k := range ms {
			if ms[k].first >= i && ms[k].first < to {
				return k
			}
		}
		return -1
	}
	for i := from; i < to; i++ {
		for k := range ms {
			if ms[k].first == i {
				last = k
				if !seen {
					seen = true
				}
			}
		}
		end, old := l.matchAt(pOld, ts, i), true
		if end < 0 && ts[i].is(cNow) {
			end, old = i+1, false
		}
		if old && l.matchAt(pNotOld, ts, i) > i {
			continue // "31.2 before breakfast"
		}
		if end < 0 || i > from && (ts[i-1].s == "as" || ts[i-1].s == "like" || ts[i-1].s == "than") {
			continue
		}
		prefix = prefix || !seen
		k := last
		if prefix {
			k = next(end)
		}
		if k >= 0 {
			if old {
				ms[k].markOld()
			} else {
				ms[k].now = true
			}
		}
		i = end - 1
	}
}

// choose settles on one level, or says why none can be settled on.
func choose(ts []token, ms []mention) ScaleReading {
	if len(ms) == 0 {
		return ScaleReading{Reason: NotAnAnswer}
	}
	if k := correction(ms); k >= 0 {
		return settle(ts, &ms[k], Corrected)
	}
	cand, weak, out, replaced := pick(ms)
	switch {
	case len(cand) == 1 && out == 0 && weak == 0:
		r := Reason("")
		if replaced {
			r = Corrected
		}
		return settle(ts, &ms[cand[0]], r)
	case len(cand) == 2 && out == 0 && weak == 0 && ms[cand[0]].hi == ms[cand[1]].hi:
		return settle(ts, &ms[cand[0]], "")
	case len(cand) > 0:
		return ScaleReading{Reason: Ambiguous}
	}
	return ScaleReading{Reason: firstWhy(ms)}
}

// pick sorts the numbers: those that stand as answers, how many stray ones in
// range and how many answers out of range there are, and whether one that was
// an answer is taken back.
func pick(ms []mention) (cand []int, weak, out int, replaced bool) {
	var buf [8]int
	cand = buf[:0]
	for k := range ms {
		m := &ms[k]
		switch {
		case m.why == Negated || m.why == PastOnly:
			replaced = true
		case m.why == OutOfRange && m.strong:
			out++
		case m.why == Ambiguous:
			out++
		case m.why != "":
		case m.strong:
			cand = append(cand, k)
		default:
			weak++
		}
	}
	// "was 3 now 2": what was gives way to what is.
	if len(cand) > 1 {
		kept := cand[:0:0]
		for _, k := range cand {
			if !ms[k].past {
				kept = append(kept, k)
			}
		}
		if len(kept) > 0 && len(kept) < len(cand) {
			return kept, weak, out, true
		}
	}
	return cand, weak, out, replaced
}

// correction gives the last number that takes back an earlier one, provided
// that nothing behind it competes; -1 otherwise.
func correction(ms []mention) int {
	at := -1
	for k := range ms {
		switch {
		case ms[k].corrected && (ms[k].why == "" || ms[k].why == OutOfRange):
			at = k
		case at >= 0 && ms[k].why == "":
			return -1
		}
	}
	return at
}

func firstWhy(ms []mention) Reason {
	for k := range ms {
		if ms[k].why != "" {
			return ms[k].why
		}
	}
	return NotAnAnswer
}

// settle gives the reading of m.
func settle(ts []token, m *mention, r Reason) ScaleReading {
	if m.why != "" {
		return ScaleReading{Reason: m.why}
	}
	switch {
	case r != "":
	case m.form == fRange:
		r = Range
	case m.hedged:
		r = Hedged
	case m.form == fFraction || m.form == fDecimal:
		r = Fraction
	case ts[m.first].kind == kWord:
		r = Word
	default:
		r = Digit
	}
	return ScaleReading{Value: int(m.hi / 1000), OK: true, Reason: r}
}
