package record

import (
	"strconv"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
)

// notApplicable is the code of the answer that the item doesn't apply.
const notApplicable = "x"

// itemText is what an item asks about, where the owner chose it in general words.
func itemText(r *care.Rules, item clinical.Item) string {
	switch item {
	case clinical.Own1:
		return "First everyday thing that matters to this owner and dog"
	case clinical.Own2:
		return "Second everyday thing that matters to this owner and dog"
	}
	if script, ok := r.Scripts.Script(string(care.PromptCheckIn)); ok {
		if label, ok := script.Label(item.String(), ""); ok {
			return capital(label)
		}
	}
	return capital(item.String())
}

// questionnaire is the weekly check-in as a form. Its version is the script's
// and the formula's.
func questionnaire(r *care.Rules) (fhirQuestionnaire, bool) {
	if r.Scripts == nil {
		return fhirQuestionnaire{}, false
	}
	script, ok := r.Scripts.Script(string(care.PromptCheckIn))
	if !ok {
		return fhirQuestionnaire{}, false
	}
	q := fhirQuestionnaire{ResourceType: "Questionnaire", ID: uuid("questionnaire/", r.Clinic, "/", formVersion(r)), URL: ownForm, Version: formVersion(r),
		Title: "Weekly check-in by text message", Status: "active", SubjectType: []string{"Patient"}, Publisher: r.Name,
		Description: "Eight items, 0 no trouble to 4 worst, x does not apply. " + notValidated}
	for i := range clinical.ItemCount {
		item := clinical.Item(i)
		levels, x, _ := script.Anchors(item.String(), "")
		question := fhirQuestion{LinkID: item.String(), Text: itemText(r, item), Type: "choice"}
		for n, words := range levels {
			question.AnswerOption = append(question.AnswerOption, fhirOption{levelCoding(strconv.Itoa(n), words)})
		}
		question.AnswerOption = append(question.AnswerOption, fhirOption{levelCoding(notApplicable, x)})
		q.Item = append(q.Item, question)
	}
	q.Item = append(q.Item, fhirQuestion{LinkID: "carried", Text: "The owner answered “same as last time” for the whole dog", Type: "boolean"},
		fhirQuestion{LinkID: "before", Text: "Taken before treatment began", Type: "boolean"})
	return q, true
}

func formVersion(r *care.Rules) string {
	v := strconv.Itoa(clinical.FormulaVersion)
	if r.Scripts == nil {
		return v
	}
	if script, ok := r.Scripts.Script(string(care.PromptCheckIn)); ok {
		return strconv.Itoa(script.Version()) + "." + v
	}
	return v
}

func levelCoding(code, words string) fhirCoding {
	if words == "" {
		words = map[string]string{notApplicable: "doesn't apply", "0": "no trouble", "4": "worst"}[code]
	}
	return fhirCoding{ownLevels, code, words}
}

// response is one answered check-in. A skipped question has no item.
func (f *fhirDog) response(c *CheckIn) fhirResponse {
	owner := f.ownerReference()
	r := fhirResponse{ResourceType: "QuestionnaireResponse", ID: f.uuid("check-in/", c.At), Questionnaire: ownForm + "|" + formVersion(f.in.Rules),
		Status: "completed", Subject: f.subject, Authored: f.at(c.At), Source: &owner}
	if c.State == ByStaff {
		r.Author = &fhirReference{Display: f.in.name(c.By)}
		if c.Who != "" {
			r.Source = &fhirReference{Display: c.Who}
		}
	}
	for i, l := range c.Reading.Items {
		item := clinical.Item(i)
		code := notApplicable
		switch {
		case l.Answered():
			code = strconv.Itoa(int(l))
		case l != clinical.NotApplicable:
			continue
		}
		coding := levelCoding(code, "")
		coding.Display = ""
		a := fhirAnswered{LinkID: item.String(), Text: itemText(f.in.Rules, item), Answer: []fhirAnswer{{ValueCoding: &coding}}}
		if item.IsOwn() && f.dog.Own[item-clinical.Own1] != "" {
			a.Text = capital(f.dog.Own[item-clinical.Own1])
		}
		r.Item = append(r.Item, a)
	}
	yes := true
	for _, x := range []struct {
		link string
		said bool
	}{{"carried", c.Reading.Carried}, {"before", c.Reading.Before}} {
		if x.said {
			r.Item = append(r.Item, fhirAnswered{LinkID: x.link, Answer: []fhirAnswer{{ValueBoolean: &yes}}})
		}
	}
	return r
}
