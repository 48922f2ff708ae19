package answer

// maxLevel is the worst level of an item.
const maxLevel = 4

// Scale reads one level, 0 (best) … 4 (worst). anchors are the item's five
// anchor phrases in order, or nil; a text that says one of them in other words
// is read only when no other one fits.
func (l *Lexicon) Scale(text string, anchors []string) ScaleReading {
	var mb [8]mention
	ts := l.tokens(text)
	return l.scale(ts, anchors, mb[:0])
}

func (l *Lexicon) scale(ts []token, anchors []string, mb []mention) ScaleReading {
	if len(ts) == 0 {
		return ScaleReading{Reason: Empty}
	}
	if l.plain {
		return l.plainLevel(ts, anchors)
	}
	if v, ok := l.anchor(ts, anchors, true); ok {
		return ScaleReading{Value: v, OK: true, Reason: AnchorWord}
	}
	ms := l.levels(ts, mb)
	r := choose(ts, ms)
	switch {
	case r.OK && l.sameBut(ts):
		return ScaleReading{Reason: Ambiguous}
	case r.OK:
		return r
	case len(ms) == 0 || r.Reason == NotAnAnswer || r.Reason == LooksLikeCount || r.Reason == Unsure:
		if wr := l.wordLevel(ts, anchors, len(ms) == 0); wr.answered() || len(ms) == 0 {
			return wr
		}
	}
	return r
}

// wordLevel reads an answer without a number: SAME, X, none, or an anchor.
func (l *Lexicon) wordLevel(ts []token, anchors []string, all bool) ScaleReading {
	if l.whole(pSame, ts) {
		return ScaleReading{Same: true, Reason: Carried}
	}
	if l.whole(pNotApply, ts) && !kiss(ts) || all && startsWithX(ts) {
		return ScaleReading{NotApplicable: true, Reason: NotApplicable}
	}
	if all && (l.whole(pZero, ts) || zeroWord(ts)) {
		return ScaleReading{OK: true, Reason: Word}
	}
	if v, ok := l.anchor(ts, anchors, false); ok {
		return ScaleReading{Value: v, OK: true, Reason: AnchorWord}
	}
	for i := range ts {
		if ts[i].is(cMaybe) || l.matchAt(pUnsure, ts, i) > 0 {
			return ScaleReading{Reason: Unsure}
		}
	}
	return ScaleReading{Reason: NotAnAnswer}
}

// sameBut finds "same but a 3", which takes back what it says.
func (l *Lexicon) sameBut(ts []token) bool {
	for i := range ts {
		if end := l.matchAt(pSame, ts, i); end > i && end < len(ts) && ts[end].is(cBut) {
			return true
		}
	}
	return false
}

// kiss finds "ta x": behind a thank-you an x is no answer.
func kiss(ts []token) bool {
	for i := range ts {
		if ts[i].s == "x" {
			return i > 0 && ts[i-1].is(cPolite)
		}
	}
	return false
}

// startsWithX finds "x - no car": the answer first, the reason behind it.
func startsWithX(ts []token) bool {
	if len(ts) < 2 || ts[0].s != "x" && ts[0].s != "n/a" && ts[0].s != "na" {
		return false
	}
	n := &ts[1]
	return (!n.glued || n.kind == kPunct) && n.s != "ray" && n.s != "rays" && !n.is(cPolite) && !(n.kind == kPunct && n.r == '?')
}

// zeroWord reads "none", "never today", "no limping at all": nothing else in
// the message but small words and the names of signs.
func zeroWord(ts []token) bool {
	zero := false
	for i := range ts {
		t := &ts[i]
		switch {
		case t.kind == kPunct && t.r == '?':
			return false
		case t.kind == kPunct || t.kind == kEmoji:
		case t.is(cZero):
			zero = true
		case t.is(cNo) && !t.is(cZero):
			// "no limping" is level 0; a bare "no" answers another question.
			if n := after(ts, i, 1); !has(n, cSign) && !(has(n, cSoft|cAdj) && has(after(ts, i, 2), cSign)) && !has(n, cZero) &&
				i+1 < len(ts) && !(ts[i+1].kind == kPunct) {
				return false
			}
			if has(after(ts, i, 1), cSign) || has(after(ts, i, 2), cSign) {
				zero = true
			}
		case t.is(cSign), t.is(cSoft), t.is(cPolite), t.is(cArticle), t.is(cNow), t.is(cDayPart):
		default:
			return false
		}
	}
	return zero
}

// whole reports whether a phrase of set is the whole message, politeness, signs
// and small words aside.
func (l *Lexicon) whole(set int, ts []token) bool {
	hit := false
	for i := 0; i < len(ts); {
		if end := l.matchAt(set, ts, i); end > i {
			hit, i = true, end
			continue
		}
		t := &ts[i]
		switch {
		case t.kind == kPunct && t.r == '?':
			return false
		case t.kind == kPunct, t.kind == kEmoji, t.is(cPolite), t.is(cSoft) && t.kind == kWord:
		default:
			return false
		}
		i++
	}
	return hit
}

// levels finds the numbers of a text that may be levels, joins ranges and
// marks the others with what they look like.
func (l *Lexicon) levels(ts []token, mb []mention) []mention {
	ms := l.mentions(ts, mb)
	if len(ms) == 0 {
		return ms
	}
	ms = joinRanges(ts, ms)
	judge(ts, ms, wants{level: true})
	out := ms[:0]
	for _, m := range ms {
		if n := len(out); n > 0 && m.first <= out[n-1].last {
			continue // the 4 of "3 out of 4"
		}
		if m.why == "" {
			toLevel(ts, &m)
		}
		out = append(out, m)
	}
	l.weigh(ts, out)
	return out
}

// joinRanges makes one mention of "1-2", "2 or 3", "between 2 and 3", "2 maybe
// 3".
func joinRanges(ts []token, ms []mention) []mention {
	out := ms[:0]
	for k := 0; k < len(ms); k++ {
		m := ms[k]
		if k+1 < len(ms) && m.why == "" && ms[k+1].why == "" && joined(ts, &m, &ms[k+1]) {
			n := ms[k+1]
			// "from 2 to 3" tells of a change, not of a range.
			p := before(ts, m.first, 1)
			if has(p, cArticle) {
				p = before(ts, m.first, 2)
			}
			if has(p, cUp) && ts[m.last+1].is(cOr) && ts[m.last+1].s != "or" {
				m.past = true
				out = append(out, m)
				continue
			}
			m.last, m.form = n.last, fRange
			m.lo, m.hi = min(m.lo, n.lo), max(m.lo, n.lo)
			k++
		}
		out = append(out, m)
	}
	return out
}

func joined(ts []token, a, b *mention) bool {
	if a.den > 0 && a.form == fFraction || b.den > 0 && b.form == fFraction {
		return false
	}
	gap := ts[a.last+1 : b.first]
	for len(gap) > 0 && gap[len(gap)-1].is(cArticle) {
		gap = gap[:len(gap)-1]
	}
	if len(gap) > 1 && gap[0].kind == kPunct && (gap[0].r == ',' || gap[0].r == '.') {
		gap = gap[1:]
		if !gap[0].is(cHedge) && gap[0].s != "or" {
			return false
		}
	}
	switch {
	case len(gap) == 0 || len(gap) > 2:
		return false
	case len(gap) == 2:
		return gap[0].is(cOr) && (gap[1].is(cHedge) || gap[1].s == "even" || gap[1].s == "on" || gap[1].s == "for" || gap[1].s == "just") ||
			gap[0].s == "going" && gap[1].s == "on"
	case between(ts, a) && (gap[0].is(cJoin) || gap[0].r == '&'):
		return true
	case gap[0].kind == kPunct:
		return gap[0].r == '-' || gap[0].r == '~' || gap[0].r == '/' && a.form != fFraction
	case gap[0].is(cOr):
		return true
	case gap[0].is(cHedge) && gap[0].is(cOr|cMaybe):
		return true
	}
	return false
}

// between reports that "between" leads up to a number.
func between(ts []token, a *mention) bool {
	p := before(ts, a.first, 1)
	if has(p, cArticle) {
		p = before(ts, a.first, 2)
	}
	return has(p, cBetween)
}

// toLevel turns the written number into a level, or says why it is none.
func toLevel(ts []token, m *mention) {
	switch m.form {
	case fFraction:
		m.why = fractionLevel(ts, m)
	case fDecimal:
		if m.grouped >= 0 || m.frac > 1 && m.lo%1000 != 0 && m.lo%500 != 0 {
			m.why = NotAnAnswer
			return
		}
		if ts[m.first].kind == kNum && m.last > m.first && ts[m.first+1].r == ',' && m.lo%1000 != 500 {
			m.why = Ambiguous // "1,2" may be two answers
			return
		}
		if m.lo%1000 != 0 && m.lo%1000 < 500 {
			m.why = Ambiguous // nearer to the lower level
			return
		}
		m.hi = (m.lo + 999) / 1000 * 1000
	}
	outOf(ts, m)
	if m.why == "" && (m.hi > maxLevel*1000 || m.hi < 0) {
		m.why = OutOfRange
	}
	if m.why == "" && ts[m.first].digits > 1 && ts[m.first].kind == kNum {
		m.why = OutOfRange // "02", "00"
	}
}

// fractionLevel reads "3/4" as 3 of 4 and "2/3" as 2 or 3.
func fractionLevel(ts []token, m *mention) Reason {
	if n := after(ts, m.last, 1); n != nil && (n.s == "of" || n.is(cCount)) {
		return LooksLikeCount
	}
	num, den := m.lo/1000, m.den
	p := before(ts, m.first, 1)
	switch {
	case p != nil && p.s == "on", has(p, cTimePrep):
		return LooksLikeDate
	case den == maxLevel && num <= maxLevel:
		m.hi = m.lo
		return ""
	case den == 3 && num == 2 && ts[m.first].kind == kNum:
		m.hi, m.form = 3000, fRange
		return ""
	case den == 10 || den == 5 || den == 9 || den == 100:
		return LooksLikeScore
	case ts[m.first].half:
		return Ambiguous
	}
	return OutOfRange
}

// outOf reads "3 out of 4"; on any other scale the number is no level.
func outOf(ts []token, m *mention) {
	n1, n2 := after(ts, m.last, 1), after(ts, m.last, 2)
	if n1 == nil || n1.s != "of" && (n1.s != "out" || n2 == nil || n2.s != "of") {
		return
	}
	at := afterAt(ts, m.last, 2)
	if n1.s == "out" {
		at = afterAt(ts, m.last, 3)
	}
	if at < 0 || ts[at].val < 0 {
		m.why = LooksLikeCount // "2 of them"
		return
	}
	then := after(ts, at, 1)
	m.last = at
	switch {
	case ts[at].val != maxLevel:
		m.why = LooksLikeScore
	case then != nil && !then.is(cFollow|cPolite|cSoft|cNow):
		m.why = LooksLikeCount // "3 out of 4 walks"
	case m.form == fDigit || m.form == fWord:
		m.form = fFraction
	}
}
