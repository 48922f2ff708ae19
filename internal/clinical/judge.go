package clinical

import "strings"

// SignalKind is one of the four rules that read the index.
type SignalKind uint8

// The rules.
const (
	SignalLevel SignalKind = iota // high on two check-ins running
	SignalRise                    // clearly above baseline
	SignalDrift                   // slowly away from baseline
	SignalJump                    // one item far above its own baseline

	// SignalCount is the number of rules.
	SignalCount = 4
)

// String gives the rule's stable code.
func (k SignalKind) String() string {
	return [...]string{"level", "rise", "drift", "jump", "?"}[min(int(k), SignalCount)]
}

// SignalNumbers are what a sentence about a signal needs. Points of the index
// unless said otherwise; a number that does not apply is 0.
type SignalNumbers struct {
	Latest    float64 // this check-in's index
	Previous  float64 // the one before it, where PreviousKnown
	Mean      float64 // mean of the two, where PreviousKnown
	Threshold float64 // the line that was crossed, or would have to be
	Single    bool    // rise: this check-in alone was enough

	PreviousKnown bool

	Level        Level   // jump: the item's answer now
	ItemBaseline float64 // jump: the item's own usual answer, 0 to 4
	ItemsJumped  int     // jump: how many items meet the rule now
}

// Signal is the state of one rule after a check-in. Neither Met nor Cleared means
// that this check-in leaves the matter where it was.
type Signal struct {
	Reason  SignalKind
	Met     bool    // the condition holds now
	Cleared bool    // its clear condition holds
	Excess  float64 // points beyond the threshold (below it: negative); for jump the item's own 0-100 scale
	Item    Item    // jump: the item that is furthest above its baseline
	Numbers SignalNumbers
}

// Notes says in what circumstances a reading was judged.
type Notes uint8

// The circumstances.
const (
	ReplacedSameDay Notes = 1 << iota // took the place of an earlier one that day
	AfterGap                          // the check-in before it is too long ago to be "running"
	InBeddingIn                       // belongs to no baseline: bedding-in, or before its stretch
	NotScored                         // too few answers for an index; only item rules apply
	FirstReading                      // nothing came before it
)

// String lists the stable codes of what is set, with commas.
func (n Notes) String() string {
	var parts []string
	for i, code := range [...]string{"replaced-same-day", "after-gap", "bedding-in", "not-scored", "first-reading"} {
		if n&(1<<i) != 0 {
			parts = append(parts, code)
		}
	}
	return strings.Join(parts, ",")
}

// Judgement is what one check-in means beside everything before it.
type Judgement struct {
	Reading
	Baseline   Baseline // the one it was judged by; the reading itself is not in it
	Sigma      float64  // noise of one index, points
	SigmaOwn   bool     // the dog's own noise, not the assumed one
	SDC        float64  // smallest detectable change, points
	EWMA       float64  // moving average with this reading; 0 without a baseline
	DriftLimit float64  // the line it is held against; 0 without a baseline
	Signals    [SignalCount]Signal
	Notes      Notes
}

// Signal gives the state of one rule.
func (j Judgement) Signal(k SignalKind) Signal { return j.Signals[k] }

func (j *Judgement) metBits() uint8 {
	var bits uint8
	for i := range j.Signals {
		if j.Signals[i].Met {
			bits |= 1 << i
		}
	}
	return bits
}

// judge works out the judgement of r from the course before it, and moves the
// average on. A check-in before treatment is kept, not judged.
func (c *Course) judge(t *Thresholds, r *Reading) Judgement {
	j := Judgement{Reading: *r, Baseline: c.baseline(t)}
	j.Sigma, j.SigmaOwn = c.sigma(t)
	j.SDC = SmallestDetectable(j.Sigma)
	for i := range j.Signals {
		j.Signals[i].Reason = SignalKind(i)
	}
	if c.Past.n == 0 {
		j.Notes |= FirstReading
	}
	if r.At < c.BeddingInUntil(*t) {
		j.Notes |= InBeddingIn
	}
	if !r.Index.Scored {
		j.Notes |= NotScored
	}
	if r.Before {
		return j
	}
	widen := 0.0
	if j.Baseline.Kind.Wide() {
		widen = t.ProvisionalExtra
	}
	if r.Index.Scored {
		prev, gap := c.previous(t, r.At)
		if gap {
			j.Notes |= AfterGap
		}
		c.level(t, &j, prev, widen)
		c.rise(t, &j, prev, widen)
		c.drift(t, &j, widen)
	}
	c.jump(t, &j)
	return j
}

// previous is the last scored check-in, nil where there is none or where it is too
// long ago to be "running" (then the second result is true).
func (c *Course) previous(t *Thresholds, at int64) (*pastReading, bool) {
	for i := int(c.Past.n) - 1; i >= 0; i-- {
		p := &c.Past.at[i]
		if p.flags&(wasScored|wasBefore) != wasScored {
			continue
		}
		if at-p.at > t.running() {
			return nil, true
		}
		return p, false
	}
	return nil, false
}

func (n *SignalNumbers) fill(latest float64, prev *pastReading) {
	n.Latest = latest
	if prev != nil {
		n.Previous, n.Mean, n.PreviousKnown = prev.total, (latest+prev.total)/2, true
	}
}

// level: high on two check-ins running in a dog that is not always there.
func (c *Course) level(t *Thresholds, j *Judgement, prev *pastReading, widen float64) {
	s, x, at := &j.Signals[SignalLevel], float64(j.Index.Total), t.LevelAt+widen
	s.Numbers.fill(x, prev)
	s.Numbers.Threshold = at
	s.Excess = x - at
	s.Cleared = x < t.LevelClearsBelow
	usual := j.Baseline.Kind != NoBaseline && j.Baseline.Value < t.LevelBaselineBelow
	s.Met = usual && prev != nil && x >= at && prev.total >= at
}

// rise: the mean of the last two, or this one alone, well above baseline.
func (c *Course) rise(t *Thresholds, j *Judgement, prev *pastReading, widen float64) {
	s, x := &j.Signals[SignalRise], float64(j.Index.Total)
	s.Numbers.fill(x, prev)
	if j.Baseline.Kind == NoBaseline {
		return
	}
	single := j.Baseline.Value + t.RiseSingle + widen
	mean := j.Baseline.Value + t.RiseMean + widen
	s.Excess, s.Numbers.Threshold, s.Numbers.Single = x-single, single, true
	if prev != nil && s.Numbers.Mean-mean > s.Excess {
		s.Excess, s.Numbers.Threshold, s.Numbers.Single = s.Numbers.Mean-mean, mean, false
	}
	s.Met = x >= single || (prev != nil && s.Numbers.Mean >= mean)
	s.Cleared = !s.Met
	s.Numbers.Single = s.Numbers.Single && s.Met
}

// drift: the moving average beyond its limit. The average starts from the
// baseline, and starts again whenever another baseline serves.
func (c *Course) drift(t *Thresholds, j *Judgement, widen float64) {
	b, n := &j.Baseline, &c.Now
	if b.Kind == NoBaseline {
		return
	}
	if n.EWMAKind != b.Kind || n.EWMAFrom != b.Value {
		n.EWMA, n.EWMAFrom, n.EWMAKind = b.Value, b.Value, b.Kind
	}
	x := float64(j.Index.Total)
	n.EWMA = t.DriftLambda*x + (1-t.DriftLambda)*n.EWMA
	j.EWMA = n.EWMA
	j.DriftLimit = b.Value + t.DriftWidth(j.Sigma) + widen
	s := &j.Signals[SignalDrift]
	s.Numbers.Latest, s.Numbers.Threshold = x, j.DriftLimit
	s.Excess = n.EWMA - j.DriftLimit
	s.Met = n.EWMA > j.DriftLimit
	s.Cleared = !s.Met
}

// pointsPerLevel is one answer step on the item's own 0-100 scale.
const pointsPerLevel = 100 / float64(MaxLevel)

// jump: one item well above its own baseline on two check-ins running. An item
// that was not answered is passed by, and nothing clears while its last answer
// was high.
func (c *Course) jump(t *Thresholds, j *Judgement) {
	s := &j.Signals[SignalJump]
	s.Numbers.Latest = float64(j.Index.Total)
	judged, pending := false, false
	for i := range ItemCount {
		item, l := Item(i), j.Items[i]
		b := c.itemBaseline(t, item)
		if b.kind == NoBaseline {
			continue
		}
		need := b.value() + t.JumpLevels
		if b.kind.Wide() {
			need += t.ProvisionalExtra / pointsPerLevel
		}
		if !l.Answered() {
			pending = pending || c.itemWas(t, item, j.At, need)
			continue
		}
		met := float64(l) >= need && c.itemWas(t, item, j.At, need)
		s.consider(item, l, b.value(), need, met, !judged)
		judged = true
	}
	s.Cleared = judged && !pending && !s.Met
}

// consider lets the worst item speak; one that meets the rule goes before one
// that does not.
func (s *Signal) consider(item Item, l Level, base, need float64, met, first bool) {
	if met {
		s.Numbers.ItemsJumped++
	}
	excess := (float64(l) - need) * pointsPerLevel
	if !first && !(met && !s.Met) && !(met == s.Met && excess > s.Excess) {
		return
	}
	s.Met, s.Excess, s.Item = met, excess, item
	s.Numbers.Level, s.Numbers.ItemBaseline, s.Numbers.Threshold = l, base, need
}

// itemWas tells whether the item's last answer before this check-in was at or
// above a level, recently enough and about the same activity.
func (c *Course) itemWas(t *Thresholds, item Item, at int64, need float64) bool {
	for i := int(c.Past.n) - 1; i >= 0; i-- {
		p := &c.Past.at[i]
		if p.is(wasBefore) {
			continue
		}
		if at-p.at > t.running() || (item.IsOwn() && p.at < c.OwnSince[item-Own1]) {
			return false
		}
		if l := Level(p.items>>(4*item)&15) - 2; l.Answered() {
			return float64(l) >= need
		}
	}
	return false
}
