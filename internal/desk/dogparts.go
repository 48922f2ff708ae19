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
