package dialog

import (
	"io/fs"
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Languages are the languages that every built-in script has, as the codes of
// ISO 639-1, English first.
var Languages = []string{english, "es", "fr", "de"}

// untranslated are built-in scripts that have English alone so far; whoever
// writes in another language is asked in English there. A script leaves this
// list as soon as it has all four.
var untranslated = []string{"activities", "gooddays", "house", "house_again", "lesson", "summary"}

// translation is one script's words in one language: a file of its own, so that
// whoever translates sees one language and nothing of how a script walks.
type translation struct {
	script, lang string
	wide         bool // can't be written in the text-message alphabet
	steps        []*translated
	at           place
}

// translated are one step's words.
type translated struct {
	step           *Step // only what is words
	names, yes, no []string
	mustSay        []string
	options        map[string]option
}

var langForm = regexp.MustCompile(`^[a-z]{2,3}$`)

// readTranslations reads the files of every folder that is named after a
// language: es/checkin.yaml.
func readTranslations(fsys fs.FS) ([]translation, []scriptFile, []Problem) {
	entries, err := fs.ReadDir(fsys, ".")
	if err != nil {
		return nil, nil, nil // told by readFiles
	}
	var out []translation
	var files []scriptFile
	var problems []Problem
	for _, e := range entries {
		if !e.IsDir() || !langForm.MatchString(e.Name()) {
			continue
		}
		sub, err := fs.Sub(fsys, e.Name())
		if err != nil {
			continue
		}
		list, bad := readFiles(sub)
		problems = append(problems, bad...)
		for _, f := range list {
			f.name = e.Name() + "/" + f.name
			files = append(files, f)
			tr, bad := parseTranslation(f.name, f.data)
			if bad = append(bad, tr.wrongFolder(e.Name())...); len(bad) == 0 {
				out = append(out, tr)
			}
			problems = append(problems, bad...)
		}
	}
	return out, files, problems
}

// wrongFolder finds a file whose language is not that of its folder.
func (tr *translation) wrongFolder(folder string) []Problem {
	if tr.lang == folder || tr.lang == "" {
		return nil
	}
	return []Problem{{File: tr.at.file, Line: tr.at.line, Script: tr.script, Code: "unknown-language",
		Message: "the file is in " + tr.lang + " and lies in the folder " + folder}}
}

// parseTranslation reads one file.
func parseTranslation(file string, data []byte) (translation, []Problem) {
	p := &parser{file: file}
	root, ok := p.document(data)
	if !ok {
		return translation{}, p.problems
	}
	tr := translation{at: p.place(root)}
	given := p.mapping(root, "the translation", []field{
		{"script", func(n *yaml.Node) { tr.script = p.name(n); p.script = tr.script }},
		{"language", func(n *yaml.Node) { tr.lang = p.name(n) }},
		{"unicode", func(n *yaml.Node) { tr.wide = p.truth(n) }},
		{"words", func(n *yaml.Node) { tr.steps = p.translatedSteps(n, tr.lang) }},
	})
	for _, key := range []string{"script", "language", "words"} {
		if _, ok := given[key]; !ok {
			p.bad(root.Line, "missing-key", "the translation has no %s", key)
		}
	}
	return tr, p.problems
}

func (p *parser) translatedSteps(n *yaml.Node, lang string) []*translated {
	var out []*translated
	if lang == "" {
		p.bad(n.Line, "missing-key", "the language must stand before the words")
		return nil
	}
	p.pairs(n, "the words", func(key, value *yaml.Node) {
		p.step = p.name(key)
		tr := &translated{step: &Step{id: p.step, at: p.place(key), parts: map[string]wordings{}}}
		tr.step.given = p.mapping(value, "a step's words", p.translatedFields(tr, lang))
		out = append(out, tr)
		p.step = ""
	})
	return out
}

func (p *parser) translatedFields(tr *translated, lang string) []field {
	st := tr.step
	fields := []field{
		{"note", func(n *yaml.Node) { p.word(n) }},
		{"names", func(n *yaml.Node) { tr.names = p.words(n) }},
		{"yes", func(n *yaml.Node) { tr.yes = p.words(n) }},
		{"no", func(n *yaml.Node) { tr.no = p.words(n) }},
		{"must_say", func(n *yaml.Node) { tr.mustSay = p.words(n) }},
		{"anchors", func(n *yaml.Node) { st.anchors = map[string]*anchors{lang: p.readAnchors(n)} }},
		{"labels", func(n *yaml.Node) { st.labels = map[string]map[string]wording{lang: p.plainTexts(n)} }},
		{"options", func(n *yaml.Node) { tr.options = p.translatedOptions(n, lang) }},
	}
	for _, part := range partKeys {
		fields = append(fields, field{part, func(n *yaml.Node) {
			if text := p.word(n); text != "" {
				st.parts[part] = wordings{lang: {text, p.place(n)}}
			} else {
				p.bad(n.Line, "bad-value", "the text is empty")
			}
		}})
	}
	return fields
}

// plainTexts reads texts by name.
func (p *parser) plainTexts(n *yaml.Node) map[string]wording {
	out := map[string]wording{}
	p.pairs(n, "texts", func(key, value *yaml.Node) { out[p.name(key)] = wording{p.word(value), p.place(key)} })
	return out
}

func (p *parser) translatedOptions(n *yaml.Node, lang string) map[string]option {
	out := map[string]option{}
	p.pairs(n, "options", func(key, value *yaml.Node) {
		o := option{id: p.name(key), at: p.place(key)}
		p.mapping(value, "an option", []field{
			{"text", func(n *yaml.Node) { o.text = wordings{lang: {p.word(n), p.place(n)}} }},
			{"words", func(n *yaml.Node) { o.words = wordlists{lang: p.words(n)} }},
		})
		out[o.id] = o
	})
	return out
}

// translate lays a translation over its script. A step or an option that the
// script lacks is a problem; what is missing is found when the script is checked.
func (s *Script) translate(tr *translation) []Problem {
	if !slices.Contains(s.languages, tr.lang) {
		s.languages = append(slices.Clip(s.languages), tr.lang)
	}
	if tr.wide && !slices.Contains(s.unicode, tr.lang) {
		s.unicode = append(slices.Clip(s.unicode), tr.lang)
	}
	var problems []Problem
	for _, words := range tr.steps {
		st := s.anyStep(words.step.id)
		if st == nil {
			problems = append(problems, tr.stray(words.step.at, words.step.id, "the script has no step "+words.step.id))
			continue
		}
		st.translate(words, tr.lang)
		for id, o := range words.options {
			if i := slices.IndexFunc(st.options, func(own option) bool { return own.id == id }); i >= 0 {
				st.options[i].text = layMap(st.options[i].text, o.text)
				st.options[i].words = layMap(st.options[i].words, o.words)
				continue
			}
			problems = append(problems, tr.stray(o.at, st.id, "step "+st.id+" has no option "+id))
		}
	}
	return problems
}

func (tr *translation) stray(at place, step, sentence string) Problem {
	return Problem{File: at.file, Line: at.line, Script: tr.script, Step: step, Code: "unknown-step", Message: sentence + ": nothing is translated by this"}
}

// translate lays one step's words over it. A step is its script's own here:
// nobody else has seen it yet.
func (st *Step) translate(words *translated, lang string) {
	for part, w := range words.step.parts {
		st.parts[part] = layMap(st.parts[part], w)
	}
	st.anchors = layMap(st.anchors, words.step.anchors)
	if len(words.step.labels) > 0 {
		st.labels = layMap(st.labels, words.step.labels)
	}
	if len(st.anchors) == 0 {
		st.anchors = nil
	}
	for _, list := range []struct {
		to    *wordlists
		words []string
	}{{&st.names, words.names}, {&st.yes, words.yes}, {&st.no, words.no}, {&st.mustSay, words.mustSay}} {
		if len(list.words) > 0 {
			*list.to = layMap(*list.to, wordlists{lang: list.words})
		}
	}
}

// require adds the languages that a built-in script must have, so that the
// checker names every step that lacks one.
func (s *Script) require(langs []string) {
	if slices.Contains(untranslated, s.id) {
		return
	}
	for _, lang := range langs {
		if !slices.Contains(s.languages, lang) {
			s.languages = append(slices.Clip(s.languages), lang)
		}
	}
}

// languageName is a language's name in English, for a problem's sentence.
func languageName(lang string) string {
	if l, ok := locales[lang]; ok {
		return l.english
	}
	return strings.ToUpper(lang)
}
