package care

import (
	"gaitpost/internal/clinical"
)

// Watch runs the index alert rules of one dog, and the lifecycle of what they
// raise, without a household around them. It is the very code a turn runs, for
// whoever wants to know what rules would do: the simulation, and the desk
// before a threshold is changed.
type Watch struct {
	t turn
}

// NewWatch starts with a dog of which nothing is known.
func NewWatch(r *Rules) *Watch {
	return &Watch{t: turn{r: r, h: Household{Dogs: []Dog{{}}}}}
}

// NewWatchOf starts with a dog of which nothing is known but its own
// thresholds.
func NewWatchOf(r *Rules, own []OwnNumber) *Watch {
	w := NewWatch(r)
	w.t.h.Dogs[0].OwnNumbers = own
	return w
}

// CheckIn scores one check-in at an instant (Unix seconds) and returns the
// reasons it opened an alert for. alertFor is how long a person takes to close
// an alert, in seconds; what is older is closed first.
func (w *Watch) CheckIn(at int64, items clinical.Items, alertFor int64) ([]AlertReason, clinical.Judgement, error) {
	t := &w.t
	t.at = at
	t.out = Result{}
	w.closeOlder(at - alertFor)
	was := t.h.AlertSeq
	j, err := t.h.Dogs[0].Course.Add(t.thresholds(0), clinical.Reading{At: at, Items: items}, t.indexAlertOpen(0))
	if err != nil {
		return nil, j, err
	}
	t.judge(0, 0, &j)
	if t.h.AlertSeq == was {
		return nil, j, nil
	}
	var opened []AlertReason
	for _, a := range t.h.Alerts {
		if a.N > was {
			opened = append(opened, a.Reason)
		}
	}
	return opened, j, nil
}

func (w *Watch) closeOlder(than int64) {
	for i := range w.t.h.Alerts {
		a := &w.t.h.Alerts[i]
		if a.IsOpen() && a.Opened <= than {
			a.State, a.Closed = ClosedAlert, w.t.at
		}
	}
	w.t.prune()
}

// Open lists the reasons that are open now.
func (w *Watch) Open() []AlertReason {
	var open []AlertReason
	for _, a := range w.t.h.Alerts {
		if a.IsOpen() {
			open = append(open, a.Reason)
		}
	}
	return open
}
