package desk

import (
	"cmp"
	"fmt"
	"slices"

	"gaitpost/internal/care"
	"gaitpost/internal/record"
)

// work is what staff did in the period, and the minutes that are known of it.
// Minutes are what somebody wrote down on closing an alert, else what the clinic
// set for its outcome. How long an alert stood open is never taken for work.
type work struct {
	Closed   int // alerts closed in the period: the next three together
	Given    int // with minutes that somebody wrote down
	Usual    int // with the clinic's usual minutes
	Unknown  int
	GivenMin int
	UsualMin int
	Deeds    []deedCount // what else was done, counted and not timed
	byDeed   map[staffDeed]int
}

type deedCount struct {
	What string
	N    int
}

// Minutes are all that are known.
func (w *work) Minutes() int { return w.GivenMin + w.UsualMin }

// Known reports whether any are.
func (w *work) Known() bool { return w.Given+w.Usual > 0 }

// PerDog is minutes for each followed dog and week.
func (w *work) PerDog(dogs int, weeks float64) string {
	if dogs == 0 || weeks <= 0 {
		return "–"
	}
	return fmt.Sprintf("%.1f", float64(w.Minutes())/float64(dogs)/weeks)
}

func (w *work) alert(f *figures, a *record.Alert) {
	if a.Closed == 0 || !f.in(a.Closed) {
		return
	}
	w.Closed++
	usual := f.rules.Costs.Minutes
	switch {
	case a.Minutes > 0:
		w.Given++
		w.GivenMin += a.Minutes
	case usual[a.Outcome] > 0:
		w.Usual++
		w.UsualMin += usual[a.Outcome] + a.Unreached*usual[care.CouldNotReach]
	default:
		w.Unknown++
	}
}

// deeds counts what staff did, by the record.
func (w *work) deeds(f *figures, entries []record.Entry) {
	if w.byDeed == nil {
		w.byDeed = map[staffDeed]int{}
	}
	for i := range entries {
		p := entries[i].Event.Practice
		if p == nil || entries[i].Refusal != "" || !f.in(entries[i].At.Unix()) {
			continue
		}
		if what := deedName(p); what.one != "" {
			w.byDeed[what]++
		}
	}
	w.Deeds = w.Deeds[:0]
	for what, n := range w.byDeed {
		w.Deeds = append(w.Deeds, deedCount{either(n, what.one, what.many), n})
	}
	slices.SortFunc(w.Deeds, func(a, b deedCount) int { return cmp.Or(cmp.Compare(b.N, a.N), cmp.Compare(a.What, b.What)) })
}

// staffDeed is what staff do, said of one and of many.
type staffDeed struct{ one, many string }

func deedName(p *care.Practice) staffDeed {
	switch {
	case p.Ack != nil:
		return staffDeed{"alert taken on", "alerts taken on"}
	case p.Close != nil && p.Close.Outcome == care.CouldNotReach:
		return staffDeed{"call that reached nobody", "calls that reached nobody"}
	case p.Close != nil:
		return staffDeed{"alert closed", "alerts closed"}
	case p.Write != nil:
		return staffDeed{"message written", "messages written"}
	case p.CheckIn != nil:
		return staffDeed{"check-in entered", "check-ins entered"}
	case p.Weigh != nil:
		return staffDeed{"weight entered", "weights entered"}
	case p.Note != nil, p.Findings != nil:
		return staffDeed{"note or finding", "notes and findings"}
	case p.Plan != nil:
		return staffDeed{"change of plan", "changes of plan"}
	case p.Rung != nil:
		return staffDeed{"message that did not arrive seen to", "messages that did not arrive seen to"}
	case p.Enrol != nil:
		return staffDeed{"enrolment", "enrolments"}
	}
	return staffDeed{}
}
