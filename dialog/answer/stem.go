package answer

import "strings"

// stem cuts the common English endings, so that "limps", "limping" and "limp"
// meet. It is deliberately crude: both sides of a comparison go through it.
func stem(s string) string {
	if len(s) <= 3 {
		return s
	}
	for _, end := range [...]string{"ness", "ing", "ed", "es", "s", "e", "y"} {
		if t, ok := strings.CutSuffix(s, end); ok && len(t) >= 3 {
			s = t
			break
		}
	}
	// "flopping" → "flop"
	if n := len(s); n > 3 && s[n-1] == s[n-2] && !strings.HasSuffix(s, "ss") {
		s = s[:n-1]
	}
	return s
}

// stems gives the stems of the words of a name or an anchor that carry
// meaning.
func (l *Lexicon) stems(name string) []string {
	var tb [16]token
	ts := l.tokens(name, tb[:0])
	out := make([]string, 0, len(ts))
	for i := range ts {
		if ts[i].kind == kWord && !skipped(&ts[i]) || ts[i].kind == kNum {
			out = append(out, stemOf(name, &ts[i]))
		}
	}
	return out
}

// nameStems gives the stems of every word of an item's name.
func (l *Lexicon) nameStems(name string) []string {
	var tb [16]token
	ts := l.tokens(name, tb[:0])
	out := make([]string, 0, len(ts))
	for i := range ts {
		if ts[i].kind == kWord {
			out = append(out, stem(ts[i].s))
		}
	}
	return out
}

// skipped words carry nothing in an anchor or a name.
func skipped(t *token) bool { return t.is(cArticle|cPolite) || t.is(cSoft) && !t.is(cZero|cNeg) }

func stemOf(text string, t *token) string {
	if t.kind == kNum {
		return strings.Clone(text[t.from:t.to])
	}
	return stem(t.s)
}

// anchor finds the one anchor that the text says. exact: the meaningful words
// are the same in the same order. Otherwise all but one of the anchor's words,
// its first among them, and no meaningful word besides.
func (l *Lexicon) anchor(ts []token, anchors []string, exact bool) (int, bool) {
	if len(anchors) == 0 || len(ts) == 1 && ts[0].kind != kWord {
		return 0, false
	}
	var sb [16]string
	said := sb[:0]
	for i := range ts {
		t := &ts[i]
		switch {
		case t.kind == kPunct && t.r == '?', t.is(cPast) && !exact:
			return 0, false
		case t.kind == kWord && !skipped(t):
			said = append(said, stem(t.s))
		case t.kind == kNum:
			said = append(said, t.s)
		}
	}
	if len(said) == 0 || len(said) > 12 {
		return 0, false
	}
	hit, level := 0, 0
	for v, a := range anchors {
		want := l.stems(a)
		if exact && same(said, want) || !exact && covers(said, want) {
			hit, level = hit+1, v
		}
	}
	return level, hit == 1 && level <= maxLevel
}

func same(a, b []string) bool {
	if len(a) != len(b) || len(a) == 0 {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// covers reports that said has only words of want, the first of want among
// them, and at most one of want is missing.
func covers(said, want []string) bool {
	if len(want) < 2 {
		return false
	}
	missing := 0
	for i, w := range want {
		if !holds(said, w) {
			if i == 0 {
				return false
			}
			missing++
		}
	}
	if missing > 1 || missing == 1 && len(want) < 3 {
		return false
	}
	for _, s := range said {
		if !holds(want, s) {
			return false
		}
	}
	return true
}

func holds(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}
