package dialog

import (
	"slices"
	"strings"
)

// graph is one form of a script as the steps that can follow each other.
type graph struct {
	s     *Script
	form  Form
	next  map[*Step][]*Step
	falls map[*Step]bool // nothing need follow: the walk can run off the list
}

// graphs checks each form for steps that can't be reached, dead ends and loops.
func (c *checker) graphs() {
	if len(c.s.steps) == 0 || slices.ContainsFunc(c.problems, func(p Problem) bool { return p.Code == "unknown-goto" }) {
		return
	}
	reached := map[*Step]bool{}
	for _, f := range c.s.allForms() {
		g := newGraph(c.s, f)
		seen := g.from(g.entries())
		for st := range seen {
			reached[st] = true
		}
		c.exits(g, seen)
	}
	for _, st := range c.s.steps {
		if !reached[st] {
			c.bad(st.at, st, "unreachable-step", "no reply leads here")
		}
	}
}

// exits reports the reachable steps from which no end can be reached.
func (c *checker) exits(g *graph, seen map[*Step]bool) {
	for _, st := range c.s.steps {
		if !seen[st] {
			continue
		}
		after := g.from(g.next[st])
		switch {
		case g.falls[st]:
			c.bad(st.at, st, "dead-end", "nothing follows it in the form %q; let an end step follow or say end: true", g.form.String())
		case st.ends():
		case slices.ContainsFunc(c.s.steps, func(to *Step) bool { return after[to] && (to.ends() || g.falls[to]) }):
		case after[st]:
			c.bad(st.loopAt(), st, "loop", "the steps go round in a circle that nobody can leave")
		default:
			c.bad(st.at, st, "dead-end", "nothing follows it in the form %q", g.form.String())
		}
	}
}

// ends reports whether the dialog can end at the step by its own word.
func (st *Step) ends() bool { return st.kind == kindEnd || st.end }

func (st *Step) loopAt() place {
	if st.next != "" {
		return st.nextAt
	}
	if len(st.branches) > 0 {
		return st.branches[0].at
	}
	return st.at
}

func newGraph(s *Script, f Form) *graph {
	g := &graph{s: s, form: f, next: map[*Step][]*Step{}, falls: map[*Step]bool{}}
	for _, st := range s.steps {
		if st.hasForm(f) && !st.aside {
			g.link(st, st)
		}
	}
	for _, st := range s.steps {
		if st.hasForm(f) && st.aside {
			g.aside(st)
		}
	}
	return g
}

// link adds what can follow st: its branches and then what follows without
// one. main is st itself, or for an aside a step that leads to it.
func (g *graph) link(st, main *Step) {
	for _, b := range st.branches {
		g.add(st, g.s.step(b.to))
	}
	switch {
	case st.ends():
	case st.next != "":
		g.add(st, g.s.step(st.next))
	case main.ends():
	case main.next != "":
		g.add(st, g.s.step(main.next))
	default:
		if !g.following(st, slices.Index(g.s.steps, main)+1) {
			g.falls[st] = true
		}
	}
}

// following links st to the steps of the list from at on that may come next,
// and reports whether one of them surely does: one without a condition, or two
// of which one has the opposite condition of the other.
func (g *graph) following(st *Step, at int) bool {
	var conditions []string
	for _, next := range g.s.steps[at:] {
		if next.aside || !next.hasForm(g.form) {
			continue
		}
		g.add(st, next)
		if len(next.onlyIf.terms) == 0 || slices.Contains(conditions, opposite(next.onlyIf.text)) {
			return true
		}
		conditions = append(conditions, next.onlyIf.text)
	}
	return false
}

// opposite is the condition that holds where a single-term condition doesn't.
func opposite(text string) string {
	if rest, ok := strings.CutPrefix(text, "not "); ok {
		return rest
	}
	return "not " + text
}

func (g *graph) add(from, to *Step) {
	if to != nil && to.hasForm(g.form) && !slices.Contains(g.next[from], to) {
		g.next[from] = append(g.next[from], to)
	}
}

// aside links a step that is reached by goto alone: afterwards the walk goes
// on after whichever main step led to it.
func (g *graph) aside(st *Step) {
	g.link(st, &Step{end: true})
	if st.ends() || st.next != "" {
		return
	}
	for _, main := range g.s.steps {
		if main.hasForm(g.form) && !main.aside && g.leadsTo(main, st) {
			g.link(st, main)
		}
	}
}

// leadsTo reports whether a main step leads to an aside by branches and gotos
// through asides alone.
func (g *graph) leadsTo(main, aside *Step) bool {
	seen := map[*Step]bool{main: true}
	queue := []*Step{main}
	for len(queue) > 0 {
		st := queue[0]
		queue = queue[1:]
		for _, to := range st.leads(g.s) {
			if to == aside {
				return true
			}
			if to.aside && !seen[to] {
				seen[to] = true
				queue = append(queue, to)
			}
		}
	}
	return false
}

// leads are the steps that branches and goto name.
func (st *Step) leads(s *Script) []*Step {
	var out []*Step
	for _, b := range st.branches {
		if to := s.step(b.to); to != nil {
			out = append(out, to)
		}
	}
	if to := s.step(st.next); to != nil {
		out = append(out, to)
	}
	return out
}

// entries are the steps that a walk may begin with.
func (g *graph) entries() []*Step {
	var out []*Step
	for _, st := range g.s.steps {
		if st.aside || !st.hasForm(g.form) {
			continue
		}
		out = append(out, st)
		if len(st.onlyIf.terms) == 0 {
			break
		}
	}
	return out
}

// canPass reports whether a walk can end without any of the given steps.
func (g *graph) canPass(without []*Step) bool {
	seen := map[*Step]bool{}
	queue := g.entries()
	for len(queue) > 0 {
		st := queue[0]
		queue = queue[1:]
		if seen[st] || slices.Contains(without, st) {
			continue
		}
		if st.ends() || g.falls[st] {
			return true
		}
		seen[st] = true
		queue = append(queue, g.next[st]...)
	}
	return false
}

// from returns every step that can be reached from the given ones, themselves included.
func (g *graph) from(start []*Step) map[*Step]bool {
	seen := map[*Step]bool{}
	queue := slices.Clone(start)
	for len(queue) > 0 {
		st := queue[0]
		queue = queue[1:]
		if seen[st] {
			continue
		}
		seen[st] = true
		queue = append(queue, g.next[st]...)
	}
	return seen
}
