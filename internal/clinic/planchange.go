package clinic

import (
	"strings"
	"time"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// The columns of a change of plan, beside phone and dog.
const (
	ColumnAction  = "action" // start, stop, hold, restart, adjust or details
	ColumnWhat    = "what"
	ColumnClass   = "class"
	ColumnArea    = "area"
	ColumnComfort = "comfort" // yes if it is expected to change comfort
	ColumnOn      = "on"
	ColumnReason  = "reason"
	ColumnBatch   = "batch"
	ColumnWhy     = "why"    // what it is for
	ColumnWho     = "who"    // who does it or sees to it
	ColumnReview  = "review" // when it is looked at again
	ColumnSource  = "source" // where it comes from, "" for this practice
)

// Change is a change of plan and whose it is.
type Change struct {
	Owner contact.Address
	Plan  care.PlanChange
}

// maxReason is the longest reason kept with a change, in characters.
const maxReason = 200

// PlanChange reads a change of plan given field by field; from names where, for
// problems. With any problem that is Wrong, the change is empty.
func (e EnrolReader) PlanChange(from string, fields []Field) (Change, []Problem) {
	in, r := e.intake(from), rowOf(fields)
	c := Change{Owner: in.phone(r.at("phone"))}
	c.Plan = care.PlanChange{
		Dog:     in.name(r.at("dog"), "dog"),
		Action:  in.action(r.at(ColumnAction)),
		What:    in.what(r.at(ColumnWhat)),
		Comfort: in.yes(r.at(ColumnComfort)),
		On:      in.on(r.at(ColumnOn)),
		Reason:  in.remark(r.at(ColumnReason), maxReason),
		Batch:   in.remark(r.at(ColumnBatch), 40),
		Why:     in.remark(r.at(ColumnWhy), maxReason),
		Who:     in.remark(r.at(ColumnWho), 60),
		Review:  in.review(r.at(ColumnReview)),
		Source:  in.source(r.at(ColumnSource)),
	}
	if r.at("dog").value == "" {
		in.wrong(r.at("dog"), "the dog's name is missing", nameAllowed("dog"))
	}
	c.Plan.Class, c.Plan.Area = in.kind(r, c.Plan.Action)
	sortProblems(in.problems)
	if AnyWrong(in.problems) {
		return Change{}, in.problems
	}
	return c, in.problems
}

func (in *intake) action(c cell) care.PlanAction {
	switch a := care.PlanAction(c.value); a {
	case care.PlanStart, care.PlanStop, care.PlanHold, care.PlanRestart, care.PlanAdjust, care.PlanDetails:
		return a
	}
	in.wrong(c, "this is not something that is done to a plan", "start, stop, hold, restart, adjust or details")
	return ""
}

// what reads the name of a thing on the plan.
func (in *intake) what(c cell) string {
	switch {
	case c.value == "":
		in.wrong(c, "what is changed is missing", nameAllowed("medicine"))
	case dose.MatchString(c.value):
		in.wrong(c, "a dose is not kept here: give the name alone", nameAllowed("medicine"))
	default:
		return in.name(c, "medicine")
	}
	return ""
}

func (in *intake) on(c cell) int64 {
	if c.value == "" {
		return 0
	}
	d, err := cadence.ParseLocalDate(c.value)
	at := in.started(d)
	if err != nil || at == 0 {
		in.wrong(c, "this is not a day from 2000 until today", allowedDate)
	}
	return at
}

// review reads a day to come, as its noon in the clinic's zone: safe from clock
// changes.
func (in *intake) review(c cell) int64 {
	if c.value == "" {
		return 0
	}
	d, err := cadence.ParseLocalDate(c.value)
	zone := in.Rules.Zone
	if zone == nil {
		zone = time.UTC
	}
	at := time.Date(d.Year, d.Month, d.Day, 12, 0, 0, 0, zone)
	if err != nil || !at.After(in.Now) || at.After(in.Now.AddDate(5, 0, 0)) {
		in.wrong(c, "this is not a day to come, at most five years away", allowedDate)
		return 0
	}
	return at.Unix()
}

// sources are where something comes from, by their names in a form.
var sources = map[string]care.Source{"": care.FromHere, "here": care.FromHere, "out-of-hours": care.FromOutOfHours,
	"leftovers": care.FromLeftovers, "bought": care.FromBought, "elsewhere": care.FromElsewhere}

func (in *intake) source(c cell) care.Source {
	s, ok := sources[strings.ToLower(c.value)]
	if !ok {
		in.wrong(c, "this is not where something comes from", "here, out-of-hours, leftovers, bought or elsewhere")
	}
	return s
}

// NamesDose reports whether the name of something on a plan holds a dose, which
// is never kept.
func NamesDose(name string) bool { return dose.MatchString(name) }

func (in *intake) remark(c cell, most int) string {
	if r := []rune(c.value); len(r) > most || printable(shorten(c.value)) != shorten(c.value) {
		in.wrong(c, "this is too long, or has control characters in it", "one line of text")
		return ""
	}
	return c.value
}

// kind reads the class of a medicine or the area of something else. Only a
// start needs them: afterwards the plan knows.
func (in *intake) kind(r row, action care.PlanAction) (care.MedicineClass, care.Area) {
	class, area := r.at(ColumnClass), r.at(ColumnArea)
	known, isMedicine := medicineClasses[strings.ToLower(class.value)]
	where, isArea := planAreas[strings.ToLower(area.value)]
	switch {
	case class.value == "" && area.value == "" && action == care.PlanStart:
		in.wrong(class, "something new needs the class of a medicine, or an area", medicineClassNames+"; "+planAreaNames)
	case class.value != "" && !isMedicine:
		in.wrong(class, "this is not a class of medicine", medicineClassNames)
	case area.value != "" && !isArea && !(isMedicine && isPainRelief(area.value)):
		in.wrong(area, "this is not an area of the plan", planAreaNames)
	case isMedicine && isArea:
		in.wrong(area, "a medicine belongs to pain relief; leave the area out", "")
	case isMedicine:
		return known, care.AreaPain
	}
	return care.NotMedicine, where
}

func isPainRelief(area string) bool {
	return strings.EqualFold(area, "pain") || strings.EqualFold(area, string(care.AreaPain))
}

const (
	medicineClassNames = "classes nsaid, antibody, steroid, aspirin, other"
	planAreaNames      = "areas weight, activity, home, therapy, supplement"
)
