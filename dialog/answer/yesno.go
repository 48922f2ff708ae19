package answer

// vote is one sign of yes or no in a text.
type vote struct {
	at, end int
	yes     bool
	reason  Reason
}

// YesNo reads yes or no. "All fine" counts as no (nothing to report) and says
// so in its reason; a no with a "but" behind it is not read, since what follows
// may be the very thing that was asked about.
func (l *Lexicon) YesNo(text string) YesNoReading {
	ts := l.tokens(text)
	if len(ts) == 0 {
		return YesNoReading{Reason: Empty}
	}
	if l.plain {
		return l.plainYesNo(text, ts)
	}
	v, reason := l.yesNo(ts)
	if reason != "" {
		return YesNoReading{Reason: reason, Detail: ""}
	}
	return YesNoReading{Value: v.yes, OK: true, Reason: v.reason, Detail: detail(composed(text), ts, v.end)}
}

// yesNo gives the vote that decides, or the reason why none does.
func (l *Lexicon) yesNo(ts []token) (vote, Reason) {
	var vb [8]vote
	votes, unsure := l.votes(ts, vb[:0])
	return elect(ts, votes, unsure)
}

// votes walks the clauses. Words of yes and no count at the start of a clause,
// behind small words; phrases of well-being count anywhere.
func (l *Lexicon) votes(ts []token, out []vote) (votes []vote, unsure int) {
	unsure = -1
	open, start := true, -1 // still at the start of the clause; where that is
	for i := 0; i < len(ts); {
		t := &ts[i]
		if t.boundary() || t.kind == kPunct {
			if v, ok := signVote(t, i); ok {
				out = append(out, v)
			}
			if t.boundary() || t.r == '-' || t.r == '(' {
				open, start = true, i
			}
			i++
			continue
		}
		if end := l.matchAt(pNotNo, ts, i); end > 0 {
			out = append(out, vote{i, end, false, Ambiguous})
			i, open = end, false
			continue
		}
		if end := l.matchAt(pUnsure, ts, i); end > 0 && open {
			unsure = i
			i = end
			continue
		}
		v, ok := l.voteAt(ts, i, open)
		if ok {
			out = append(out, v)
			i = v.end
			continue
		}
		small := cPolite | cSoft | cCorr | cJoin | cBut | cHedge
		if n := len(out); n > 0 && out[n-1].end > start {
			// Behind a vote only a correction leads to another one.
			small = cPolite | cCorr | cJoin
		}
		if end := l.matchAt(pCorrect, ts, i); end > i && open {
			i = end
			continue
		}
		open = open && t.is(small) && !t.is(cNeg)
		i++
	}
	return out, unsure
}

// signVote reads an emoji; it only counts where no word does.
func signVote(t *token, i int) (vote, bool) {
	switch {
	case t.is(cYes):
		return vote{i, i + 1, true, Emoji}, true
	case t.is(cNo):
		return vote{i, i + 1, false, Emoji}, true
	}
	return vote{}, false
}

// voteAt reads the vote that begins at token i, if any.
func (l *Lexicon) voteAt(ts []token, i int, open bool) (vote, bool) {
	well, no, yes := l.matchAt(pWell, ts, i), l.matchAt(pNo, ts, i), l.matchAt(pYes, ts, i)
	if open && no > 0 && no >= yes && (no != i+2 || whollyYes(ts, i, no)) {
		return vote{i, no, false, hedgeOf(ts[i:no])}, true
	}
	if open && yes > 0 && ((yes > i+1 || ts[i].is(cSubject)) && whollyYes(ts, i, yes) && !has(before(ts, i, 1), cGood) || ts[i].is(cYes) && !ts[i].is(cYesAlone) && yes == i+1) {
		return vote{i, yes, true, hedgeOf(ts[i:yes])}, true
	}
	if well > 0 && !turnedRound(ts, i) {
		if wasWell(ts, i, well) {
			return vote{i, well, false, Ambiguous}, true
		}
		return vote{i, well, false, AllWell}, true
	}
	if open && justGood(ts, i) {
		return vote{i, i + 1, false, AllWell}, true
	}
	if no > i+1 && ts[i].s != "not" && !pronoun(&ts[i]) {
		return vote{i, no, false, Word}, true // "he has had no problems"
	}
	t := &ts[i]
	if t.is(cYesAlone) && !wholeClause(ts, vote{end: i + 1}) && !(i+1 < len(ts) && ts[i+1].is(cPolite) && !ts[i+1].is(cGood)) {
		return vote{}, false // "absolutely fine since", "I'm sure of it"
	}
	if open && t.is(cYes) && !(t.s == "course" && i > 0 && ts[i-1].s != "of") {
		return vote{i, i + 1, true, Word}, true
	}
	if open && t.s == "not" && whollyYes(ts, i, i+1) && (i+1 >= len(ts) || ts[i+1].boundary()) {
		return vote{i, i + 1, false, Word}, true
	}
	if open && t.is(cNo) && !talesOn(ts, i) {
		return vote{i, i + 1, false, Word}, true
	}
	return vote{}, false
}

// turnedRound finds "he's not his usual self", "nowhere near fine".
func turnedRound(ts []token, i int) bool {
	for n := 1; n <= 4; n++ {
		p := before(ts, i, n)
		if p == nil {
			return false
		}
		if p.is(cNeg | cFar) {
			return true
		}
	}
	return false
}

// justGood finds a clause that is only "fine" or "grand".
func justGood(ts []token, i int) bool {
	if !ts[i].is(cGood) || ts[i].kind != kWord {
		return false
	}
	for k := i + 1; k < len(ts) && !ts[k].boundary(); k++ {
		if !ts[k].is(cGood|cPolite) || ts[k].is(cYes|cNo) {
			return false
		}
	}
	from, _ := clause(ts, i)
	for k := from; k < i; k++ {
		if !ts[k].is(cPolite|cSoft) || ts[k].is(cNeg|cFar) {
			return false
		}
	}
	return true
}

// whollyYes keeps "he did" an answer and "he did a big walk" a tale: a
// pronoun with its verb must end the clause.
func whollyYes(ts []token, i, end int) bool {
	if !pronoun(&ts[i]) {
		return true
	}
	if end >= len(ts) || ts[end].boundary() {
		return true
	}
	if end == i+1 {
		return false // "hes all over the place"
	}
	return ts[end].is(cBut) && ts[end].s != "only" || ts[end].is(cPolite) && !ts[end].is(cGood) && ts[end].s[0] != 'o' && ts[end].s != "k"
}

func pronoun(t *token) bool {
	return t.is(cSubject|cMe) || t.s == "we" || t.s == "they" || t.s == "it" || t.s == "there"
}

// wasWell finds "he was fine until sunday", "was fine then got sick".
func wasWell(ts []token, i, end int) bool {
	past := has(before(ts, i, 1), cPast)
	for k := i; k < end; k++ {
		past = past || ts[k].is(cPast)
	}
	return past && end < len(ts) && ts[end].kind == kWord && !ts[end].is(cPolite|cNow)
}

// talesOn finds "never eats breakfast": a word for nothing that begins a tale.
func talesOn(ts []token, i int) bool {
	if s := ts[i].s; s != "never" && s != "negative" && s != "none" {
		return false
	}
	n := after(ts, i, 1)
	return n != nil && (n.s == "again" || !n.is(cPolite|cSoft|cSign|cBut|cYes|cNo|cGood))
}

func hedgeOf(ts []token) Reason {
	for i := range ts {
		if ts[i].is(cHedge) && ts[i].s != "say" {
			return Hedged
		}
	}
	return Word
}
