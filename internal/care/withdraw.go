package care

import (
	"slices"
	"strings"
)

// Withdraw takes an entry off the plan that was entered in error. It stays in
// the record with the reason.
type Withdraw struct {
	Dog   int8   `cbor:"1,keyasint"`
	Entry uint16 `cbor:"2,keyasint"`
	Why   string `cbor:"3,keyasint"`
}

// PlanWithdraw is the code of such a fact; its Number is since when the entry
// was on the plan.
const PlanWithdraw PlanAction = "withdraw"

// withdraw takes a wrongly entered entry off the plan. What was scheduled for
// it is scheduled anew without it; a stretch that it began stays.
func (t *turn) withdraw(by string, w *Withdraw) Reason {
	d := &t.h.Dogs[w.Dog]
	i := slices.IndexFunc(d.Plan, func(e Entry) bool { return e.ID == w.Entry })
	switch {
	case i < 0:
		return t.refuse(d.Name + " has no such entry on the plan.")
	case strings.TrimSpace(w.Why) == "":
		return t.refuse("Please say what was wrong about the entry.")
	}
	e := d.Plan[i]
	e.Reason = w.Why
	d.Plan = slices.Delete(slices.Clone(d.Plan), i, i+1)
	d.Withdrawn = append(slices.Clone(d.Withdrawn), e)
	t.fact(Fact{Kind: FactPlan, Dog: w.Dog + 1, Code: string(PlanWithdraw), Text: e.What, ID: string(e.Class), By: by, Number: float64(e.Started)})
	t.scheduleSignsOnly(d)
	t.judgePlan(w.Dog)
	t.stopReminding(w.Dog, e.ID)
	t.placeReminders(d)
	t.judgeReviews(w.Dog)
	return PracticeDone
}

// struckOut reports whether that very entry was withdrawn: an old list does not
// bring it back.
func (d *Dog) struckOut(e Entry) bool {
	return slices.ContainsFunc(d.Withdrawn, func(was Entry) bool {
		return lower(was.What) == lower(e.What) && (e.Started == 0 || was.Started >= e.Started)
	})
}
