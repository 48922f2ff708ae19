package answer

// plainWeight reads a body weight: the one weight of a message that has nothing
// else in it but small words and words of weighing.
func (l *Lexicon) plainWeight(ts []token, def Unit) WeightReading {
	switch {
	case len(ts) == 0:
		return WeightReading{Reason: Empty}
	case l.anywhere(pCannotWeigh, ts):
		return WeightReading{CannotWeigh: true, Reason: CannotWeigh}
	case asksBack(ts):
		return WeightReading{Reason: Asked}
	}
	var mb [8]mention
	var wb [4]measure
	ws, why := l.plainMeasures(ts, l.plainMentions(ts, mb[:0]), def, wb[:0])
	if why != "" {
		if why == NotAnAnswer && l.whole(pSame, ts) {
			why = Carried
		}
		return WeightReading{Reason: why}
	}
	var live []*measure
	for k := range ws {
		if !has(before(ts, ws[k].first, 1), cNeg) {
			live = append(live, &ws[k])
		}
	}
	r := WeightReading{Reason: Ambiguous}
	switch {
	case len(live) == 1:
		r = live[0].reading(false)
		if len(ws) == 2 {
			r.Reason = Corrected
		}
	case len(ws) == 2 && l.between2(ts, &mention{last: ws[0].last}, &mention{first: ws[1].first}, cCorr):
		r = ws[1].reading(false)
		r.Reason = Corrected
	}
	return r
}

// plainMeasures joins numbers and units, or gives the reason why the message
// is no weight.
func (l *Lexicon) plainMeasures(ts []token, ms []mention, def Unit, out []measure) ([]measure, Reason) {
	if len(ms) == 0 {
		return nil, NotAnAnswer
	}
	at := 0 // the first token not yet accounted for
	for k := 0; k < len(ms); {
		w, used := l.plainMeasure(ts, ms, k, def)
		if why := l.beside(ts[at:w.first]); why != "" {
			return nil, why
		}
		if w.why != "" {
			return nil, w.why
		}
		if out = append(out, w); len(out) > 2 {
			return nil, Ambiguous
		}
		at, k = w.last+1, k+used
	}
	return out, l.beside(ts[at:])
}

// plainMeasure reads the weight that begins with number k and says how many
// numbers it used.
func (l *Lexicon) plainMeasure(ts []token, ms []mention, k int, def Unit) (measure, int) {
	m := ms[k]
	w := measure{first: m.first, last: m.last, why: m.why, unit: def}
	used := 1
	u := m.last + 1
	if u < len(ts) && ts[u].kind == kWord && ts[u].is(cUnit) {
		w.unit, w.own, w.last = l.unitOf(&ts[u]), true, u
		l.plainUnitHalf(ts, &m, &w)
	}
	w.nano = inNano(&m, w.unit)
	if w.own && w.unit == Kilograms && k+1 < len(ms) && m.form != fDecimal {
		// "31 kg 400 g": the lesser unit must be named.
		n := &ms[k+1]
		v := n.last + 1
		if n.first == w.last+1 && v < len(ts) && ts[v].is(cUnit) && l.unitOf(&ts[v]) == Grams && n.lo < 1_000_000 {
			w.nano += inNano(n, Grams)
			w.last, used = v, 2
		}
	}
	w.grams = rounded(w.nano)
	if w.why == "" && (m.form == fFraction || w.grams < minGrams || w.grams > maxGrams) {
		w.why = OutOfRange
	}
	return w, used
}

// plainUnitHalf adds the half of "31 kilos y medio".
func (l *Lexicon) plainUnitHalf(ts []token, m *mention, w *measure) {
	i := w.last + 1
	if m.form != fDecimal && i+1 < len(ts) && ts[i].is(cJoin) && ts[i].kind == kWord && ts[i+1].is(cHalf) {
		m.lo, w.last = m.lo+500, i+1
	}
}

// beside gives the reason why what stands beside a weight makes it none, or "".
func (l *Lexicon) beside(ts []token) Reason {
	for i := range ts {
		t := &ts[i]
		switch {
		case t.is(cGain) && t.kind == kWord:
			return WeightChange
		case t.is(cGoal | cBag | cOther):
			return NotThisWeight
		case t.kind == kEmoji, t.kind == kPunct && (quietSign(t) || t.r == '='):
		case t.kind == kPunct:
			return Ambiguous
		case !t.is(plainSmall | cWeigh | cCorr | cNeg | cBut):
			return NotAnAnswer
		}
	}
	return ""
}
