package dialog

import "slices"

// walk moves a session on from a step that was answered, skipped or given up.
type walk struct {
	script *Script
	ctx    *Context
	sess   *Session
	say    []Line
	unsaid []string // items of closed safety questions left behind
}

// advance leaves the step st and goes to the next one that asks, saying what
// lies between. It reports whether the dialog is over. A step is visited at
// most once in a walk, so a script can't lead in circles.
func (w *walk) advance(st *Step) bool {
	for st != nil {
		w.leave(st)
		next := w.after(st)
		switch {
		case next == nil || next.kind == kindEnd:
			st = nil
		case next.kind == KindSay:
			w.say = append(w.say, w.script.line(next, PartSay, w.ctx, nil))
			if next.end {
				w.leave(next)
				next = nil
			}
			st = next
		default:
			w.arrive(next)
			return false
		}
	}
	w.sess.Step, w.sess.Asked = "", 0
	return true
}

func (w *walk) leave(st *Step) {
	if !slices.Contains(w.sess.Trail, st.id) {
		w.sess.Trail = append(slices.Clip(w.sess.Trail), st.id)
	}
}

// arrive stands at a step and asks it.
func (w *walk) arrive(st *Step) {
	w.sess.Step, w.sess.Asked = st.id, 0
	w.say = append(w.say, w.ask(st))
}

// after is the step that follows st: where a branch leads, else where goto
// leads, else, from an aside, on from where the walk was left, else the next
// in the file. nil is the end.
func (w *walk) after(st *Step) *Step {
	if to := w.branch(st); to != nil {
		return to
	}
	if st.end {
		return nil
	}
	if st.next != "" {
		if to := w.script.step(st.next); to != nil && !w.visited(to) {
			return to
		}
	}
	if st.aside {
		back := w.lastMain()
		if back == nil {
			return nil
		}
		return w.after(back)
	}
	return w.following(st)
}

// following is the next step of the file that applies. A question that was
// answered in passing is not asked again, unless it has words for asking what
// more there is; where its answer leads is still followed.
func (w *walk) following(st *Step) *Step {
	at := slices.Index(w.script.steps, st)
	for _, next := range w.script.steps[at+1:] {
		if next.aside || !w.applies(next) || w.visited(next) {
			continue
		}
		if !w.answered(next) || next.parts[PartMore] != nil {
			return next
		}
		w.leave(next)
		if to := w.branch(next); to != nil {
			return to
		}
		if next.end {
			return nil
		}
	}
	return nil
}

func (w *walk) applies(st *Step) bool {
	if !st.hasForm(w.sess.Form) {
		return false
	}
	return st.onlyIf.holds(situation{session: w.sess, ctx: w.ctx})
}

func (w *walk) visited(st *Step) bool { return slices.Contains(w.sess.Trail, st.id) }

// answered reports whether every item that the step asks about has a value.
func (w *walk) answered(st *Step) bool {
	items := w.itemsAsked(st)
	if len(items) == 0 || !st.asks() {
		return false
	}
	for _, item := range items {
		if _, ok := w.sess.Answer(item); !ok {
			return false
		}
	}
	return true
}

// itemsAsked are the items of a step that apply: an item with a fact of the
// same name, such as own1, is asked only where the fact holds.
func (w *walk) itemsAsked(st *Step) []string {
	items := st.itemsOf()
	if st.kind != KindGrid {
		return items
	}
	out := make([]string, 0, len(items))
	for _, item := range items {
		if slices.Contains(FactNames, item) && !w.ctx.Facts[item] {
			continue
		}
		out = append(out, item)
	}
	return out
}

// missing are the items of a step that have no value yet.
func (w *walk) missing(st *Step) []string {
	var out []string
	for _, item := range w.itemsAsked(st) {
		if _, ok := w.sess.Answer(item); !ok {
			out = append(out, item)
		}
	}
	return out
}

// branch is the first branch of st whose condition holds and whose step was
// not visited yet.
func (w *walk) branch(st *Step) *Step {
	for _, b := range st.branches {
		to := w.script.step(b.to)
		if to == nil || w.visited(to) || !w.applies(to) {
			continue
		}
		if b.when.holds(w.situation(st)) {
			return to
		}
	}
	return nil
}

func (w *walk) situation(st *Step) situation {
	s := situation{item: st.item, session: w.sess, ctx: w.ctx}
	if st.item != "" {
		s.value, s.ok = w.sess.Answer(st.item)
	}
	return s
}

// lastMain is the last step of the main walk that was left.
func (w *walk) lastMain() *Step {
	for i := len(w.sess.Trail) - 1; i >= 0; i-- {
		if st := w.script.step(w.sess.Trail[i]); st != nil && !st.aside {
			return st
		}
	}
	return nil
}

// lastAsked is the last question that was left, for going back and corrections.
func (w *walk) lastAsked() *Step {
	for i := len(w.sess.Trail) - 1; i >= 0; i-- {
		if st := w.script.step(w.sess.Trail[i]); st != nil && st.asks() {
			return st
		}
	}
	return nil
}

// ask is the question of a step, or what more there is where its item was
// answered in passing.
func (w *walk) ask(st *Step) Line {
	part := PartAsk
	if st.parts[PartMore] != nil && w.answered(st) {
		part = PartMore
	}
	return w.script.line(st, part, w.ctx, w.itemsAsked(st))
}

// record keeps an answer and returns whether it is new or changed. The session's
// answers are the walk's own by then. A plain no to "anything else new?" does not
// take back what was told before.
func (w *walk) record(a Answer) bool {
	for i, old := range w.sess.Answers {
		if old.Item != a.Item {
			continue
		}
		if old.Value == a.Value {
			return false
		}
		w.sess.Answers[i] = a
		return true
	}
	w.sess.Answers = append(w.sess.Answers, a)
	return true
}

// maxKeptText is how many characters of an owner's words an answer keeps; the
// log has them all.
const maxKeptText = 200
