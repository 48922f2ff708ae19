package care

import "time"

// placeByRules places a dog's prompts to come afresh by the rules in force, which
// may have changed since they were placed. Under the same rules it changes
// nothing: a prompt's time follows from its cadence, its last date and the
// instant asked from, and stays the same until it has come.
func (t *turn) placeByRules(d *Dog) {
	for i := range d.Due {
		due := &d.Due[i]
		if due.At == noDue || due.At <= t.at || t.waitsForMorning(due) {
			continue
		}
		switch due.Kind {
		case PromptCheckIn, PromptWeighIn:
			t.place(due, t.cadenceOf(d, due.Kind), t.e.At)
		case PromptReassessment:
			// One that a change of plan brought forward stays where it is.
			fresh := *due
			t.place(&fresh, t.cadenceOf(d, due.Kind), t.e.At)
			if fresh.At != noDue && fresh.At < due.At {
				*due = fresh
			}
		case PromptSignsOnly:
			t.scheduleSignsOnly(d)
		}
	}
}

// waitsForMorning reports whether a prompt's own time has come already and only
// quiet hours, or a day that belonged to something else, keep it back: it must
// go out and not be placed anew.
func (t *turn) waitsForMorning(due *Due) bool {
	if due.Date != 0 && dayOf(due.At, t.zone()) > due.Date {
		return true
	}
	at, today := time.Unix(due.At, 0), dayNumber(t.today())
	local := at.In(t.zone())
	edge := local.Hour()*60+local.Minute() == int(t.r.Quiet.To)
	return due.Date != 0 && (due.Date < today || due.Date == today && edge) || due.Date == 0 && edge
}
