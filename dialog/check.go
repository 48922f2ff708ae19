package dialog

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"gaitpost/internal/sms"
)

// checker looks for problems across the steps of one script.
type checker struct {
	s        *Script
	needed   []string // languages in which nothing may be missing; nil for all of the script's
	problems []Problem
}

// check returns every problem of a script that could be read.
func check(s *Script) []Problem { return checkFor(s, nil) }

// checkFor is check where only some languages must be complete.
func checkFor(s *Script, needed []string) []Problem {
	c := &checker{s: s, needed: needed}
	c.languages()
	c.ids()
	for _, st := range s.all() {
		c.answers(st)
		c.translations(st)
		c.words(st)
		c.guards(st)
		c.conditions(st)
		c.lengths(st)
	}
	c.graphs()
	return c.problems
}

func (c *checker) bad(at place, st *Step, code, format string, args ...any) {
	p := Problem{File: at.file, Line: at.line, Script: c.s.id, Code: code, Message: fmt.Sprintf(format, args...)}
	if st != nil {
		p.Step = st.id
		p.Message = "step " + st.id + ": " + p.Message
	}
	if !slices.Contains(c.problems, p) {
		c.problems = append(c.problems, p)
	}
}

// where is the place of a key of a step, else of the step.
func (st *Step) where(key string) place {
	if at, ok := st.given[key]; ok {
		return at
	}
	return st.at
}

// complete are the script's languages in which nothing may be missing.
func (c *checker) complete() []string {
	if c.needed == nil {
		return c.s.languages
	}
	return slices.DeleteFunc(slices.Clone(c.s.languages), func(lang string) bool { return !slices.Contains(c.needed, lang) })
}

func (c *checker) languages() {
	if len(c.s.languages) > 0 && !slices.Contains(c.s.languages, english) {
		c.bad(c.s.at, nil, "missing-translation", "the script has no English, which stands in where another language is missing")
	}
	for _, lang := range c.s.unicode {
		if !slices.Contains(c.s.languages, lang) || lang == english {
			c.bad(c.s.at, nil, "bad-value", "unicode names %q, which is not one of the script's other languages", lang)
		}
	}
	if len(c.s.steps) == 0 && len(c.s.texts) == 0 {
		c.bad(c.s.at, nil, "missing-key", "the script has neither steps nor texts")
	}
}

func (c *checker) ids() {
	seen := map[string]bool{}
	for _, st := range c.s.all() {
		if seen[st.id] {
			c.bad(st.at, st, "duplicate-step", "there is another step of this name")
		}
		seen[st.id] = true
		options := map[string]bool{}
		for _, o := range st.options {
			if options[o.id] {
				c.bad(o.at, st, "duplicate-option", "the option %s is there twice", o.id)
			}
			options[o.id] = true
		}
	}
}

// answers checks that somebody can answer the step and that the answer has a name.
func (c *checker) answers(st *Step) {
	part := PartAsk
	if st.kind == KindSay {
		part = PartSay
	}
	if st.parts[part] == nil && st.kind != kindEnd && st.kind != KindNone {
		c.bad(st.at, st, "missing-key", "it has no %s", part)
	}
	switch st.kind {
	case KindNone, KindSay, kindEnd:
		return
	case KindGrid:
		c.grid(st)
		return
	}
	if st.item == "" {
		c.bad(st.at, st, "missing-key", "it has no item to record the answer under")
	}
	switch {
	case st.kind == KindScale:
		c.scale(st)
	case st.kind == KindChoice && len(st.options) == 0 && !st.dogs:
		c.bad(st.at, st, "missing-options", "nobody can answer a choice without options")
	case st.safety && st.kind != KindYesNo && st.kind != KindChoice:
		c.bad(st.where("safety"), st, "bad-value", "a closed safety question is a yesno or a choice")
	}
	if st.also != "" && !c.gives(st.also, KindNumber) {
		c.bad(st.where("also"), st, "unknown-item", "no number question asks about %q", st.also)
	}
}

func (c *checker) gives(item string, kind Kind) bool {
	return slices.ContainsFunc(c.s.steps, func(st *Step) bool { return st.kind == kind && st.item == item })
}

func (c *checker) grid(st *Step) {
	if len(st.items) == 0 {
		c.bad(st.at, st, "missing-options", "nobody can answer a list without items")
	}
	for _, item := range st.items {
		if !c.gives(item, KindScale) {
			c.bad(st.where("items"), st, "unknown-item", "no scale question of this script has the anchors of %q", item)
		}
		for _, lang := range c.complete() {
			if _, ok := st.labels[lang][item]; !ok {
				c.bad(st.where("labels"), st, "missing-translation", "%s has no label in %q (%s)", item, lang, languageName(lang))
			}
		}
	}
	c.mustHold(st, PartAsk, "items")
}

// scale checks the five anchors and X.
func (c *checker) scale(st *Step) {
	c.mustHold(st, PartAsk, "levels")
	for _, lang := range c.complete() {
		a := st.anchors[lang]
		if a == nil {
			c.bad(st.where("anchors"), st, "missing-anchor", "it has no anchors in %q (%s)", lang, languageName(lang))
			continue
		}
		for i, text := range a.level {
			if text == "" {
				c.bad(a.at, st, "missing-anchor", "level %d has no words in %q", i, lang)
			}
		}
		if a.x == "" {
			c.bad(a.at, st, "missing-anchor", "x, for what doesn't apply, has no words in %q", lang)
		}
	}
}

// mustHold checks that a text shows what can be answered.
func (c *checker) mustHold(st *Step, part, name string) {
	for lang, w := range st.parts[part] {
		if !slices.Contains(placeholdersIn(w.text), name) {
			c.bad(w.at, st, "missing-levels", "its %s in %q doesn't show {%s}", part, lang, name)
		}
	}
}

// texts calls each for every text of a step with its language.
func (st *Step) texts(each func(what, lang string, w wording)) {
	for _, part := range partKeys {
		for lang, w := range st.parts[part] {
			each(part, lang, w)
		}
	}
	for lang, a := range st.anchors {
		for i, text := range a.level {
			each(fmt.Sprintf("anchor %d", i), lang, wording{text, a.at})
		}
		each("anchor x", lang, wording{a.x, a.at})
	}
	for lang, m := range st.labels {
		for item, w := range m {
			each("label of "+item, lang, w)
		}
	}
	for _, o := range st.options {
		for lang, w := range o.text {
			each("option "+o.id, lang, w)
		}
	}
}

func (c *checker) translations(st *Step) {
	st.texts(func(what, lang string, w wording) {
		if !slices.Contains(c.s.languages, lang) {
			c.bad(w.at, st, "unknown-language", "%s is in %q, which is not one of the script's languages", what, lang)
		}
	})
	for _, lang := range c.complete() {
		for _, part := range partKeys {
			if m := st.parts[part]; m != nil {
				if _, ok := m[lang]; !ok {
					c.bad(st.where(part), st, "missing-translation", "its %s is missing in %q (%s)", part, lang, languageName(lang))
				}
			}
		}
		for _, o := range st.options {
			if _, ok := o.text[lang]; !ok {
				c.bad(o.at, st, "missing-translation", "the option %s is missing in %q (%s)", o.id, lang, languageName(lang))
			}
		}
	}
}

// words checks placeholders and the alphabet.
func (c *checker) words(st *Step) {
	st.texts(func(what, lang string, w wording) {
		for _, name := range placeholdersIn(w.text) {
			if _, ok := placeholderByName[lowerFirst(name)]; !ok {
				c.bad(w.at, st, "unknown-placeholder", "%s holds {%s}, which nobody fills in", what, name)
			}
		}
		if strings.Count(w.text, "{") != strings.Count(w.text, "}") {
			c.bad(w.at, st, "unknown-placeholder", "%s has a brace without its partner", what)
		}
		if slices.Contains(c.s.unicode, lang) {
			return
		}
		for _, r := range sms.Encode(w.text).Culprits {
			c.bad(w.at, st, "not-gsm7", "%s in %q holds %q (U+%04X) at character %d, …%s…: it is not in the text-message alphabet, so that the text takes more than twice the room",
				what, lang, string(r), r, placeOf(w.text, r), around(w.text, r))
		}
	})
}

// placeOf is which character of a text the first of its kind is, from 1.
func placeOf(text string, r rune) int {
	before, _, _ := strings.Cut(text, string(r))
	return utf8.RuneCountInString(before) + 1
}

// around is a few characters of a text about the first of a kind, so that it is
// found in a long text.
func around(text string, r rune) string {
	const each = 8
	before, after, _ := strings.Cut(text, string(r))
	b, a := []rune(before), []rune(after)
	return string(b[max(len(b)-each, 0):]) + string(r) + string(a[:min(len(a), each)])
}

// guards checks what a protected text must keep.
func (c *checker) guards(st *Step) {
	for _, name := range st.requires {
		if _, ok := placeholderByName[name]; !ok {
			c.bad(st.where("requires"), st, "unknown-placeholder", "it requires {%s}, which nobody fills in", name)
		}
	}
	c.guarded(st)
	for _, part := range partKeys {
		for lang, w := range st.parts[part] {
			c.guard(st, part, lang, w)
		}
	}
}

// guarded sees that what must be said is known in every language.
func (c *checker) guarded(st *Step) {
	for _, lang := range c.complete() {
		if len(st.mustSay[english]) > 0 && len(st.mustSay[lang]) == 0 {
			c.bad(st.where("must_say"), st, "missing-translation", "its must_say is missing in %q (%s)", lang, languageName(lang))
		}
	}
}

func (c *checker) guard(st *Step, part, lang string, w wording) {
	held := placeholdersIn(w.text)
	for _, name := range st.requires {
		if !slices.Contains(held, name) {
			c.bad(w.at, st, "missing-number", "its %s in %q must keep {%s}", part, lang, name)
		}
	}
	for _, words := range st.mustSay[lang] {
		if !strings.Contains(strings.ToLower(w.text), strings.ToLower(words)) {
			c.bad(w.at, st, "missing-words", "its %s in %q must say %q", part, lang, words)
		}
	}
}

// conditions checks that what is asked about exists.
func (c *checker) conditions(st *Step) {
	list := []condition{st.onlyIf}
	for _, b := range st.branches {
		list = append(list, b.when)
		c.target(st, b.to, b.at)
	}
	c.target(st, st.next, st.nextAt)
	for _, cond := range list {
		for _, t := range cond.terms {
			if t.name == "fact" && !slices.Contains(FactNames, t.arg) {
				c.bad(cond.at, st, "unknown-fact", "nobody knows the fact %q; known are %s", t.arg, strings.Join(FactNames, ", "))
			}
		}
		for _, item := range cond.itemsNamed() {
			if !c.asks(item) {
				c.bad(cond.at, st, "unknown-item", "no step asks about %q", item)
			}
		}
	}
}

func (c *checker) asks(item string) bool {
	return slices.ContainsFunc(c.s.steps, func(st *Step) bool { return slices.Contains(st.itemsOf(), item) })
}

func (c *checker) target(st *Step, to string, at place) {
	if to == "" {
		return
	}
	target := c.s.step(to)
	if target == nil {
		c.bad(at, st, "unknown-goto", "it leads to %q, and there is no such step", to)
		return
	}
	for _, f := range c.s.allForms() {
		if st.hasForm(f) && target.hasForm(f) {
			return
		}
	}
	c.bad(at, st, "unknown-goto", "it leads to %s, which no form that asks this step has", to)
}
