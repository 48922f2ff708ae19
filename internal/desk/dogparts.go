package desk

import (
	"fmt"
	"html/template"
	"slices"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
)

// weightPart is what a dog's page says about its weight.
type weightPart struct {
	Judged   clinical.WeightJudgement
	Lines    []weightLine // newest first
	Drawing  template.HTML
	Pace     string
	Arrival  string
	Target   string
	Marks    []milestoneLine
	Sentence string
}

type milestoneLine struct{ Weight, Percent, State, Source string }

var bandNames = map[clinical.PaceBand]string{clinical.PaceGaining: "gaining", clinical.PaceStill: "hardly any loss",
	clinical.PaceProgress: "slow, and still progress", clinical.PaceInBand: "as aimed at", clinical.PaceTooFast: "too fast"}

var milestoneNames = map[clinical.MilestoneState]string{clinical.MilestoneAhead: "ahead",
	clinical.MilestoneNear: "there or nearly (within the scale’s error)", clinical.MilestoneReached: "reached"}

var arrivalNames = map[clinical.ArrivalStatus]string{clinical.ArrivalThere: "at or below the target",
	clinical.ArrivalNotLosing: "not reached at this pace", clinical.ArrivalTooFar: "more than three years away at this pace"}

func weighIns(lines []weightLine) []clinical.WeighIn {
	list := make([]clinical.WeighIn, len(lines))
	for i, l := range lines {
		list[i] = clinical.WeighIn{At: l.At, Grams: clinical.Grams(l.Grams), Scale: l.Scale}
	}
	return list
}

func weightOf(p page, rules clinical.WeightRules, dog *care.Dog, lines []weightLine) weightPart {
	j := rules.Judge(dog.WeightPlan(), dog.Weights, p.now.Unix())
	w := weightPart{Judged: j, Lines: slices.Clone(lines)}
	slices.Reverse(w.Lines)
	if j.Pace.Status != clinical.PaceUnknown && dog.WeightPlan().OnPlan {
		w.Pace = fmt.Sprintf("%.1f %% of body weight a week (range %.1f to %.1f): %s", j.Pace.PerWeek, j.Pace.Low, j.Pace.High, bandNames[j.Pace.Band])
		if j.Pace.Status == clinical.PaceAcrossScales {
			w.Pace += "; two different scales are mixed"
		}
	}
	if j.Target.Grams > 0 {
		w.Target = kg(int64(j.Target.Grams))
		if j.Target.Source == clinical.TargetFromScore {
			w.Target += ", worked out from the body condition score"
		}
	}
	w.Arrival = arrivalNames[j.Arrival.Status]
	if j.Arrival.Status == clinical.ArrivalKnown {
		w.Arrival = "about " + p.Day(j.Arrival.At).Text + " if things go on like this (from " + p.Day(j.Arrival.Early).Text
		if j.Arrival.Late > 0 {
			w.Arrival += " to " + p.Day(j.Arrival.Late).Text + ")"
		} else {
			w.Arrival += " on; at the slow end not within three years)"
		}
	}
	for _, m := range j.Milestones {
		w.Marks = append(w.Marks, milestoneLine{kg(int64(m.Grams)), fmt.Sprintf("%.3g %%", m.Percent), milestoneNames[m.Reached], m.Source})
	}
	return w
}

// planEntry is one thing on the plan as the page shows it.
type planEntry struct {
	care.Entry
	By       string
	State    string
	Medicine bool
}

// coverLine is one area of the plan, and what is on it.
type coverLine struct {
	Area    string
	Entries []string
	About   string
}

// areaAbout is what an area with nothing on it might be thought about for. It
// proposes; the practitioner decides.
var areaAbout = map[care.Area]string{
	care.AreaPain:       "Nothing is recorded. Always looked at first; only a vet prescribes.",
	care.AreaWeight:     "Nothing is recorded. A body condition score of 6 or more would make this worth a conversation.",
	care.AreaActivity:   "Nothing is recorded. Paced daily exercise can be talked through with the owner.",
	care.AreaHome:       "Nothing is recorded. Awkward places at home are asked about in each reassessment.",
	care.AreaTherapy:    "Nothing is recorded. Physiotherapy, hydrotherapy or exercises might come next.",
	care.AreaSupplement: "Nothing is recorded. One, if the vet advises it.",
}

const together = int64(14 * 24 * 3600)

func (p *dogPage) planned(d *Desk, v *visit, dog *care.Dog) {
	for _, e := range dog.Plan {
		l := planEntry{Entry: e, By: d.nameOf(v, e.By), Medicine: e.Class != care.NotMedicine || e.Area == care.AreaPain}
		switch e.Status {
		case care.Ended:
			l.State = "ended"
			p.Ended = append(p.Ended, l)
			continue
		case care.Held:
			l.State = "held: waits for the vet’s decision"
		default:
			l.State = "active"
		}
		p.Plan = append(p.Plan, l)
	}
	for _, a := range care.Areas {
		c := coverLine{Area: string(a), About: areaAbout[a]}
		for _, e := range p.Plan {
			if e.Area == a {
				c.Entries = append(c.Entries, e.What)
			}
		}
		p.Cover = append(p.Cover, c)
	}
	p.Effects = p.History.effects(v.clinic.Rules, dog)
	p.Together = togetherText(p.Plan)
}

// togetherText says which things were started so close that their effects can't
// be told apart.
func togetherText(entries []planEntry) string {
	sorted := slices.Clone(entries)
	slices.SortFunc(sorted, func(a, b planEntry) int { return int(a.Started - b.Started) })
	for i := len(sorted) - 1; i > 0; i-- {
		a, b := sorted[i-1], sorted[i]
		if b.Started-a.Started < together && a.Started > 0 {
			return fmt.Sprintf("“%s” and “%s” were started within two weeks of each other: what either did can’t be told apart.", a.What, b.What)
		}
	}
	return ""
}
