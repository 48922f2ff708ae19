package answer

// notThis gives the reason why a weight in the text is not what the dog weighs
// now, or "".
func (l *Lexicon) notThis(ts []token, w *measure, m *mention) Reason {
	w.person(ts)
	switch {
	case w.with || w.alone:
		return NotThisWeight
	case negated(ts, m):
		return Negated
	case hypothetical(ts, m):
		return Hypothetical
	case w.changed(ts):
		return WeightChange
	case w.superseded(ts):
		return PastOnly
	case w.goal(ts), w.feed(ts):
		return NotThisWeight
	case scored(ts, m):
		return LooksLikeScore
	case vague(ts, w):
		return Ambiguous
	case asked(ts, m), w.judged(ts):
		return Asked
	case w.somebodyElse(ts):
		return NotThisWeight
	case w.distance(ts):
		return LooksLikeCount
	case w.bill(ts):
		return LooksLikePrice
	case !w.own && warm(ts, m):
		return LooksLikeDose
	case !w.own && levelLike(ts, m):
		return NotAnAnswer
	case !w.own && !w.weighed(ts, m) && !(stands(ts, m) && smallWords(ts[:m.first], m)):
		return NotAnAnswer
	case w.own && w.grams < 1500 && anyGain(ts):
		return WeightChange // "weight's coming down, 300 g"
	}
	return ""
}

// judged finds "is 31 kg too heavy", a question without its mark.
func (w *measure) judged(ts []token) bool {
	p, n := before(ts, w.first, 1), after(ts, w.last, 1)
	return has(p, cIsVerb) && before(ts, w.first, 2) == nil && n != nil && (n.s == "too" || n.is(cGood) || n.s == "ok" || n.s == "bad" || n.s == "heavy")
}

// somebodyElse finds "my husband is 90 kg", "the cat is 5 kg".
func (w *measure) somebodyElse(ts []token) bool {
	for n := 1; n <= 4; n++ {
		p := before(ts, w.first, n)
		if p == nil || p.is(cOther) {
			return p != nil
		}
		if !p.is(cIsVerb|cHedge|cArticle|cPast|cWeigh) && p.s != "at" {
			return false
		}
	}
	return false
}

// distance finds "walked 5k".
func (w *measure) distance(ts []token) bool {
	return w.own && ts[w.last].s == "k" && has(before(ts, w.first, 1), cVerb)
}

// bill finds "31 pounds for the visit".
func (w *measure) bill(ts []token) bool {
	n, n2 := after(ts, w.last, 1), after(ts, w.last, 2)
	return w.own && ts[w.last].is(cCurrency) && n != nil && n.s == "for" && has(n2, cArticle)
}

// levelLike finds small bare numbers that are levels or tell of something
// else: "a 2", "3 for stairs", "stiffness 2", "not bad for 13".
func levelLike(ts []token, m *mention) bool {
	p, n := before(ts, m.first, 1), after(ts, m.last, 1)
	switch {
	case m.frac > 0 || m.lo > 20_000:
		return n != nil && n.s == "in" && has(after(ts, m.last, 2), cArticle)
	case p != nil && p.s == "for":
		return true
	case m.lo > 10_000:
		return false
	}
	return has(p, cArticle) && p.s != "the" || has(p, cSign|cItem) || n != nil && (n.s == "for" || n.s == "on" || n.s == "in") ||
		m.form == fWord && inProse(ts, m)
}

// warm finds a temperature: "40.1 on the thermometer".
func warm(ts []token, m *mention) bool {
	from, to := clause(ts, m.first)
	for i := from; i < to; i++ {
		if ts[i].is(cTemp) {
			return true
		}
	}
	return false
}

func anyGain(ts []token) bool {
	for i := range ts {
		if ts[i].is(cGain) && ts[i].s != "under" && ts[i].s != "over" && ts[i].s != "more" && ts[i].s != "less" {
			return true
		}
	}
	return false
}

// weighed reports that a bare number stands behind a word of weighing, or that
// it is written with a decimal and only a name follows it.
func (w *measure) weighed(ts []token, m *mention) bool {
	for i := 0; i < len(ts); i++ {
		if ts[i].is(cWeigh) {
			return stands(ts, m) || i < w.first && goesOn(ts, m) && sameSentence(ts, i, w.first)
		}
	}
	n := after(ts, w.last, 1)
	return m.frac > 0 && leadsUp(ts, m) && n != nil && n.id == 0 && after(ts, w.last, 2) == nil
}

// leading gives the nearest word before the weight that is not a small one.
func (w *measure) leading(ts []token) (t *token, gap *token) {
	for n := 1; n <= 5; n++ {
		p := before(ts, w.first, n)
		if p == nil {
			return nil, gap
		}
		if !p.is(cArticle|cHedge) && p.s != "by" && p.s != "another" && p.s != "only" && p.s != "just" && p.s != "is" && p.s != "of" && p.s != "to" && p.s != "at" || p.is(cGain) {
			return p, gap
		}
		if p.s == "to" || p.s == "at" {
			gap = p
		}
	}
	return nil, gap
}

// changed finds a gain or loss: "lost 2 kg", "2 kg lighter", "down 2". "Down
// to 31" and "down from 32" are weights.
func (w *measure) changed(ts []token) bool {
	if p, gap := w.leading(ts); has(p, cGain) && gap == nil {
		return true
	}
	n, n2 := after(ts, w.last, 1), after(ts, w.last, 2)
	if n != nil && n.s == "to" && n2 != nil && (n2.s == "go" || n2.is(cGain)) {
		return true // "3 kg to go"
	}
	if !has(n, cGain) {
		return has(n, cArticle|cSoft) && has(n2, cGain) && (n2.s == "lighter" || n2.s == "heavier") && w.grams < 8000
	}
	if n.is(cUp) && n2 != nil && n2.s != "since" && n2.s != "this" && n2.s != "on" && n2.s != "in" && n2.s != "again" {
		return false // "31.5 up half a kilo": the change stands behind the weight
	}
	if n2 != nil && (n2.s == "from" || n2.s == "to" || n2.s == "or" || n2.s == "at" || n2.kind == kNum || n2.s == "a" || n2.is(cNumWord)) {
		return false
	}
	return true
}

// superseded finds "32 down to 31", "32 -> 31".
func (w *measure) superseded(ts []token) bool {
	if n, n2 := after(ts, w.last, 1), after(ts, w.last, 2); has(n, cUp|cGain) && n2 != nil && n2.s == "to" {
		return true
	}
	i := w.last + 1
	return i < len(ts) && (ts[i].r == '→' || i+1 < len(ts) && (ts[i].r == '-' || ts[i].r == '=') && ts[i+1].r == '>')
}

// goal finds "target 28", "should be 28 kg", "28 is his target".
func (w *measure) goal(ts []token) bool {
	from, to := clause(ts, w.first)
	for i := w.first - 1; i >= from && i >= w.first-6; i-- {
		if ts[i].is(cGoal) {
			return true
		}
		if ts[i].kind == kNum {
			break
		}
	}
	for i := w.last + 1; i < to && i <= w.last+4; i++ {
		if ts[i].kind == kNum {
			break
		}
		if s := ts[i].s; s == "target" || s == "goal" || s == "ideal" {
			return true
		}
	}
	return false
}

// feed finds "a 12 kg bag", "300 g a day", "eats 250 g".
func (w *measure) feed(ts []token) bool {
	for n := 1; n <= 2; n++ {
		if has(before(ts, w.first, n), cBag) {
			return true
		}
	}
	n, n2, n3 := after(ts, w.last, 1), after(ts, w.last, 2), after(ts, w.last, 3)
	if p := before(ts, w.first, 1); w.own && w.unit == Grams && p != nil && p.s == "on" {
		return true // "on 300 grams"
	}
	switch {
	case n == nil:
		return false
	case n.is(cBag), n.s == "of", n.s == "daily", n.s == "twice":
		return true
	case (n.s == "a" || n.s == "per" || n.s == "each" || n.s == "every") && has(n2, cPeriod|cBag|cCount|cSoft) && n2 != nil && (n2.s == "day" || n2.s == "meal" || n2.s == "week"):
		return true
	}
	return n2 != nil && n2.is(cBag) && !n.is(cJoin|cBut|cPast) || n3 != nil && n3.is(cBag) && n.s == "in"
}

// scored finds a body condition score: "bcs 6", "6/9", "5 out of 9".
func scored(ts []token, m *mention) bool {
	for n := 1; n <= 3; n++ {
		p := before(ts, m.first, n)
		if p == nil {
			break
		}
		if p.is(cScore) {
			return true
		}
		if !p.is(cIsVerb | cSoft | cArticle | cHedge | cPast) {
			break
		}
	}
	if p, q := before(ts, m.first, 1), before(ts, m.first, 2); p != nil && q != nil && p.s == "of" && q.s == "out" {
		return true
	}
	n, n2 := after(ts, m.last, 1), after(ts, m.last, 2)
	return n != nil && n2 != nil && n.s == "out" && n2.s == "of"
}

// vague finds "over 30", "less than 32": a bound, not a weight.
func vague(ts []token, w *measure) bool {
	p := before(ts, w.first, 1)
	if has(p, cArticle) {
		p = before(ts, w.first, 2)
	}
	if p == nil {
		return false
	}
	switch p.s {
	case "over", "under", "above", "below", "than", "least", "upto":
		return true
	}
	return false
}

// sameSentence reports that no full stop or line break parts two places.
func sameSentence(ts []token, from, to int) bool {
	for i := from; i < to; i++ {
		if ts[i].kind == kPunct && (ts[i].r == '.' || ts[i].r == '\n' || ts[i].r == '!') {
			return false
		}
	}
	return true
}

// person marks the weight of a person, alone or with the dog in their arms.
func (w *measure) person(ts []token) {
	for n := 1; n <= 7; n++ {
		p := before(ts, w.first, n)
		if p != nil && p.kind == kNum {
			// "70 without him 95 with him": the words belong to the number before.
			if from, _ := clause(ts, w.first); &ts[from] == p {
				w.with, w.alone = false, false
			}
			break
		}
		if p == nil {
			break
		}
		q := before(ts, w.first, n-1)
		if n == 1 {
			q = nil
		}
		switch {
		case p.s == "without" || p.s == "alone" || p.s == "minus" && n == 1:
			w.alone = true
		case withDog(p, q):
			w.with = true
		case p.s == "me" || p.s == "myself" || (p.s == "im" || p.s == "i") && (n == 1 || q != nil && (q.s == "weigh" || q.s == "weighed" || q.s == "was" || q.s == "am" || q.is(cHedge) && n == 2 && p.s == "im")):
			w.alone = w.alone || !w.with
		default:
			continue
		}
	}
	if !w.with && !w.alone {
		w.personAfter(ts)
	}
	if w.with {
		w.alone = false
	}
}

func (w *measure) personAfter(ts []token) {
	for n := 1; n <= 10; n++ {
		p := after(ts, w.last, n)
		if p == nil || p.kind == kNum || p.is(cNow) && n == 1 {
			return
		}
		q := after(ts, w.last, n+1)
		switch {
		case p.s == "with" && (q == nil && n == 1 || q != nil && q.s == "me"):
			w.with = true
			return
		case n > 4 && !p.is(cWith):
		case p.s == "without", p.s == "alone", p.s == "own", (p.s == "me" || p.s == "myself") && n <= 2 && (q == nil || q.kind == kNum || q.is(cJoin)):
			w.alone = true
		case withDog(p, q):
			w.with = true
			return
		}
	}
}

// withDog reports that p, with the word q behind it, says that the dog was on
// the scale too: "with him", "and the dog", "holding Bramble", "together".
func withDog(p, q *token) bool {
	switch {
	case p.s == "with", p.s == "and", p.s == "plus":
		return q != nil && dogWord(q)
	case p.s == "together", p.s == "both", p.s == "combined":
		return true
	}
	return p.is(cWith) && q != nil && (dogWord(q) || q.id == 0 && q.kind == kWord)
}

func dogWord(t *token) bool {
	switch t.s {
	case "him", "her", "it", "dog", "the", "himself", "herself":
		return true
	}
	return false
}

// subtract reads "95 with him, 70 without" as 25, when exactly one weight is a
// person with the dog and exactly one the person alone; and "95-70=25", when
// the sum is right.
func subtract(ts []token, ws []measure) (WeightReading, bool) {
	if len(ws) == 3 && ts[ws[2].first-1].r == '=' && near(ws[0].grams-ws[1].grams, ws[2].grams) && ws[2].why == "" {
		return WeightReading{Grams: ws[2].grams, Unit: ws[2].unit, OK: true, Reason: Subtracted}, true
	}
	with, alone, rest := -1, -1, -1
	for k := range ws {
		switch {
		case ws[k].with && with < 0:
			with = k
		case ws[k].alone && alone < 0:
			alone = k
		case rest < 0 && ws[k].why == "":
			rest = k
		default:
			return WeightReading{}, false
		}
	}
	if with < 0 || alone < 0 {
		return WeightReading{}, false
	}
	g := ws[with].grams - ws[alone].grams
	if g < minGrams || g > maxGrams || rest >= 0 && !near(g, ws[rest].grams) {
		return WeightReading{Reason: Ambiguous}, true
	}
	return WeightReading{Grams: g, Unit: ws[with].unit, OK: true, Reason: Subtracted}, true
}

// inArms reports that the text tells of a person on the scale with the dog, so
// that a single weight is both of them.
func inArms(ts []token) bool {
	for i := range ts {
		p, q := &ts[i], after(ts, i, 1)
		if q != nil && (p.is(cWith) && p.s != "with" && p.s != "plus" && dogWord(q) && q.s != "the" || p.s == "with" && q.s == "me") {
			return true
		}
	}
	return false
}

// rangesOfWeight marks "31-32" and "31 or 32": a range is asked again, since a
// scale shows one number.
func rangesOfWeight(ts []token, ws []measure) {
	for k := 0; k+1 < len(ws); k++ {
		a, b := &ws[k], &ws[k+1]
		gap := ts[a.last+1 : b.first]
		if a.why == "" && !a.own && b.why != "" && b.why != OutOfRange && len(gap) == 1 && (gap[0].is(cOr) || gap[0].r == '-') {
			a.why = b.why // "15 or 20 centimetres"
		}
		if a.why != "" || b.why != "" || b.corrected {
			continue
		}
		if len(gap) == 1 && (gap[0].is(cOr) || gap[0].kind == kPunct && (gap[0].r == '-' || gap[0].r == '/') && !near(a.grams, b.grams)) ||
			len(gap) > 0 && gap[0].is(cJoin) && has(before(ts, a.first, 1), cBetween) {
			a.why, b.why = Ambiguous, Ambiguous
		}
	}
}
