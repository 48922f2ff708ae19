package clinic

import (
	"fmt"
	"path"
	"slices"
	"strings"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// EnrolColumns are the columns of an enrolment table, and the names of the same
// things in a YAML file. Only owner, phone and dog have to be there.
var EnrolColumns = []EnrolColumn{
	{"owner", "the owner's first name, as they are greeted"},
	{"phone", "the owner's mobile number; rows with one number are one household"},
	{"dog", "the dog's name"},
	{"sex", "male, female, male entire, female entire; empty if not known"},
	{"own1", "an everyday thing that matters to this owner and dog"},
	{"own2", "a second one"},
	{"bcs", "body condition score, 1 to 9"},
	{"muscle", "muscle condition: normal, mild, moderate or severe loss (or 1 to 4)"},
	{"weight_kg", "weight on the practice's scale"},
	{"target_kg", "target weight; without it, worked out from weight and bcs"},
	{"loss_plan", "yes if the dog is on a weight-loss plan"},
	{"medicines", "class:name since date, several with semicolons; classes: nsaid, antibody, steroid, aspirin, other"},
	{"plan", "the rest of the plan, area:what since date; areas: weight, activity, home, therapy, supplement"},
	{"before", "a check-in answered at the practice: eight levels in the order of the questions, x where one does not apply, - where none was given"},
	{"untreated", "yes if treatment has not begun yet"},
	{"language", "the owner's language, like en"},
	{"zone", "the owner's time zone, if not the practice's"},
	{"one_by_one", "yes if the owner prefers one question at a time"},
	{"channel", "the clinic's channel to text through; without it, the first"},
	{"ref", "the practice's own number for the dog"},
}

// EnrolColumn is one column of an enrolment table.
type EnrolColumn struct{ Name, About string }

// EnrolReader reads what a practice enrols its caseload with.
type EnrolReader struct {
	Rules *care.Rules
	// Hasher fills the owners' ids; nil leaves them empty.
	Hasher *contact.Hasher
	// Now is the instant after which no date may lie.
	Now time.Time
	// Invite sends the invitation to whoever has had none.
	Invite bool
}

// maxEnrolFile is the largest enrolment file read, in bytes: more than 50,000 rows.
const maxEnrolFile = 16 << 20

// Read reads a file, as YAML or as a table by its name's ending. With any
// problem that is Wrong, no enrolment is returned: a caseload is taken over
// whole or not at all. Every bad row is named.
func (e EnrolReader) Read(name string, data []byte) ([]care.Enrolment, []Problem) {
	if len(data) > maxEnrolFile {
		return nil, []Problem{{File: name, Message: fmt.Sprintf("the file is larger than %d bytes", maxEnrolFile)}}
	}
	var rows []row
	var problems []Problem
	switch strings.ToLower(path.Ext(name)) {
	case ".yaml", ".yml":
		rows, problems = readEnrolYAML(name, data)
	case ".csv", ".tsv", ".txt":
		rows, problems = readTable(name, data)
	default:
		problems = []Problem{{File: name, Message: "an enrolment file is a table (.csv) or YAML (.yaml)"}}
	}
	return e.enrolments(name, rows, problems)
}

// Field is a column's value given otherwise than in a file, and the name that
// the person knows it by: "--weight".
type Field struct{ Column, Name, Value string }

// Fields reads one dog and its owner given field by field; from names where, for
// problems.
func (e EnrolReader) Fields(from string, fields []Field) ([]care.Enrolment, []Problem) {
	return e.enrolments(from, []row{rowOf(fields)}, nil)
}

func rowOf(fields []Field) row {
	r := row{cells: map[string]cell{}}
	for _, f := range fields {
		r.cells[f.Column] = cell{value: strings.TrimSpace(f.Value), key: f.Name}
	}
	return r
}

func (e EnrolReader) enrolments(name string, rows []row, problems []Problem) ([]care.Enrolment, []Problem) {
	in := e.intake(name)
	in.problems = problems
	for _, r := range rows {
		in.take(r)
	}
	if len(rows) == 0 && len(problems) == 0 {
		in.problems = append(in.problems, Problem{File: name, Message: "there is nobody in this file"})
	}
	sortProblems(in.problems)
	in.problems = slices.Compact(in.problems) // an owner's are found once a dog
	if AnyWrong(in.problems) {
		return nil, in.problems
	}
	out := make([]care.Enrolment, len(in.order))
	for i, h := range in.order {
		out[i] = h.enrolment
	}
	return out, in.problems
}

// cell is one value of a row and what the person knows it by.
type cell struct {
	value string
	key   string
	line  int
}

// row is one dog with its owner.
type row struct {
	line  int
	cells map[string]cell
}

func (r row) at(column string) cell {
	c, ok := r.cells[column]
	if !ok {
		c = cell{key: column}
	}
	if c.line == 0 {
		c.line = r.line
	}
	return c
}

// household is one enrolment under way and the rows it came from.
type household struct {
	enrolment care.Enrolment
	first     row
	dogs      map[string]row // by name in small letters
}

// intake takes in rows and gathers what is wrong with them.
type intake struct {
	EnrolReader
	file     string
	problems []Problem
	order    []*household
	byPhone  map[contact.Address]*household
	refs     map[string]row
}

func (e EnrolReader) intake(name string) *intake {
	return &intake{EnrolReader: e, file: name, byPhone: map[contact.Address]*household{}, refs: map[string]row{}}
}

func (in *intake) report(s Severity, c cell, message, allowed string) {
	in.problems = append(in.problems, Problem{
		File: in.file, Line: c.line, Key: c.key, Value: printable(c.value), Message: message, Allowed: allowed, Severity: s,
	})
}

func (in *intake) wrong(c cell, message, allowed string) { in.report(Wrong, c, message, allowed) }

// maxDogs is how many dogs one household may have here.
const maxDogs = 20

// take reads one row. What is wrong in one column keeps no other from being read.
func (in *intake) take(r row) {
	owner := in.owner(r)
	dog := in.dog(r)
	h := in.byPhone[owner.Address]
	switch {
	case owner.Address.IsZero():
		return // reported; without a number the row belongs to nobody
	case h == nil:
		h = &household{first: r, dogs: map[string]row{}}
		h.enrolment.Owner, h.enrolment.Invite = owner, in.Invite
		in.byPhone[owner.Address] = h
		in.order = append(in.order, h)
		if owner.Name == "" && r.at("owner").value == "" {
			in.wrong(r.at("owner"), "the owner's name is missing", nameAllowed("owner"))
		}
	default:
		in.sameOwner(h, owner, r)
	}
	name := strings.ToLower(dog.Name)
	if other, twice := h.dogs[name]; twice && name != "" {
		in.wrong(r.at("dog"), fmt.Sprintf("this household has a dog of that name in %s already", lineName(other)), "one row a dog")
		return
	}
	if len(h.enrolment.Dogs) == maxDogs {
		in.wrong(r.at("dog"), fmt.Sprintf("a household has at most %d dogs", maxDogs), "")
		return
	}
	h.dogs[name] = r
	h.enrolment.Dogs = append(h.enrolment.Dogs, dog)
}

func lineName(r row) string {
	if r.line == 0 {
		return "this entry"
	}
	return fmt.Sprintf("row %d", r.line)
}

// sameOwner reports where a further row of a household says something else
// about its owner; an empty cell says nothing.
func (in *intake) sameOwner(h *household, o care.Owner, r row) {
	first := &h.enrolment.Owner
	for _, c := range []struct {
		column    string
		was, also *string
	}{
		{"owner", &first.Name, &o.Name},
		{"language", &first.Lang, &o.Lang},
		{"zone", &first.Zone, &o.Zone},
	} {
		switch {
		case *c.also == "" || *c.also == *c.was:
		case *c.was == "":
			*c.was = *c.also
		default:
			in.wrong(r.at(c.column), fmt.Sprintf("%s has the same telephone number and says %q", lineName(h.first), *c.was), "one owner a number")
		}
	}
	if r.at("channel").value != "" && o.Via != first.Via {
		in.wrong(r.at("channel"), fmt.Sprintf("%s has the same telephone number and another channel", lineName(h.first)), "one channel a number")
	}
	first.OneByOne = first.OneByOne || o.OneByOne
}
