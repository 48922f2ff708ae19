package answer

// Bounds of a body weight that is believed: the lightest toy breed's pup and
// the heaviest dogs on record lie within them.
const (
	minGrams = 300
	maxGrams = 150_000
)

// measure is one weight in a text.
type measure struct {
	first, last int   // its tokens
	nano        int64 // billionths of a gram: rounded only once, at the end
	grams       int64
	unit        Unit
	own         bool   // with its own unit
	why         Reason // set: this is not the dog's weight now, and why
	past        bool
	now         bool
	corrected   bool
	hedged      bool
	with, alone bool // a person with the dog, a person without it
}

// Weight reads a body weight. The text's own unit wins over def. A gain or
// loss, a target, a bag of food, an age, a time, a price or a body condition
// score is not a weight.
func (l *Lexicon) Weight(text string, def Unit) WeightReading {
	var mb [8]mention
	ts := l.tokens(text)
	if len(ts) == 0 {
		return WeightReading{Reason: Empty}
	}
	if l.plain {
		return l.plainWeight(ts, def)
	}
	if l.saysCannotWeigh(ts) {
		return WeightReading{CannotWeigh: true, Reason: CannotWeigh}
	}
	ms := l.mentions(ts, mb[:0])
	judge(ts, ms, wants{weight: true})
	var wb [8]measure
	ws := l.measures(ts, ms, def, wb[:0])
	if r, ok := subtract(ts, ws); ok {
		return r
	}
	r := chooseWeight(ws)
	if r.OK && inArms(ts) {
		return WeightReading{Reason: NotThisWeight}
	}
	if !r.OK && len(ms) == 0 {
		r.Reason = NotAnAnswer
		if l.mentionsSame(ts) {
			r.Reason = Carried
		}
	}
	return r
}

func (l *Lexicon) saysCannotWeigh(ts []token) bool {
	for i := range ts {
		if l.matchAt(pCannotWeigh, ts, i) > i {
			return true
		}
		if end := l.matchAt(pCannotLift, ts, i); end > i && !pronoun(before2(ts, i)) && (end >= len(ts) || ts[end].boundary() || ts[end].is(cPolite)) {
			return true
		}
	}
	return false
}

// before2 gives the word before token i, or an empty one.
func before2(ts []token, i int) *token {
	if p := before(ts, i, 1); p != nil && p.s != "i" && p.s != "we" {
		return p
	}
	return &token{}
}

// mentionsSame finds "he weighs the same".
func (l *Lexicon) mentionsSame(ts []token) bool {
	for i := range ts {
		if l.matchAt(pSame, ts, i) > i && !has(before(ts, i, 1), cNeg) {
			return true
		}
	}
	return false
}

// measures joins numbers and units to weights ("5 st 3", "31 kg 400 g") and
// marks those that are not the dog's weight now.
func (l *Lexicon) measures(ts []token, ms []mention, def Unit, out []measure) []measure {
	l.age(ts, ms)
	for k := 0; k < len(ms); {
		w, used := l.measure(ts, ms, k, def)
		w.corrected = l.corrects(ts, ms, k)
		w.hedged, w.past, w.now = hedged(ts, &ms[k]), ms[k].past, ms[k].now
		if w.why == "" {
			w.why = l.notThis(ts, &w, &ms[k])
		}
		k += used
		out = append(out, w)
	}
	rangesOfWeight(ts, out)
	return out
}

// measure reads the weight that begins with number k and says how many numbers
// it used.
func (l *Lexicon) measure(ts []token, ms []mention, k int, def Unit) (measure, int) {
	m := ms[k]
	w := measure{first: m.first, last: m.last, why: m.why, unit: def}
	used := 1
	if k+1 < len(ms) && thousands(ts, &m, &ms[k+1]) {
		m.lo, m.last, used = m.lo*1000+ms[k+1].lo, ms[k+1].last, 2
		w.last, w.why = m.last, ""
	}
	u := m.last + 1
	if u+1 < len(ts) && (ts[u].kind == kPunct && (ts[u].r == '.' || ts[u].r == '(') || ts[u].s == "in") && ts[u+1].is(cUnit) && ts[u+1].kind == kWord {
		u++ // "31.kg", "69 (lb)", "69 in pounds"
	}
	switch p := before(ts, m.first, 1); {
	case u < len(ts) && ts[u].kind == kWord && ts[u].is(cUnit):
		w.unit, w.own, w.last = l.unitOf(&ts[u]), true, u
	case has(p, cUnit) && p.s != "st" && before(ts, m.first, 2) == nil:
		w.unit, w.own = l.unitOf(p), true // "kg 31"
	case m.first > 1 && ts[m.first-1].r == ':' && ts[m.first-2].is(cUnit) && m.first == 2:
		w.unit, w.own = l.unitOf(&ts[0]), true // "kg: 31"
	}
	w.nano = inNano(&m, w.unit)
	if w.own && w.last == u {
		used += l.smaller(ts, ms[min(k+used, len(ms)):], &w)
	}
	w.grams = rounded(w.nano)
	if w.why == "" && (m.den != 0 || w.grams < minGrams || w.grams > maxGrams) {
		w.why = OutOfRange
		if m.den != 0 {
			w.why = LooksLikeScore
		}
	}
	return w, used
}

// thousands reads "31 400 g", and "12 500g".
func thousands(ts []token, m, n *mention) bool {
	u := n.last + 1
	return m.form == fDigit && n.form == fDigit && n.first == m.last+1 && ts[n.first].digits == 3 &&
		ts[m.first].digits <= 3 && u < len(ts) && ts[u].is(cUnit) && ts[u].s[0] == 'g'
}

// smaller adds the lesser unit: pounds to stone, ounces to pounds, grams to
// kilograms. It says how many numbers it used.
func (l *Lexicon) smaller(ts []token, ms []mention, w *measure) int {
	used := 0
	for unit := w.unit; used < len(ms); used++ {
		m := &ms[used]
		at := w.last + 1
		if at < len(ts) && ts[at].r == '.' && ts[at].glued {
			at++ // "4 st. 12 lb"
		}
		if at < len(ts) && ts[at].is(cJoin) {
			at++
		}
		if m.first != at || m.why != "" && m.why != LooksLikeDose || unit == Grams || unit == Ounces {
			break
		}
		lesser, limit := Pounds, int64(14_000)
		switch unit {
		case Pounds:
			lesser, limit = Ounces, 16_000
		case Kilograms:
			lesser, limit = Grams, 1_000_000
		}
		u := m.last + 1
		named := u < len(ts) && ts[u].kind == kWord && ts[u].is(cUnit) && l.unitOf(&ts[u]) == lesser
		if !named && (u < len(ts) && ts[u].is(cUnit) || ts[at-1].is(cJoin) && unit != Stone || lesser == Grams && ts[m.first].digits != 3 ||
			has(after(ts, m.last, 1), cCount|cAgeUnit|cGain)) || m.lo >= limit {
			break
		}
		w.nano += inNano(m, lesser)
		w.last, unit = m.last, lesser
		if named {
			w.last = u
		}
	}
	// "31 kg and a half"
	if i := w.last + 1; used == 0 && i+2 < len(ts) && ts[i].is(cJoin) && ts[i+1].is(cArticle) && ts[i+2].is(cHalf) {
		w.nano += inNano(&mention{lo: 500, grouped: -1}, w.unit)
		w.last = i + 2
	}
	return used
}

// micrograms of one of each unit, by Unit.
var micrograms = [...]int64{1_000_000_000, 1_000_000, 453_592_370, 28_349_523, 6_350_293_180, 500_000_000}

// unitOf tells which unit a word names, by its mass in the lexicon.
func (l *Lexicon) unitOf(t *token) Unit {
	for u, mass := range micrograms {
		if l.words[t.id].gram == mass {
			return Unit(u)
		}
	}
	return Kilograms
}

// inNano converts to billionths of a gram. Of the two readings of "31,400" it
// takes the one that can be a weight; never both can.
func inNano(m *mention, u Unit) int64 {
	n := nano(m.lo, u)
	if g := rounded(n); m.grouped >= 0 && (g < minGrams || g > maxGrams) {
		o := nano(m.grouped, u)
		if h := rounded(o); h >= minGrams && h <= maxGrams {
			return o
		}
	}
	return n
}

// nano caps what can't be a weight, so that sums can't overflow.
func nano(thousandths int64, u Unit) int64 {
	return min(thousandths, 1e8) * micrograms[u]
}

func rounded(nano int64) int64 { return (nano + 500_000_000) / 1_000_000_000 }

// chooseWeight settles on one weight, or says why none can be settled on.
func chooseWeight(ws []measure) WeightReading {
	at, n, stray := -1, 0, 0
	why := Reason("")
	fix := -1
	for k := range ws {
		w := &ws[k]
		if w.why != "" {
			if !w.own && (w.why == OutOfRange || w.why == Ambiguous || w.why == NotAnAnswer) {
				stray++ // "0 1 1 0" is a list of levels
			}
			if why == "" {
				why = w.why
			}
			continue
		}
		if w.corrected {
			fix = k
		}
		switch {
		case at >= 0 && near(ws[at].grams, w.grams) && (w.own || w.grams > 5000):
		case at >= 0 && (ws[at].past && !w.past || w.now && !ws[at].now):
			at, n = k, 1
		case at >= 0 && (w.past && !ws[at].past || ws[at].now && !w.now):
		default:
			at, n = k, n+1
		}
	}
	if fix >= 0 {
		at, n = fix, 1
	}
	switch {
	case n > 1, at >= 0 && stray > 0 && !ws[at].own:
		return WeightReading{Reason: Ambiguous}
	case at >= 0:
		return ws[at].reading(len(ws) > 1)
	case why != "":
		return WeightReading{Reason: why}
	}
	return WeightReading{Reason: NotAnAnswer}
}

// near reports that two weights are one, said in two units or rounded.
func near(a, b int64) bool {
	d := a - b
	return d*100 <= a && -d*100 <= a
}

func (w *measure) reading(several bool) WeightReading {
	r := WeightReading{Grams: w.grams, Unit: w.unit, OK: true, Reason: DefaultUnit}
	switch {
	case several && (w.corrected || w.now):
		r.Reason = Corrected
	case w.hedged:
		r.Reason = Hedged
	case w.own:
		r.Reason = Measured
	}
	return r
}
