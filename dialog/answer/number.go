package answer

// form is how a number is written.
type form uint8

const (
	fDigit form = iota
	fWord
	fDecimal
	fFraction
	fRange
)

// mention is one number in a text. lo and hi are thousandths; they differ only
// in a range. grouped is the other reading of "31,400": thousands.
type mention struct {
	first, last int // its tokens
	lo, hi      int64
	den         int64 // of a fraction, 0 otherwise
	grouped     int64 // -1 where there is no such reading
	form        form
	frac        int    // decimals written
	why         Reason // set: this number is no answer, and why
	hedged      bool
	corrected   bool
	past        bool
	now         bool
	strong      bool // stands where an answer stands
}

// mentions finds the numbers of a text. Word numbers count ("thirty one and a
// half").
func (l *Lexicon) mentions(ts []token, buf []mention) []mention {
	for i := 0; i < len(ts); {
		m, ok := readNumber(ts, i)
		if !ok {
			i++
			continue
		}
		buf = append(buf, m)
		i = m.last + 1
	}
	return buf
}

func readNumber(ts []token, i int) (mention, bool) {
	m := mention{first: i, last: i, grouped: -1}
	t := &ts[i]
	switch {
	case t.kind == kNum:
		if i > 0 && ts[i-1].kind == kWord && t.glued && !ts[i-1].is(cCurrency|cRating|cUnit|cSign) && ts[i-1].s != "x" && ts[i-1].s != "q" {
			m.why = NotAnAnswer // "b12", "covid19": part of a name
		}
		m.lo = t.val * 1000
		m.afterDigits(ts)
	case t.half:
		m.lo, m.form, m.den = 500, fFraction, 2
	case t.kind == kPunct && t.r == '.' && i+1 < len(ts) && ts[i+1].kind == kNum && ts[i+1].glued &&
		(i == 0 || !ts[i].glued) && ts[i+1].digits <= 3:
		m.last = i + 1
		m.lo, m.form, m.frac = decimals(&ts[i+1]), fDecimal, ts[i+1].digits
	case t.kind == kWord && t.is(cNumWord):
		m.form = fWord
		m.afterWord(ts)
	default:
		return m, false
	}
	m.halves(ts)
	m.hi = m.lo
	return m, true
}

// decimals gives the thousandths that the digits of t stand for after a point.
func decimals(t *token) int64 {
	v, n := t.val, t.digits
	for ; n < 3; n++ {
		v *= 10
	}
	for ; n > 3; n-- {
		v /= 10
	}
	return v
}

// afterDigits reads what is joined to a run of digits: decimals, thousands, a
// fraction, a date, a clock time.
func (m *mention) afterDigits(ts []token) {
	i := m.first
	if ts[i].digits >= 7 {
		m.why = LooksLikePhone
	}
	next := func(k int) bool { // a digit run joined by the sign at k
		return k+1 < len(ts) && ts[k].kind == kPunct && ts[k].glued && ts[k+1].kind == kNum && ts[k+1].glued
	}
	if !next(i + 1) {
		m.pointWord(ts)
		m.looseFraction(ts)
		return
	}
	sep := ts[i+1].r
	second := &ts[i+2]
	switch sep {
	case '.', ',':
		m.last = i + 2
		if next(i+3) && ts[i+3].r == sep {
			m.series(ts, sep)
			return
		}
		if second.digits == 3 && ts[i].val < 1e6 {
			m.grouped = (ts[i].val*1000 + second.val) * 1000
		}
		m.lo, m.form, m.frac = m.lo+decimals(second), fDecimal, second.digits
	case ':':
		m.last, m.why = i+2, LooksLikeTime
	case '/':
		m.last, m.form, m.den = i+2, fFraction, second.val
		if m.den == 0 {
			m.den = -1
		}
		if next(i+3) && ts[i+3].r == '/' {
			m.last, m.why = i+4, LooksLikeDate
		}
	}
}

// series reads three or more joined groups: thousands where every group has
// three digits, a date or list otherwise.
func (m *mention) series(ts []token, sep rune) {
	v, groups, i := ts[m.first].val, true, m.first+1
	for ; i+1 < len(ts) && ts[i].kind == kPunct && ts[i].r == sep && ts[i].glued &&
		ts[i+1].kind == kNum && ts[i+1].glued; i += 2 {
		groups = groups && ts[i+1].digits == 3 && v < 1e9
		v = v*1000 + ts[i+1].val
		m.last = i + 1
	}
	if groups {
		m.lo = v * 1000
		return
	}
	m.why = LooksLikeDate
	if sep == ',' {
		m.why = Ambiguous
	}
}

// looseFraction reads "3 / 4".
func (m *mention) looseFraction(ts []token) {
	i := m.first
	if i+2 < len(ts) && ts[i+1].kind == kPunct && ts[i+1].r == '/' && ts[i+2].kind == kNum {
		m.last, m.form, m.den = i+2, fFraction, ts[i+2].val
		if m.den == 0 {
			m.den = -1
		}
	}
}

// pointWord reads "31 point 4" and "thirty one point two five".
func (m *mention) pointWord(ts []token) {
	i := m.last + 1
	if i+1 >= len(ts) || !ts[i].is(cPoint) {
		return
	}
	v, n := int64(0), 0
	for i++; i < len(ts) && n < 3; i++ {
		t := &ts[i]
		if t.kind == kNum && n == 0 {
			v, n = t.val, t.digits
			m.last = i
			break
		}
		if !t.is(cNumWord) || t.val > 9 {
			break
		}
		v, n = v*10+t.val, n+1
		m.last = i
	}
	if n == 0 {
		return
	}
	m.form, m.frac = fDecimal, n
	m.lo += decimals(&token{val: v, digits: n})
}

// afterWord reads "thirty one", "a hundred and two", "twenty nine point two".
func (m *mention) afterWord(ts []token) {
	i := m.first
	v := ts[i].val
	take := func(k int) bool { return k < len(ts) && ts[k].kind == kWord && ts[k].is(cNumWord) }
	ones := func(k int) bool { return take(k) && ts[k].val > 0 && ts[k].val < 10 }
	if ts[i].tens() && ones(i+1) {
		v, m.last = v+ts[i+1].val, i+1
	} else if v > 0 && v < 10 && take(i+1) && ts[i+1].val == 100 {
		v, m.last = v*100, i+1
	}
	if v >= 100 {
		v += m.belowHundred(ts)
	}
	m.lo = v * 1000
	m.pointWord(ts)
}

// tens reports a word from twenty to ninety.
func (t *token) tens() bool { return t.val >= 20 && t.val < 100 && t.val%10 == 0 }

func (m *mention) belowHundred(ts []token) int64 {
	k := m.last + 1
	if k < len(ts) && ts[k].is(cJoin) {
		k++
	}
	if k >= len(ts) || !ts[k].is(cNumWord) || ts[k].val >= 100 {
		return 0
	}
	v := ts[k].val
	m.last = k
	if ts[k].tens() && k+1 < len(ts) && ts[k+1].is(cNumWord) && ts[k+1].val < 10 {
		v += ts[k+1].val
		m.last = k + 1
	}
	return v
}

// halves reads a half behind a whole number: "31½", "31 1/2", "2 and a half".
func (m *mention) halves(ts []token) {
	if m.form == fFraction || m.form == fDecimal || m.why != "" {
		return
	}
	i := m.last + 1
	if i >= len(ts) {
		return
	}
	t := &ts[i]
	switch {
	case t.half:
		m.lo, m.last = m.lo+500, i
	case t.r == '¼' || t.r == '¾':
		m.lo, m.last = m.lo+250+500*b2i(t.r == '¾'), i
	case t.kind == kNum && !t.glued && t.val == 1 && i+2 < len(ts) && ts[i+1].r == '/' && ts[i+1].glued &&
		ts[i+2].kind == kNum && ts[i+2].val == 2:
		m.lo, m.last = m.lo+500, i+2
	case (t.is(cJoin) || t.s == "an") && i+1 < len(ts):
		k := i + 1
		if ts[k].is(cArticle) {
			k++
		}
		if k >= len(ts) || !ts[k].is(cHalf) {
			return
		}
		m.lo, m.last = m.lo+500, k
	default:
		return
	}
	m.form, m.frac = fDecimal, 1
}

func b2i(b bool) int64 {
	if b {
		return 1
	}
	return 0
}
