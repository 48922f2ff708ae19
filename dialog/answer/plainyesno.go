package answer

// plainYesNo reads yes or no: the first clause is one as a whole. A yes may go on
// with a report; a no with nothing but small words, since a "pero" behind it, or
// any tale, may be the very thing that was asked about.
func (l *Lexicon) plainYesNo(text string, ts []token) YesNoReading {
	if len(ts) == 0 {
		return YesNoReading{Reason: Empty}
	}
	if asksBack(ts) || len(ts) == 2 && ts[1].r == '?' {
		return YesNoReading{Reason: Asked}
	}
	var first vote
	for i, seen := 0, false; i < len(ts); {
		from := i
		to, next := clauseEnd(ts, i)
		v, reason := l.plainClause(ts, from, to)
		i = next
		switch {
		case !seen && reason == Empty:
		case !seen && reason != "":
			return YesNoReading{Reason: reason}
		case !seen:
			first, seen = v, true
		case reason == "" && v.yes != first.yes && v.reason != AllWell && first.reason != AllWell && v.reason != Emoji && first.reason != Emoji:
			if l.hasClass(ts[from:to], cCorr) {
				v.reason = Corrected
				first = v
				continue
			}
			return YesNoReading{Reason: Ambiguous}
		case reason == "" && v.yes != first.yes && first.reason == AllWell:
			return YesNoReading{Reason: Ambiguous}
		case reason != "" && reason != Empty && !first.yes:
			return YesNoReading{Reason: Ambiguous}
		}
	}
	if first.reason == "" {
		return YesNoReading{Reason: NotAnAnswer}
	}
	return YesNoReading{Value: first.yes, OK: true, Reason: first.reason, Detail: detail(composed(text), ts, first.end)}
}

// clauseEnd is where the clause that begins at i ends, and where the next begins:
// behind a sign, or at a "but".
func clauseEnd(ts []token, i int) (to, next int) {
	for to = i; to < len(ts); to++ {
		t := &ts[to]
		if t.boundary() || t.kind == kPunct && t.r == '-' {
			return to, to + 1
		}
		if to > i && t.is(cBut) && t.kind == kWord {
			return to, to
		}
	}
	return to, to
}

// plainClause reads one clause: a yes, a no or an "all well" as a whole, or the
// reason why it is none; Empty for small words alone.
func (l *Lexicon) plainClause(ts []token, from, to int) (vote, Reason) {
	if to < len(ts) && ts[to].kind == kEmoji {
		if v, ok := signVote(&ts[to], to); ok && l.smallOnly(ts[from:to]) {
			return v, ""
		}
	}
	clause := ts[from:min(max(to, from), len(ts))]
	v := vote{at: from}
	for i := 0; i < len(clause); {
		t := &clause[i]
		if t.kind == kWord {
			if end, yes, r := l.plainVote(clause, i); end > i {
				if v.reason != "" && v.yes != yes && v.reason != AllWell {
					return v, Ambiguous
				}
				if v.reason == "" || v.reason == AllWell {
					v.yes, v.reason = yes, r
				}
				i, v.end = end, from+end
				continue
			}
			if l.matchAt(pUnsure, clause, i) > i {
				return v, Unsure
			}
			if !t.is(plainSmall | cCorr | cJoin) {
				return v, NotAnAnswer
			}
		} else if t.kind == kNum {
			if v.reason == "" {
				return v, NotAnAnswer
			}
			return v, "" // "no 0": a count behind it
		}
		i++
	}
	if v.reason == "" {
		return v, Empty
	}
	return v, ""
}

// plainVote reads the vote at word i: the longest of the three.
func (l *Lexicon) plainVote(ts []token, i int) (end int, yes bool, r Reason) {
	if l.matchAt(pNotNo, ts, i) > i {
		return 0, false, ""
	}
	y, n, w := l.matchAt(pYes, ts, i), l.matchAt(pNo, ts, i), l.matchAt(pWell, ts, i)
	if y < 0 && ts[i].is(cYes) {
		y = i + 1
	}
	if n < 0 && ts[i].is(cNo) {
		n = i + 1
	}
	switch {
	case w > max(y, n):
		return w, false, AllWell
	case n > y:
		return n, false, plainHedge(ts[i:n])
	case y > 0:
		return y, true, plainHedge(ts[i:y])
	}
	return 0, false, ""
}

func plainHedge(ts []token) Reason {
	for i := range ts {
		if ts[i].is(cHedge) {
			return Hedged
		}
	}
	return Word
}

func (l *Lexicon) smallOnly(ts []token) bool {
	for i := range ts {
		if ts[i].kind == kNum || ts[i].kind == kWord && !ts[i].is(plainSmall) {
			return false
		}
	}
	return true
}

// plainCount reads a count from low to high.
func (l *Lexicon) plainCount(ts []token, low, high int) NumberReading {
	if len(ts) == 0 {
		return NumberReading{Reason: Empty}
	}
	within := func(v int64, r Reason) NumberReading {
		if v < int64(low) || v > int64(high) {
			return NumberReading{Reason: OutOfRange}
		}
		return NumberReading{Value: int(v), OK: true, Reason: r}
	}
	n := l.plainNumber(ts, plainSmall|cCount|cVerb)
	switch {
	case n.why == "" && n.value%1000 != 0:
		return NumberReading{Reason: NotAnAnswer}
	case n.why == "":
		return within(n.value/1000, n.reason)
	case n.any:
		return NumberReading{Reason: n.why}
	}
	tally := int64(-1)
	for i := range ts {
		t := &ts[i]
		switch {
		case t.is(cTally) && tally >= 0:
			return NumberReading{Reason: Ambiguous}
		case t.is(cTally):
			tally = t.val
		case t.kind == kPunct && t.r != '?', t.kind == kEmoji, t.is(plainSmall | cCount | cVerb):
		default:
			tally = -2
		}
		if tally == -2 {
			break
		}
	}
	if tally >= 0 {
		return within(tally, Word)
	}
	if l.whole(pZero, ts) {
		return within(0, Word)
	}
	if v, why := l.plainClause(ts, 0, len(ts)); why == "" && !v.yes && v.reason != AllWell {
		return within(0, Word)
	}
	return NumberReading{Reason: NotAnAnswer}
}
