package dialog

import (
	"fmt"
	"strconv"
	"strings"
)

// condition is a list of terms that must all hold. The zero condition holds.
// Its written form is read by a vet, so it is a sentence:
//
//	value >= 4 and before <= 1
//	yes and bare
//	rising >= 4 and before.rising <= 1
//	is clinic
//	fact medicine and not sign
type condition struct {
	text  string
	terms []term
	at    place
}

type term struct {
	not  bool
	name string // value, before, yes, no, bare, na, sign, is, fact, or an item
	arg  string // item of before, name of fact, option of is
	op   string // = >= <= or empty
	num  float64
}

// situation is what a condition is judged on: the step just answered.
type situation struct {
	value   Value
	ok      bool // there is a value
	item    string
	session *Session
	ctx     *Context
}

// parseCondition reads a condition. The error is a sentence.
func parseCondition(text string) (condition, error) {
	c := condition{text: text}
	for _, part := range strings.Split(text, " and ") {
		t, err := parseTerm(strings.Fields(part))
		if err != nil {
			return condition{}, err
		}
		c.terms = append(c.terms, t)
	}
	return c, nil
}

func parseTerm(f []string) (term, error) {
	var t term
	if len(f) > 0 && f[0] == "not" {
		t.not, f = true, f[1:]
	}
	switch {
	case len(f) == 1:
		return oneWord(t, f[0])
	case len(f) == 2 && (f[0] == "fact" || f[0] == "is" || f[0] == "form"):
		t.name, t.arg = f[0], f[1]
		return t, nil
	case len(f) == 3:
		return comparison(t, f)
	}
	return t, fmt.Errorf("%q is not a condition; write for example \"value >= 4\", \"yes\", \"bare\", \"is clinic\" or \"fact medicine\"", strings.Join(f, " "))
}

func oneWord(t term, word string) (term, error) {
	switch word {
	case "yes", "no", "bare", "na", "sign", "answered":
		t.name = word
		return t, nil
	}
	return t, fmt.Errorf("%q is not a condition; one word may be yes, no, bare, na, sign or answered", word)
}

func comparison(t term, f []string) (term, error) {
	t.name, t.op = f[0], f[1]
	if name, item, ok := strings.Cut(f[0], "."); ok {
		if name != "before" {
			return t, fmt.Errorf("%q is not known; only before has items, as in before.rising", f[0])
		}
		t.name, t.arg = name, item
	}
	if t.op != "=" && t.op != ">=" && t.op != "<=" {
		return t, fmt.Errorf("%q is not a comparison; use =, >= or <=", t.op)
	}
	n, err := strconv.ParseFloat(f[2], 64)
	if err != nil {
		return t, fmt.Errorf("%q is not a number", f[2])
	}
	t.num = n
	return t, nil
}

// holds judges the condition.
func (c condition) holds(s situation) bool {
	for _, t := range c.terms {
		if t.holds(s) == t.not {
			return false
		}
	}
	return true
}

func (t term) holds(s situation) bool {
	switch t.name {
	case "yes":
		return s.ok && s.value.Kind == KindYesNo && s.value.Yes
	case "no":
		return s.ok && s.value.Kind == KindYesNo && !s.value.Yes
	case "bare":
		return s.ok && s.value.Text == ""
	case "na":
		return s.ok && s.value.NotApplicable
	case "answered":
		return s.ok
	case "sign":
		return s.ctx.Sign
	case "is":
		return s.ok && s.value.Text == t.arg
	case "fact":
		return s.ctx.Facts[t.arg]
	case "form":
		return s.session.Form.String() == t.arg
	case "before":
		return t.before(s)
	case "value":
		return s.ok && !s.value.NotApplicable && t.compare(s.value.Number)
	default:
		v, ok := s.session.Answer(t.name)
		return ok && !v.NotApplicable && t.compare(v.Number)
	}
}

// before compares with the last answered level. Where there is none the
// comparison does not hold.
func (t term) before(s situation) bool {
	item := t.arg
	if item == "" {
		item = s.item
	}
	n, ok := s.ctx.Before[item]
	return ok && t.compare(float64(n))
}

func (t term) compare(n float64) bool {
	switch t.op {
	case ">=":
		return n >= t.num
	case "<=":
		return n <= t.num
	default:
		return n == t.num
	}
}

// itemsNamed are the items that a condition compares, for the checker.
func (c condition) itemsNamed() []string {
	var items []string
	for _, t := range c.terms {
		switch {
		case t.name == "before" && t.arg != "":
			items = append(items, t.arg)
		case t.op != "" && t.name != "before" && t.name != "value":
			items = append(items, t.name)
		}
	}
	return items
}
