package clinic

import (
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"go.yaml.in/yaml/v3"

	"gaitpost/internal/contact"
)

// maxFile is the largest settings file read, in bytes.
const maxFile = 1 << 20

// place is a value and where it stands.
type place struct {
	path string // "channels[sms].rate"
	node *yaml.Node
	line int
}

// file is one settings file under way: what is known of the clinic and what is
// wrong with it so far.
type file struct {
	src      *Source
	name     string // as the person typed it
	clinic   *Clinic
	problems []Problem
	week     week                       // opening hours as written, for the checks across settings
	holders  map[contact.Address]string // whose a contact is
	own      map[contact.Address]place  // the channels' numbers
	found    map[string]place           // the sections at the top
}

func (f *file) report(s Severity, p place, message, allowed string) {
	f.problems = append(f.problems, Problem{
		File: f.name, Line: p.line, Key: p.path, Value: scalar(p.node),
		Message: message, Allowed: allowed, Severity: s,
	})
}

func (f *file) wrong(p place, message, allowed string) { f.report(Wrong, p, message, allowed) }

// wrongHidden reports a value that must not be repeated: it may be a secret.
func (f *file) wrongHidden(p place, message string) {
	f.wrong(place{path: p.path, line: p.line}, message, "")
}

func (f *file) doubtful(p place, message string) { f.report(Doubtful, p, message, "") }

func scalar(n *yaml.Node) string {
	if n == nil || n.Kind != yaml.ScalarNode {
		return ""
	}
	return n.Value
}

var yamlLine = regexp.MustCompile(`line (\d+)`)

// parse reads the text of a file as one YAML document. Nothing can be read of a
// file that is not YAML, so there the first problem is the only one.
func (f *file) parse(data []byte) (place, bool) {
	if len(data) > maxFile {
		f.wrong(place{}, fmt.Sprintf("the file is larger than %d bytes", maxFile), "")
		return place{}, false
	}
	dec := yaml.NewDecoder(strings.NewReader(strings.TrimPrefix(string(data), "\ufeff")))
	var doc yaml.Node
	switch err := dec.Decode(&doc); {
	case errors.Is(err, io.EOF), err == nil && len(doc.Content) == 0:
		f.wrong(place{line: 1}, "the file is empty", "")
		return place{}, false
	case err != nil:
		f.notYAML(err)
		return place{}, false
	}
	var second yaml.Node
	if err := dec.Decode(&second); err == nil {
		f.wrong(place{line: second.Line}, "a second document begins here: one file holds one clinic", "")
	} else if !errors.Is(err, io.EOF) {
		f.notYAML(err)
		return place{}, false
	}
	return place{node: doc.Content[0], line: doc.Content[0].Line}, true
}

func (f *file) notYAML(err error) {
	line := 0
	if m := yamlLine.FindStringSubmatch(err.Error()); m != nil {
		line, _ = strconv.Atoi(m[1])
	}
	what := strings.TrimPrefix(err.Error(), "yaml: ")
	if _, after, ok := strings.Cut(what, ": "); ok && line > 0 {
		what = after
	}
	msg := "this is not YAML, or a quote or indentation is off: " + what
	if strings.Contains(what, "mapping values are not allowed") {
		msg = "a colon with a space stands inside a value, or the indentation is off: such a value needs quotes, like \"sms: +44 7700 900123\""
	}
	f.wrong(place{line: line}, msg, "")
}

// fields returns the settings of a section by name, and reports what is not a
// setting, stands twice, is empty or is missing.
func (f *file) fields(p place) map[string]place {
	found := map[string]place{}
	if p.node == nil || p.node.Kind != yaml.MappingNode {
		f.wrong(p, "settings are expected here, one a line, each as name: value", "")
		return found
	}
	pattern := patternOf(p.path)
	known := childrenOf(pattern)
	for i := 0; i+1 < len(p.node.Content); i += 2 {
		f.field(p, p.node.Content[i], p.node.Content[i+1], known, found)
	}
	for _, k := range keys {
		if name, ok := childOf(pattern, k.Path); ok && k.Required && k.Path == join(pattern, name) {
			if _, has := found[name]; !has {
				f.wrong(place{path: join(p.path, name), line: max(p.line, 1)}, "this setting is missing", k.Allowed)
			}
		}
	}
	return found
}

func (f *file) field(p place, k, v *yaml.Node, known []string, found map[string]place) {
	name := k.Value
	at := place{path: join(p.path, printable(name)), node: v, line: k.Line}
	switch {
	case k.Kind != yaml.ScalarNode:
		f.wrongHidden(place{path: p.path, line: k.Line}, "a setting's name is expected here")
	case !slices.Contains(known, name):
		f.wrongHidden(at, unknownKey(p.path, name, known))
	case found[name].node != nil:
		f.wrong(at, fmt.Sprintf("this setting stands here a second time; the first is in line %d", found[name].line), "")
	case isEmpty(v):
		found[name] = place{path: at.path, node: v, line: at.line}
		f.wrong(at, "nothing is set here: give a value, or take the line out", allowedAt(at.path))
	default:
		found[name] = at
		f.clinic.set[at.path] = k.Line
	}
}

func unknownKey(section, name string, known []string) string {
	if s := section + "." + name; strings.HasPrefix(s, "channels[") && looksSecret(name) {
		return "a secret never stands in the file: name its environment variable in auth_token_env, or its file in auth_token_file"
	}
	msg := "there is no such setting"
	if best := nearest(name, known); best != "" {
		return fmt.Sprintf("%s; did you mean %q?", msg, best)
	}
	slices.Sort(known)
	return fmt.Sprintf("%s; the settings here are %s", msg, strings.Join(known, ", "))
}

// printable makes a name from the file safe to print.
func printable(name string) string {
	return shorten(strings.Map(func(r rune) rune {
		if unicode.IsGraphic(r) {
			return r
		}
		return '?'
	}, name))
}

func looksSecret(name string) bool {
	for _, w := range []string{"token", "secret", "password", "api_key", "apikey"} {
		if strings.Contains(strings.ToLower(name), w) && !strings.HasSuffix(name, "_env") && !strings.HasSuffix(name, "_file") {
			return true
		}
	}
	return false
}

func isEmpty(n *yaml.Node) bool {
	return n.Kind == yaml.ScalarNode && strings.TrimSpace(n.Value) == "" ||
		n.Kind == yaml.ScalarNode && n.Tag == "!!null"
}

// text returns a value that is one line of text, trimmed.
func (f *file) text(p place) (string, bool) {
	if p.node == nil || isEmpty(p.node) {
		return "", false // missing or empty: reported where the section was read
	}
	if p.node.Kind != yaml.ScalarNode {
		f.wrong(p, "one value is expected here", allowedAt(p.path))
		return "", false
	}
	s := strings.TrimSpace(p.node.Value)
	if strings.ContainsFunc(s, unicode.IsControl) {
		f.wrong(p, "a value is one line without control characters", allowedAt(p.path))
		return "", false
	}
	return s, true
}

// items returns the elements of a list; a single value stands for a list of one.
func (f *file) items(p place) []place {
	switch {
	case p.node == nil || isEmpty(p.node):
		return nil
	case p.node.Kind == yaml.AliasNode:
		f.wrong(p, "write the value out; references to other places are not followed", "")
		return nil
	case p.node.Kind != yaml.SequenceNode:
		return []place{p}
	}
	var out []place
	for i, n := range p.node.Content {
		out = append(out, place{path: fmt.Sprintf("%s[%d]", p.path, i+1), node: n, line: n.Line})
	}
	return out
}

// named gives an element of a list the name it has in the file, where it has one.
func (f *file) named(p place, field string) place {
	if p.node == nil || p.node.Kind != yaml.MappingNode {
		return p
	}
	for i := 0; i+1 < len(p.node.Content); i += 2 {
		if v := p.node.Content[i+1]; p.node.Content[i].Value == field && idPattern.MatchString(scalar(v)) {
			list, _, _ := cutLast(p.path, "[")
			return place{path: list + "[" + v.Value + "]", node: p.node, line: p.line}
		}
	}
	return p
}

func cutLast(s, sep string) (before, after string, ok bool) {
	if i := strings.LastIndex(s, sep); i >= 0 {
		return s[:i], s[i+len(sep):], true
	}
	return s, "", false
}

func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}
