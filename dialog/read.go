package dialog

import (
	"slices"
	"strconv"
	"strings"
	"unicode"

	"gaitpost/dialog/answer"
)

// reading is what a text was taken for at a step.
type reading struct {
	reason  Reason
	answers []Answer
	step    *Step // of a correction: the step whose answer changed
	part    string
}

// lexicon holds the words of the language that the owner writes in; a language
// without its own is read as English.
func (w *walk) lexicon() *answer.Lexicon { return answer.For(w.ctx.Lang) }

// most wishes about the conversation are whole messages; at a question that
// takes any words only a known keyword counts.
func (w *walk) control(st *Step, text string) answer.Control {
	c, reason := w.lexicon().Control(text)
	if st.kind == KindText && reason != answer.Keyword {
		switch c {
		case answer.ControlQuestion, answer.ControlCallback, answer.ControlPrescription:
		default:
			return answer.ControlNone
		}
	}
	return c
}

// read takes one text at a step.
func (w *walk) read(st *Step, text string) reading {
	if text == "" {
		return reading{reason: NotForDialog}
	}
	c := w.control(st, text)
	if _, own := w.meant(st, text); own || st.kind == KindChoice && wholly(text, w.options(st)) >= 0 {
		c = answer.ControlNone // "not yet" answers whether it was done
	}
	switch {
	case c == answer.ControlBack:
		return reading{reason: WentBack}
	case c == answer.ControlSkip:
		return reading{reason: Skipped}
	case c == answer.ControlLater:
		return reading{reason: Postponed}
	case c == answer.ControlAway && !w.ctx.Sign:
		return reading{reason: Away}
	case c == answer.ControlCannotWeigh && st.kind == KindWeight:
		return reading{reason: CannotWeigh, answers: []Answer{{st.item, Value{Kind: KindWeight, NotApplicable: true}}}}
	}
	rd := w.correction(st, text)
	if rd.reason == "" {
		rd = w.readKind(st, text)
	}
	if rd.reason == Unclear && (isWish(c) || w.ctx.Sign) {
		rd.reason = NotForDialog
	}
	return w.inPassing(st, rd, text)
}

// isWish reports whether a text wants something of the practice.
func isWish(c answer.Control) bool {
	switch c {
	case answer.ControlQuestion, answer.ControlCallback, answer.ControlPrescription,
		answer.ControlHelp, answer.ControlOptOut, answer.ControlOptOutAll, answer.ControlOptOutDoubtful:
		return true
	}
	return false
}

// inPassing keeps a sign that was told while something else was asked, so that
// the question about signs asks what more there is.
func (w *walk) inPassing(st *Step, rd reading, text string) reading {
	if !w.ctx.Sign || st.item == itemSigns || st.item == itemSignsWhich {
		return rd
	}
	asks := slices.ContainsFunc(w.script.steps, func(s *Step) bool { return s.item == itemSigns && w.applies(s) })
	if _, known := w.sess.Answer(itemSigns); asks && !known {
		rd.answers = append(rd.answers, Answer{itemSigns, Value{Kind: KindYesNo, Yes: true, Text: text}})
	}
	return rd
}

// Items that the engine itself knows.
const (
	itemSigns      = "signs"
	itemSignsWhich = "signs_which"
)

// readKind reads an answer to the step's own question.
func (w *walk) readKind(st *Step, text string) reading {
	switch st.kind {
	case KindScale:
		return w.readScale(st, text)
	case KindGrid:
		return w.readGrid(st, text)
	case KindYesNo:
		return w.readYesNo(st, text)
	case KindWeight:
		return w.readWeight(st, text)
	case KindChoice:
		return w.readChoice(st, text)
	case KindNumber:
		return w.readNumber(st, text)
	case KindText:
		return answeredWith(Answer{st.item, Value{Kind: KindText, Text: text}})
	}
	return reading{reason: Unclear}
}

func answeredWith(a ...Answer) reading { return reading{reason: Answered, answers: a} }

func notRead(reason answer.Reason) reading {
	if reason == answer.Asked {
		return reading{reason: NotForDialog}
	}
	return reading{reason: Unclear}
}

func (w *walk) readYesNo(st *Step, text string) reading {
	r := w.lexicon().YesNo(text)
	v := Value{Kind: KindYesNo}
	said, meant := w.meant(st, text)
	switch {
	case meant:
		v.Yes = said
	case st.item == itemSigns && w.ctx.Sign:
		v.Yes, v.Text = true, text
	case r.OK:
		v.Yes, v.Text = r.Value, r.Detail
	case r.Reason == answer.Asked:
		return reading{reason: NotForDialog}
	case st.free && r.Reason != answer.Unsure && len(strings.Fields(text)) > 1 && lettered(text):
		v.Text = text // in the owner's own words; the safety screen found no sign in them
	default:
		return w.onlyAlso(st, text)
	}
	if old, ok := w.sess.Answer(st.item); ok && st.parts[PartMore] != nil && old.Yes && !v.Yes {
		v = old // "anything else?" "no" does not take back what was told
	}
	also := w.also(st, r.Detail)
	if also != nil && !lettered(v.Text) {
		v.Text = "" // it was the count alone
	}
	return answeredWith(append([]Answer{{st.item, v}}, also...)...)
}

// meant reads a whole reply that says yes or no at this step in particular:
// "fine" agrees to an invitation, and reports nothing new.
func (w *walk) meant(st *Step, text string) (yes, ok bool) {
	if len(st.yes) == 0 && len(st.no) == 0 {
		return false, false
	}
	whole := spelled(text)
	in := func(lists wordlists) bool {
		words := lists[w.ctx.Lang]
		if words == nil {
			words = lists[english]
		}
		return slices.Contains(words, whole)
	}
	if in(st.yes) {
		return true, true
	}
	return false, in(st.no)
}

// also reads the count that a question asks for in the same message.
func (w *walk) also(st *Step, text string) []Answer {
	if st.also == "" || text == "" || w.ctx.Sign {
		return nil
	}
	if n, ok := w.count(text, defaultMost); ok {
		return []Answer{{st.also, Value{Kind: KindNumber, Number: float64(n)}}}
	}
	return nil
}

// onlyAlso is a reply that gives the count and not the yes or no.
func (w *walk) onlyAlso(st *Step, text string) reading {
	if a := w.also(st, text); a != nil {
		return reading{reason: PartlyAnswered, answers: a}
	}
	return reading{reason: Unclear}
}

// defaultMost is the largest count taken where a step names none.
const defaultMost = 60

// count reads a number, or "no" as none.
func (w *walk) count(text string, most int) (int, bool) {
	if r := w.lexicon().Number(text, 0, most); r.OK {
		return r.Value, true
	}
	if r := w.lexicon().YesNo(text); r.OK && !r.Value {
		return 0, true
	}
	return 0, false
}

func (w *walk) readNumber(st *Step, text string) reading {
	most := st.most
	if most == 0 {
		most = defaultMost
	}
	if n, ok := w.count(text, most); ok {
		return answeredWith(Answer{st.item, Value{Kind: KindNumber, Number: float64(n)}})
	}
	if isX(text) {
		return answeredWith(Answer{st.item, Value{Kind: KindNumber, NotApplicable: true}})
	}
	return notRead(w.lexicon().Number(text, 0, most).Reason)
}

func isX(text string) bool { return strings.EqualFold(strings.Trim(text, " ."), "x") }

func (w *walk) readWeight(st *Step, text string) reading {
	unit := answer.Kilograms
	if w.ctx.Facts["pounds"] {
		unit = answer.Pounds
	}
	r := w.lexicon().Weight(text, unit)
	switch {
	case r.OK:
		return answeredWith(Answer{st.item, Value{Kind: KindWeight, Number: float64(r.Grams)}})
	case r.CannotWeigh, isX(text):
		return reading{reason: CannotWeigh, answers: []Answer{{st.item, Value{Kind: KindWeight, NotApplicable: true}}}}
	}
	return notRead(r.Reason)
}

func (w *walk) readChoice(st *Step, text string) reading {
	options := w.options(st)
	r := w.lexicon().Choice(text, options)
	if i := wholly(text, options); !r.OK && i >= 0 {
		r = answer.ChoiceReading{OK: true, Keys: []string{options[i].Key}}
	}
	if !r.OK {
		return w.otherChoice(st, options, text, r.Reason)
	}
	first := slices.IndexFunc(options, func(o answer.Option) bool { return o.Key == r.Keys[0] })
	v := Value{Kind: KindChoice, Number: float64(first + 1), Text: strings.Join(r.Keys, " ")}
	return answeredWith(Answer{st.item, v})
}

// wholly is the one option that a whole reply names word for word, or -1: where
// an option is "good", "good" is more than a courtesy.
func wholly(text string, options []answer.Option) int {
	said, found := spelled(text), -1
	for i, o := range options {
		if slices.ContainsFunc(append([]string{o.Label}, o.Words...), func(name string) bool { return spelled(name) == said }) {
			if found >= 0 {
				return -1
			}
			found = i
		}
	}
	return found
}

// spelled is a text's words in lower case, one space apart.
func spelled(text string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(text), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r)
	}), " ")
}

// otherChoice is a reply that names no option: "no" where there is a none, and
// own words where the step takes them.
func (w *walk) otherChoice(st *Step, options []answer.Option, text string, why answer.Reason) reading {
	if no := w.lexicon().YesNo(text); no.OK && !no.Value && !w.ctx.Sign {
		if i := slices.IndexFunc(options, func(o answer.Option) bool { return o.Key == "none" }); i >= 0 {
			return answeredWith(Answer{st.item, Value{Kind: KindChoice, Number: float64(i + 1), Text: "none"}})
		}
	}
	if why == answer.Asked && !w.ctx.Sign {
		return reading{reason: NotForDialog}
	}
	if st.free && lettered(text) && (w.ctx.Sign || len(strings.Fields(text)) > 1) {
		return answeredWith(Answer{st.item, Value{Kind: KindText, Text: text}})
	}
	return reading{reason: Unclear}
}

// options are the answers a choice offers: the household's dogs where it asks
// for one, and its own.
func (w *walk) options(st *Step) []answer.Option {
	var out []answer.Option
	if st.dogs {
		for i, name := range dogNames(w.ctx.Vars) {
			out = append(out, answer.Option{Key: "dog" + strconv.Itoa(i+1), Label: name, Words: []string{name}})
		}
	}
	for _, o := range st.options {
		words := o.words[w.ctx.Lang]
		if words == nil {
			words = o.words[english]
		}
		label, ok := o.text[w.ctx.Lang]
		if !ok {
			label = o.text[english]
		}
		out = append(out, answer.Option{Key: o.id, Label: label.text, Words: words, Several: o.several})
	}
	return out
}

func lettered(text string) bool {
	return strings.ContainsFunc(text, func(r rune) bool { return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r > 127 })
}

// correction reads a text that changes the answer before: "sorry, 3 not 2". It
// is taken only where the old value named is the one that was recorded, or
// where no old value is named and the words plainly take something back.
func (w *walk) correction(st *Step, text string) reading {
	prev := w.lastAsked()
	if prev == nil || prev == st || prev.kind == KindGrid || prev.kind == KindText {
		return reading{}
	}
	wrong, named, takesBack := w.lexicon().TakesBack(text)
	if !takesBack {
		return reading{}
	}
	old, ok := w.sess.Answer(prev.item)
	if !ok {
		return reading{}
	}
	if named && (prev.kind != KindScale && prev.kind != KindNumber || float64(wrong) != old.Number) {
		return reading{}
	}
	rd := w.readOwn(prev, text)
	if rd.reason != Answered {
		return reading{}
	}
	return reading{reason: Corrected, answers: rd.answers, step: prev}
}

// readOwn reads an answer to one step without looking for other items.
func (w *walk) readOwn(st *Step, text string) reading {
	if st.kind == KindScale {
		return w.level(st.item, text)
	}
	return w.readKind(st, text)
}
