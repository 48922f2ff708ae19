package clinical

import (
	"cmp"
	"math"
	"slices"
)

// WeightPlan is what the practice has recorded about a dog's weight.
type WeightPlan struct {
	OnPlan     bool  // on a weight-loss plan
	StartedAt  int64 // unix s; since when. 0: from the first weigh-in on
	Start      Grams // weight at the start of the plan; 0: the first weigh-in since StartedAt
	StartScale Scale // where Start was weighed

	Target Grams // set by the practitioner; 0: worked out from Score

	Score   BodyScore // the practitioner's body condition score; 0 not recorded
	ScoreAt int64     // unix s; when it was given. 0: at the latest weigh-in
	// OwnerScore is the owner's own estimate. It is shown beside Score and decides
	// nothing.
	OwnerScore BodyScore
	Muscle     Muscle
}

// WeightJudgement is what the weigh-ins say.
type WeightJudgement struct {
	Known  bool    // there is at least one usable weigh-in
	Latest WeighIn // of the usable ones
	Start  Grams   // what losses are counted from; 0 where not Known
	Lost   float64 // percent of Start; negative is a gain
	// LostAcrossScales says that Start and Latest were weighed on different scales,
	// which must be said wherever Lost or a milestone is.
	LostAcrossScales bool

	Pace       Pace
	Target     Target
	Arrival    Arrival
	Milestones []Milestone // empty for a dog that is not to lose weight
	Flags      []WeightFlag

	RestingKcal       float64 // for the latest weight, kcal a day; 0 where not Known
	RestingTargetKcal float64 // for the target; 0 without one

	Ignored []IgnoredWeighIn // weigh-ins that were not used, and why
}

// Flag gives the flag of a kind; false where it is not raised.
func (j WeightJudgement) Flag(k WeightFlagKind) (WeightFlag, bool) {
	for _, f := range j.Flags {
		if f.Kind == k {
			return f, true
		}
	}
	return WeightFlag{}, false
}

// IgnoreReason says why a weigh-in was not used.
type IgnoreReason uint8

// The reasons.
const (
	NotAWeight  IgnoreReason = iota // not above 0, or above 200 kg
	InTheFuture                     // later than now, by more than a day: a clock set wrong
	SameDay                         // a later weigh-in of that day on the same scale stands
	WrongClock                      // earlier than the year 2000
)

// String gives the reason's stable code.
func (r IgnoreReason) String() string {
	return [...]string{"not-a-weight", "in-the-future", "same-day", "wrong-clock", "?"}[min(int(r), 4)]
}

// IgnoredWeighIn is a weigh-in that was not used.
type IgnoredWeighIn struct {
	WeighIn
	Reason IgnoreReason
}

// JudgeWeight judges a dog's weigh-ins by the default rules; see WeightRules.Judge.
func JudgeWeight(plan WeightPlan, w []WeighIn, now int64) WeightJudgement {
	return DefaultWeightRules().Judge(plan, w, now)
}

// Judge works out pace, target, arrival, milestones and flags from weigh-ins in any
// order, as of now (unix seconds). Nothing in the result is NaN or infinite.
func (r WeightRules) Judge(plan WeightPlan, w []WeighIn, now int64) WeightJudgement {
	used, ignored := usable(w, now)
	j := WeightJudgement{Ignored: ignored}
	if len(used) == 0 {
		j.Target = targetOf(plan, nil)
		j.Arrival.Status = ArrivalUnknown
		j.Flags = thin(plan)
		return j
	}
	j.Known, j.Latest = true, used[len(used)-1]
	start := startOf(plan, used)
	j.Start, j.LostAcrossScales = start.Grams, start.Scale != j.Latest.Scale
	j.Lost = 100 * (1 - float64(j.Latest.Grams)/float64(j.Start))
	j.RestingKcal = RestingEnergy(j.Latest.Grams.Kilograms())
	j.Target = targetOf(plan, used)
	j.RestingTargetKcal = RestingEnergy(j.Target.Grams.Kilograms())
	since := used
	if plan.OnPlan {
		since = sincePlan(plan, used)
	}
	j.Pace = r.paceOf(since)
	j.Arrival = arrivalOf(j.Target, j.Latest, j.Pace)
	if plan.OnPlan || j.Target.Source != NoTarget {
		j.Milestones = r.milestones(j.Start, since)
	}
	j.Flags = r.flags(plan, &j, used, since)
	return j
}

// usable sorts weigh-ins by time and leaves out what cannot be used.
func usable(w []WeighIn, now int64) ([]WeighIn, []IgnoredWeighIn) {
	var used []WeighIn
	var ignored []IgnoredWeighIn
	sorted := slices.Clone(w)
	slices.SortStableFunc(sorted, func(a, b WeighIn) int {
		return cmp.Compare(a.At, b.At)
	})
	for _, x := range sorted {
		switch {
		case x.Grams <= 0 || x.Grams > MaxGrams:
			ignored = append(ignored, IgnoredWeighIn{x, NotAWeight})
			continue
		case x.At < earliestTime:
			ignored = append(ignored, IgnoredWeighIn{x, WrongClock})
			continue
		case x.At > now+secondsPerDay:
			ignored = append(ignored, IgnoredWeighIn{x, InTheFuture})
			continue
		}
		if n := len(used) - 1; n >= 0 && used[n].Scale == x.Scale && used[n].At/secondsPerDay == x.At/secondsPerDay {
			ignored = append(ignored, IgnoredWeighIn{used[n], SameDay})
			used[n] = x
			continue
		}
		used = append(used, x)
	}
	return used, ignored
}

// sincePlan are the weigh-ins of the plan: from its start on, with one day's grace
// for the weight taken as it was made; all of them where none is so late.
func sincePlan(plan WeightPlan, used []WeighIn) []WeighIn {
	for i, x := range used {
		if x.At >= plan.StartedAt-secondsPerDay {
			return used[i:]
		}
	}
	return used
}

// startOf is the weigh-in that losses are counted from.
func startOf(plan WeightPlan, used []WeighIn) WeighIn {
	if plan.Start > 0 {
		return WeighIn{At: plan.StartedAt, Grams: plan.Start, Scale: plan.StartScale}
	}
	return sincePlan(plan, used)[0]
}

// TargetSource says where a target weight comes from.
type TargetSource uint8

// The sources.
const (
	NoTarget        TargetSource = iota // none is set, and no body score asks for one
	TargetSet                           // by the practitioner
	TargetFromScore                     // from the body condition score
)

// String gives the source's stable code.
func (s TargetSource) String() string {
	return [...]string{"none", "set", "body-score", "?"}[min(int(s), 3)]
}

// Target is the weight aimed at.
type Target struct {
	Grams  Grams // 0 without one
	Source TargetSource
}

// targetOf prefers what the practitioner set; else the body score speaks about the
// weight on the day that it was given.
func targetOf(plan WeightPlan, used []WeighIn) Target {
	if plan.Target > 0 {
		return Target{plan.Target, TargetSet}
	}
	if len(used) == 0 {
		return Target{}
	}
	at := used[len(used)-1]
	if plan.ScoreAt != 0 {
		for _, x := range used {
			if math.Abs(float64(x.At-plan.ScoreAt)) < math.Abs(float64(at.At-plan.ScoreAt)) {
				at = x
			}
		}
	}
	if g, ok := TargetWeight(at.Grams, plan.Score); ok {
		return Target{g, TargetFromScore}
	}
	return Target{}
}

// Milestone is a loss from which something has been seen to change. It is never a
// promise.
type Milestone struct {
	Percent   float64 // of the starting weight
	Grams     Grams   // the weight at which it is reached
	Source    string  // where it comes from, for the practitioner
	Reached   MilestoneState
	ReachedAt int64 // unix s; the first weigh-in at or below it since which none was above; 0 otherwise
}

// MilestoneState says how sure it is that a milestone is reached.
type MilestoneState uint8

// The states.
const (
	MilestoneAhead   MilestoneState = iota
	MilestoneNear                   // at it by the latest weight, within the scale's error
	MilestoneReached                // beyond the scale's error, or on two weigh-ins running
)

// String gives the state's stable code.
func (m MilestoneState) String() string {
	return [...]string{"ahead", "near", "reached", "?"}[min(int(m), 3)]
}

var milestoneTable = []struct {
	percent float64
	source  string
}{
	{6.10, "lameness scores lower from about 6 % lost: Marshall et al., Vet Res Commun 2010;34:241-253, 14 dogs"},
	{8, "a clear difference to lameness at about 8 %: common practice, no source"},
	{8.85, "force plate better from 8.85 % lost: the same trial"},
}

func (r WeightRules) milestones(start Grams, since []WeighIn) []Milestone {
	out := make([]Milestone, len(milestoneTable))
	for i, row := range milestoneTable {
		m := Milestone{
			Percent: row.percent, Source: row.source,
			Grams: Grams(math.Round(float64(start) * (1 - row.percent/100))),
		}
		run := 0
		for _, x := range since {
			if x.Grams > m.Grams {
				run, m.ReachedAt = 0, 0
				continue
			}
			if run++; run == 1 {
				m.ReachedAt = x.At
			}
		}
		if last := since[len(since)-1]; run > 0 {
			m.Reached = MilestoneNear
			if run > 1 || float64(m.Grams-last.Grams) > r.ScaleError(last.Scale, last.Scale) {
				m.Reached = MilestoneReached
			}
		}
		out[i] = m
	}
	return out
}
