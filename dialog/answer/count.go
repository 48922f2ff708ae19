package answer

// Number reads a count from min to max: doses missed, walks taken. "Twice" is
// 2, "a couple" 2, a range its upper end; "a few" and "all of them" are no
// numbers.
func (l *Lexicon) Number(text string, min, max int) NumberReading {
	var mb [8]mention
	ts := l.tokens(text)
	if len(ts) == 0 {
		return NumberReading{Reason: Empty}
	}
	if l.plain {
		return l.plainCount(ts, min, max)
	}
	ms := l.mentions(ts, mb[:0])
	ms = joinRanges(ts, ms)
	judge(ts, ms, wants{count: true})
	l.age(ts, ms)
	at, why := -1, Reason("")
	for k := range ms {
		m := &ms[k]
		m.hedged = hedged(ts, m)
		if m.why == "" {
			m.why = countWhy(ts, m)
		}
		if n := after(ts, m.last, 1); m.why == "" && (!l.countsUp(ts[:m.first]) || !goesOn(ts, m) && !has(n, cCount|cAgeUnit|cAmPm)) {
			m.why = NotAnAnswer
		}
		switch {
		case m.why != "":
			if why == "" {
				why = m.why
			}
		case at >= 0 && !l.corrects(ts, ms, k) && ms[at].hi != m.hi:
			return NumberReading{Reason: Ambiguous}
		default:
			at = k
		}
	}
	if at < 0 {
		return l.countWord(ts, min, max, why)
	}
	m := &ms[at]
	v := int(m.hi / 1000)
	if v < min || v > max {
		return NumberReading{Reason: OutOfRange}
	}
	r := settle(ts, m, "")
	return NumberReading{Value: v, OK: true, Reason: r.Reason}
}

// countWhy gives the reason why a number is no count.
func countWhy(ts []token, m *mention) Reason {
	n := after(ts, m.last, 1)
	switch {
	case m.form == fFraction || m.form == fDecimal && m.lo%1000 != 0:
		return NotAnAnswer
	case negated(ts, m), notMissed(ts, m):
		return Negated
	case ts[m.first].s == "one" && has(before(ts, m.first, 1), cAmPm|cAdj|cDayPart|cDay):
		return NotAnAnswer
	case hypothetical(ts, m):
		return Hypothetical
	case asked(ts, m):
		return Asked
	case n != nil && n.s == "of" && ts[m.first].s == "one":
		return ""
	case n != nil && after(ts, m.last, 2) != nil && after(ts, m.last, 2).s == "ago":
		return PastOnly
	}
	return ""
}

// notMissed finds "never missed one", "didn't miss any of the 7".
func notMissed(ts []token, m *mention) bool {
	from, _ := clause(ts, m.first)
	for i := from; i < m.first; i++ {
		if ts[i].is(cNeg) && !has(after(ts, i, 1), cKnow) {
			return true
		}
	}
	return false
}

// countsUp reports that only small words and words of counting stand before a
// number, so that it answers rather than tells.
func (l *Lexicon) countsUp(ts []token) bool {
	names := 0
	for i := range ts {
		t := &ts[i]
		switch {
		case t.kind != kWord, t.is(cSmall | cCount | cVerb | cAmPm), l.matchAt(pCounts, ts, i) > i:
		case t.id == 0 && t.title && names == 0:
			names++
		default:
			return false
		}
	}
	return true
}

// countWord reads a count said without a number: "twice", "a couple", or a no.
func (l *Lexicon) countWord(ts []token, min, max int, why Reason) NumberReading {
	at := -1
	for i := range ts {
		if !ts[i].is(cTally) || !l.countsUp(ts[:i]) {
			continue
		}
		if v := int(ts[i].val); at >= 0 && at != v {
			return NumberReading{Reason: Ambiguous}
		}
		at = int(ts[i].val)
	}
	if at < 0 {
		r, _ := l.yesNo(ts)
		if no := r.reason == Word || r.reason == Hedged || r.reason == Corrected; no && !r.yes && r.end > 0 || l.whole(pZero, ts) || zeroWord(ts) {
			at = 0
		}
	}
	switch {
	case at < 0 && why != "":
		return NumberReading{Reason: why}
	case at < 0:
		return NumberReading{Reason: NotAnAnswer}
	case at < min || at > max:
		return NumberReading{Reason: OutOfRange}
	}
	return NumberReading{Value: at, OK: true, Reason: Word}
}
