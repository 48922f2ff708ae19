package clinical

import (
	"errors"
	"slices"
)

// Errors of Course.Revise. The course is unchanged after any of them.
var (
	// ErrNoReading is returned where no reading of that instant is remembered.
	ErrNoReading = errors.New("no check-in of that time is remembered")
	// ErrEarlierStretch is returned for a reading from before the present
	// stretch: the baseline that it belongs to has been closed.
	ErrEarlierStretch = errors.New("the check-in belongs to a time before the last change of plan")
	// ErrForgotten is returned where earlier readings of the stretch, which the
	// baseline was made of, are remembered no more.
	ErrForgotten = errors.New("the check-ins before it are remembered no more")
	// ErrSameDay is returned for a reading to put in on a day that has one.
	ErrSameDay = errors.New("there is a check-in of that day already")
)

// Revision is one change of what is known of the past: a reading to put in, one
// to take out, or one in place of another.
type Revision struct {
	Out int64    // instant of the reading to take out, unix seconds; 0: none
	In  *Reading // the reading to put in; nil: none
	// Incomplete says that earlier readings have been forgotten already.
	Incomplete bool
	AlertOpen  bool // an index alert is open for this dog now
}

// Revise works a changed past into the course: the present stretch is built
// again from its readings, and what was before it stays. It returns the
// judgement of the newest reading, nil where the stretch has none left.
//
// One average is not known for certain: that of the drift rule where the
// stretch began with the baseline of the one before it. It starts again from
// that baseline. A reading that counted as one of an alert still does, and says
// nothing about noise. Errors are those of Add, and the ones named above.
func (c *Course) Revise(t Thresholds, v Revision) (*Judgement, error) {
	all := c.Past.at[:c.Past.n]
	first := 0 // of what is built again: all of it, where no earlier baseline was closed
	for c.Old.Kind != NoBaseline && first < len(all) && all[first].at < c.StretchAt {
		first++
	}
	early := func(at int64) bool { return c.Old.Kind != NoBaseline && at < c.StretchAt }
	if v.Out != 0 && early(v.Out) || v.In != nil && early(v.In.At) {
		return nil, ErrEarlierStretch
	}
	rest, err := revised(all[first:], v)
	if err != nil {
		return nil, err
	}
	if first == 0 && (v.Incomplete || c.Past.n == maxPast) {
		return c.reviseNewest(t, v)
	}
	next := *c
	next.Past = Past{}
	for _, p := range all[:first] {
		next.Past.push(p)
	}
	next.Now = tally{EWMA: c.Old.Value, EWMAFrom: c.Old.Value, EWMAKind: c.Old.Kind}
	next.Was = next.Now
	var last *Judgement
	for _, p := range rest {
		j, err := next.Add(t, p.reading, p.inAlert)
		if err != nil {
			return nil, err
		}
		last = &j
	}
	*c = next
	return last, nil
}

// kept is a reading with what was known when it came.
type kept struct {
	reading Reading
	inAlert bool
}

// revised are the readings of a stretch after a revision, oldest first.
func revised(past []pastReading, v Revision) ([]kept, error) {
	list := make([]kept, 0, len(past)+1)
	found := v.Out == 0
	day := int32(0)
	if v.In != nil {
		day = v.In.day()
	}
	for i := range past {
		p := past[i]
		if p.at == v.Out {
			found = true
			continue
		}
		if v.In != nil && p.day == day && p.is(wasBefore) == v.In.Before {
			return nil, ErrSameDay
		}
		list = append(list, kept{p.reading(), p.is(wasInAlert)})
	}
	if !found {
		return nil, ErrNoReading
	}
	if v.In != nil {
		list = append(list, kept{*v.In, v.AlertOpen})
	}
	slices.SortStableFunc(list, func(a, b kept) int { return int(a.reading.At - b.reading.At) })
	return list, nil
}

// reviseNewest changes the newest reading alone, whose traces are known. One
// that is taken out leaves a reading without answers, so that nothing older
// has to be known.
func (c *Course) reviseNewest(t Thresholds, v Revision) (*Judgement, error) {
	last := c.Past.last()
	if last == nil || v.Out != last.at {
		return nil, ErrForgotten
	}
	in := Reading{At: last.at, Day: last.day, Items: NoAnswers(), Before: last.is(wasBefore)}
	if v.In != nil {
		in = *v.In
	}
	if n := int(c.Past.n); n > 1 && c.Past.at[n-2].at > in.At {
		return nil, ErrForgotten
	}
	next := *c
	next.Past.pop()
	next.Now = next.Was
	j, err := next.Add(t, in, v.AlertOpen)
	if err != nil {
		return nil, err
	}
	*c = next
	return &j, nil
}
