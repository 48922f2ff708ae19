package care

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Findings are the practitioner's own, beside the owner's. What is left out
// stays as it was found before.
type Findings struct {
	Dog    int8   `cbor:"1,keyasint"`
	Text   string `cbor:"2,keyasint"`
	BCS    uint8  `cbor:"3,keyasint,omitempty"`
	Muscle uint8  `cbor:"4,keyasint,omitempty"`
	// Joints replaces the list of joints affected; Whole says that an empty list
	// means none. The same goes for Diseases and Lameness.
	Joints   []Joint  `cbor:"5,keyasint,omitempty"`
	Lameness Lameness `cbor:"6,keyasint,omitempty"`
	Diseases []string `cbor:"7,keyasint,omitempty"` // other ones, in a few words each
	// Tests are added; one of the same kind and day replaces what was kept.
	Tests    []Test `cbor:"8,keyasint,omitempty"`
	Examined int64  `cbor:"9,keyasint,omitempty"`  // when the dog was last examined
	Whole    bool   `cbor:"10,keyasint,omitempty"` // joints, lameness and diseases as given are all there are
	// Struck is a test that was entered in error: its kind and day. It leaves
	// what stands and stays in the record.
	Struck *Test `cbor:"11,keyasint,omitempty"`
}

// Found is what stands of the practitioner's findings on a dog, newest word on
// each. Body and muscle condition stand in the dog itself.
type Found struct {
	Joints   []Joint  `cbor:"1,keyasint,omitempty"`
	Lameness Lameness `cbor:"2,keyasint,omitempty"`
	Diseases []string `cbor:"3,keyasint,omitempty"`
	Tests    []Test   `cbor:"4,keyasint,omitempty"` // oldest first
	Examined int64    `cbor:"5,keyasint,omitempty"`
	LameAt   int64    `cbor:"6,keyasint,omitempty"` // when lameness was graded
}

// OwnerWords are words of an owner that the plan builds on.
type OwnerWords struct {
	Text string `cbor:"1,keyasint"`
	At   int64  `cbor:"2,keyasint"`
}

// Joint is one joint found affected.
type Joint struct {
	Side Side   `cbor:"1,keyasint,omitempty"`
	Name string `cbor:"2,keyasint"` // one of JointNames
}

// Side of the body, as the dog has it.
type Side string

const (
	NoSide    Side = ""
	LeftSide  Side = "left"
	RightSide Side = "right"
	BothSides Side = "both"
)

// Sides lists every side, in the order they are offered.
var Sides = []Side{LeftSide, RightSide, BothSides}

// JointNames are the joints that can be named, head to tail. Those of the back
// have no side.
var JointNames = []string{"neck", "back", "lower back", "shoulder", "elbow", "wrist", "hip", "knee", "hock", "toes"}

// sideless are the joints in the middle.
var sideless = []string{"neck", "back", "lower back"}

// Sideless reports whether a joint lies in the middle and has no side.
func Sideless(name string) bool { return slices.Contains(sideless, name) }

// String is the joint as it is read: "left hip".
func (j Joint) String() string {
	if j.Side == NoSide {
		return j.Name
	}
	if j.Side == BothSides {
		return "both sides: " + j.Name
	}
	return string(j.Side) + " " + j.Name
}

// Lameness is the practitioner's grade for the leg that is worst.
type Lameness struct {
	Grade LameGrade `cbor:"1,keyasint,omitempty"`
	Leg   Leg       `cbor:"2,keyasint,omitempty"`
}

// LameGrade is how lame a dog is seen to be, in our own plain words.
type LameGrade uint8

// The grades; 0 is not graded.
const (
	NotGraded LameGrade = iota
	Sound
	LameAfterRest
	LameAtTimes
	LameEveryStep
	LameToeTouching
	LameCarried
)

// LameGrades are the words of the grades, by grade.
var LameGrades = [...]string{"not graded", "not lame", "stiff or lame only after rest or long walks", "lame now and then at a walk",
	"lame at every step, weight on the leg", "hardly any weight on the leg", "leg carried"}

func (g LameGrade) String() string { return LameGrades[min(int(g), len(LameGrades)-1)] }

// Leg is a leg of a dog; "" where it wasn't said.
type Leg string

// Legs lists every leg.
var Legs = []Leg{"left fore", "right fore", "left hind", "right hind"}

func (l Lameness) String() string {
	if l.Leg == "" || l.Grade <= Sound {
		return l.Grade.String()
	}
	return l.Grade.String() + ", " + string(l.Leg)
}

// Test is one that was done, and when the next is due.
type Test struct {
	Kind   TestKind `cbor:"1,keyasint"`
	On     int64    `cbor:"2,keyasint"`
	Next   int64    `cbor:"3,keyasint,omitempty"` // 0: not set
	Remark string   `cbor:"4,keyasint,omitempty"`
}

// TestKind is what was tested.
type TestKind string

const (
	TestBlood    TestKind = "blood"
	TestUrine    TestKind = "urine"
	TestPictures TestKind = "x-rays or scan"
	TestPressure TestKind = "blood pressure"
	TestOther    TestKind = "other"
)

// TestKinds lists every kind, in the order they are offered.
var TestKinds = []TestKind{TestBlood, TestUrine, TestPictures, TestPressure, TestOther}

// The most that is kept of each finding; more is refused.
const (
	mostJoints   = 12
	mostDiseases = 8
	keptTests    = 24 // older ones stay in the log
)

// MuscleWords are the words of muscle condition, by its number.
var MuscleWords = [...]string{"", "normal", "mild loss", "moderate loss", "severe loss"}

// Standing is what stands of the practitioner's findings; empty for none.
func (d *Dog) Standing() Found {
	if d.Found == nil {
		return Found{}
	}
	return *d.Found
}

// Newest is the newest test of a kind, and whether there is one.
func (f *Found) Newest(k TestKind) (Test, bool) {
	var last Test
	for _, t := range f.Tests {
		if t.Kind == k && t.On >= last.On {
			last = t
		}
	}
	return last, last.On != 0
}

// findings keeps what the practitioner found.
func (t *turn) findings(by string, f *Findings) Reason {
	if why := f.problem(t.at); why != "" {
		return t.refuse(why)
	}
	d := &t.h.Dogs[f.Dog]
	if f.BCS != 0 {
		d.BCS, d.BCSAt = f.BCS, t.at
	}
	if f.Muscle != 0 {
		d.Muscle, d.MuscleAt = f.Muscle, t.at
	}
	d.found(f, t.at)
	t.fact(Fact{Kind: FactFinding, Dog: f.Dog + 1, Text: f.sentence(t.r), Number: float64(f.BCS), By: by})
	return PracticeDone
}

// found brings what stands up to date. The old list is left as it was, since
// the household before this turn still has it.
func (d *Dog) found(f *Findings, at int64) {
	n := d.Standing()
	if f.Whole || len(f.Joints) > 0 {
		n.Joints = f.Joints
	}
	if f.Whole || f.Lameness.Grade != NotGraded {
		n.Lameness, n.LameAt = f.Lameness, at
	}
	if f.Whole || len(f.Diseases) > 0 {
		n.Diseases = f.Diseases
	}
	n.Tests = slices.Clone(n.Tests)
	for _, test := range f.Tests {
		n.Tests = append(without(n.Tests, test), test)
	}
	if f.Struck != nil {
		n.Tests = without(n.Tests, *f.Struck)
	}
	slices.SortStableFunc(n.Tests, func(a, b Test) int { return int(a.On - b.On) })
	if extra := len(n.Tests) - keptTests; extra > 0 {
		n.Tests = n.Tests[extra:]
	}
	n.Examined = max(n.Examined, f.Examined)
	d.Found = &n
}

func without(tests []Test, t Test) []Test {
	return slices.DeleteFunc(tests, func(o Test) bool { return o.Kind == t.Kind && o.On == t.On })
}

// problem is the first thing wrong with findings, as a sentence; "" for none.
func (f *Findings) problem(at int64) string {
	switch {
	case f.empty():
		return "There are no findings to record."
	case f.BCS > 9:
		return "Body condition is scored from 1 to 9."
	case int(f.Muscle) >= len(MuscleWords):
		return "Muscle condition is normal, or a mild, moderate or severe loss."
	case len(f.Joints) > mostJoints:
		return fmt.Sprintf("At most %d joints can be named.", mostJoints)
	case len(f.Diseases) > mostDiseases:
		return fmt.Sprintf("At most %d other diseases can be named.", mostDiseases)
	case int(f.Lameness.Grade) >= len(LameGrades):
		return "That lameness grade is not one of those offered."
	case f.Lameness.Leg != "" && !slices.Contains(Legs, f.Lameness.Leg):
		return fmt.Sprintf("%q is not a leg.", f.Lameness.Leg)
	case f.Examined > at:
		return "An examination is recorded once it has taken place."
	}
	for _, j := range f.Joints {
		if why := j.problem(); why != "" {
			return why
		}
	}
	for _, t := range f.Tests {
		if why := t.problem(at); why != "" {
			return why
		}
	}
	return ""
}

func (f *Findings) empty() bool {
	return f.Text == "" && f.BCS == 0 && f.Muscle == 0 && !f.Whole && len(f.Joints)+len(f.Diseases)+len(f.Tests) == 0 &&
		f.Lameness.Grade == NotGraded && f.Examined == 0 && f.Struck == nil
}

func (j Joint) problem() string {
	switch {
	case !slices.Contains(JointNames, j.Name):
		return fmt.Sprintf("%q is not a joint that can be named; write it into the text.", j.Name)
	case Sideless(j.Name) && j.Side != NoSide:
		return "The " + j.Name + " has no side."
	case j.Side != NoSide && !slices.Contains(Sides, j.Side):
		return fmt.Sprintf("%q is not a side: left, right or both.", j.Side)
	}
	return ""
}

func (t Test) problem(at int64) string {
	switch {
	case !slices.Contains(TestKinds, t.Kind):
		return fmt.Sprintf("%q is not a test that can be kept.", t.Kind)
	case t.On <= 0:
		return "A test needs its date."
	case t.On > at:
		return "A test is recorded once it has been done."
	case t.Next != 0 && t.Next <= t.On:
		return "The next test has to be due after the one that was done."
	}
	return ""
}

// sentence is what was found as the record keeps it: the free words first, then
// each finding on a line of its own.
func (f *Findings) sentence(r *Rules) string {
	var lines []string
	add := func(name, text string) {
		if text != "" {
			lines = append(lines, name+": "+text)
		}
	}
	if f.Text != "" {
		lines = append(lines, f.Text)
	}
	var joints []string
	for _, j := range f.Joints {
		joints = append(joints, j.String())
	}
	add("Joints", strings.Join(joints, ", "))
	if f.Lameness.Grade != NotGraded {
		add("Lameness", f.Lameness.String())
	}
	if f.BCS != 0 {
		add("Body condition", fmt.Sprintf("%d of 9", f.BCS))
	}
	add("Muscle", MuscleWords[f.Muscle])
	add("Other diseases", strings.Join(f.Diseases, ", "))
	for _, t := range f.Tests {
		add("Test", t.sentence(r))
	}
	if f.Examined != 0 {
		add("Examined", r.date(f.Examined))
	}
	if f.Struck != nil {
		add("Entered in error", f.Struck.sentence(r))
	}
	if len(lines) == 0 {
		return "Joints, lameness and other diseases: none."
	}
	return strings.Join(lines, "\n")
}

func (t Test) sentence(r *Rules) string {
	s := string(t.Kind) + ", " + r.date(t.On)
	if t.Remark != "" {
		s += ", " + t.Remark
	}
	if t.Next != 0 {
		s += ", next due " + r.date(t.Next)
	}
	return s
}

// date is a day as a practitioner reads it, in the clinic's zone.
func (r *Rules) date(at int64) string {
	zone := r.Zone
	if zone == nil {
		zone = time.UTC
	}
	return time.Unix(at, 0).In(zone).Format("2 Jan 2006")
}
