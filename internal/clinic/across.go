package clinic

import (
	"fmt"
	"time"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// across checks settings against each other, after each has been read.
func (f *file) across() {
	f.acrossNumbers()
	f.acrossContacts()
	f.acrossDigest()
	f.acrossRota()
	f.acrossCadences()
	f.acrossWaits()
}

// setAt is where a setting stands, or where it would.
func (f *file) setAt(path string) place {
	if line, ok := f.clinic.set[path]; ok {
		return place{path: path, line: line}
	}
	return place{path: path, line: 1}
}

// weightNames are the settings of the weight rules whose range depends on
// another one.
var weightNames = map[string]string{
	"HomeSD": "home_scale_sd", "ClinicSD": "clinic_scale_sd", "PaceLow": "pace_low", "PaceHigh": "pace_high", "Progress": "progress",
	"TooFastDays": "too_fast_days", "PlateauDays": "plateau_days", "MonthLoss": "month_loss", "HalfYearLoss": "half_year_loss",
	"Window": "pace_weigh_ins", "AskBeyond": "ask_again_beyond",
}

// acrossNumbers checks thresholds whose range depends on another threshold.
func (f *file) acrossNumbers() {
	reported := map[string]bool{}
	for _, p := range f.problems {
		reported[p.Key] = true
	}
	bad := f.clinic.Rules.Thresholds.Problems()
	for _, w := range f.clinic.Rules.Weight.Problems() {
		w.Field = "weight." + weightNames[w.Field]
		bad = append(bad, w)
	}
	for _, bad := range bad {
		for _, k := range numberTable {
			if k.field != bad.Field && k.section+"."+k.name != bad.Field || reported[k.path()] {
				continue
			}
			at := f.setAt(k.path())
			f.problems = append(f.problems, Problem{
				File: f.name, Line: at.line, Key: at.path, Value: showQuantity(k.at(f.clinic.Rules)),
				Message: "this does not go with the other thresholds",
				Allowed: fmt.Sprintf("%v to %v, given the others", bad.Min, bad.Max),
			})
		}
	}
}

// acrossContacts reports numbers of ours that stand for a person as well: a
// text there would come back to us as one from an owner.
func (f *file) acrossContacts() {
	r := f.clinic.Rules
	if p := f.found["last_resort"]; p.node != nil {
		if a, ok := f.contact(p); ok {
			r.LastResort = a
			if who, taken := f.holders[a]; taken {
				f.doubtful(p, "the last resort is "+who+" again: whoever did not answer before is told once more")
			}
			if _, ours := f.own[a]; ours {
				f.wrong(p, "this is the number of a channel: the alert would be texted to ourselves", "a contact of a person")
			}
		}
	}
	for i, person := range r.Practitioners {
		for _, a := range person.Contacts {
			if at, ours := f.own[a]; ours {
				path := fmt.Sprintf("practitioners[%s].contacts", orNumber(person.ID, i))
				f.wrong(place{path: path, line: f.setAt(path).line},
					fmt.Sprintf("this is the number of the channel in line %d: alerts would be texted to ourselves", at.line), "a contact of a person")
			}
		}
	}
}

func orNumber(id string, i int) string {
	if idPattern.MatchString(id) {
		return id
	}
	return fmt.Sprint(i + 1)
}

func (f *file) acrossDigest() {
	r := f.clinic.Rules
	for _, p := range r.Practitioners {
		if p.Digest {
			f.digestInterval()
			return
		}
	}
	if len(r.Practitioners) > 0 {
		f.wrong(f.setAt("practitioners"), "nobody receives the digest, yet owners are told when it is read", "digest: yes for at least one practitioner")
	}
}

func (f *file) digestInterval() {
	if longest := interval(firings(f.clinic.Rules.Cadences.Digest, f.zone(), 60)).longest; longest > 7 {
		f.doubtful(f.setAt("digest"), fmt.Sprintf("up to %d days pass between two digests", longest))
	}
}

// acrossRota says which hours no shift covers; then everybody is told, in the
// order of the file.
func (f *file) acrossRota() {
	r := f.clinic.Rules
	if len(r.Rota) == 0 {
		return
	}
	const perDay = int(cadence.EndOfDay)
	covered := make([]bool, 7*perDay)
	for _, s := range r.Rota {
		cover(covered, s)
	}
	for m, ok := range covered {
		if !ok && covered[(m+len(covered)-1)%len(covered)] {
			end := m
			for !covered[end%len(covered)] {
				end++
			}
			f.doubtful(f.setAt("rota"), fmt.Sprintf("no shift covers %s to %s: everybody is told then, in the order of the file",
				weekMinute(m), weekMinute(end%len(covered))))
		}
	}
}

func cover(covered []bool, s care.Shift) {
	length := int(s.To - s.From)
	if length <= 0 {
		length += int(cadence.EndOfDay)
	}
	for d, on := range s.Days {
		for i := 0; on && i < length; i++ {
			covered[(d*int(cadence.EndOfDay)+int(s.From)+i)%len(covered)] = true
		}
	}
}

func weekMinute(m int) string {
	return weekdayNames[m/int(cadence.EndOfDay)] + " " + cadence.MinuteOfDay(m%int(cadence.EndOfDay)).String()
}

func (f *file) zone() *time.Location {
	if z := f.clinic.Rules.Zone; z != nil {
		return z
	}
	return time.UTC
}

// reference is where cadences are tried out from: any instant would do, and a
// fixed one gives the same answer every day.
var reference = time.Date(2026, time.January, 1, 0, 0, 0, 0, time.UTC)

// firings is how a cadence fires from the reference on, its gap counted.
func firings(c cadence.Cadence, zone *time.Location, n int) []cadence.Firing {
	var out []cadence.Firing
	after, last := reference, cadence.LocalDate{}
	for range n {
		fired := c.NextFiring(after, last, zone)
		if fired.At.IsZero() {
			break
		}
		out = append(out, fired)
		after, last = fired.At, fired.Date
	}
	return out
}

type intervals struct{ shortest, longest int } // days

func interval(fired []cadence.Firing) intervals {
	var v intervals
	for i := 1; i < len(fired); i++ {
		d := fired[i-1].Date.DaysUntil(fired[i].Date)
		if i == 1 || d < v.shortest {
			v.shortest = d
		}
		v.longest = max(v.longest, d)
	}
	return v
}

func (f *file) acrossCadences() {
	r := f.clinic.Rules
	for _, k := range cadenceTable {
		c := *k.at(&r.Cadences)
		at := f.cadenceAt(k.name)
		fired := firings(c, f.zone(), 20)
		f.gapFits(c, at, interval(fired))
		f.outsideQuiet(fired, at)
		if k.name != "checkin" {
			continue
		}
		f.onOpenDays(fired, at)
		if longest := interval(fired).longest; longest > r.Thresholds.RunningDays {
			f.doubtful(at, fmt.Sprintf("up to %d days pass between two check-ins, more than the %d days within which two count as running: level and jump would never speak",
				longest, r.Thresholds.RunningDays))
		}
	}
	if r.Quiet.Contains(r.Limits.PromptAt) {
		f.doubtful(f.setAt("thresholds.alerts.prompt_at"), fmt.Sprintf("%s is in the quiet hours: these prompts go out at %s", r.Limits.PromptAt, r.Quiet.To))
	}
}

func (f *file) cadenceAt(name string) place {
	for _, path := range []string{"cadences." + name + ".cron", "cadences." + name} {
		if line, ok := f.clinic.set[path]; ok {
			return place{path: path, line: line}
		}
	}
	return place{path: "cadences." + name, line: 1}
}

// gapFits reports a gap that is just too long for the cron expression, so that
// the prompt a day or two before its end is always left out: "Tuesdays, at
// least 8 days apart" is every other Tuesday.
func (f *file) gapFits(c cadence.Cadence, at place, with intervals) {
	free, err := cadence.Parse(c.String(), 0)
	if err != nil {
		return
	}
	natural := interval(firings(free, f.zone(), 20)).longest
	if natural >= 5 && c.GapDays() > natural && with.longest-c.GapDays() >= natural-2 {
		f.doubtful(at, fmt.Sprintf("the expression fires every %d days and the gap of %d days just misses one: prompts come up to %d days apart; a gap of %d or %d days would fit",
			natural, c.GapDays(), with.longest, natural-1, 2*natural-1))
	}
}

func (f *file) outsideQuiet(fired []cadence.Firing, at place) {
	q := f.clinic.Rules.Quiet
	for _, one := range fired {
		if q.Contains(one.Wall) {
			f.doubtful(at, fmt.Sprintf("%s is in the quiet hours: the prompt goes out at %s", one.Wall, q.To))
			return
		}
	}
}

// onOpenDays reports check-ins on a weekday when the practice is closed: a
// sign told then meets nobody until it opens.
func (f *file) onOpenDays(fired []cadence.Firing, at place) {
	if !f.week.opens() {
		return
	}
	var closed [7]bool
	for _, one := range fired {
		if d := one.Date.Weekday(); len(f.week.spans[d]) == 0 {
			closed[d] = true
		}
	}
	if closed != [7]bool{} {
		f.doubtful(at, "check-ins fall on days when the practice is closed: "+showDaySpec(closed))
	}
}

func (f *file) acrossWaits() {
	l := f.clinic.Rules.Limits
	if l.CloseAfter <= l.RemindAfter {
		f.wrong(f.setAt("thresholds.alerts.close_after"), fmt.Sprintf("an unfinished dialog would close before its one reminder, which comes after %s", showWait(l.RemindAfter)),
			"more than remind_after")
	}
	if l.SafetyQuestionAfter >= l.CloseAfter {
		f.wrong(f.setAt("thresholds.alerts.safety_question_after"), "an unanswered safety question would be closed before it counts", "less than close_after")
	}
}

// between checks the clinics of one deployment against each other: an inbound
// text is told apart by the number it was sent to.
func between(files []*file) {
	ids := map[string]*file{}
	numbers := map[contact.Address]*file{}
	for _, f := range files {
		id := f.clinic.Rules.Clinic
		if other, taken := ids[id]; taken && id != "" {
			f.wrong(f.found["id"], "the clinic in "+other.name+" has this id already", "an id of its own for each clinic")
		} else {
			ids[id] = f
		}
		for a, p := range f.own {
			if other, taken := numbers[a]; taken {
				f.wrong(p, "a channel in "+other.name+" has this number already", "a number of its own for each clinic")
			} else {
				numbers[a] = f
			}
		}
	}
	for _, f := range files {
		f.foreignNumbers(numbers)
	}
}

// foreignNumbers reports contacts of people that are another clinic's channel.
func (f *file) foreignNumbers(numbers map[contact.Address]*file) {
	for a, other := range numbers {
		if who, taken := f.holders[a]; taken && other != f {
			f.wrong(f.setAt("practitioners"), "a contact of "+who+" is the number of a channel in "+other.name, "a contact of a person")
		}
	}
}
