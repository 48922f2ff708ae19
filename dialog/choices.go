package dialog

import "strconv"

// Choice is one answer that a channel may offer as a button or a row of a
// list: what stands on it, and what taking it counts as having typed. It is
// an offer and no more: whatever is typed instead is read as ever.
type Choice struct {
	Reply string `cbor:"1,keyasint" json:"reply"` // "2", "yes"
	Label string `cbor:"2,keyasint" json:"label"` // "2 some of each walk"
}

// Choices are the answers to what a line asks, in the order they are offered;
// none where it asks for words, a number or several things at once. The text of
// the line stays whole without them.
func (l *Library) Choices(line Line, lang string) []Choice {
	s := l.scripts[line.Script]
	if s == nil {
		return nil
	}
	st := s.step(line.Step)
	if st == nil || line.Part == PartSay {
		return nil
	}
	if line.Lang != "" {
		lang = line.Lang
	}
	r := rendering{library: l, script: s, step: st, lang: lang, vars: line.Vars, wide: true}
	switch st.kind {
	case KindScale:
		return scaleChoices(st.anchorsIn(lang))
	case KindYesNo:
		return yesNoChoices(lang)
	case KindChoice:
		return r.optionChoices()
	default:
		return nil
	}
}

func scaleChoices(a *anchors) []Choice {
	if a == nil {
		return nil
	}
	list := make([]Choice, 0, len(a.level)+1)
	for i, level := range a.level {
		n := strconv.Itoa(i)
		list = append(list, Choice{Reply: n, Label: n + " " + level})
	}
	return append(list, Choice{Reply: "X", Label: "X " + a.x})
}

func yesNoChoices(lang string) []Choice {
	l, ok := locales[lang]
	if !ok {
		l = locales[english]
	}
	return []Choice{{Reply: l.yes, Label: l.yes}, {Reply: l.no, Label: l.no}}
}

// optionChoices offers the options of a choice, unless several may be taken at
// once: one tap could give only one of them.
func (r *rendering) optionChoices() []Choice {
	if r.step.dogs {
		return nil
	}
	list := make([]Choice, 0, len(r.step.options))
	for i, o := range r.step.options {
		if o.several {
			return nil
		}
		w, ok := o.text[r.lang]
		if !ok {
			w = o.text[english]
		}
		list = append(list, Choice{Reply: strconv.Itoa(i + 1), Label: r.inner(w.text, style{lang: r.lang, wide: true})})
	}
	return list
}
