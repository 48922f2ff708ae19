package desk

import (
	"slices"
	"strings"
	"time"

	"gaitpost/internal/care"
)

// foundPart is what stands of the practitioner's findings.
type foundPart struct {
	Any      bool
	Joints   []string
	Lameness string
	LameAt   int64
	Body     string
	Muscle   string
	Diseases []string
	Tests    []testLine // newest first
	Examined int64
	// For the form, which opens as things stand.
	Grade   int
	Leg     care.Leg
	Chosen  map[string]bool // joints by "side name"
	Written string          // diseases, one a line
}

type testLine struct {
	care.Test
	Overdue bool
}

func foundOf(p page, dog *care.Dog) foundPart {
	s := dog.Standing()
	f := foundPart{Diseases: s.Diseases, Examined: s.Examined, LameAt: s.LameAt, Grade: int(s.Lameness.Grade), Leg: s.Lameness.Leg,
		Written: strings.Join(s.Diseases, "\n"), Chosen: map[string]bool{}}
	for _, j := range s.Joints {
		f.Joints = append(f.Joints, j.String())
		f.Chosen[jointKey(j.Side, j.Name)] = true
	}
	if s.Lameness.Grade != care.NotGraded {
		f.Lameness = s.Lameness.String()
	}
	if dog.BCS != 0 {
		f.Body = itoa(int(dog.BCS)) + " of 9"
		if dog.BCSAt != 0 {
			f.Body += ", " + p.Day(dog.BCSAt).Text
		}
	}
	if f.Muscle = muscleNames[dog.Muscle]; f.Muscle != "" && dog.MuscleAt != 0 {
		f.Muscle += ", " + p.Day(dog.MuscleAt).Text
	}
	for _, t := range slices.Backward(s.Tests) {
		f.Tests = append(f.Tests, testLine{t, t.Next != 0 && t.Next < p.now.Unix() && newestOf(s.Tests, t)})
	}
	f.Any = len(f.Joints)+len(f.Diseases)+len(f.Tests) > 0 || f.Lameness != "" || f.Body != "" || f.Muscle != "" || f.Examined != 0
	return f
}

// newestOf reports whether no later test of its kind was done.
func newestOf(tests []care.Test, t care.Test) bool {
	return !slices.ContainsFunc(tests, func(o care.Test) bool { return o.Kind == t.Kind && o.On > t.On })
}

// jointKey is the value of a joint's box: its side and name.
func jointKey(s care.Side, name string) string { return string(s) + " " + name }

// Has reports whether a joint stands, for the form.
func (f foundPart) Has(side care.Side, name string) bool { return f.Chosen[jointKey(side, name)] }

// Middle reports whether a joint has no side.
func (c planChoices) Middle(name string) bool { return care.Sideless(name) }

func dayTime(n int32) time.Time { return time.Unix(int64(n)*daySeconds, 0).UTC() }
