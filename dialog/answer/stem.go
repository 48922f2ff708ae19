package answer

import (
	"strconv"
	"strings"
)

// stem cuts the common English endings, so that "limps", "limping" and "limp"
// meet. It is deliberately crude: both sides of a comparison go through it.
func stem(s string) string {
	if len(s) <= 3 {
		return s
	}
	for _, end := range [...]string{"ness", "ing", "ed", "es", "s", "e"} {
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

// maxCached bounds the stems kept: a few scripts in a few languages have some
// hundreds of names and anchors; a stray caller must not fill memory.
const maxCached = 4096

// cacheKey tells apart the two ways to take the stems of a text.
type cacheKey struct {
	text string
	all  bool
}

// stems gives the stems of the words of a name or an anchor that carry
// meaning. The result is shared: read it only.
func (l *Lexicon) stems(name string) []string { return l.stemsOf(cacheKey{name, false}) }

// nameStems gives the stems of every word of an item's name. The result is
// shared: read it only.
func (l *Lexicon) nameStems(name string) []string { return l.stemsOf(cacheKey{name, true}) }

func (l *Lexicon) stemsOf(key cacheKey) []string {
	if v, ok := l.cached.Load(key); ok {
		return v.([]string)
	}
	ts := l.tokens(key.text)
	out := make([]string, 0, len(ts))
	for i := range ts {
		switch t := &ts[i]; {
		case t.kind == kWord && (key.all || !skipped(t)):
			out = append(out, stem(t.s))
		case t.kind == kNum && !key.all:
			out = append(out, digitsOf(t))
		}
	}
	if l.cachedSize.Load() < maxCached {
		l.cachedSize.Add(1)
		l.cached.Store(key, out)
	}
	return out
}

// skipped words carry nothing in an anchor or a name.
func skipped(t *token) bool {
	return !t.is(cZero|cNeg|cAll|cNumWord|cDegree) && t.is(cArticle|cPolite|cSoft)
}

// digitsOf writes a run of digits plainly, as an anchor and a text compare it.
func digitsOf(t *token) string { return strconv.FormatInt(t.val, 10) }

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
			said = append(said, digitsOf(t))
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
