package care_test

import (
	"testing"
	"time"

	"gaitpost/internal/care"
)

// BenchmarkTurn is one ordinary answer in the middle of a check-in: screen,
// opt-out match, dialog, facts.
func BenchmarkTurn(b *testing.B) {
	rules := testRules(b)
	owner := care.Owner{Name: "Ruth", Address: ownerAddress, ID: "o1", Via: "text"}
	h := care.NewHousehold("hill", owner)
	step := func(e care.Event, after time.Duration) {
		e.At = monday.Add(after)
		h = care.Turn(rules, h, e).Household
	}
	step(care.Event{Key: "a", Practice: &care.Practice{By: "lee", Enrol: &care.Enrolment{Owner: owner, Dogs: []care.EnrolledDog{{Name: "Bramble"}}, Invite: true}}}, 0)
	step(care.Event{Key: "b", Message: &care.MessageIn{From: ownerAddress, Text: "yes"}}, time.Minute)
	e := care.Event{Key: "c", At: monday.Add(2 * time.Minute), Message: &care.MessageIn{From: ownerAddress, Via: "text", ID: "SM1", Text: "about a 2 today"}}
	b.ReportAllocs()
	for b.Loop() {
		if res := care.Turn(rules, h, e); res.Reason != care.Answered {
			b.Fatal(res.Reason)
		}
	}
}
