package answer

// Control reads a wish about the conversation. Opt-out comes first, because it
// holds in every state of a dialog and beside whatever else a message says.
// "I will cancel Tuesday" or "he won't stop licking" are no opt-outs; what
// might be one is ControlOptOutDoubtful, for a person to look at.
//
// In a language other than English the English opt-outs, opt-ins and keywords
// hold too: STOP always does.
func (l *Lexicon) Control(text string) (Control, Reason) {
	if !l.plain {
		return l.control(text)
	}
	english, why := English().control(text)
	if english == ControlOptOut || english == ControlOptOutAll {
		return english, why
	}
	c, r := l.control(text)
	if (c == ControlNone || c == ControlQuestion) && (why == Keyword || english == ControlOptOutDoubtful) {
		return english, why
	}
	return c, r
}

func (l *Lexicon) control(text string) (Control, Reason) {
	ts := l.tokens(text)
	if len(ts) == 0 {
		return ControlNone, Empty
	}
	if c, r := l.optOut(ts); c != ControlNone {
		return c, r
	}
	for _, w := range wholeControls {
		whole := l.whole
		if w.strict {
			whole = l.onlyWord
		}
		if whole(w.set, ts) {
			return w.control, Keyword
		}
	}
	for _, w := range phraseControls {
		if l.anywhere(w.set, ts) {
			return w.control, Phrase
		}
	}
	if l.asksSomething(ts) {
		return ControlQuestion, Phrase
	}
	return ControlNone, NotAnAnswer
}

type controlSet struct {
	set     int
	control Control
	strict  bool // small words around it make it something else
}

// The order matters where a text fits two: "help" before anything that asks.
var wholeControls = [...]controlSet{
	{pOptIn, ControlOptIn, false}, {pHelp, ControlHelp, true}, {pBack, ControlBack, false},
	{pSkip, ControlSkip, false}, {pLater, ControlLater, false}, {pSame, ControlSame, false},
	{pAwayWhole, ControlAway, true},
}

var phraseControls = [...]controlSet{
	{pPrescription, ControlPrescription, false}, {pCallback, ControlCallback, false},
	{pCannotWeigh, ControlCannotWeigh, false}, {pAway, ControlAway, false},
}

func (l *Lexicon) anywhere(set int, ts []token) bool {
	for i := range ts {
		if l.matchAt(set, ts, i) > i {
			return true
		}
	}
	return false
}

// optOut reads a wish for no more messages.
func (l *Lexicon) optOut(ts []token) (Control, Reason) {
	switch {
	case l.onlyWord(pOptOutAll, ts):
		return ControlOptOutAll, Keyword
	case l.onlyWord(pOptOutWhole, ts):
		return ControlOptOut, Keyword
	}
	spared := false
	for i := 0; i < len(ts); i++ {
		if end := l.matchAt(pNotOptOut, ts, i); end > i {
			// "we had to stop" says nothing about messages, but "I want to stop the
			// texts" does; a negated one never does.
			spared = true
			i = end - 1
			if negatedSpan(ts[:end], i) || l.matchAt(pOptOut, ts, i) <= end {
				continue
			}
		}
		if end := l.matchAt(pOptOut, ts, i); end > i && !has(before(ts, i, 1), cNeg) {
			if l.restricted(ts, i, end) {
				return ControlOptOutDoubtful, Doubtful
			}
			return ControlOptOut, Phrase
		}
	}
	switch c := l.leadingStop(ts); {
	case c == ControlOptOut:
		return c, Keyword
	case c == ControlOptOutDoubtful && !spared:
		return c, Doubtful
	}
	if !spared && l.anywhere(pOptOutMaybe, ts) || l.onlyWord(pOptOutMaybeWhole, ts) {
		return ControlOptOutDoubtful, Doubtful
	}
	return ControlNone, ""
}

// onlyWord reports that words of set are the whole message: 47 CFR
// 64.1200(a)(10) names words that revoke consent by themselves. Politeness,
// signs and repetition do not change that; other small words do.
func (l *Lexicon) onlyWord(set int, ts []token) bool {
	hit := false
	for i := 0; i < len(ts); {
		if end := l.matchAt(set, ts, i); end > i {
			hit, i = true, end
			continue
		}
		t := &ts[i]
		if t.kind == kWord && !t.is(cPolite) || t.kind == kNum || t.kind == kPunct && t.r == '?' {
			return false
		}
		i++
	}
	return hit
}

// leadingStop reads a keyword cut off from what follows by a sign, a line
// break or capitals: "STOP, he's collapsed", "stop. thank you".
func (l *Lexicon) leadingStop(ts []token) Control {
	i := 0
	for i < len(ts) && (ts[i].kind != kWord || ts[i].is(cPolite) && l.matchAt(pOptOutWhole, ts, i) < 0) {
		i++
	}
	if i >= len(ts) || ts[i].kind == kNum {
		return ControlNone
	}
	end := max(l.matchAt(pOptOutWhole, ts, i), l.matchAt(pOptOutAll, ts, i))
	if end < 0 || end >= len(ts) {
		return ControlNone
	}
	cut := ts[end].kind == kPunct && ts[end].r != '?' && ts[end].r != '/' && !(ts[end].r == '-' && ts[end].glued)
	firm := ts[i].s == "stop" || ts[i].s == "unsubscribe" || ts[i].s == "optout" || ts[i].s == "stopall"
	loud := ts[i].caps && !ts[end].caps
	switch {
	case firm && (cut || loud):
		return ControlOptOut
	case firm || loud:
		return ControlOptOutDoubtful
	case cut && !l.asksSomething(ts[end:]):
		return ControlOptOutDoubtful
	}
	return ControlNone
}

// restricted finds an opt-out that holds only at some times or for a while:
// "don't text me before nine", "no more texts until Friday". And one that is a
// question: "how do I stop these texts?".
func (l *Lexicon) restricted(ts []token, from, end int) bool {
	_, to := clause(ts, from)
	for i := end; i < to; i++ {
		if l.matchAt(pRestrict, ts, i) > i {
			return true
		}
	}
	for i := from - 1; i >= 0 && !ts[i].boundary(); i-- {
		if l.plain && ts[i].is(cAsk|cIf) || ts[i].s == "how" || ts[i].s == "if" || ts[i].s == "when" || ts[i].s == "why" {
			return true
		}
	}
	return false
}

// asksSomething reports a question. A lone "2?" or "yes?" is a doubtful answer,
// not a question.
func (l *Lexicon) asksSomething(ts []token) bool {
	if l.anywhere(pQuestion, ts) {
		return true
	}
	start := 0
	for i := range ts {
		t := &ts[i]
		if !t.boundary() {
			continue
		}
		if t.kind == kPunct && t.r == '?' && asksIn(ts[start:i]) {
			return true
		}
		if t.r != ',' {
			start = i + 1
		}
	}
	return false
}

// asksIn reports that the words before a question mark ask something: a
// question word among them, or at least three words that are not an answer.
func asksIn(ts []token) bool {
	words := 0
	for i := range ts {
		t := &ts[i]
		if t.kind != kWord || t.is(cPolite|cYes|cNo|cNumWord) {
			continue
		}
		words++
		if t.is(cAsk) && !t.is(cPast) && i == 0 {
			return true
		}
	}
	return words >= 3 && !onlyAnswer(ts)
}

// onlyAnswer finds "about a 2 i guess?".
func onlyAnswer(ts []token) bool {
	num := false
	for i := range ts {
		t := &ts[i]
		if t.kind == kNum || t.is(cNumWord) {
			num = true
		} else if t.kind == kWord && !t.is(cSoft|cPolite|cLead|cHedge|cArticle) {
			return false
		}
	}
	return num
}

// negatedSpan reports a negation up to three words before token i.
func negatedSpan(ts []token, i int) bool {
	for n := 1; n <= 4; n++ {
		if has(before(ts, i, n), cNeg) {
			return true
		}
	}
	return false
}
