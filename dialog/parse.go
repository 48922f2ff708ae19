package dialog

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"
)

// maxScriptBytes is the largest script file read.
const maxScriptBytes = 256 * 1024

// parsed is one file as read, before anything is checked across steps.
type parsed struct {
	script *Script
	given  map[string]place // keys the file names
	remove []wording        // an override's steps to take out
}

// parser reads one file and keeps every problem it meets.
type parser struct {
	file     string
	script   string
	step     string
	override bool
	problems []Problem
}

func (p *parser) bad(line int, code, format string, args ...any) {
	p.problems = append(p.problems, Problem{File: p.file, Line: line, Script: p.script, Step: p.step,
		Code: code, Message: fmt.Sprintf(format, args...)})
}

func (p *parser) place(n *yaml.Node) place { return place{p.file, n.Line} }

// field reads one key of a mapping.
type field struct {
	key  string
	read func(n *yaml.Node)
}

// parseScript reads one script file. It is strict: a key that it does not know
// is a problem, with its line.
func parseScript(file string, data []byte, override bool) (parsed, []Problem) {
	p := &parser{file: file, override: override}
	root, ok := p.document(data)
	if !ok {
		return parsed{}, p.problems
	}
	out := parsed{script: &Script{version: 1, at: p.place(root)}}
	s := out.script
	fields := []field{
		{"script", func(n *yaml.Node) { s.id = p.name(n); p.script = s.id }},
		{"version", func(n *yaml.Node) { s.version = p.whole(n, 1, 1_000_000) }},
		{"about", func(n *yaml.Node) { p.word(n) }},
		{"languages", func(n *yaml.Node) { s.languages = p.names(n) }},
		{"unicode", func(n *yaml.Node) { s.unicode = p.names(n) }},
		{"limits", func(n *yaml.Node) { s.limits = p.limits(n) }},
		{"steps", func(n *yaml.Node) { s.steps = p.steps(n, false) }},
		{"texts", func(n *yaml.Node) { s.texts = p.steps(n, true) }},
	}
	if override {
		fields = append(fields, field{"remove", func(n *yaml.Node) { out.remove = p.removals(n) }})
	}
	out.given = p.mapping(root, "the script", fields)
	p.step = ""
	for _, key := range []string{"script", "languages"} {
		if _, ok := out.given[key]; !ok && (key == "script" || !override) {
			p.bad(root.Line, "missing-key", "the script has no %s", key)
		}
	}
	return out, p.problems
}

// yamlReason is the library's own reason without its line, which may be off.
func yamlReason(err error) string {
	text := strings.TrimPrefix(err.Error(), "yaml: ")
	if at := yamlLine.FindStringIndex(text); at != nil && at[0] == 0 {
		text = strings.TrimPrefix(text[at[1]:], ": ")
	}
	return text
}

var yamlLine = regexp.MustCompile(`line (\d+)`)

// document returns the top mapping of a file.
func (p *parser) document(data []byte) (*yaml.Node, bool) {
	if len(data) > maxScriptBytes {
		p.bad(1, "too-big", "the file has %d bytes; at most %d are read", len(data), maxScriptBytes)
		return nil, false
	}
	var doc yaml.Node
	if err := yaml.Unmarshal(data, &doc); err != nil {
		line := 1
		if m := yamlLine.FindStringSubmatch(err.Error()); m != nil {
			line, _ = strconv.Atoi(m[1])
			if strings.Contains(err.Error(), "did not find expected") {
				line++ // the library counts these from nought
			}
		}
		p.bad(line, "bad-yaml", "the file is not readable as YAML: %s", yamlReason(err))
		return nil, false
	}
	if len(doc.Content) != 1 || doc.Content[0].Kind != yaml.MappingNode {
		p.bad(1, "bad-yaml", "the file must hold one script: keys such as script, version, languages and steps")
		return nil, false
	}
	return doc.Content[0], true
}

// mapping reads a mapping by a table of fields and returns where each key stands.
func (p *parser) mapping(n *yaml.Node, what string, fields []field) map[string]place {
	given := map[string]place{}
	if n.Kind != yaml.MappingNode {
		p.bad(n.Line, "bad-value", "%s must be a list of keys and values", what)
		return given
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		at := slices.IndexFunc(fields, func(f field) bool { return f.key == key.Value })
		switch _, twice := given[key.Value]; {
		case twice:
			p.bad(key.Line, "duplicate-key", "%s has %q twice", what, key.Value)
		case at < 0:
			p.bad(key.Line, "unknown-key", "%s has no key %q; known are %s", what, key.Value, keyList(fields))
		default:
			given[key.Value] = p.place(key)
			fields[at].read(value)
		}
	}
	return given
}

func keyList(fields []field) string {
	keys := make([]string, len(fields))
	for i, f := range fields {
		keys[i] = f.key
	}
	return strings.Join(keys, ", ")
}

// pairs calls each for every key and value of a mapping with free keys.
func (p *parser) pairs(n *yaml.Node, what string, each func(key, value *yaml.Node)) {
	if n.Kind != yaml.MappingNode {
		p.bad(n.Line, "bad-value", "%s must be a list of keys and values", what)
		return
	}
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if key := n.Content[i]; seen[key.Value] {
			p.bad(key.Line, "duplicate-key", "%s has %q twice", what, key.Value)
		} else {
			seen[key.Value] = true
			each(key, n.Content[i+1])
		}
	}
}

// word reads a text of any wording.
func (p *parser) word(n *yaml.Node) string {
	if n.Kind != yaml.ScalarNode {
		p.bad(n.Line, "bad-value", "a text is wanted here")
		return ""
	}
	return strings.TrimSpace(n.Value)
}

var nameForm = regexp.MustCompile(`^[a-z][a-z0-9_-]{0,39}$`)

// name reads an id: lower-case letters, digits, _ and -.
func (p *parser) name(n *yaml.Node) string {
	s := p.word(n)
	if n.Kind == yaml.ScalarNode && !nameForm.MatchString(s) {
		p.bad(n.Line, "bad-value", "%q is not a name; use lower-case letters, digits, _ and -, at most 40", s)
		return ""
	}
	return s
}

func (p *parser) list(n *yaml.Node) []*yaml.Node {
	if n.Kind != yaml.SequenceNode {
		p.bad(n.Line, "bad-value", "a list is wanted here, such as [a, b]")
		return nil
	}
	return n.Content
}

func (p *parser) names(n *yaml.Node) []string {
	var out []string
	for _, c := range p.list(n) {
		if s := p.name(c); s != "" {
			out = append(out, s)
		}
	}
	return out
}

func (p *parser) words(n *yaml.Node) []string {
	var out []string
	for _, c := range p.list(n) {
		if s := p.word(c); s != "" {
			out = append(out, s)
		}
	}
	return out
}

func (p *parser) removals(n *yaml.Node) []wording {
	var out []wording
	for _, c := range p.list(n) {
		out = append(out, wording{p.name(c), p.place(c)})
	}
	return out
}

func (p *parser) whole(n *yaml.Node, low, high int) int {
	v, err := strconv.Atoi(p.word(n))
	if err != nil || v < low || v > high {
		p.bad(n.Line, "bad-value", "%q: a whole number from %d to %d is wanted", n.Value, low, high)
		return low
	}
	return v
}

func (p *parser) truth(n *yaml.Node) bool {
	switch p.word(n) {
	case "true":
		return true
	case "false":
		return false
	}
	p.bad(n.Line, "bad-value", "%q: true or false is wanted", n.Value)
	return false
}

func (p *parser) span(n *yaml.Node) time.Duration {
	d, err := time.ParseDuration(p.word(n))
	if err != nil || d < time.Minute || d > 90*24*time.Hour {
		p.bad(n.Line, "bad-value", "%q: a time such as 30m or 24h is wanted, from 1m to 2160h", n.Value)
		return 0
	}
	return d
}

func (p *parser) limits(n *yaml.Node) Limits {
	var l Limits
	p.mapping(n, "limits", []field{
		{"remind", func(n *yaml.Node) { l.RemindAfter = p.span(n) }},
		{"close", func(n *yaml.Node) { l.CloseAfter = p.span(n) }},
		{"safety", func(n *yaml.Node) { l.SafetyAfter = p.span(n) }},
	})
	return l
}

// ErrScripts means that script files have problems.
var ErrScripts = errors.New("the scripts have problems")
