package clinical

import (
	"errors"
	"fmt"
	"math"
)

// Errors of Course.Add. The course is unchanged after any of them.
var (
	// ErrTime is returned for a time outside the years 2000 to 2099: a clock that
	// was set wrong.
	ErrTime = errors.New("the time of the reading cannot be right")
	// ErrBeforeLast is returned for a reading earlier than the newest one known.
	// To insert or correct an older reading, build the course again from the log.
	ErrBeforeLast = errors.New("the reading is older than the newest one known")
)

const (
	earliestTime = 946684800  // 2000-01-01T00:00:00Z
	latestTime   = 4102444800 // 2100-01-01T00:00:00Z
)

// Reading is one check-in as the index sees it.
type Reading struct {
	At int64 `cbor:"1,keyasint"` // unix seconds
	// Day is the calendar day in the owner's zone, as days since 1970-01-01. Zero
	// means the UTC day of At.
	Day     int32 `cbor:"2,keyasint,omitempty"`
	Items   Items `cbor:"3,keyasint"`
	Index   Index `cbor:"4,keyasint,omitempty"` // Course.Add works it out from Items, whatever was given
	Before  bool  `cbor:"5,keyasint,omitempty"` // a day-0 check-in, taken before treatment starts
	Carried bool  `cbor:"6,keyasint,omitempty"` // the owner said "same as last time" for the whole dog
}

// day is the reading's calendar day.
func (r *Reading) day() int32 {
	if r.Day != 0 {
		return r.Day
	}
	return int32(r.At / secondsPerDay)
}

// LocalDay is the value of Reading.Day for a local date.
func LocalDay(unixSeconds int64, zoneOffsetSeconds int) int32 {
	return int32(math.Floor(float64(unixSeconds+int64(zoneOffsetSeconds)) / secondsPerDay))
}

// tally is everything a course has added up; it is what a second reading on the
// same day takes back. Sums of answers are whole numbers, at most 26 × 4.
type tally struct {
	// The first settled, scored check-ins of the stretch.
	N        uint8   `cbor:"1,keyasint,omitempty"` // counted towards the full baseline
	Sum      float64 `cbor:"2,keyasint,omitempty"` // sum of their indices
	FirstN   uint8   `cbor:"3,keyasint,omitempty"` // counted towards the provisional one
	FirstSum float64 `cbor:"4,keyasint,omitempty"`

	// The same per item.
	ItemN        [ItemCount]uint8 `cbor:"5,keyasint,omitempty"`
	ItemSum      [ItemCount]uint8 `cbor:"6,keyasint,omitempty"`
	ItemFirstN   [ItemCount]uint8 `cbor:"7,keyasint,omitempty"`
	ItemFirstSum [ItemCount]uint8 `cbor:"8,keyasint,omitempty"`

	// Check-ins before treatment.
	BeforeN       uint8            `cbor:"9,keyasint,omitempty"`
	BeforeSum     float64          `cbor:"10,keyasint,omitempty"`
	BeforeItemN   [ItemCount]uint8 `cbor:"11,keyasint,omitempty"`
	BeforeItemSum [ItemCount]uint8 `cbor:"12,keyasint,omitempty"`

	// The moving average, and the baseline it was started from.
	EWMA     float64      `cbor:"13,keyasint,omitempty"`
	EWMAFrom float64      `cbor:"14,keyasint,omitempty"`
	EWMAKind BaselineKind `cbor:"15,keyasint,omitempty"`

	// Met holds one bit per SignalKind: its condition held at the last reading.
	Met uint8 `cbor:"16,keyasint,omitempty"`
}

// oldItems are the item baselines of an earlier stretch: kind, and the sum and
// count that make the value.
type oldItems struct {
	Kind [ItemCount]uint8 `cbor:"1,keyasint,omitempty"`
	Sum  [ItemCount]uint8 `cbor:"2,keyasint,omitempty"`
	N    [ItemCount]uint8 `cbor:"3,keyasint,omitempty"`
}

// Course is one dog's running state: what Add needs to judge the next check-in.
// The zero value is a dog of which nothing is known; it is a plain value, and a
// copy of it is independent. Field numbers are never used again for anything else.
type Course struct {
	StretchAt int64    `cbor:"1,keyasint,omitempty"` // unix s; 0: from the first reading on
	BeddingIn bool     `cbor:"2,keyasint,omitempty"` // the stretch opened with a change expected to alter comfort
	Past      Past     `cbor:"3,keyasint,omitempty"`
	Now       tally    `cbor:"4,keyasint,omitempty"` // after the last reading
	Was       tally    `cbor:"5,keyasint,omitempty"` // before it, for a second one that day
	Old       Baseline `cbor:"6,keyasint,omitempty"` // of an earlier stretch, serving meanwhile
	OldItems  oldItems `cbor:"7,keyasint,omitempty"` // the same per item
	OwnSince  [2]int64 `cbor:"8,keyasint,omitempty"` // unix s; since when own 1 and own 2 mean what they mean
}

// BeginStretch starts a new stretch at a time (unix seconds): enrolment, or a
// change of plan. With expectedToChangeComfort the first four weeks are
// bedding-in and belong to no baseline; the baseline that served until now goes on
// serving until three settled check-ins of the new stretch stand in its place.
func (c *Course) BeginStretch(at int64, expectedToChangeComfort bool) {
	t := DefaultThresholds()
	c.BeginStretchUnder(t, at, expectedToChangeComfort)
}

// BeginStretchUnder is BeginStretch for a clinic that has its own thresholds.
func (c *Course) BeginStretchUnder(t Thresholds, at int64, expectedToChangeComfort bool) {
	for i := range ItemCount {
		b := c.itemBaseline(&t, Item(i))
		c.OldItems.Kind[i], c.OldItems.Sum[i], c.OldItems.N[i] = uint8(b.kind), b.sum, b.n
	}
	c.Old = c.Baseline(t)
	c.Old.Earlier = c.Old.Kind != NoBaseline
	fresh := func(s tally) tally {
		return tally{
			EWMA: s.EWMA, EWMAFrom: s.EWMAFrom, EWMAKind: s.EWMAKind, Met: s.Met,
		}
	}
	c.Now, c.Was = fresh(c.Now), fresh(c.Was)
	c.StretchAt, c.BeddingIn = at, expectedToChangeComfort
}

// BeddingInUntil is the time (unix seconds) from which readings count towards the
// stretch's baseline.
func (c *Course) BeddingInUntil(t Thresholds) int64 {
	if c.BeddingIn {
		return c.StretchAt + t.beddingIn()
	}
	return c.StretchAt
}

// ChangeOwnActivity starts a new stretch for one of the two own items at a time
// (unix seconds): its answers so far were about something else and are not
// compared with the new ones. Other items are not own activities and stay as
// they are.
func (c *Course) ChangeOwnActivity(item Item, at int64) {
	if !item.IsOwn() {
		return
	}
	c.OwnSince[item-Own1] = at
	c.OldItems.Kind[item], c.OldItems.Sum[item], c.OldItems.N[item] = 0, 0, 0
	for _, s := range []*tally{&c.Now, &c.Was} {
		s.ItemN[item], s.ItemSum[item] = 0, 0
		s.ItemFirstN[item], s.ItemFirstSum[item] = 0, 0
		s.BeforeItemN[item], s.BeforeItemSum[item] = 0, 0
	}
}

// Last is the newest reading; false where there is none.
func (c *Course) Last() (Reading, bool) {
	if c.Past.n == 0 {
		return Reading{}, false
	}
	return c.Past.reading(int(c.Past.n) - 1), true
}

// Readings are the last readings, oldest first, 26 at most.
func (c *Course) Readings() []Reading {
	out := make([]Reading, c.Past.n)
	for i := range out {
		out[i] = c.Past.reading(i)
	}
	return out
}

// Add takes the next check-in into the course and judges it against what was
// known before it. A second reading on the same calendar day takes the place of
// the first, whose traces are removed. alertOpen says that an index alert (level,
// rise, drift or jump) is open for this dog; such readings say nothing about its
// ordinary noise.
//
// Errors wrap ErrLevel, ErrTime or ErrBeforeLast and leave the course unchanged.
func (c *Course) Add(t Thresholds, r Reading, alertOpen bool) (Judgement, error) {
	index, err := IndexOf(r.Items)
	if err != nil {
		return Judgement{}, err
	}
	r.Index, r.Day = index, r.day()
	if r.At < earliestTime || r.At >= latestTime {
		return Judgement{}, fmt.Errorf("unix time %d: %w", r.At, ErrTime)
	}
	var notes Notes
	if last := c.Past.last(); last != nil {
		if r.At < last.at {
			return Judgement{}, fmt.Errorf("unix time %d after %d: %w", r.At, last.at, ErrBeforeLast)
		}
		if r.Day == last.day && r.Before == last.is(wasBefore) {
			c.Past.pop()
			c.Now = c.Was
			notes |= ReplacedSameDay
		}
	}
	c.Was = c.Now
	j := c.judge(&t, &r)
	j.Notes |= notes
	c.take(&t, &r, &j, alertOpen)
	return j, nil
}

// take adds the judged reading to the sums and to the past.
func (c *Course) take(t *Thresholds, r *Reading, j *Judgement, alertOpen bool) {
	if c.StretchAt == 0 {
		c.StretchAt = r.At
	}
	p := pastReading{at: r.At, day: r.Day, items: r.Items.pack(), total: float64(r.Index.Total)}
	if r.Index.Scored {
		p.flags |= wasScored
	}
	if r.Carried {
		p.flags |= wasCarried
	}
	if r.Before {
		p.flags |= wasBefore
		c.Now.addBefore(r)
		c.Past.push(p)
		return
	}
	met := j.metBits()
	if alertOpen || met&^c.Was.Met != 0 {
		p.flags |= wasInAlert
	}
	if r.Index.Scored {
		c.Now.Met = met
	}
	if j.Notes&InBeddingIn == 0 {
		p.flags |= wasSettled
		if c.Now.N == 0 {
			p.flags |= wasFirst
		}
		c.Now.addSettled(t, r)
	}
	c.Past.push(p)
}

func (s *tally) addBefore(r *Reading) {
	if s.BeforeN >= maxPast {
		return
	}
	if r.Index.Scored {
		s.BeforeN++
		s.BeforeSum += float64(r.Index.Total)
	}
	for i, l := range r.Items {
		if l.Answered() && s.BeforeItemN[i] < maxPast {
			s.BeforeItemN[i]++
			s.BeforeItemSum[i] += uint8(l)
		}
	}
}

func (s *tally) addSettled(t *Thresholds, r *Reading) {
	if r.Index.Scored {
		if int(s.FirstN) < t.ProvisionalN && s.N == s.FirstN {
			s.FirstN++
			s.FirstSum += float64(r.Index.Total)
		}
		if int(s.N) < t.BaselineN {
			s.N++
			s.Sum += float64(r.Index.Total)
		}
	}
	for i, l := range r.Items {
		if !l.Answered() {
			continue
		}
		if int(s.ItemFirstN[i]) < t.ProvisionalN && s.ItemN[i] == s.ItemFirstN[i] {
			s.ItemFirstN[i]++
			s.ItemFirstSum[i] += uint8(l)
		}
		if int(s.ItemN[i]) < t.BaselineN {
			s.ItemN[i]++
			s.ItemSum[i] += uint8(l)
		}
	}
}
