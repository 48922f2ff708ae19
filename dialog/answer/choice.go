package answer

// Choice reads which options were chosen: by number ("2"), by letter ("b"), or
// by the words of a label. More than one is taken only when every one of them
// allows it.
func (l *Lexicon) Choice(text string, options []Option) ChoiceReading {
	ts := l.tokens(text)
	if len(ts) == 0 {
		return ChoiceReading{Reason: Empty}
	}
	if len(options) == 0 {
		return ChoiceReading{Reason: NotAnAnswer}
	}
	if picked, reason := l.byPlace(ts, len(options)); reason != NotAnAnswer {
		return chosen(options, picked, reason)
	}
	picked := l.byWords(ts, options)
	if len(picked) == 0 {
		return ChoiceReading{Reason: NotAnAnswer}
	}
	return chosen(options, picked, Word)
}

// byPlace reads numbers or letters that stand alone: "2", "1, 3 and 4", "b)".
func (l *Lexicon) byPlace(ts []token, n int) ([]int, Reason) {
	var picked []int
	reason := NotAnAnswer
	for i := range ts {
		t := &ts[i]
		v := -1
		switch {
		case t.kind == kPunct || t.kind == kEmoji:
			if t.r == '?' {
				return nil, Asked
			}
			continue
		case t.kind == kNum:
			v, reason = int(min(t.val, 1e6)), Digit
		case t.kind == kWord && t.is(cNumWord):
			v, reason = int(t.val), Digit
		case l.plain && len(ts) > 1 && t.is(cPolite|cSoft|cJoin|cLead|cArticle):
			continue // "a", "y", "e" are words there
		case t.kind == kWord && len(t.s) == 1 && t.s != "i" && !(t.s == "a" && i+1 < len(ts) && ts[i+1].kind == kWord && !ts[i+1].is(cJoin)):
			v, reason = int(t.s[0]-'a')+1, Letter
		case t.is(cPolite | cSoft | cJoin | cRating | cLead):
			continue
		default:
			return nil, NotAnAnswer
		}
		if v < 1 || v > n {
			return nil, OutOfRange
		}
		picked = append(picked, v-1)
	}
	return picked, reason
}

// byWords finds the options whose words the text says. Where one option's words
// are part of another's, the longer one counts. A negation that belongs to no
// option ("not sick") leaves the text unread.
func (l *Lexicon) byWords(ts []token, options []Option) []int {
	said := saidStems(ts)
	var picked []int
	lengths := make([]int, len(options))
	denied := negations(ts)
	for k := range options {
		names := append([]string{options[k].Label}, options[k].Words...)
		for _, name := range names {
			w := l.stems(name)
			if len(w) == 0 || len(w) <= lengths[k] || at(said, w) < 0 {
				continue
			}
			lengths[k] = len(w)
			denied -= l.negationsIn(name)
		}
		if lengths[k] > 0 {
			picked = append(picked, k)
		}
	}
	switch {
	case denied > 0:
		return nil
	case len(picked) > 0:
		return longest(picked, lengths, options)
	}
	return l.byPart(said, options)
}

func (l *Lexicon) negationsIn(name string) int {
	return negations(l.tokens(name))
}

// negations counts the words that deny something. "None" is an option of its
// own more often than a denial.
func negations(ts []token) int {
	c := 0
	for i := range ts {
		if t := &ts[i]; t.is(cNeg) || t.is(cNo) && t.kind == kWord && t.s != "none" {
			c++
		}
	}
	return c
}

// byPart takes the one option that shares a meaningful word with the text when
// no other does.
func (l *Lexicon) byPart(said []string, options []Option) []int {
	hit := -1
	for k := range options {
		for _, w := range l.stems(options[k].Label) {
			if len(w) > 2 && holds(said, w) {
				if hit >= 0 && hit != k {
					return nil
				}
				hit = k
			}
		}
	}
	if hit < 0 {
		return nil
	}
	return []int{hit}
}

// longest drops options that were met only as part of a longer one.
func longest(picked, lengths []int, options []Option) []int {
	if len(picked) < 2 {
		return picked
	}
	all := true
	best := 0
	for _, k := range picked {
		all = all && options[k].Several
		best = max(best, lengths[k])
	}
	if all {
		return picked
	}
	out := picked[:0]
	for _, k := range picked {
		if lengths[k] == best {
			out = append(out, k)
		}
	}
	return out
}

// saidStems gives the stems of the meaningful words of a text.
func saidStems(ts []token) []string {
	out := make([]string, 0, len(ts))
	for i := range ts {
		if t := &ts[i]; t.kind == kWord && !skipped(t) {
			out = append(out, stem(t.s))
		}
	}
	return out
}

// at gives the place of want as a run within said, or -1.
func at(said, want []string) int {
	for i := 0; i+len(want) <= len(said); i++ {
		if same(said[i:i+len(want)], want) {
			return i
		}
	}
	return -1
}

// chosen checks that the options may stand together and names their keys.
func chosen(options []Option, picked []int, reason Reason) ChoiceReading {
	if len(picked) == 0 {
		return ChoiceReading{Reason: reason}
	}
	in := make([]bool, len(options))
	n := 0
	for _, k := range picked {
		if !in[k] {
			in[k], n = true, n+1
		}
	}
	r := ChoiceReading{OK: true, Reason: reason}
	for k := range options {
		if !in[k] {
			continue
		}
		if n > 1 && !options[k].Several {
			return ChoiceReading{Reason: Ambiguous}
		}
		r.Keys = append(r.Keys, options[k].Key)
	}
	return r
}
