package dialog

import (
	"slices"
	"strconv"
	"strings"
)

// line keeps what is about to be said: the step, the part and the values of
// the placeholders that its text uses in any language.
func (s *Script) line(st *Step, part string, ctx *Context, items []string) Line {
	l := Line{Script: s.id, Version: s.version, Step: st.id, Part: part, Lang: saidIn(ctx.Lang)}
	for _, name := range st.usedIn(part) {
		if name == "items" {
			l.set(name, strings.Join(items, " "))
		} else if name == "dogs" {
			l.set(name, dogList(ctx.Vars))
		} else if v := ctx.Vars[name]; v != "" {
			l.set(name, v)
		}
	}
	return l
}

// saidIn is a language as a line keeps it: most say nothing, and are English.
func saidIn(lang string) string {
	if lang == english {
		return ""
	}
	return lang
}

// maxDogs is how many dogs one question can tell apart.
const maxDogs = 9

// dogNames are the household's dogs, as the caller numbers them: dog1, dog2, …
func dogNames(vars map[string]string) []string {
	var names []string
	for i := 1; i <= maxDogs; i++ {
		name := vars["dog"+strconv.Itoa(i)]
		if name == "" {
			break
		}
		names = append(names, name)
	}
	return names
}

func dogList(vars map[string]string) string {
	names := dogNames(vars)
	for i, name := range names {
		names[i] = strconv.Itoa(i+1) + " " + cutTo(name, MaxDogName)
	}
	return strings.Join(names, ", ")
}

func (l *Line) set(name, value string) {
	if l.Vars == nil {
		l.Vars = map[string]string{}
	}
	l.Vars[name] = value
}

// usedIn lists the placeholders of a part in all languages.
func (st *Step) usedIn(part string) []string {
	if names, ok := st.used[part]; ok {
		return names
	}
	return st.findUsed(part)
}

// learn looks once, when a library is made, for what every line of the step
// would have to look for.
func (st *Step) learn() {
	st.used = make(map[string][]string, len(st.parts))
	for part := range st.parts {
		st.used[part] = st.findUsed(part)
	}
}

// findUsed looks through the texts of a part. The generated lists may hold an
// own activity's name.
func (st *Step) findUsed(part string) []string {
	var names []string
	add := func(text string) {
		for _, n := range placeholdersIn(text) {
			if !slices.Contains(names, n) {
				names = append(names, n)
			}
		}
	}
	for _, w := range st.parts[part] {
		add(w.text)
	}
	if slices.Contains(names, "items") {
		for _, m := range st.labels {
			for _, w := range m {
				add(w.text)
			}
		}
	}
	if slices.Contains(names, "options") {
		for _, o := range st.options {
			for _, w := range o.text {
				add(w.text)
			}
		}
	}
	slices.Sort(names)
	return names
}

// Say returns a single text that is not part of a dialog. An unknown name
// gives a line that renders as a safe fallback.
func (l *Library) Say(script, step string, ctx Context) Line {
	s := l.scripts[script]
	if s == nil {
		return fallbackLine(script, step, &ctx)
	}
	st := s.anyStep(step)
	if st == nil {
		return fallbackLine(script, step, &ctx)
	}
	part := PartSay
	if _, ok := st.parts[PartSay]; !ok {
		part = PartAsk
	}
	return s.line(st, part, &ctx, nil)
}

func fallbackLine(script, step string, ctx *Context) Line {
	l := Line{Script: script, Step: step, Part: PartSay, Lang: saidIn(ctx.Lang)}
	for _, name := range placeholdersIn(locales[english].fallback) {
		if v := ctx.Vars[name]; v != "" {
			l.set(name, v)
		}
	}
	return l
}

// Render returns the text of a line in the language it was said in; lang is that
// of a line that doesn't say. It never fails: where a language lacks the text
// English stands in, and an unknown step gives a safe fallback that says to ring
// the practice. Texts of a language that isn't wide are GSM-7 whatever the values
// hold.
func (l *Library) Render(line Line, lang string) string {
	if line.Lang != "" {
		lang = line.Lang
	}
	s := l.scripts[line.Script]
	if s == nil {
		return fallback(line.Vars, lang)
	}
	st := s.anyStep(line.Step)
	if st == nil {
		return fallback(line.Vars, lang)
	}
	w, ok := st.parts[line.Part][lang]
	if !ok {
		lang = english
		if w, ok = st.parts[line.Part][lang]; !ok {
			return fallback(line.Vars, lang)
		}
	}
	wide := slices.Contains(s.unicode, lang)
	r := rendering{library: l, script: s, step: st, lang: lang, vars: line.Vars, wide: wide}
	return isolated(lang, wide).render(w.text, line.Vars, &r)
}

// fallback sends the owner to the practice.
func fallback(vars map[string]string, lang string) string {
	l, ok := locales[lang]
	if !ok {
		l = locales[english]
		lang = english
	}
	return style{lang: lang}.render(l.fallback, vars, nil)
}

// rendering is one text being written.
type rendering struct {
	library *Library
	script  *Script
	step    *Step
	lang    string
	vars    map[string]string
	wide    bool
}

// style is how values stand in a text: in the text-message alphabet or beyond
// it, and set apart from words that run the other way.
type style struct {
	lang    string
	wide    bool
	isolate bool
}

// render fills a text in.
func (y style) render(text string, vars map[string]string, r *rendering) string {
	out := expand(text, func(name string) string {
		if r != nil {
			if v, ok := r.generated(name, y); ok {
				return v
			}
		}
		return y.value(name, vars)
	})
	return tidy(out)
}

// value is a placeholder's value as it may stand in a text.
func (y style) value(name string, vars map[string]string) string {
	p := placeholderByName[name]
	v := plainValue(vars[name], y.wide)
	if v == "" {
		return fallbackOf(p, y.lang)
	}
	if p.Cut {
		v = cutTo(v, p.Longest)
	}
	return y.apart(v)
}

// generated writes the placeholders that a step itself fills.
func (r *rendering) generated(name string, y style) (string, bool) {
	switch name {
	case "levels":
		return r.levels(y), true
	case "items":
		return r.items(y), true
	case "options":
		return r.options(y), true
	case "better":
		// The caller may name an item by its code; owners read its label.
		if checkin := r.library.scripts["checkin"]; checkin != nil {
			if label, ok := checkin.Label(r.vars["better"], r.lang); ok {
				return r.inner(label, y), true
			}
		}
	}
	return "", false
}

// inner expands a label's or option's own placeholders, one level deep.
func (r *rendering) inner(text string, y style) string {
	return expand(text, func(name string) string { return y.value(name, r.vars) })
}

// levels writes "0 never, 1 a few steps, … 4 won't use the leg, X no walks".
func (r *rendering) levels(y style) string {
	a := r.step.anchorsIn(r.lang)
	if a == nil {
		return ""
	}
	var b strings.Builder
	for i, text := range a.level {
		b.WriteString(y.apart(strconv.Itoa(i)) + " " + text + ", ")
	}
	b.WriteString(y.apart("X") + " " + a.x)
	return b.String()
}

// items writes "1 limping 2 soreness …" for the items that are asked.
func (r *rendering) items(y style) string {
	labels := r.step.labels[r.lang]
	if labels == nil {
		labels = r.step.labels[english]
	}
	codes := strings.Fields(r.vars["items"])
	parts := make([]string, 0, len(codes))
	for i, code := range codes {
		label := code
		if w, ok := labels[code]; ok {
			label = r.inner(w.text, y)
		}
		if len(codes) == 1 {
			return label
		}
		parts = append(parts, y.apart(strconv.Itoa(i+1))+" "+label)
	}
	return strings.Join(parts, ", ")
}

// options writes "1 vomiting 2 diarrhoea …".
func (r *rendering) options(y style) string {
	parts := make([]string, 0, len(r.step.options))
	for i, o := range r.step.options {
		w, ok := o.text[r.lang]
		if !ok {
			w = o.text[english]
		}
		parts = append(parts, y.apart(strconv.Itoa(i+1))+" "+r.inner(w.text, y))
	}
	return strings.Join(parts, ", ")
}

// tidy mends what an empty placeholder leaves behind: "Thank you, ." and
// doubled spaces.
func tidy(text string) string {
	for _, r := range [...][2]string{{"  ", " "}, {" ,", ","}, {" .", "."}, {",.", "."}, {", ,", ","}} {
		for strings.Contains(text, r[0]) {
			text = strings.ReplaceAll(text, r[0], r[1])
		}
	}
	return strings.TrimSpace(text)
}
