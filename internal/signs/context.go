package signs

// flag says what a word does for the reading of the others. Each is the
// concept of the same name in the data files.
type flag uint64

const (
	fNeg      flag = 1 << iota // not
	fNegDet                    // no, without: runs on through a list
	fNegRaise                  // think, say, notice: "I don't think he …"
	fNegCut                    // words that end the reach of a "not"
	fNoMore                    // "no more than", "not only": a "no" that denies nothing
	fNoEnd                     // a closing "no", as in "vomiting: no"
	fStop                      // stopped, over
	fOr
	fStarter  // words that open a new clause: he, she, I, just
	fPron     // he, she, him
	fDog      // the dog
	fOther    // another animal
	fPerson   // a person
	fSelf     // the owner's own body
	fAction   // a verb that does something to the dog, or tells of it
	fHypo     // if, could, what if
	fEver     // ever, in future
	fReport   // words that show that something has happened
	fUsual    // as always
	fLongAgo  // years ago
	fRecent   // today, last night, two days ago
	fNew      // new, suddenly, never before
	fStill    // still, getting worse
	fNow      // now, these days
	fWell     // fine, bright, eating
	fResolved // settled, cleared up
	fBad      // miserable, quiet, not right
	fHedge    // I think, might
	fRepeat   // again, all night
	fOnce     // once
	fToo      // too, as well
	fExercise // after the ball, after a run
	fUnsure   // not sure, don't know
	fVerbFin  // has, is, was
	fSubj     // he, she, I: a new subject
	fSafe     // locked away, got none
	fTold     // as the label says
	fDenyAll  // none of that
	fIngest   // ate, licked
	fFresh    // since, now, for two days: not years ago, yet not surely new
	fNegBack  // a "not" behind its verb: "mange pas", "kotzt nicht"
)

var flagNames = map[string]flag{
	"NEG": fNeg, "NEGDET": fNegDet, "NEGRAISE": fNegRaise, "NEGCUT": fNegCut, "NOMORE": fNoMore,
	"NOEND": fNoEnd, "STOP": fStop, "OR": fOr, "STARTER": fStarter, "PRON": fPron, "DOG": fDog,
	"OTHER": fOther, "PERSON": fPerson, "SELF": fSelf, "ACTION": fAction, "HYPO": fHypo,
	"EVER": fEver, "REPORT": fReport, "USUAL": fUsual, "LONGAGO": fLongAgo, "RECENT": fRecent,
	"NEW": fNew, "STILL": fStill, "NOW": fNow, "WELL": fWell, "RESOLVED": fResolved, "BAD": fBad,
	"HEDGE": fHedge, "REPEAT": fRepeat, "ONCE": fOnce, "TOO": fToo, "EXERCISE": fExercise,
	"UNSURE": fUnsure, "VERBFIN": fVerbFin, "SUBJ": fSubj, "SAFE": fSafe, "TOLD": fTold,
	"DENYALL": fDenyAll, "FRESH": fFresh, "DOGATE": fIngest, "NEGBACK": fNegBack,
}

type negKind uint8

const (
	negNone  negKind = iota
	negPlain         // under a "not" or "no"
	negRaise         // under "wouldn't say", "don't think"
	negStop          // under "stopped"
)

type subject uint8

const (
	subjDog subject = iota
	subjOther
	subjPerson
	subjSelf
)

// readContext works out, for every token, whether it is denied, whose body is
// spoken of and whether it stands under an if.
func (m *matcher) readContext() {
	for i := range m.flags {
		f := m.flags[i]
		if f&(fNeg|fNegDet) != 0 {
			m.deny(i)
		}
		if f&fStop != 0 && m.neg[i] == negNone {
			m.stopped(i)
		}
		if f&fNegBack != 0 {
			m.denyVerb(i)
		}
		if f&fNoEnd != 0 && m.closesPart(i) {
			m.denyBack(i)
		}
	}
	m.sumFlags()
	m.whose()
	m.suppose()
}

// deny marks the reach of the "not" at i.
func (m *matcher) deny(i int) {
	if m.flags[i]&fNoMore != 0 {
		return
	}
	det := m.flags[i]&fNegDet != 0
	kind, words := negPlain, 0
	for j := i + 1; j < len(m.flags); j++ {
		f, brk := m.flags[j], m.rd.toks[j].brk
		if brk >= breakClause || brk == breakComma && !m.listGoesOn(j, det) {
			return
		}
		if f&fNegCut != 0 && kind == negPlain {
			return
		}
		if f&(fNeg|fNegDet) != 0 && words > 0 {
			return // it has a reach of its own
		}
		if f&fNegRaise != 0 {
			kind = negRaise
		}
		if f&fStop != 0 && words <= 1 && kind == negPlain {
			m.neg[j] = negPlain
			return // "hasn't stopped" denies nothing but the stopping
		}
		if f&fSubj != 0 && words >= 1 && kind == negPlain {
			return
		}
		if !m.lx.filler[m.rd.toks[j].word] {
			words++
		}
		if words > m.lx.notAhead {
			return
		}
		m.neg[j] = kind
	}
}

// listGoesOn reports whether a list under "no" runs on over the break before j.
func (m *matcher) listGoesOn(j int, det bool) bool {
	f := m.flags[j]
	if f&fOr != 0 {
		return true
	}
	if !det || f&(fStarter|fPron|fDog|fNegCut|fVerbFin|fNow|fStill|fWell) != 0 {
		return false
	}
	if j+1 < len(m.flags) && m.flags[j+1]&(fStarter|fPron|fVerbFin|fStill|fNow) != 0 {
		return false
	}
	return true
}

// stopped marks what "stopped", "no longer" and the like put an end to.
func (m *matcher) stopped(i int) {
	for j := i + 1; j < len(m.flags) && m.rd.toks[j].brk == breakNone; j++ {
		if m.flags[j]&(fStarter|fNegCut) != 0 || j > i+5 {
			return
		}
		if m.neg[j] == negNone {
			m.neg[j] = negStop
		}
	}
}

// closesPart reports whether a part of the sentence ends with token i.
func (m *matcher) closesPart(i int) bool {
	return i+1 == len(m.flags) || m.rd.toks[i+1].brk >= breakComma
}

// denyBack serves "vomiting no" and "sick: none".
func (m *matcher) denyBack(i int) {
	for j, n := i, 0; j > 0 && n < 4; n++ {
		if n > 0 && m.rd.toks[j].brk >= breakComma {
			return
		}
		if n == 0 && m.rd.toks[j].brk > breakComma && !m.rd.toks[j-1].asks {
			return
		}
		j--
		m.neg[j] = negPlain
	}
}

// denyVerb marks the few content words before a "not" that follows its verb, back
// to the start of the part or to a word that ends the reach of a "not".
func (m *matcher) denyVerb(i int) {
	for j, words := i, 0; j > 0 && m.rd.toks[j].brk == breakNone; {
		j--
		if m.flags[j]&(fNegCut|fNeg|fNegDet) != 0 {
			return
		}
		if !m.lx.filler[m.rd.toks[j].word] {
			words++
		}
		if words > m.lx.notBack {
			return
		}
		m.neg[j] = negPlain
	}
}

// whose follows the subject through each sentence.
func (m *matcher) whose() {
	cur, until := subjDog, int32(-1)
	for i := range m.flags {
		f, brk := m.flags[i], m.rd.toks[i].brk
		switch {
		case brk == breakSentence:
			cur = subjDog
		case brk == breakClause && f&(fPron|fDog) != 0:
			cur = subjDog
		}
		switch {
		case f&fOther != 0:
			cur = subjOther
			until = m.ends[i] // "my sister's dog" is one animal, and not ours
		case int32(i) <= until:
		case f&fDog != 0 && i >= 2 && m.rd.toks[i-1].word == m.lx.possessive && cur != subjDog:
			cur = subjOther // "next door's labrador"
		case f&fDog != 0 || m.rd.toks[i].name || m.nameLike(i):
			cur = subjDog
		case f&fPerson != 0:
			cur = subjPerson
		case f&fSelf != 0:
			cur = subjSelf
		case f&fPron != 0 && cur == subjSelf:
			cur = subjDog
		case f&fAction != 0 && (cur != subjOther || i+1 < len(m.flags) && m.flags[i+1]&fPron != 0):
			cur = subjDog // "my wife found", "the cat scratched": what follows is the dog's
		}
		m.subj[i] = cur
	}
}

// nameLike takes an unknown word for a dog's name where it has a capital inside
// a sentence, or stands before "is" or "has".
func (m *matcher) nameLike(i int) bool {
	t := &m.rd.toks[i]
	if c := m.text[t.start]; !m.lx.nounCapitals && c >= 'A' && c <= 'Z' && t.brk < breakSentence && t.end-t.start > 2 &&
		len(m.lx.slotsOf[t.word]) == 0 && m.text[t.end-1] >= 'a' {
		return true
	}
	return m.rd.toks[i].word == 0 && i+1 < len(m.flags) && m.flags[i+1]&fVerbFin != 0 &&
		(i == 0 || m.rd.toks[i].brk >= breakComma || m.flags[i-1]&(fNow|fToo) != 0)
}

// suppose marks the tokens that stand under an if, to the end of the sentence.
func (m *matcher) suppose() {
	under := false
	for i := range m.flags {
		if m.rd.toks[i].brk == breakSentence {
			under = false
		}
		if m.flags[i]&fHypo != 0 {
			under = true
		}
		m.hypo[i] = under
	}
}
