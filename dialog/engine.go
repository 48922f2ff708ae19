package dialog

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// ErrNoScript means that the library has no script of that name, or that the
// script has nothing to ask in that form.
var ErrNoScript = errors.New("there is no such script")

// Begin opens a dialog and returns its first lines. A script that only says
// something gives a session that is not open. It returns ErrNoScript for an
// unknown script.
func (l *Library) Begin(script string, form Form, ctx Context) (Session, []Line, error) {
	s := l.scripts[script]
	if s == nil {
		return Session{}, nil, fmt.Errorf("begin %q: %w", script, ErrNoScript)
	}
	if !slices.Contains(s.allForms(), form) {
		form = OneByOne
	}
	sess := Session{Script: s.id, Version: s.version, Form: form}
	w := walk{script: s, ctx: &ctx, sess: &sess}
	for _, st := range s.steps {
		if st.aside || !w.applies(st) {
			continue
		}
		if st.asks() {
			w.arrive(st)
			return sess, w.say, nil
		}
		if st.kind == KindSay {
			w.say = append(w.say, s.line(st, PartSay, &ctx, nil))
			w.advance(st)
			return sess, w.say, nil
		}
		break
	}
	return sess, nil, fmt.Errorf("begin %q: %w", script, ErrNoScript)
}

// at opens a walk at the step where the session stands.
func (l *Library) at(sess *Session, ctx *Context) (walk, *Step, bool) {
	s := l.scripts[sess.Script]
	if s == nil || !sess.Open() {
		return walk{}, nil, false
	}
	st := s.step(sess.Step)
	if st == nil || !st.asks() {
		return walk{}, nil, false
	}
	return walk{script: s, ctx: ctx, sess: sess}, st, true
}

// Ask returns the current question again, after a pause or a handover. It
// returns nothing where nothing is being asked.
func (l *Library) Ask(s Session, ctx Context) []Line {
	w, st, ok := l.at(&s, &ctx)
	if !ok {
		return nil
	}
	return []Line{w.again(st)}
}

// Remind returns the one reminder for the current question: the step's own
// words for it, else the question again.
func (l *Library) Remind(s Session, ctx Context) []Line {
	w, st, ok := l.at(&s, &ctx)
	if !ok {
		return nil
	}
	if st.parts[PartRemind] != nil {
		return []Line{w.script.line(st, PartRemind, &ctx, w.itemsAsked(st))}
	}
	return []Line{w.again(st)}
}

// again is the current question; of a list half answered, only what is missing.
func (w *walk) again(st *Step) Line {
	if st.kind == KindGrid && st.parts[PartMissing] != nil {
		if m := w.missing(st); len(m) > 0 && len(m) < len(w.itemsAsked(st)) {
			return w.script.line(st, PartMissing, w.ctx, m)
		}
	}
	return w.ask(st)
}

// Reply reads one text in an open session. The text has been screened and
// matched for STOP, HELP and START before.
func (l *Library) Reply(s Session, ctx Context, text string) Result {
	w, st, ok := l.at(&s, &ctx)
	if !ok {
		s.Step = ""
		return Result{Session: s, Reason: NoSession, Done: true}
	}
	rd := w.read(st, strings.TrimSpace(text))
	res := Result{Reason: rd.reason}
	if len(rd.answers) > 0 { // the caller's session keeps its own answers
		s.Answers = append(make([]Answer, 0, len(s.Answers)+len(rd.answers)), s.Answers...)
		res.Recorded = make([]Answer, 0, len(rd.answers))
	}
	for _, a := range rd.answers {
		a.Value.Text = cutTo(a.Value.Text, maxKeptText)
		if w.record(a) {
			res.Recorded = append(res.Recorded, a)
		}
	}
	w.act(l, st, rd, &res)
	res.Session, res.Say, res.Unsettled = *w.sess, w.say, w.unsaid
	res.Done = !res.Session.Open()
	if res.Done && res.Reason == Answered {
		res.Reason = Finished
	}
	return res
}

// act moves the session as the reading asks.
func (w *walk) act(l *Library, st *Step, rd reading, res *Result) {
	switch rd.reason {
	case Answered, Carried, CannotWeigh:
		w.advance(st)
	case Skipped:
		w.giveUp(st)
	case PartlyAnswered, Unclear:
		w.unclear(st, rd, res)
	case WentBack:
		w.back(st)
	case Corrected:
		w.corrected(st, rd.step)
	case Postponed:
		w.service(l, "later_ok")
	case Away:
		w.service(l, "away_ok")
		w.end(st)
	default: // NotForDialog
		w.say = append(w.say, w.again(st))
	}
}

// unclear asks once more, kindly and saying what is wanted, and then goes on.
// What was answered beside the question doesn't count against it.
func (w *walk) unclear(st *Step, rd reading, res *Result) {
	if rd.reason == PartlyAnswered && st.kind != KindGrid && len(res.Recorded) > 0 {
		w.say = append(w.say, w.again(st))
		return
	}
	if w.sess.Asked > 0 {
		if res.Reason == Unclear {
			res.Reason = MovedOn
		}
		w.giveUp(st)
		return
	}
	w.sess.Asked++
	missing := w.missing(st)
	if st.kind == KindGrid && len(missing) < len(w.itemsAsked(st)) {
		w.say = append(w.say, w.again(st))
		return
	}
	part := PartAsk
	for _, p := range []string{rd.part, PartReask} {
		if st.parts[p] != nil {
			part = p
			break
		}
	}
	w.say = append(w.say, w.script.line(st, part, w.ctx, w.itemsAsked(st)))
}

// giveUp leaves a question without an answer.
func (w *walk) giveUp(st *Step) {
	w.unsettled(st)
	w.advance(st)
}

func (w *walk) unsettled(st *Step) {
	if st.safety && !w.answered(st) {
		w.unsaid = append(w.unsaid, st.item)
	}
}

// end closes the dialog where it stands.
func (w *walk) end(st *Step) {
	w.unsettled(st)
	w.leave(st)
	w.sess.Step, w.sess.Asked = "", 0
}

// back asks the previous question again; its answer stands until a new one comes.
func (w *walk) back(st *Step) {
	trail := w.sess.Trail
	for i := len(trail) - 1; i >= 0; i-- {
		if prev := w.script.step(trail[i]); prev != nil && prev.asks() {
			w.sess.Trail = slices.Clone(trail[:i])
			w.sess.Step, w.sess.Asked = prev.id, 0
			w.say = append(w.say, w.script.line(prev, PartAsk, w.ctx, w.itemsAsked(prev)))
			return
		}
	}
	w.say = append(w.say, w.again(st))
}

// corrected goes on where the corrected answer leads now, and else asks the
// current question again.
func (w *walk) corrected(st, prev *Step) {
	if prev != nil && prev != st {
		if to := w.branch(prev); to != nil && to != st {
			w.arrive(to)
			return
		}
		w.say = append(w.say, w.again(st))
		return
	}
	w.advance(st)
}

// service says one of the texts of the staff script.
func (w *walk) service(l *Library, step string) {
	if s := l.scripts["staff"]; s != nil && s.anyStep(step) != nil {
		w.say = append(w.say, l.Say("staff", step, *w.ctx))
	}
}
