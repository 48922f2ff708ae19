package answer

// wants says what a reader is looking for, so that the same surroundings can
// speak for a number in one reader and against it in another.
type wants struct {
	level  bool // a level 0–4: counts, units and ages speak against it
	count  bool // a count: counted things speak for it
	weight bool // a weight: mass units speak for it
}

// boundary reports whether a token ends a clause. Quotes, stars and brackets
// that merely wrap a number do not.
func (t *token) boundary() bool {
	if t.kind == kEmoji {
		return true
	}
	if t.kind != kPunct {
		return false
	}
	switch t.r {
	case '"', '\'', '*', '~', '=', '_', '#', '[', ']', '(', ')', '-', '/', '+', '£', '$', '€', '%', '&', '½', '¼', '¾':
		return false
	}
	return true
}

// wrap reports a sign that may stand between a number and its neighbours
// without meaning anything.
func (t *token) wrap() bool {
	if t.kind != kPunct {
		return false
	}
	switch t.r {
	case '"', '\'', '*', '_', '[', ']', '~', '=', '#':
		return true
	}
	return false
}

// before gives the n-th word before token i within its clause (n from 1), or
// nil.
func before(ts []token, i, n int) *token {
	for i--; i >= 0; i-- {
		t := &ts[i]
		if t.wrap() {
			continue
		}
		if t.kind == kPunct || t.kind == kEmoji {
			return nil
		}
		if n--; n == 0 {
			return t
		}
	}
	return nil
}

// after gives the n-th word after token i within its clause, or nil.
func after(ts []token, i, n int) *token {
	if k := afterAt(ts, i, n); k >= 0 {
		return &ts[k]
	}
	return nil
}

// afterAt is after, as an index; -1 where there is none.
func afterAt(ts []token, i, n int) int {
	for i++; i < len(ts); i++ {
		t := &ts[i]
		if t.wrap() {
			continue
		}
		if t.kind == kPunct || t.kind == kEmoji {
			return -1
		}
		if n--; n == 0 {
			return i
		}
	}
	return -1
}

// has is is that a missing neighbour answers with no.
func has(t *token, c classes) bool { return t != nil && t.cls&c != 0 }

// judge sets why on every number that its surroundings show to be something
// else than what the reader wants.
func judge(ts []token, ms []mention, w wants) {
	phoneGroups(ts, ms)
	for k := range ms {
		m := &ms[k]
		if m.why == "" {
			m.why = w.against(ts, m)
		}
	}
}

// phoneGroups marks numbers written in groups ("07700 900 123").
func phoneGroups(ts []token, ms []mention) {
	for a := 0; a < len(ms); {
		b, digits, long := a, ts[ms[a].first].digits, ts[ms[a].first].digits >= 3
		for b+1 < len(ms) && ms[b].form == fDigit && ms[b+1].form == fDigit && phoneGap(ts, ms[b].last, ms[b+1].first) {
			b++
			digits += ts[ms[b].first].digits
			long = long || ts[ms[b].first].digits >= 3
		}
		if b > a && long && digits >= 7 {
			for k := a; k <= b; k++ {
				ms[k].why = LooksLikePhone
			}
		}
		a = b + 1
	}
}

func phoneGap(ts []token, last, first int) bool {
	if first == last+1 {
		return true
	}
	return first == last+2 && ts[last+1].kind == kPunct && (ts[last+1].r == '-' || ts[last+1].r == ')')
}

// against gives the reason that speaks against m, or "".
func (w wants) against(ts []token, m *mention) Reason {
	if r := againstSigns(ts, m); r != "" {
		return r
	}
	prev, next := before(ts, m.first, 1), after(ts, m.last, 1)
	glued := next != nil && m.last+1 < len(ts) && ts[m.last+1].kind == kWord && ts[m.last+1].glued
	if glued && has(next, cSuffix) && !w.stoneNotOrdinal(ts, m, next) {
		return LooksLikeDate
	}
	if r := againstTime(ts, m, w); r != "" {
		return r
	}
	if has(prev, cMonth) && m.form == fDigit || has(next, cMonth) && !next.is(cSoft) {
		return LooksLikeDate
	}
	if r := againstAge(ts, m, w); r != "" {
		return r
	}
	if has(next, cCurrency) && !(w.weight && next.is(cUnit)) {
		return LooksLikePrice
	}
	if r := w.againstMeasure(next); r != "" {
		return r
	}
	return w.againstCount(ts, m, glued)
}

// againstSigns looks at the signs that touch a number.
func againstSigns(ts []token, m *mention) Reason {
	if i := m.first - 1; i >= 0 && ts[i].kind == kPunct {
		switch ts[i].r {
		case '£', '$', '€', '¥', '₹':
			return LooksLikePrice
		case '<', '>':
			if i == 0 || ts[i-1].r != '-' && ts[i-1].r != '=' {
				return NotAnAnswer
			}
		case '-':
			if ts[i+1].glued && (i == 0 || !ts[i].glued || ts[i-1].r == '(') && (i == 0 || ts[i-1].kind != kNum) {
				return OutOfRange // a negative number
			}
		case '+':
			if ts[i+1].glued && (i == 0 || ts[i-1].kind != kNum) {
				return OutOfRange // "+0.3": a change
			}
		}
	}
	if i := m.last + 1; i < len(ts) && ts[i].kind == kPunct {
		switch ts[i].r {
		case '£', '$', '€', '¥', '₹':
			return LooksLikePrice
		case '%', '°':
			return LooksLikeDose
		}
	}
	return ""
}

// stoneNotOrdinal reports that "st" behind the number is stone: "5st", and
// "11st 4" although 11 would take "th".
func (w wants) stoneNotOrdinal(ts []token, m *mention, next *token) bool {
	if !w.weight || next.s != "st" {
		return false
	}
	if m.lo/1000%10 != 1 || m.lo/1000%100 == 11 {
		return true
	}
	n := after(ts, m.last, 2)
	return n != nil && n.kind == kNum
}

func againstTime(ts []token, m *mention, w wants) Reason {
	prev, next := before(ts, m.first, 1), after(ts, m.last, 1)
	n2, n3 := after(ts, m.last, 2), after(ts, m.last, 3)
	switch {
	case has(next, cAmPm):
		return LooksLikeTime
	case has(prev, cTimePrep) && !has(next, cUnit) && !(w.weight && m.frac > 0 && m.frac != 2) && m.lo < 25000:
		return LooksLikeTime
	case prev != nil && prev.s == "to" && has(before(ts, m.first, 2), cTimePrep):
		return LooksLikeTime // "quarter to 4"
	case has(prev, cHalf) && m.form != fFraction:
		return LooksLikeTime
	case next != nil && next.s == "in" && has(n2, cArticle) && has(n3, cDayPart):
		return LooksLikeTime // "3 in the morning"
	case m.frac == 2 && m.form == fDecimal && w.level && ts[m.first+1].r == '.':
		return LooksLikeTime // "2.30"
	case has(next, cOr) && has(n2, cNumWord) && has(prev, cTimePrep):
		return LooksLikeTime
	case next != nil && next.s == "at" && has(n2, cDayPart), next != nil && next.s == "ish" && has(n3, cDayPart):
		return LooksLikeTime // "1 at night", "3ish this afternoon"
	case has(prev, cHedge) && has(next, cDayPart|cLead) && has(n2, cDayPart):
		return LooksLikeTime // "around 3 this afternoon"
	case has(next, cDay) && !w.weight, has(prev, cDay) && w.level:
		return LooksLikeDate
	case w.level && next != nil && next.s == "on" && has(n2, cDay):
		return LooksLikeDate
	}
	return ""
}

func againstAge(ts []token, m *mention, w wants) Reason {
	prev, p2, next := before(ts, m.first, 1), before(ts, m.first, 2), after(ts, m.last, 1)
	switch {
	case has(next, cAgeUnit):
		if w.count {
			if n2 := after(ts, m.last, 2); n2 == nil || n2.s != "old" {
				return ""
			}
		}
		return LooksLikeAge
	case has(prev, cAgeLead), has(prev, cHedge) && has(p2, cAgeLead):
		return LooksLikeAge
	case m.lo%1000 != 0 || has(next, cUnit) || m.form == fFraction:
		return ""
	case has(prev, cSubject) && m.lo <= 20000:
		return LooksLikeAge
	case has(prev, cHedge|cNow|cSoft) && has(p2, cSubject) && !prev.is(cRating|cSubject) && m.lo <= 20000 && prev.s != "a":
		return LooksLikeAge
	case w.level && has(prev, cIsVerb) && p2 != nil && p2.id == 0:
		return LooksLikeAge // "bramble is 3"
	}
	return ""
}

func (w wants) againstMeasure(next *token) Reason {
	if next == nil {
		return ""
	}
	if next.is(cOtherUnit) || next.is(cUnit) && !w.weight && !next.is(cSuffix) {
		return LooksLikeDose
	}
	return ""
}

// againstCount finds counted things ("3 walks", "2 short walks", "x2") and
// numbers that name something ("day 3").
func (w wants) againstCount(ts []token, m *mention, glued bool) Reason {
	prev, next := before(ts, m.first, 1), after(ts, m.last, 1)
	if has(prev, cLabel) && !has(before(ts, m.first, 2), cPointer) {
		return LooksLikeCount
	}
	if prev != nil && prev.s == "x" && w.level {
		return LooksLikeCount
	}
	if next == nil {
		return ""
	}
	if next.s == "x" && !w.count && (glued || after(ts, m.last, 2) != nil) {
		return LooksLikeCount
	}
	if w.count {
		return ""
	}
	n2 := after(ts, m.last, 2)
	switch {
	case (next.is(cArticle) || next.s == "per" || next.s == "to") && (n2 != nil && (n2.s == "minute" || n2.s == "day" || n2.s == "min" || n2.s == "week" || n2.s == "hour") || has(n2, cArticle) && after(ts, m.last, 3) != nil && after(ts, m.last, 3).s == "minute"):
		return LooksLikeCount // "60 a minute"
	case next.is(cCount):
		return LooksLikeCount
	case !next.is(cFollow|cBut|cJoin|cOr|cUnit|cLead|cIsVerb) && has(n2, cCount):
		return LooksLikeCount
	case !next.is(cFollow|cBut|cJoin|cOr|cUnit|cLead|cIsVerb) && n2 != nil && !n2.is(cFollow) && has(after(ts, m.last, 3), cCount):
		return LooksLikeCount
	case w.level && next.id == 0 && next.kind == kWord && len(next.s) > 3 && next.s[len(next.s)-1] == 's' && !glued:
		return LooksLikeCount // an unknown plural: "2 sausages"
	}
	return ""
}
