package synth

import (
	"maps"
	"strings"

	"gaitpost/dialog"
	"gaitpost/internal/care"
)

// heard is what somebody makes of a text: which question it ends with.
type heard struct {
	script   string
	question dialog.Question
	part     string    // how it is asked: one of the dialog package's Part constants
	dog      int       // index in the owner's dogs
	own      [2]string // that dog's own activities
	items    []string  // of a list, those that the text names
}

// ear recognises questions by their words, as rendered for one owner's dogs. It
// sees what the owner sees: the text, and nothing of the household.
type ear struct {
	patterns []pattern
	labels   map[string]string // item → how a list names it, for the whole library
}

// pattern is one question's text with the changing parts left open.
type pattern struct {
	heard
	head, tail string
}

// again reports whether the question is asked anew because the answer could not
// be taken.
func (h heard) again() bool {
	switch h.part {
	case dialog.PartReask, dialog.PartMissing, dialog.PartFresh:
		return true
	}
	return false
}

// newEar learns every question of the library, for each of the owner's dogs. vars
// holds what the texts of the practice say: its name, its numbers.
func newEar(lib *dialog.Library, o *Owner, vars map[string]string) *ear {
	e := &ear{labels: map[string]string{}}
	for _, id := range lib.Scripts() {
		script, _ := lib.Script(id)
		for _, q := range script.Questions() {
			for dog := range o.Dogs {
				e.learn(lib, script, heard{script: id, question: q, dog: dog, own: o.Dogs[dog].Enrolled.Own}, dogVars(o, dog, vars))
			}
			for _, item := range q.Items {
				if label, ok := script.Label(item, ""); ok {
					e.labels[item] = label
				}
			}
		}
	}
	return e
}

// dogVars are the values of the placeholders that an owner knows without being
// told.
func dogVars(o *Owner, dog int, practice map[string]string) map[string]string {
	d := &o.Dogs[dog].Enrolled
	vars := maps.Clone(practice)
	vars["owner"], vars["dog"] = o.Name, d.Name
	vars["own1"], vars["own2"] = d.Own[0], d.Own[1]
	vars["he"], vars["his"] = pronouns(d.Sex)
	vars["him"] = "him"
	if d.Sex == care.Female {
		vars["him"] = "her"
	}
	return vars
}

// open are the placeholders that nobody can know before the text is there.
var open = []string{"reads", "opens", "weight", "target", "date", "better", "who", "frequency", "medicine", "dogs", "crisis", "thing", "note"}

// learn adds a pattern for each part of a question: what two renderings with
// different values have in common at both ends.
func (e *ear) learn(lib *dialog.Library, s *dialog.Script, h heard, vars map[string]string) {
	for _, part := range h.question.Parts {
		one, two := maps.Clone(vars), maps.Clone(vars)
		for _, k := range open {
			one[k], two[k] = "Qq", "Zz"
		}
		one["items"], two["items"] = "steps", "night"
		line := dialog.Line{Script: s.ID(), Version: s.Version(), Step: h.question.Step, Part: part, Vars: one}
		a := lib.Render(line, "")
		line.Vars = two
		b := lib.Render(line, "")
		head := common(a, b)
		p := pattern{heard: h, head: a[:head]}
		p.part = part
		if a != b {
			if tail := commonTail(a[head:], b[head:]); tail >= 4 { // less may be chance
				p.tail = a[len(a)-tail:]
			}
		}
		e.patterns = append(e.patterns, p)
	}
}

func common(a, b string) int {
	i := 0
	for i < len(a) && i < len(b) && a[i] == b[i] {
		i++
	}
	return i
}

func commonTail(a, b string) int {
	i := 0
	for i < len(a) && i < len(b) && a[len(a)-1-i] == b[len(b)-1-i] {
		i++
	}
	return i
}

// hear finds the question that a text ends with: the last one in it, and of
// several that end together the one whose words fit best. expect is the dog that
// was last talked about, for questions that name none.
func (e *ear) hear(text string, expect int) (heard, bool) {
	best, end, fit := -1, -1, -1
	for i, p := range e.patterns {
		at, known := p.in(text)
		if at < 0 {
			continue
		}
		if p.dog == expect {
			known++ // a tie goes to the dog just talked about
		}
		if at > end || at == end && known > fit {
			best, end, fit = i, at, known
		}
	}
	if best < 0 {
		return heard{}, false
	}
	p := e.patterns[best]
	h := p.heard
	if h.question.Kind == dialog.KindGrid {
		h.items = e.named(&p, text)
	}
	return h, true
}

// shortest is how many known characters it takes to recognise a question.
const shortest = 12

// in says where the pattern ends in a text, and how many characters fitted; -1
// where it is not in it. Questions begin a line.
func (p pattern) in(text string) (end, known int) {
	known = 2 * (len(p.head) + len(p.tail))
	if known < 2*shortest {
		return -1, 0
	}
	at := strings.LastIndex(text, p.head)
	if at < 0 || at > 0 && text[at-1] != '\n' {
		return -1, 0
	}
	end = at + len(p.head)
	if p.tail == "" {
		return end, known
	}
	i := strings.LastIndex(text[end:], p.tail)
	if i < 0 || strings.Contains(text[end:end+i], "\n") {
		return -1, 0
	}
	return end + i + len(p.tail), known
}

// named lists which items of a list a text asks for.
func (e *ear) named(p *pattern, text string) []string {
	list := text[strings.LastIndex(text, p.head)+len(p.head):]
	var items []string
	for _, item := range p.question.Items {
		label := strings.NewReplacer("{own1}", p.own[0], "{own2}", p.own[1]).Replace(e.labels[item])
		if label != "" && strings.Contains(list, label) {
			items = append(items, item)
		}
	}
	return items
}
