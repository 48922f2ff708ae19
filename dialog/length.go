package dialog

import (
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"gaitpost/internal/sms"
)

// Length is what one text takes to send as a text message.
type Length struct {
	Units    int // septets, or UTF-16 code units
	Segments int
	// Culprits are the characters, each once, for which the text can't travel in
	// the alphabet of text messages, so that a segment holds 70 of them and not
	// 160; nil where it can. At is how many characters stand before the first.
	Culprits []rune
	At       int
}

// Measure says what a text takes to send.
func Measure(text string) Length {
	n := sms.Encode(text)
	l := Length{Units: n.Units, Segments: n.Segments, Culprits: n.Culprits}
	if len(l.Culprits) > 0 {
		before, _, _ := strings.Cut(text, string(l.Culprits[0]))
		l.At = utf8.RuneCountInString(before)
	}
	return l
}

// Size is what one text costs at its longest: with the longest dog's name and
// the longest values of every other placeholder.
type Size struct {
	Script, Step, Part, Lang string
	Units                    int // septets, or UTF-16 code units
	Segments                 int
	Limit                    int
	Protected                bool
}

// longestValues fills every placeholder with its longest value.
var longestValues = func() map[string]string {
	m := map[string]string{}
	for _, p := range Placeholders {
		m[p.Name] = strings.Repeat("W", p.Longest)
	}
	for i := range maxDogs {
		m["dog"+string(rune('1'+i))] = strings.Repeat("W", MaxDogName)
	}
	return m
}()

// longestIn is longestValues with what a language needs more room for.
func longestIn(lang string) map[string]string {
	n, ok := longestDate[lang]
	if !ok {
		return longestValues
	}
	m := maps.Clone(longestValues)
	m["date"] = strings.Repeat("W", n)
	return m
}

// Sizes returns the size of every text of every script at its longest.
func (l *Library) Sizes() []Size {
	var out []Size
	for _, id := range l.Scripts() {
		out = append(out, l.scripts[id].sizes()...)
	}
	return out
}

func (s *Script) sizes() []Size {
	var out []Size
	for _, st := range s.all() {
		for _, part := range partKeys {
			for _, lang := range s.languages {
				if _, ok := st.parts[part][lang]; ok {
					out = append(out, s.size(st, part, lang))
				}
			}
		}
	}
	return out
}

// size measures one text at its longest, as a lone library would render it.
func (s *Script) size(st *Step, part, lang string) Size {
	l := &Library{scripts: map[string]*Script{s.id: s}}
	ctx := Context{Lang: lang, Vars: longestIn(lang)}
	line := s.line(st, part, &ctx, st.itemsOf())
	n := sms.Encode(l.Render(line, lang))
	return Size{Script: s.id, Step: st.id, Part: part, Lang: lang,
		Units: n.Units, Segments: n.Segments, Limit: st.limit(), Protected: st.protected}
}

// limit is how many segments the step's texts may take: what it says itself,
// else one for a question asked alone and two for a list or a single text.
func (st *Step) limit() int {
	switch {
	case st.segments > 0:
		return st.segments
	case st.kind == KindSay || len(st.forms) == 1 && st.forms[0] == AllAtOnce:
		return 2
	}
	return 1
}

func (c *checker) lengths(st *Step) {
	for _, part := range partKeys {
		for lang, w := range st.parts[part] {
			if !slices.Contains(c.s.languages, lang) {
				continue
			}
			if n := c.s.size(st, part, lang); n.Segments > n.Limit {
				c.bad(w.at, st, "too-long", "its %s in %q takes %d segments (%d characters) with the longest names; at most %d",
					part, lang, n.Segments, n.Units, n.Limit)
			}
		}
	}
}
