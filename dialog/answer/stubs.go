package answer

import "strings"

// Lexicon holds the words of one language.
type Lexicon struct{ lang string }

// English returns the English lexicon.
func English() *Lexicon { return &Lexicon{lang: "en"} }

// Scale reads one level.
func (l *Lexicon) Scale(text string, anchors []string) ScaleReading {
	t := strings.ToLower(strings.TrimSpace(text))
	switch {
	case t == "":
		return ScaleReading{Reason: Empty}
	case t == "x":
		return ScaleReading{NotApplicable: true, Reason: NotApplicable}
	case t == "same":
		return ScaleReading{Same: true, Reason: Carried}
	case len(t) == 1 && t[0] >= '0' && t[0] <= '4':
		return ScaleReading{Value: int(t[0] - '0'), OK: true, Reason: Digit}
	}
	return ScaleReading{Reason: NotAnAnswer}
}

// Scales reads one level per item.
func (l *Lexicon) Scales(text string, items []Item) ScalesReading {
	r := ScalesReading{ByItem: map[string]ScaleReading{}, Reason: WrongCount}
	f := strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == ',' })
	if len(f) != len(items) {
		for _, it := range items {
			r.Missing = append(r.Missing, it.Code)
		}
		return r
	}
	for i, it := range items {
		if v := l.Scale(f[i], it.Anchors); v.answered() {
			r.ByItem[it.Code], r.OK, r.Reason = v, true, List
		} else {
			r.Missing = append(r.Missing, it.Code)
		}
	}
	return r
}

// YesNo reads yes or no.
func (l *Lexicon) YesNo(text string) YesNoReading {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "yes", "y", "yep":
		return YesNoReading{Value: true, OK: true, Reason: Word}
	case "no", "n", "nope", "none":
		return YesNoReading{OK: true, Reason: Word}
	}
	return YesNoReading{Reason: NotAnAnswer}
}

// Weight reads a body weight.
func (l *Lexicon) Weight(text string, def Unit) WeightReading {
	return WeightReading{Reason: NotAnAnswer}
}

// Number reads a count.
func (l *Lexicon) Number(text string, min, max int) NumberReading {
	if r := l.Scale(text, nil); r.OK && r.Value >= min && r.Value <= max {
		return NumberReading{r.Value, true, Digit}
	}
	return NumberReading{Reason: NotAnAnswer}
}

// Choice reads which options were chosen.
func (l *Lexicon) Choice(text string, options []Option) ChoiceReading {
	if r := l.Scale(text, nil); r.OK && r.Value >= 1 && r.Value <= len(options) {
		return ChoiceReading{[]string{options[r.Value-1].Key}, true, Digit}
	}
	return ChoiceReading{Reason: NotAnAnswer}
}

// Control reads a wish about the conversation.
func (l *Lexicon) Control(text string) (Control, Reason) {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "stop":
		return ControlOptOut, Keyword
	case "help":
		return ControlHelp, Keyword
	}
	return ControlNone, NotAnAnswer
}
