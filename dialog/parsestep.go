package dialog

import (
	"slices"
	"strconv"

	"go.yaml.in/yaml/v3"
)

// partKeys are the texts that a step may have.
var partKeys = []string{PartAsk, PartMore, PartReask, PartMissing, PartFresh, PartRemind, PartSay}

// steps reads the list of steps, or of single texts.
func (p *parser) steps(n *yaml.Node, single bool) []*Step {
	var out []*Step
	for _, c := range p.list(n) {
		st := p.readStep(c, single)
		p.step = ""
		if st.id == "" {
			continue
		}
		out = append(out, st)
	}
	return out
}

func (p *parser) readStep(n *yaml.Node, single bool) *Step {
	st := &Step{at: p.place(n), parts: map[string]wordings{}}
	fields := slices.Concat(p.textFields(st), p.guardFields(st))
	if single {
		st.kind = KindSay
	} else {
		fields = slices.Concat(fields, p.walkFields(st), p.answerFields(st))
	}
	what := "a step"
	if single {
		what = "a text"
	}
	st.given = p.mapping(n, what, fields)
	if st.id == "" && n.Kind == yaml.MappingNode {
		if _, ok := st.given["id"]; !ok {
			p.bad(n.Line, "missing-key", "%s has no id", what)
		}
	}
	if _, ok := st.given["kind"]; !ok && !single && !p.override && st.id != "" {
		p.bad(n.Line, "missing-key", "the step %s has no kind", st.id)
	}
	return st
}

func (p *parser) textFields(st *Step) []field {
	fields := []field{
		{"id", func(n *yaml.Node) { st.id = p.name(n); p.step = st.id }},
		{"note", func(n *yaml.Node) { p.word(n) }},
	}
	for _, part := range partKeys {
		fields = append(fields, field{part, func(n *yaml.Node) { st.parts[part] = p.wordings(n) }})
	}
	return fields
}

func (p *parser) guardFields(st *Step) []field {
	return []field{
		{"protected", func(n *yaml.Node) { st.protected = p.truth(n) }},
		{"requires", func(n *yaml.Node) { st.requires = p.names(n) }},
		{"must_say", func(n *yaml.Node) { st.mustSay = p.wordlists(n) }},
		{"segments", func(n *yaml.Node) { st.segments = p.whole(n, 1, 6) }},
	}
}

func (p *parser) walkFields(st *Step) []field {
	return []field{
		{"kind", func(n *yaml.Node) { st.kind = p.kind(n) }},
		{"forms", func(n *yaml.Node) { st.forms = p.formList(n) }},
		{"only_if", func(n *yaml.Node) { st.onlyIf = p.condition(n) }},
		{"aside", func(n *yaml.Node) { st.aside = p.truth(n) }},
		{"end", func(n *yaml.Node) { st.end = p.truth(n) }},
		{"branches", func(n *yaml.Node) { st.branches = p.branches(n) }},
		{"goto", func(n *yaml.Node) { st.next, st.nextAt = p.name(n), p.place(n) }},
		{"safety", func(n *yaml.Node) { st.safety = p.truth(n) }},
		{"after", func(n *yaml.Node) { st.after = p.after(n) }},
	}
}

func (p *parser) after(n *yaml.Node) string {
	if !p.override {
		p.bad(n.Line, "unknown-key", "after belongs to a clinic's own file, where it says which step a new one follows")
	}
	return p.name(n)
}

func (p *parser) answerFields(st *Step) []field {
	return []field{
		{"item", func(n *yaml.Node) { st.item = p.name(n) }},
		{"items", func(n *yaml.Node) { st.items = p.names(n) }},
		{"also", func(n *yaml.Node) { st.also = p.name(n) }},
		{"free", func(n *yaml.Node) { st.free = p.truth(n) }},
		{"names", func(n *yaml.Node) { st.names = p.wordlists(n) }},
		{"yes", func(n *yaml.Node) { st.yes = p.wordlists(n) }},
		{"no", func(n *yaml.Node) { st.no = p.wordlists(n) }},
		{"dogs", func(n *yaml.Node) { st.dogs = p.truth(n) }},
		{"most", func(n *yaml.Node) { st.most = p.whole(n, 1, 1000) }},
		{"anchors", func(n *yaml.Node) { st.anchors = p.anchorsByLang(n) }},
		{"labels", func(n *yaml.Node) { st.labels = p.labelsByLang(n) }},
		{"options", func(n *yaml.Node) { st.options = p.optionList(n) }},
	}
}

func (p *parser) kind(n *yaml.Node) Kind {
	s := p.word(n)
	if s == "end" {
		return kindEnd
	}
	if i := slices.Index(kindNames[1:], s); i >= 0 {
		return Kind(i + 1)
	}
	p.bad(n.Line, "bad-value", "%q is not a kind of step; use scale, grid, yesno, weight, choice, number, text, say or end", s)
	return KindNone
}

func (p *parser) formList(n *yaml.Node) []Form {
	var out []Form
	for _, c := range p.list(n) {
		switch p.word(c) {
		case "one":
			out = append(out, OneByOne)
		case "all":
			out = append(out, AllAtOnce)
		default:
			p.bad(c.Line, "bad-value", "%q is not a form; use one or all", c.Value)
		}
	}
	return out
}

func (p *parser) condition(n *yaml.Node) condition {
	c, err := parseCondition(p.word(n))
	if err != nil {
		p.bad(n.Line, "bad-condition", "%s", err.Error())
	}
	c.at = p.place(n)
	return c
}

func (p *parser) branches(n *yaml.Node) []branch {
	var out []branch
	for _, c := range p.list(n) {
		b := branch{at: p.place(c)}
		given := p.mapping(c, "a branch", []field{
			{"when", func(n *yaml.Node) { b.when = p.condition(n) }},
			{"goto", func(n *yaml.Node) { b.to = p.name(n) }},
		})
		for _, key := range []string{"when", "goto"} {
			if _, ok := given[key]; !ok {
				p.bad(c.Line, "missing-key", "the branch has no %s", key)
			}
		}
		out = append(out, b)
	}
	return out
}

// wordings reads one text by language.
func (p *parser) wordings(n *yaml.Node) wordings {
	out := wordings{}
	p.pairs(n, "a text", func(key, value *yaml.Node) {
		lang := p.name(key)
		if text := p.word(value); text == "" {
			p.bad(value.Line, "bad-value", "the text is empty")
		} else {
			out[lang] = wording{text, p.place(key)}
		}
	})
	return out
}

func (p *parser) wordlists(n *yaml.Node) wordlists {
	out := wordlists{}
	p.pairs(n, "a list of words by language", func(key, value *yaml.Node) { out[p.name(key)] = p.words(value) })
	return out
}

func (p *parser) anchorsByLang(n *yaml.Node) map[string]*anchors {
	out := map[string]*anchors{}
	p.pairs(n, "anchors", func(key, value *yaml.Node) { out[p.name(key)] = p.readAnchors(value) })
	return out
}

// readAnchors reads the keys 0 to 4 and x.
func (p *parser) readAnchors(n *yaml.Node) *anchors {
	a := &anchors{at: p.place(n)}
	p.pairs(n, "anchors", func(key, value *yaml.Node) {
		level, err := strconv.Atoi(key.Value)
		switch {
		case key.Value == "x":
			a.x = p.word(value)
		case err == nil && level >= 0 && level <= 4 && len(key.Value) == 1:
			a.level[level] = p.word(value)
		default:
			p.bad(key.Line, "unknown-key", "anchors have no key %q; they are 0, 1, 2, 3, 4 and x", key.Value)
		}
	})
	return a
}

func (p *parser) labelsByLang(n *yaml.Node) map[string]map[string]wording {
	out := map[string]map[string]wording{}
	p.pairs(n, "labels", func(key, value *yaml.Node) {
		m := map[string]wording{}
		p.pairs(value, "labels", func(item, label *yaml.Node) {
			m[p.name(item)] = wording{p.word(label), p.place(item)}
		})
		out[p.name(key)] = m
	})
	return out
}

func (p *parser) optionList(n *yaml.Node) []option {
	var out []option
	for _, c := range p.list(n) {
		o := option{at: p.place(c)}
		given := p.mapping(c, "an option", []field{
			{"id", func(n *yaml.Node) { o.id = p.name(n) }},
			{"text", func(n *yaml.Node) { o.text = p.wordings(n) }},
			{"words", func(n *yaml.Node) { o.words = p.wordlists(n) }},
			{"several", func(n *yaml.Node) { o.several = p.truth(n) }},
		})
		for _, key := range []string{"id", "text"} {
			if _, ok := given[key]; !ok {
				p.bad(c.Line, "missing-key", "the option has no %s", key)
			}
		}
		out = append(out, o)
	}
	return out
}
