package care

import (
	"strings"

	"gaitpost/internal/clinical"
)

// NewHousehold is a household before its first event: nothing but an address.
func NewHousehold(clinic string, owner Owner) Household {
	return Household{
		ID: owner.ID, Clinic: clinic,
		Contacts: []Contact{{ID: owner.ID, Address: owner.Address, Name: owner.Name,
			Lang: owner.Lang, Zone: owner.Zone, Via: owner.Via}},
	}
}

// NewStranger is the household of a number that writes in without being
// enrolled.
func NewStranger(clinic string, owner Owner) Household {
	h := NewHousehold(clinic, owner)
	h.Stranger = true
	return h
}

// enrol adds owner and dogs, or changes what changed.
func (t *turn) enrol(by string, e *Enrolment) Reason {
	changed := t.enrolOwner(e.Owner)
	for _, d := range e.Dogs {
		if c := t.enrolDog(d); c != "" {
			changed = append(changed, d.Name+": "+c)
		}
	}
	if t.h.Enrolled == 0 {
		t.h.Enrolled, t.h.Stranger = t.at, false
		changed = []string{"new"}
	}
	if len(changed) > 0 {
		t.fact(Fact{Kind: FactEnrolled, Text: strings.Join(changed, "; "), By: by})
	}
	if e.Invite {
		t.invite(0)
	}
	t.out.Changed = strings.Join(changed, "; ")
	return PracticeDone
}

func (t *turn) enrolOwner(o Owner) []string {
	if len(t.h.Contacts) == 0 {
		t.h.Contacts = []Contact{{ID: o.ID}}
	}
	// A list made before a number changed, or after, means the same person.
	c := &t.h.Contacts[max(t.h.contactOf(o.Address), 0)]
	var changed []string
	set := func(field *string, value, name string) {
		if value != "" && *field != value {
			*field = value
			changed = append(changed, name)
		}
	}
	set(&c.Name, o.Name, "owner's name")
	set(&c.Lang, o.Lang, "language")
	set(&c.Zone, o.Zone, "zone")
	set(&c.Via, o.Via, "channel")
	if c.Address.IsZero() {
		c.Address = o.Address
	}
	return changed
}

// enrolDog adds a dog or updates one known by its reference or name. It
// returns what changed, "" for nothing.
func (t *turn) enrolDog(e EnrolledDog) string {
	i := t.dogNamed(e.Name)
	if i < 0 && e.Ref != "" {
		for k := range t.h.Dogs {
			if t.h.Dogs[k].Ref == e.Ref {
				i = int8(k)
			}
		}
	}
	if i < 0 {
		t.addDog(e)
		return "new"
	}
	return strings.Join(t.updateDog(i, e), ", ")
}

func (t *turn) addDog(e EnrolledDog) {
	d := Dog{Name: e.Name, Ref: e.Ref, Sex: e.Sex, Entire: e.Entire, Own: e.Own, BCS: e.BCS,
		Muscle: e.Muscle, Target: e.Target, Before: e.Untreated, Unsaid: len(e.Plan) == 0}
	if d.BCS != 0 {
		d.BCSAt = t.at
	}
	if d.Muscle != 0 {
		d.MuscleAt = t.at
	}
	t.h.Dogs = append(t.h.Dogs, d)
	i := int8(len(t.h.Dogs) - 1)
	t.addEntries(i, e)
	dog := &t.h.Dogs[i]
	dog.Course.BeginStretchUnder(t.thresholds(i), t.at, false)
	if e.Grams > 0 {
		t.weigh(i, -1, clinical.WeighIn{At: t.at, Grams: clinical.Grams(e.Grams), Scale: clinical.Clinic})
	}
	if e.Before != nil {
		t.score(i, -1, clinical.Reading{At: t.at, Items: *e.Before, Before: true})
	}
	if p := t.h.primary(); p >= 0 {
		t.schedule(i)
	}
}

// addEntries puts entries on the plan that are not there yet.
func (t *turn) addEntries(dog int8, e EnrolledDog) int {
	d := &t.h.Dogs[dog]
	added := 0
	entries := e.Plan
	if e.Loss && !d.onLossPlan() {
		entries = append(entries[:len(entries):len(entries)], Entry{Area: AreaWeight, What: "weight loss", Started: t.at})
	}
	for _, entry := range entries {
		if d.named(entry.What) != nil || d.endedSince(entry) {
			continue
		}
		entry.ID = d.nextEntryID()
		if entry.setReminders(entry.Reminders) != "" {
			entry.Reminders = nil // the settings' reader has refused them already
		}
		if entry.Started == 0 {
			entry.Started = t.at
		}
		d.Plan = append(d.Plan, entry)
		added++
		t.fact(Fact{Kind: FactPlan, Dog: dog + 1, Code: string(PlanStart), Text: entry.What, ID: string(entry.Class), Number: float64(entry.Started)})
	}
	if added > 0 {
		d.Unsaid = false
		t.scheduleSignsOnly(d)
		t.placeReminders(d)
		t.judgePlan(dog)
	}
	return added
}

// endedSince reports whether an entry of that name began on or after the given
// one and has ended: an old list does not bring back what was stopped since.
func (d *Dog) endedSince(e Entry) bool {
	for _, was := range d.Plan {
		if lower(was.What) == lower(e.What) && was.Status == Ended && (e.Started == 0 || was.Started >= e.Started) {
			return true
		}
	}
	return d.struckOut(e)
}

func (t *turn) updateDog(i int8, e EnrolledDog) []string {
	d := &t.h.Dogs[i]
	var changed []string
	if e.Ref != "" && d.Ref != e.Ref {
		d.Ref, changed = e.Ref, append(changed, "reference")
	}
	if d.Name != e.Name {
		d.Name, changed = e.Name, append(changed, "name")
	}
	if e.Sex != UnknownSex && d.Sex != e.Sex {
		d.Sex, changed = e.Sex, append(changed, "sex")
	}
	if e.BCS != 0 && d.BCS != e.BCS {
		d.BCSAt = t.at
		d.BCS, changed = e.BCS, append(changed, "body condition score")
	}
	if e.Muscle != 0 && d.Muscle != e.Muscle {
		d.MuscleAt = t.at
		d.Muscle, changed = e.Muscle, append(changed, "muscle condition")
	}
	if e.Target != 0 && d.Target != e.Target {
		d.Target, changed = e.Target, append(changed, "target weight")
	}
	for k := range d.Own {
		if e.Own[k] != "" && d.Own[k] != e.Own[k] {
			d.Own[k], changed = e.Own[k], append(changed, "own activity")
			d.Course.ChangeOwnActivity(clinical.Own1+clinical.Item(k), t.at)
		}
	}
	if w := t.lastWeight(i); e.Grams > 0 && (w == nil || int64(w.Grams) != e.Grams) && !t.weighedSince(i, e.Grams) {
		t.weigh(i, -1, clinical.WeighIn{At: t.at, Grams: clinical.Grams(e.Grams), Scale: clinical.Clinic})
		changed = append(changed, "weight")
	}
	if t.addEntries(i, e) > 0 {
		changed = append(changed, "plan")
	}
	return changed
}

// weighedSince reports whether that clinic weight is already in the record, so
// that importing a caseload again does not bring an old weight back as new.
func (t *turn) weighedSince(i int8, grams int64) bool {
	for _, w := range t.h.Dogs[i].Weights {
		if int64(w.Grams) == grams && w.Scale == clinical.Clinic {
			return true
		}
	}
	return false
}
