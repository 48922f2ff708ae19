package answer

import "strings"

// elect settles the votes, or gives the reason why they can't be settled.
func elect(ts []token, votes []vote, unsure int) (vote, Reason) {
	words := votes[:0:0]
	for _, v := range votes {
		if v.reason == Ambiguous {
			if len(words) > 0 && words[0].yes && ts[v.at-1].kind == kPunct {
				continue // "Yes. No appetite."
			}
			return vote{}, Ambiguous
		}
		if v.reason != Emoji {
			words = append(words, v)
		}
	}
	if len(words) == 0 {
		words = votes
	}
	switch {
	case unsure >= 0 && !firm(ts, words, unsure):
		return vote{}, Unsure
	case len(words) == 0:
		return vote{}, NotAnAnswer
	}
	first := words[0]
	switch {
	case question(ts, first):
		return vote{}, Asked
	case first.reason != Emoji && tale(ts, first):
		return vote{}, NotAnAnswer
	}
	if v, reason, done := turned(ts, words); done {
		return v, reason
	}
	if !first.yes && exception(ts, first.end, words) {
		return vote{}, Ambiguous
	}
	return first, ""
}

// tale finds a yes, a no or an "all well" that is part of what somebody tells
// rather than an answer: "keeps cocking his leg, nothing", "no colour in his
// gums", "oh no, he ate it". Before an answer stand only small words and
// perhaps a name.
func tale(ts []token, v vote) bool {
	none := mention{first: -1, last: -1}
	if !smallWords(ts[:v.at], &none) {
		return true
	}
	t := &ts[v.at]
	if v.reason == AllWell {
		return t.is(cIsVerb) && !pronoun(t) && t.s != "its" && !wholeClause(ts, v)
	}
	if v.yes {
		return false
	}
	if p := before(ts, v.at, 1); p != nil && p.s == "oh" && v.end < len(ts) && !smallWords(ts[v.end:], &none) {
		return true
	}
	if v.end == v.at+1 && t.is(cNo) && !t.is(cZero) {
		n := after(ts, v.at, 1)
		if p := before(ts, v.at, 1); has(p, cSubject|cIsVerb) || p != nil && pronoun(p) && !p.is(cMe) {
			return true // "he's no himself"
		}
		return n != nil && v.end < len(ts) && !ts[v.end].boundary() && !pronoun(n) && !small(n) && !smallWords(ts[v.end:], &none)
	}
	_, to := clause(ts, v.at)
	return v.end < to && !smallWords(ts[v.end:to], &none)
}

// small reports a word that carries no content of its own.
func small(t *token) bool {
	none := mention{first: -1, last: -1}
	return smallWords([]token{*t}, &none) && !(t.id == 0 && t.title)
}

// firm reports that somebody who also says "not sure" has first said yes or no
// in a clause of its own.
func firm(ts []token, words []vote, unsure int) bool {
	if len(words) == 0 || words[0].at != 0 || words[0].reason != Word {
		return false
	}
	_, to := clause(ts, 0)
	return unsure > to
}

// question finds "yes?" and "is that a no?".
func question(ts []token, v vote) bool {
	_, to := clause(ts, v.at)
	if to >= len(ts) || ts[to].r != '?' {
		return false
	}
	return v.end == to || v.at > 0
}

// turned settles texts that say both yes and no: a correction wins ("no wait,
// yes"), an Australasian "yeah nah" goes by its last word, well-being beside a
// yes changes nothing, all else stays open.
func turned(ts []token, words []vote) (vote, Reason, bool) {
	first := words[0]
	for k := 1; k < len(words); k++ {
		v := words[k]
		if v.yes == first.yes || v.reason == AllWell && first.reason != AllWell {
			continue
		}
		if first.reason == AllWell {
			return vote{}, Ambiguous, true // "he's fine, yes he was sick"
		}
		if correctsVote(ts, words[k-1].end, v.at) {
			v.reason = Corrected
			return v, "", true
		}
		if v.at == first.end && (first.yes && ts[v.at].s == "nah" && ts[first.at].s != "yes" || !first.yes && ts[first.at].s == "nah") {
			return v, "", true
		}
		// "yes, no appetite": a yes with a report; "no, yes" stays open.
		if first.yes && v.at > first.end && ts[v.at-1].kind == kPunct && !wholeClause(ts, v) {
			continue
		}
		return vote{}, Ambiguous, true
	}
	return vote{}, "", false
}

func wholeClause(ts []token, v vote) bool {
	return v.end >= len(ts) || ts[v.end].boundary()
}

func correctsVote(ts []token, from, to int) bool {
	corr := false
	for i := from; i < to; i++ {
		t := &ts[i]
		switch {
		case t.is(cCorr):
			corr = true
		case t.kind == kPunct, t.is(cSoft), t.is(cPolite):
		default:
			return false
		}
	}
	return corr
}

// exception finds a "but" behind a no, unless only well-being or thanks
// follow it.
func exception(ts []token, from int, words []vote) bool {
	for i := from; i < len(ts); i++ {
		if !butAt(ts, i) {
			continue
		}
		for _, v := range words {
			if v.at > i && v.reason == AllWell && quietWords(ts[i+1:v.at]) {
				return false
			}
		}
		if !quietWords(ts[i+1:]) {
			return true
		}
	}
	return false
}

// butAt finds a word that takes back what stands before it: "but", "only he's
// drinking loads", and a "well" by itself.
func butAt(ts []token, i int) bool {
	t := &ts[i]
	switch {
	case t.s == "well":
		return i > 0 && ts[i-1].boundary() && i+1 < len(ts) && ts[i+1].boundary()
	case t.s == "only":
		n := after(ts, i, 1)
		return n != nil && pronoun(n)
	}
	return t.is(cBut) && t.s != "besides"
}

func quietWords(ts []token) bool {
	for i := range ts {
		if ts[i].kind == kNum || ts[i].kind == kWord && !ts[i].is(cSoft|cPolite) {
			return false
		}
	}
	return true
}

// detail is what stands behind the answer, in the owner's words.
func detail(text string, ts []token, end int) string {
	if end >= len(ts) {
		return ""
	}
	return strings.Trim(text[ts[end].from:], " \t\r\n,.;:!-–—")
}
