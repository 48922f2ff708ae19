package dialog

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"maps"
	"reflect"
	"slices"
)

// Override returns a library with a clinic's own texts laid over l. Each file
// names the script it changes and holds only what changes: a step of a known
// id replaces the keys it gives (a text replaces that text in the languages it
// gives), a step of a new id is put in after the step it names, and remove
// takes steps out. A file for a script that l lacks is a whole script.
//
// A clinic may change any script's texts and steps but never remove telephone
// numbers or safety lines: a protected step stays, stays protected, keeps the
// placeholders and words it must have and the branches that lead to it, and a
// text that holds a number goes on holding it. All problems are returned; with
// problems, the library returned is l itself.
//
// New steps and options need the languages that the clinic uses, as given, or
// those that the file itself names; in any other language English stands in.
func (l *Library) Override(fsys fs.FS, languages ...string) (*Library, []Problem) {
	out := &Library{scripts: maps.Clone(l.scripts)}
	files, problems := readFiles(fsys)
	hash := sha256.New()
	hash.Write([]byte(l.version))
	for _, f := range files {
		hash.Write(f.data)
		problems = append(problems, out.lay(f, languages)...)
	}
	sortProblems(problems)
	if len(problems) > 0 || len(files) == 0 {
		return l, problems
	}
	out.learn()
	out.version = "scripts-" + hex.EncodeToString(hash.Sum(nil)[:4])
	return out, nil
}

// lay puts one clinic file over the library's scripts.
func (l *Library) lay(f scriptFile, languages []string) []Problem {
	own, problems := parseScript(f.name, f.data, true)
	if len(problems) > 0 {
		return problems
	}
	base := l.scripts[own.script.id]
	if base == nil {
		own, problems = parseScript(f.name, f.data, false)
		if len(problems) > 0 {
			return problems
		}
		l.scripts[own.script.id] = own.script
		return check(own.script)
	}
	m := merger{base: base, own: own, file: f.name}
	merged := m.merge()
	needed := append(slices.Clone(own.script.languages), english)
	for _, p := range checkFor(merged, append(needed, languages...)) {
		if p.File != f.name { // a fault that shows in a built-in line is the override's doing
			p.Message = fmt.Sprintf("with %s: %s", f.name, p.Message)
			p.File, p.Line = f.name, own.script.at.line
		}
		m.problems = append(m.problems, p)
	}
	m.keepOnPath(merged)
	l.scripts[own.script.id] = merged
	return m.problems
}

// merger lays one parsed file over a script.
type merger struct {
	base     *Script
	own      parsed
	file     string
	problems []Problem
}

func (m *merger) bad(at place, step, code, format string, args ...any) {
	m.problems = append(m.problems, Problem{File: m.file, Line: at.line, Script: m.base.id, Step: step,
		Code: code, Message: fmt.Sprintf(format, args...)})
}

func (m *merger) gave(key string) bool { _, ok := m.own.given[key]; return ok }

func (m *merger) merge() *Script {
	s := *m.base
	own := m.own.script
	if m.gave("version") {
		s.version = own.version
	}
	for _, lang := range own.languages {
		if !slices.Contains(s.languages, lang) {
			s.languages = append(slices.Clip(s.languages), lang)
		}
	}
	if m.gave("unicode") {
		s.unicode = own.unicode
	}
	s.limits = m.limits()
	s.steps = m.layList(m.base.steps, own.steps)
	s.texts = m.layList(m.base.texts, own.texts)
	s.steps, s.texts = m.without(s.steps), m.without(s.texts)
	for _, gone := range m.own.remove {
		if m.base.anyStep(gone.text) == nil {
			m.bad(gone.at, gone.text, "unknown-goto", "remove names %q, and there is no such step", gone.text)
		}
	}
	return &s
}

// keepOnPath sees that a protected question which nobody can pass by in the
// built-in script can't be passed by in the merged one.
func (m *merger) keepOnPath(merged *Script) {
	for _, f := range m.base.allForms() {
		for _, item := range m.base.protectedItems() {
			was, is := newGraph(m.base, f), newGraph(merged, f)
			if !was.canPass(m.base.protectedFor(item)) && is.canPass(merged.protectedFor(item)) {
				m.bad(m.own.script.at, item, "removed-safety-line",
					"with these steps a dialog can end without asking about %s", item)
			}
		}
	}
}

// protectedItems are the items of the protected questions of the main walk.
func (s *Script) protectedItems() []string {
	var out []string
	for _, st := range s.steps {
		if st.protected && !st.aside && st.item != "" && !slices.Contains(out, st.item) {
			out = append(out, st.item)
		}
	}
	return out
}

func (s *Script) protectedFor(item string) []*Step {
	var out []*Step
	for _, st := range s.steps {
		if st.protected && !st.aside && st.item == item {
			out = append(out, st)
		}
	}
	return out
}

// limits may be changed, but a safety question never waits longer than built in.
func (m *merger) limits() Limits {
	l, own := m.base.limits, m.own.script.limits
	if own.RemindAfter > 0 {
		l.RemindAfter = own.RemindAfter
	}
	if own.CloseAfter > 0 {
		l.CloseAfter = own.CloseAfter
	}
	switch {
	case own.SafetyAfter > l.SafetyAfter:
		m.bad(m.own.given["limits"], "", "removed-safety-line", "an unanswered safety question may not wait longer than %s", l.SafetyAfter)
	case own.SafetyAfter > 0:
		l.SafetyAfter = own.SafetyAfter
	}
	return l
}

func (m *merger) layList(base, own []*Step) []*Step {
	out := slices.Clone(base)
	for _, st := range own {
		at := slices.IndexFunc(out, func(b *Step) bool { return b.id == st.id })
		if at >= 0 {
			out[at] = m.layStep(out[at], st)
			continue
		}
		if _, ok := st.given["kind"]; !ok && st.kind == KindNone {
			m.bad(st.at, st.id, "missing-key", "the new step %s has no kind", st.id)
		}
		after := slices.IndexFunc(out, func(b *Step) bool { return b.id == st.after })
		switch {
		case st.after != "" && after < 0:
			m.bad(st.where("after"), st.id, "unknown-goto", "the new step %s is to follow %q, and there is no such step", st.id, st.after)
		case after >= 0:
			out = slices.Insert(out, after+1, st)
		default:
			out = append(out, st)
		}
	}
	return out
}

// without takes out the removed steps, except those that must stay.
func (m *merger) without(steps []*Step) []*Step {
	var out []*Step
	for _, st := range steps {
		i := slices.IndexFunc(m.own.remove, func(w wording) bool { return w.text == st.id })
		if i < 0 {
			out = append(out, st)
			continue
		}
		if st.protected {
			m.bad(m.own.remove[i].at, st.id, "removed-safety-line", "the step %s keeps owners safe and can't be removed", st.id)
			out = append(out, st)
		}
	}
	return out
}

// layStep returns base with the keys that own gives.
func (m *merger) layStep(base, own *Step) *Step {
	st := *base
	st.at, st.given = own.at, own.given
	st.used = nil // of the texts as they were
	st.parts = m.layParts(base, own)
	m.layBranches(&st, base, own)
	if base.protected {
		m.keepProtected(base, own)
	}
	m.layPlain(&st, own)
	m.layAnswers(&st, own)
	return &st
}

// layPlain takes over the keys that say how a step is walked.
func (m *merger) layPlain(st, own *Step) {
	for key := range own.given {
		switch key {
		case "kind":
			st.kind = own.kind
		case "only_if":
			st.onlyIf = own.onlyIf
		case "forms":
			st.forms = own.forms
		case "aside":
			st.aside = own.aside
		case "end":
			st.end = own.end
		case "free":
			st.free = own.free
		case "safety":
			st.safety = own.safety
		case "goto":
			st.next, st.nextAt = own.next, own.nextAt
		case "segments":
			st.segments = own.segments
		case "protected":
			st.protected = own.protected
		case "requires":
			st.requires = own.requires
		case "must_say":
			st.mustSay = layMap(st.mustSay, own.mustSay)
		}
	}
}

// layAnswers takes over the keys that say what a step records.
func (m *merger) layAnswers(st, own *Step) {
	for key := range own.given {
		switch key {
		case "item":
			st.item = own.item
		case "items":
			st.items = own.items
		case "also":
			st.also = own.also
		case "most":
			st.most = own.most
		case "dogs":
			st.dogs = own.dogs
		case "names":
			st.names = layMap(st.names, own.names)
		case "anchors":
			st.anchors = layMap(st.anchors, own.anchors)
		case "labels":
			st.labels = layMap(st.labels, own.labels)
		case "options":
			st.options = layOptions(st.options, own.options)
		case "yes":
			st.yes = layMap(st.yes, own.yes)
		case "no":
			st.no = layMap(st.no, own.no)
		}
	}
}

// layMap lays one language's entries over another's.
func layMap[M ~map[string]V, V any](base, own M) M {
	out := maps.Clone(base)
	if out == nil {
		out = M{}
	}
	maps.Copy(out, own)
	return out
}

// layOptions takes the clinic's options; one that was there before keeps its
// words in the languages that the clinic doesn't give.
func layOptions(base, own []option) []option {
	out := slices.Clone(own)
	for i := range out {
		if k := slices.IndexFunc(base, func(o option) bool { return o.id == out[i].id }); k >= 0 {
			out[i].text = layMap(base[k].text, out[i].text)
			out[i].words = layMap(base[k].words, out[i].words)
		}
	}
	return out
}

// layParts lays the given texts over the base's, and sees that a text which
// held a number still holds it.
func (m *merger) layParts(base, own *Step) map[string]wordings {
	out := maps.Clone(base.parts)
	for part, given := range own.parts {
		out[part] = layMap(base.parts[part], given)
		was := placeholdersIn(base.parts[part][english].text)
		for lang, w := range given {
			held := placeholdersIn(w.text)
			for _, n := range numbers {
				if slices.Contains(was, n) && !slices.Contains(held, n) {
					m.bad(w.at, base.id, "removed-number", "step %s: its %s in %q must keep {%s}", base.id, part, lang, n)
				}
			}
		}
	}
	return out
}

// layBranches keeps every branch that leads to a protected step.
func (m *merger) layBranches(st, base, own *Step) {
	if _, ok := own.given["branches"]; !ok {
		return
	}
	st.branches = own.branches
	for _, b := range base.branches {
		to := m.base.step(b.to)
		if to == nil || !to.protected {
			continue
		}
		kept := slices.ContainsFunc(own.branches, func(o branch) bool { return o.to == b.to && o.when.text == b.when.text })
		if !kept {
			m.bad(own.where("branches"), base.id, "removed-safety-line",
				"step %s must keep the branch to %s when %s", base.id, b.to, b.when.text)
		}
	}
}

// lockedKeys of a protected step can't be changed by a clinic.
var lockedKeys = []string{"kind", "item", "also", "aside", "goto", "forms", "only_if", "protected", "requires", "must_say", "safety", "end", "free", "options"}

func (m *merger) keepProtected(base, own *Step) {
	for _, key := range lockedKeys {
		if at, ok := own.given[key]; ok && !sameKey(base, own, key) {
			m.bad(at, base.id, "removed-safety-line", "step %s keeps owners safe; a clinic can change its texts, not its %s", base.id, key)
		}
	}
}

// sameKey reports whether a key of two steps says the same, so that a whole
// script copied from the built-in one may be laid over it.
func sameKey(a, b *Step, key string) bool {
	if key == "must_say" { // in the languages given: a new one brings its own
		for lang, words := range b.mustSay {
			if was, ok := a.mustSay[lang]; ok && !slices.Equal(was, words) {
				return false
			}
		}
		return len(a.mustSay) > 0 || len(b.mustSay) == 0
	}
	value := func(st *Step) any {
		switch key {
		case "kind":
			return st.kind
		case "item":
			return st.item
		case "also":
			return st.also
		case "aside":
			return st.aside
		case "goto":
			return st.next
		case "forms":
			return st.forms
		case "only_if":
			return st.onlyIf.text
		case "protected":
			return st.protected
		case "requires":
			return st.requires
		case "safety":
			return st.safety
		case "end":
			return st.end
		case "free":
			return st.free
		default:
			return optionIDs(st)
		}
	}
	return reflect.DeepEqual(value(a), value(b))
}

func optionIDs(st *Step) []string {
	var ids []string
	for _, o := range st.options {
		ids = append(ids, o.id)
	}
	return ids
}
