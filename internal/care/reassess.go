package care

import "strings"

// shapes is what an owner sees as body condition, on the practitioner's nine
// points: the middle of what each word covers.
var shapes = map[string]uint8{"thin": 3, "right": 5, "plump": 6, "heavy": 8, "obese": 9}

// reassessed keeps what a reassessment brought: the owner's estimate of body
// shape beside the practitioner's score, and their own words for her to read.
func (t *turn) reassessed(contact int8, o *Open) {
	t.note(FactPrompt, o.Dog, "answered", o.Slot)
	if o.Dog < 0 {
		return
	}
	t.h.Dogs[o.Dog].Unlooked = 0
	t.judgeReviews(o.Dog)
	if v, ok := o.Session.Answer("shape"); ok && shapes[v.Text] != 0 {
		t.h.Dogs[o.Dog].OwnerBCS = shapes[v.Text]
	}
	var said []string
	for _, a := range []struct{ item, label string }{
		{"aim", "aim"}, {"extras", "extras from elsewhere"}, {"awkward", "awkward at home"}, {"plan_use", "plan in use"},
	} {
		if v, ok := o.Session.Answer(a.item); ok && v.Text != "" && !isNone(v.Text) {
			said = append(said, a.label+" "+quote(v.Text))
			if a.item == "awkward" {
				t.h.Dogs[o.Dog].Awkward = &OwnerWords{Text: v.Text, At: t.at}
				t.placeHouse(o.Dog)
			}
		}
	}
	if len(said) > 0 {
		t.raise(evidence{dog: o.Dog, reason: Question, urgency: ForDigest, contact: contact,
			sentence: "reassessment: " + strings.Join(said, ", ")})
	}
}

func isNone(text string) bool {
	switch strings.Trim(lower(text), " .!") {
	case "none", "no", "nothing", "nope", "skip", "n/a":
		return true
	}
	return false
}
