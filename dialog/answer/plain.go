package answer

import "regexp"

// A plain lexicon is read more narrowly than the English one: a message is an
// answer only where it is one as a whole, beside small words. What tells a tale,
// takes something back or says two things is asked again. Grammar differs from
// language to language; that a lone "dos" is a 2 does not.

// plainLevel reads one level.
func (l *Lexicon) plainLevel(ts []token, anchors []string) ScaleReading {
	if len(ts) == 0 {
		return ScaleReading{Reason: Empty}
	}
	if v, ok := l.anchor(ts, anchors, true); ok && !asksBack(ts) {
		return ScaleReading{Value: v, OK: true, Reason: AnchorWord}
	}
	switch n := l.plainNumber(ts, plainSmall); {
	case n.why == "" && n.value%1000 != 0 && n.value%1000 != 500:
		return ScaleReading{Reason: Ambiguous}
	case n.why == "":
		v := int((n.value + 999) / 1000)
		if v < 0 || v > maxLevel || n.wide {
			return ScaleReading{Reason: OutOfRange}
		}
		return ScaleReading{Value: v, OK: true, Reason: n.reason}
	case n.why != NotAnAnswer || n.any:
		return ScaleReading{Reason: n.why}
	}
	switch {
	case asksBack(ts):
		return ScaleReading{Reason: Asked}
	case l.whole(pSame, ts):
		return ScaleReading{Same: true, Reason: Carried}
	case l.whole(pNotApply, ts) && !kiss(ts):
		return ScaleReading{NotApplicable: true, Reason: NotApplicable}
	case l.whole(pZero, ts):
		return ScaleReading{OK: true, Reason: Word}
	case l.anywhere(pUnsure, ts):
		return ScaleReading{Reason: Unsure}
	}
	return ScaleReading{Reason: NotAnAnswer}
}

// plainSmall are the words that may stand beside an answer and change nothing.
const plainSmall = cPolite | cSoft | cHedge | cLead | cNow | cArticle

// asksBack reports a question mark behind words.
func asksBack(ts []token) bool {
	words := 0
	for i := range ts {
		if ts[i].kind == kWord && !ts[i].is(cPolite|cHedge|cNumWord) {
			words++
		}
		if ts[i].kind == kPunct && ts[i].r == '?' && words > 0 {
			return true
		}
	}
	return false
}

// plainValue is the one number of a message.
type plainValue struct {
	value  int64 // thousandths
	any    bool  // the message holds a number at all
	wide   bool  // written with more than one digit: "02"
	reason Reason
	why    Reason // set: there is no one number, and why
}

// plainNumber reads the one number of a message that has nothing else in it but
// words of the given classes: "un 2", "entre 2 y 3" (the upper end), "3, no 2",
// "2 perdón 3", "3 de 4".
func (l *Lexicon) plainNumber(ts []token, small classes) plainValue {
	var mb [8]mention
	ms := l.plainMentions(ts, mb[:0])
	out := plainValue{any: len(ms) > 0}
	if len(ms) == 0 || len(ms) > 3 || asksBack(ts) {
		out.why = NotAnAnswer
		if len(ms) > 3 {
			out.why = Ambiguous
		}
		return out
	}
	for k := range ms {
		if ms[k].why != "" {
			out.why = ms[k].why
			return out
		}
	}
	hedged := false
	for i, k := 0, 0; i < len(ts); i++ {
		for k < len(ms) && ms[k].last < i {
			k++
		}
		t := &ts[i]
		switch {
		case k < len(ms) && i >= ms[k].first:
		case t.kind == kEmoji, t.kind == kPunct && quietSign(t):
		case t.kind == kPunct && len(ms) > 1:
		case t.kind == kWord && t.is(small|cNeg|cCorr|cOr|cJoin|cBetween|cBut), l.matchAt(pOf, ts, i) > i:
			hedged = hedged || t.is(cHedge)
		default:
			out.why = NotAnAnswer
			return out
		}
	}
	return l.settlePlain(ts, ms, hedged)
}

// quietSign reports a sign that changes nothing beside a lone number.
func quietSign(t *token) bool {
	switch t.r {
	case '.', ',', '!', '(', ')', '"', '\'', '*', ':', ';', '\n', '?', '¡', '¿':
		return true
	}
	return false
}

// settlePlain says which of a message's numbers counts.
func (l *Lexicon) settlePlain(ts []token, ms []mention, hedged bool) plainValue {
	out := plainValue{any: true, why: Ambiguous}
	take := func(m *mention, r Reason) plainValue {
		out.value, out.reason, out.why = m.lo, r, ""
		out.wide = ts[m.first].kind == kNum && ts[m.first].digits > 1 && m.lo < 10_000
		if m.form == fDecimal && r == Digit {
			out.reason = Fraction
		}
		if hedged && out.reason != Range && out.reason != Corrected {
			out.reason = Hedged
		}
		return out
	}
	var live []*mention
	for k := range ms {
		if !has(before(ts, ms[k].first, 1), cNeg) {
			live = append(live, &ms[k])
		}
	}
	switch {
	case len(live) == 0:
		out.why = Negated
		return out
	case len(ms) == 1 && ms[0].form == fFraction:
		if ms[0].den != maxLevel {
			out.why = LooksLikeScore
			return out
		}
		return take(&ms[0], Fraction)
	case len(ms) == 1:
		if l.hasClass(ts, cCorr) && !l.hasClass(ts[:ms[0].first], cCorr) {
			return out // "2 perdón": taken back, and nothing given
		}
		return take(&ms[0], formReason(&ms[0]))
	case len(ms) == 2 && len(live) == 1:
		return take(live[0], Corrected)
	case len(ms) == 2 && l.between2(ts, &ms[0], &ms[1], cCorr):
		return take(&ms[1], Corrected)
	case len(ms) == 2 && l.ofFour(ts, &ms[0], &ms[1]):
		return take(&ms[0], Fraction)
	case len(ms) == 2 && ms[0].lo < ms[1].lo && l.ranges(ts, &ms[0], &ms[1]):
		return take(&ms[1], Range)
	}
	return out
}

func formReason(m *mention) Reason {
	if m.form == fWord {
		return Word
	}
	return Digit
}

func (l *Lexicon) hasClass(ts []token, c classes) bool {
	for i := range ts {
		if ts[i].is(c) {
			return true
		}
	}
	return false
}

// between2 reports that only signs and words of a class stand between two
// numbers, and at least one such word.
func (l *Lexicon) between2(ts []token, a, b *mention, c classes) bool {
	hit := false
	for i := a.last + 1; i < b.first; i++ {
		switch t := &ts[i]; {
		case t.is(c):
			hit = true
		case t.kind == kPunct, t.is(plainSmall):
		default:
			return false
		}
	}
	return hit
}

// ofFour finds "3 de 4".
func (l *Lexicon) ofFour(ts []token, a, b *mention) bool {
	return b.lo == maxLevel*1000 && l.matchAt(pOf, ts, a.last+1) == b.first
}

// ranges finds "1-2", "2 o 3", "entre 2 y 3".
func (l *Lexicon) ranges(ts []token, a, b *mention) bool {
	gap := ts[a.last+1 : b.first]
	if len(gap) != 1 {
		return false
	}
	g := &gap[0]
	return g.kind == kPunct && g.r == '-' || g.is(cOr) || g.is(cJoin) && has(before(ts, a.first, 1), cBetween)
}

// plainMentions finds the numbers and puts together those that a language says
// in several words: "treinta y uno", "quatre-vingt-dix-sept".
func (l *Lexicon) plainMentions(ts []token, mb []mention) []mention {
	ms := l.mentions(ts, mb)
	out := ms[:0]
	for _, m := range ms {
		for n := len(out); n > 0; n = len(out) {
			p := &out[n-1]
			v, ok := together(p, &m)
			gap := ts[p.last+1 : m.first]
			if len(gap) == 0 && p.form == fWord && p.lo == 1000 && m.form != fWord {
				*p, m.lo = m, -1 // "un 2", "eine 2": an article
				break
			}
			if !ok || len(gap) > 1 || len(gap) == 1 && !(gap[0].is(cJoin) && gap[0].kind == kWord) {
				break
			}
			p.lo, p.hi, p.last = v*1000, v*1000, m.last
			m.lo = -1
			break
		}
		if m.lo >= 0 {
			out = append(out, m)
		}
	}
	for k := range out {
		l.plainHalf(ts, &out[k])
	}
	return out
}

// together gives the number that two number words make.
func together(a, b *mention) (int64, bool) {
	if a.form != fWord || b.form != fWord || a.lo%1000 != 0 || b.lo%1000 != 0 {
		return 0, false
	}
	x, y := a.lo/1000, b.lo/1000
	switch {
	case x == 4 && y == 20:
		return 80, true
	case x == 10 && y >= 7 && y <= 9:
		return x + y, true
	case (x == 60 || x == 80) && y > 0 && y < 20, (x == 70 || x == 90) && y >= 7 && y <= 9:
		return x + y, true
	case x >= 20 && x < 100 && x%10 == 0 && y > 0 && y < 10:
		return x + y, true
	case x == 100 && y > 0 && y < 100:
		return x + y, true
	}
	return 0, false
}

// plainHalf adds a half behind a whole number: "31 y medio", "31 et demi".
func (l *Lexicon) plainHalf(ts []token, m *mention) {
	i := m.last + 1
	if i < len(ts) && ts[i].is(cJoin) {
		i++
	}
	if m.form <= fWord && m.why == "" && i > m.last+1 && i < len(ts) && ts[i].is(cHalf) && ts[i].kind == kWord {
		m.lo, m.last, m.form, m.frac = m.lo+500, i, fDecimal, 1
	}
}

// TakesBack reports that a text plainly takes back what its writer said last:
// "I meant 3", "quería decir 3". old is the level it names as wrong, where named.
func (l *Lexicon) TakesBack(text string) (old int, named, ok bool) {
	text = l.barely(text)
	if l.patterns[patternBack] == nil || !l.patterns[patternBack].MatchString(text) {
		return 0, false, false
	}
	if re := l.patterns[patternNot]; re != nil {
		if m := re.FindStringSubmatch(text); len(m) == 2 {
			return int(m[1][0] - '0'), true, true
		}
	}
	return 0, false, true
}

// WithoutExcuses is a text without the words that open a reply and name nothing:
// "sorry" is near enough to "sore" to be taken for a mistyped one.
func (l *Lexicon) WithoutExcuses(text string) string {
	if re := l.patterns[patternExcuse]; re != nil {
		return re.ReplaceAllString(text, "")
	}
	return text
}

// patternNames are the patterns that a lexicon may hold, and what they find.
const (
	patternBack   = "taking-back" // the writer takes back what they said
	patternNot    = "not-this"    // the old level, in a group of its own
	patternExcuse = "excuse"
)

// pattern compiles one line of a pattern; lines of one name are alternatives.
func (ld *loader) pattern(line string) error {
	if ld.l.sources == nil {
		ld.l.sources, ld.l.patterns = map[string]string{}, map[string]*regexp.Regexp{}
	}
	if old := ld.l.sources[ld.name]; old != "" {
		line = old + "|" + line
	}
	re, err := regexp.Compile(`(?i)\b(?:` + line + `)\b`)
	if err != nil {
		return err
	}
	ld.l.sources[ld.name], ld.l.patterns[ld.name] = line, re
	return nil
}
