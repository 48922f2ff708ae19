package dialog

import (
	"slices"
	"strings"

	"gaitpost/dialog/answer"
)

// level reads one level for one item.
func (w *walk) level(item, text string) reading {
	known := w.scaleItem(item)
	r := w.lexicon().Scale(text, known.Anchors)
	v, ok := w.levelValue(item, r)
	switch {
	case ok && v.Carried:
		return reading{reason: Carried, answers: []Answer{{item, v}}}
	case ok:
		return answeredWith(Answer{item, v})
	case r.Same:
		return reading{reason: Unclear, part: PartFresh}
	}
	return notRead(r.Reason)
}

// levelValue turns a reading into a value. SAME needs an earlier answer.
func (w *walk) levelValue(item string, r answer.ScaleReading) (Value, bool) {
	switch {
	case r.OK:
		return Value{Kind: KindScale, Number: float64(r.Value)}, true
	case r.NotApplicable:
		return Value{Kind: KindScale, NotApplicable: true}, true
	case r.Same:
		n, ok := w.ctx.Before[item]
		return Value{Kind: KindScale, Number: float64(n), Carried: true}, ok
	}
	return Value{}, false
}

// scaleItem is what the reader needs to know of an item: the words owners call
// it by and its anchors.
func (w *walk) scaleItem(item string) answer.Item {
	out := answer.Item{Code: item}
	for _, st := range w.script.steps {
		if st.kind != KindScale || st.item != item {
			continue
		}
		if a := st.anchorsIn(w.ctx.Lang); a != nil {
			out.Anchors = a.level[:]
		}
		out.Names = st.names[w.ctx.Lang]
		if out.Names == nil {
			out.Names = st.names[english]
		}
		break
	}
	if own := w.ctx.Vars[item]; own != "" && slices.Contains(FactNames, item) {
		out.Names = append(slices.Clip(out.Names), own)
	}
	return out
}

func (w *walk) scaleItems(codes []string) []answer.Item {
	out := make([]answer.Item, len(codes))
	for i, c := range codes {
		out[i] = w.scaleItem(c)
	}
	return out
}

// readScale reads the answer to one scale question, or several answers at
// once where the owner names the items.
func (w *walk) readScale(st *Step, text string) reading {
	own := w.level(st.item, text)
	if own.reason == Answered && len(strings.Fields(text)) == 1 {
		return own
	}
	items := w.scaleSteps()
	r := w.lexicon().Scales(w.lexicon().WithoutExcuses(text), w.scaleItems(items))
	if own.reason == Answered && len(r.ByItem) > 1 {
		return own // one level for certain can't be the levels of several items
	}
	switch {
	case r.SameAll && w.ctx.CanCarry && own.reason != Carried:
		return w.carryAll(items)
	case r.OK && (r.Reason == answer.Named || r.Reason == answer.Numbered && items[0] == st.item ||
		r.Reason == answer.List && items[0] == st.item && len(r.Missing) == 0):
		return w.several(st, items, r, own)
	}
	return own
}

// scaleSteps are the scale items of the one-by-one walk that apply, in order.
func (w *walk) scaleSteps() []string {
	var out []string
	for _, st := range w.script.steps {
		if st.kind == KindScale && w.applies(st) {
			out = append(out, st.item)
		}
	}
	return out
}

// several takes answers to several items from one text. Where the question
// asked is among them the walk goes on; where only earlier ones are, it was a
// correction; else the question is asked again.
func (w *walk) several(st *Step, items []string, r answer.ScalesReading, own reading) reading {
	var answers []Answer
	mine := false
	for _, item := range items {
		if v, ok := w.levelValue(item, r.ByItem[item]); ok {
			answers = append(answers, Answer{item, v})
			mine = mine || item == st.item
		}
	}
	switch {
	case len(answers) == 0:
		return own
	case mine:
		return reading{reason: Answered, answers: answers}
	case w.onlyKnown(answers):
		return reading{reason: Corrected, answers: answers, step: w.stepOf(answers[0].Item)}
	}
	return reading{reason: PartlyAnswered, answers: answers}
}

func (w *walk) onlyKnown(answers []Answer) bool {
	return !slices.ContainsFunc(answers, func(a Answer) bool {
		_, known := w.sess.Answer(a.Item)
		return !known
	})
}

func (w *walk) stepOf(item string) *Step {
	for _, st := range w.script.steps {
		if st.kind == KindScale && st.item == item && w.applies(st) {
			return st
		}
	}
	return nil
}

// carryAll carries the last levels of every item that has none yet.
func (w *walk) carryAll(items []string) reading {
	var answers []Answer
	complete := true
	for _, item := range items {
		if _, ok := w.sess.Answer(item); ok {
			continue
		}
		n, ok := w.ctx.Before[item]
		if !ok {
			complete = false
			continue
		}
		answers = append(answers, Answer{item, Value{Kind: KindScale, Number: float64(n), Carried: true}})
	}
	switch {
	case len(answers) == 0:
		return reading{reason: Unclear, part: PartFresh}
	case !complete:
		return reading{reason: PartlyAnswered, answers: answers}
	}
	return reading{reason: Carried, answers: answers}
}

// readGrid reads the list form: one level per item. After a half answer the
// text may give only what was missing, or all of it again.
func (w *walk) readGrid(st *Step, text string) reading {
	asked, missing := w.itemsAsked(st), w.missing(st)
	if len(missing) == 1 {
		if rd := w.level(missing[0], text); rd.reason == Answered || rd.reason == Carried {
			return rd
		}
	}
	best := reading{reason: Unclear}
	for _, items := range [][]string{missing, asked} {
		r := w.lexicon().Scales(text, w.scaleItems(items))
		if r.SameAll {
			if w.ctx.CanCarry {
				return w.carryAll(asked)
			}
			return reading{reason: Unclear, part: PartFresh}
		}
		rd := w.grid(st, items, r)
		if rd.reason == Answered || len(rd.answers) > len(best.answers) {
			best = rd
		}
		if best.reason == Answered || len(missing) == len(asked) {
			break
		}
	}
	return best
}

// grid takes what a list gave. The list is answered when nothing is missing.
func (w *walk) grid(st *Step, items []string, r answer.ScalesReading) reading {
	var answers []Answer
	for _, item := range items {
		if v, ok := w.levelValue(item, r.ByItem[item]); ok {
			answers = append(answers, Answer{item, v})
		}
	}
	if len(answers) == 0 {
		return notRead(r.Reason)
	}
	for _, item := range w.missing(st) {
		if !slices.ContainsFunc(answers, func(a Answer) bool { return a.Item == item }) {
			return reading{reason: PartlyAnswered, answers: answers}
		}
	}
	return reading{reason: Answered, answers: answers}
}
