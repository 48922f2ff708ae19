package signs

// verdict is what became of a match.
type verdict uint8

const (
	counted verdict = iota
	denied
	notTheDog
	ifOnly
	longAgo
	asUsual
	overAndWell
	notNew
	keptAway
	asTold
	outweighed // a stronger sign says the same more exactly
	numVerdicts
)

// verdictWords end the sentence that says why words did not count.
var verdictWords = [numVerdicts]string{
	"", "it is denied", "it is not about the dog", "it is only supposed", "it is long over",
	"it is as usual", "it is over and the dog is well", "it is nothing new",
	"the dog got none of it", "it was as told", "",
}

// judge decides whether a match counts for this dog, now.
func (m *matcher) judge(ev *evidence) verdict {
	o := ev.pat.opts
	if o&optNegOK == 0 && (m.isDenied(ev) || m.denyAll(ev)) {
		return denied
	}
	if ev.target.event == eventPerson && m.flags[ev.first]&fPerson != 0 && m.subj[ev.last] == subjDog {
		return notTheDog // "my husband found him collapsed"
	}
	if o&optAny == 0 && m.othersBody(ev) {
		return notTheDog
	}
	if o&optHypoOK == 0 && m.onlySupposed(ev) {
		return ifOnly
	}
	if m.isOver(ev) {
		return longAgo
	}
	if o&optFirm == 0 && ev.target.opts&tNoUsual == 0 && m.isUsual(ev) {
		return asUsual
	}
	if ev.target.opts&tThing != 0 && m.all&fSafe != 0 {
		return keptAway
	}
	if ev.target.opts&tTablet != 0 && m.all&fTold != 0 && o&optFirm == 0 {
		return asTold
	}
	if o&optFirm == 0 && m.isSettled(ev) {
		return overAndWell
	}
	if o&optNew != 0 && !m.isNew(ev) {
		return notNew
	}
	return counted
}

func (m *matcher) isDenied(ev *evidence) bool {
	for i := ev.first; i <= ev.last; i++ {
		if m.flags[i]&(fNeg|fNegDet) != 0 {
			if ev.ownNeg {
				return m.neg[i] == negRaise
			}
		}
	}
	if ev.ownNeg {
		return false
	}
	for _, i := range [2]int{ev.first, ev.last} {
		switch m.neg[i] {
		case negPlain, negRaise:
			return true
		case negStop:
			if ev.pat.opts&optHasStop == 0 {
				return true
			}
		}
	}
	return false
}

// denyAll serves "... : none of that so far".
func (m *matcher) denyAll(ev *evidence) bool {
	for i := ev.last + 1; i < len(m.flags); i++ {
		if m.flags[i]&fDenyAll != 0 && m.sent[i]-m.sent[ev.first] <= 1 {
			return true
		}
	}
	return false
}

// othersBody reports whether the words are about a person or another animal.
func (m *matcher) othersBody(ev *evidence) bool {
	if ev.target.opts&tThing != 0 && m.subj[ev.first] == subjPerson {
		return false
	}
	dog := false
	for i := ev.first; i <= ev.last; i++ {
		dog = dog || m.flags[i]&fDog != 0 && m.subj[i] == subjDog
		// "it was the cat's pill but he took it", "my sister's tablets, he ate three"
		dog = dog || ev.target.opts&tThing != 0 && i > ev.first && m.flags[i]&fIngest != 0 && m.flags[i-1]&fPron != 0
	}
	if dog || m.subj[ev.first] == subjDog || m.subj[ev.last] == subjDog {
		return false
	}
	return !m.dogToo(ev)
}

// dogToo serves "the cat has been sick and now Koda has too".
func (m *matcher) dogToo(ev *evidence) bool {
	for i := ev.last + 1; i < len(m.flags); i++ {
		if m.flags[i]&fToo != 0 && m.subj[i] == subjDog && m.neg[i] == negNone {
			return true
		}
	}
	return false
}

// onlySupposed reports whether the words stand under an if and nothing in the
// message tells that it has happened.
func (m *matcher) onlySupposed(ev *evidence) bool {
	if !m.hypo[ev.first] {
		return false
	}
	s := m.sent[ev.first]
	if m.sentFlags[s]&fEver != 0 {
		return true
	}
	for i := range m.flags {
		f := m.flags[i] & (fReport | fRecent | fStill)
		if f == 0 || m.neg[i] != negNone {
			continue
		}
		if f&(fReport|fStill) != 0 && i > ev.first || m.sent[i] == s {
			return false
		}
	}
	return true
}

// isOver reports whether it happened long ago and nothing ties it to now.
func (m *matcher) isOver(ev *evidence) bool {
	c, s := m.clause[ev.first], m.sent[ev.first]
	now := fRecent | fStill | fNew
	if m.clauseFlags[c]&fLongAgo != 0 {
		return m.clauseFlags[c]&now == 0
	}
	return m.sentFlags[s]&fLongAgo != 0 && m.clauseFlags[c]&(now|fNow) == 0
}

// isUsual reports whether the owner says that it is as it always is.
func (m *matcher) isUsual(ev *evidence) bool {
	c := m.clause[ev.first]
	if m.clauseFlags[c]&fUsual != 0 {
		return m.clauseFlags[c]&fNew == 0
	}
	// "Limping a bit. Same as always."
	return m.shortNext(ev.last, fUsual) && m.clauseFlags[c]&fNew == 0
}

// shortNext reports whether the next clause is a few words with the flag.
func (m *matcher) shortNext(i int, f flag) bool {
	c := m.clause[i]
	if int(c)+1 >= len(m.clauseFlags) || m.clauseFlags[c+1]&f == 0 {
		return false
	}
	n := 0
	for j := i + 1; j < len(m.clause) && m.clause[j] <= c+1; j++ {
		if m.clause[j] == c+1 {
			n++
		}
	}
	return n <= 6 && m.clauseFlags[c+1]&fNew == 0
}

// isSettled reports whether it is over and the dog is well, for those signs
// for which that settles it.
func (m *matcher) isSettled(ev *evidence) bool {
	o := ev.target.opts
	if o&tExercise != 0 && m.all&fExercise != 0 && m.flagAfter(ev, fResolved|fWell) {
		return true
	}
	if o&tClears != 0 && m.flagAfter(ev, fResolved) && !m.flagAfter(ev, fBad|fStill) {
		return true
	}
	return o&tResolves != 0 && m.flagAfter(ev, fResolved|fWell) && !m.flagAfter(ev, fBad|fStill)
}

// flagAfter reports whether a flag stands, undenied, behind the match.
func (m *matcher) flagAfter(ev *evidence, f flag) bool {
	for i := ev.last + 1; i < len(m.flags); i++ {
		if m.flags[i]&f != 0 && m.neg[i] == negNone {
			return true
		}
	}
	return false
}

// isNew reports whether the clause speaks of something new or recent.
func (m *matcher) isNew(ev *evidence) bool {
	s := m.sent[ev.first]
	for d := s - 1; d <= s+1; d++ {
		if d >= 0 && int(d) < len(m.sentFlags) && m.sentFlags[d]&(fNew|fStill|fRecent|fFresh) != 0 {
			return true
		}
	}
	return false
}
