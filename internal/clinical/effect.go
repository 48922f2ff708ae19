package clinical

import "math"

// Change is one change of plan whose effect is asked about. Times are unix seconds.
type Change struct {
	At         int64   // when it began
	Since      int64   // "before" begins here: the stretch before; 0: with the first reading
	Until      int64   // "after" ends here: the next change; 0: with the last reading
	Alters     bool    // expected to change comfort: bedding-in is left out of "after"
	OtherStart []int64 // when other parts of the plan began or ended
}

// EffectVerdict is what before and after say together.
type EffectVerdict uint8

// The verdicts.
const (
	EffectTooFew  EffectVerdict = iota // not enough readings on one side
	EffectBetter                       // better by the meaningful change or more, and by more than noise
	EffectWorse                        // likewise worse
	EffectSmall                        // more than noise, less than the meaningful change
	EffectUnclear                      // within noise
)

// String gives the verdict's stable code.
func (v EffectVerdict) String() string {
	return [...]string{"too-few", "better", "worse", "small", "unclear", "?"}[min(int(v), 5)]
}

// Caveat is something to be said beside an effect.
type Caveat uint8

// The caveats.
const (
	CaveatPlacebo   Caveat = iota // always: owners see improvement under placebo
	CaveatTogether                // another change within two weeks
	CaveatFewBefore               // fewer than three readings before
	CaveatFewAfter                // fewer than three readings after
	CaveatTrend                   // it was under way before the change
	CaveatDayZero                 // "before" is only what was said on day 0
	caveatsEnd
)

var caveatCodes = [...]string{"placebo", "started-together", "few-before", "few-after", "trend-before", "day-zero-only"}

// String gives the caveat's stable code.
func (c Caveat) String() string {
	if c >= caveatsEnd {
		return "?"
	}
	return caveatCodes[c]
}

var caveatTexts = [...]string{
	"Owners rated 39.7 % of dogs on placebo as improved (Conzemius and Evans 2012), so better scores alone do not prove that this helped.",
	"Something else was started or stopped within two weeks of this; the two can't be told apart.",
	"There were fewer than three check-ins before the change.",
	"There have been fewer than three check-ins since.",
	"The dog was already moving in this direction before the change.",
	"All that is known from before is what was said on day 0.",
}

// Text says the caveat in plain words, for the practitioner.
func (c Caveat) Text() string {
	if c >= caveatsEnd {
		return ""
	}
	return caveatTexts[c]
}

// Effect compares the index before and after a change. A gain is positive where the
// dog is better (the index fell).
type Effect struct {
	Verdict                   EffectVerdict
	BeforeN, AfterN           int
	MedianBefore, MedianAfter float64 // points; 0 where the side is empty
	MeanBefore, MeanAfter     float64
	MedianGain, MeanGain      float64 // before − after, points
	Meaningful                float64 // the meaningful change it is held against, points
	// Noise is how large a difference of the two means noise alone makes, 19 times
	// of 20: 1.96·σ·√(1/before + 1/after), points. It holds the meaningful change to
	// account where readings are few.
	Noise   float64
	Overlap Overlap // zero where a side is empty
	Caveats []Caveat
}

// togetherSeconds: two things started within it can't be told apart.
const togetherSeconds = 14 * secondsPerDay

// effectMost is how many readings of each side count: the nearest to the change
// before it, and after it the first ones since bedding-in ended.
const effectMost = 12

// EffectOf judges a change from readings in order of time; sigma is the noise of one
// index (Course.Sigma). Readings without an index are passed by.
func EffectOf(t Thresholds, sigma float64, readings []Reading, ch Change) Effect {
	before, after, dayZero := sides(t, readings, ch)
	e := Effect{BeforeN: len(before), AfterN: len(after), Meaningful: t.MeaningfulChange}
	e.MedianBefore, _ = Median(before)
	e.MedianAfter, _ = Median(after)
	e.MeanBefore, _ = Mean(before)
	e.MeanAfter, _ = Mean(after)
	if len(before) > 0 && len(after) > 0 {
		e.MedianGain = e.MedianBefore - e.MedianAfter
		e.MeanGain = e.MeanBefore - e.MeanAfter
		e.Noise = 1.96 * sigma * math.Sqrt(1/float64(len(before))+1/float64(len(after)))
		e.Overlap, _ = OverlapOf(before, after, FallIsBetter)
	}
	e.Verdict = e.verdict()
	e.Caveats = e.caveats(ch, before, dayZero)
	return e
}

// sides splits the indices; bedding-in belongs to neither.
func sides(t Thresholds, readings []Reading, ch Change) (before, after []float64, dayZero bool) {
	from := ch.At
	if ch.Alters {
		from += t.beddingIn()
	}
	dayZero = true
	for _, r := range readings {
		x := float64(r.Index.Total)
		switch {
		case !r.Index.Scored:
		case r.At >= ch.Since && (r.At < ch.At || (r.Before && r.At < ch.At+secondsPerDay)):
			before = append(before, x)
			dayZero = dayZero && r.Before
		case r.At >= from && !r.Before && (ch.Until == 0 || r.At < ch.Until):
			after = append(after, x)
		}
	}
	if len(before) > effectMost {
		before = before[len(before)-effectMost:]
	}
	return before, after[:min(len(after), effectMost)], dayZero && len(before) > 0
}

// verdict asks both measures: the medians, which one odd week can't move, for size;
// the means for noise.
func (e *Effect) verdict() EffectVerdict {
	if e.BeforeN == 0 || e.AfterN < 2 {
		return EffectTooFew
	}
	if math.Abs(e.MeanGain) <= e.Noise {
		return EffectUnclear
	}
	switch {
	case e.MeanGain > 0 && min(e.MedianGain, e.MeanGain) >= e.Meaningful:
		return EffectBetter
	case e.MeanGain < 0 && max(e.MedianGain, e.MeanGain) <= -e.Meaningful:
		return EffectWorse
	}
	return EffectSmall
}

func (e *Effect) caveats(ch Change, before []float64, dayZero bool) []Caveat {
	out := []Caveat{CaveatPlacebo}
	if startedTogether(ch) {
		out = append(out, CaveatTogether)
	}
	switch {
	case dayZero:
		out = append(out, CaveatDayZero)
	case e.BeforeN < 3:
		out = append(out, CaveatFewBefore)
	}
	if e.AfterN < 3 {
		out = append(out, CaveatFewAfter)
	}
	if trendBefore(before, e.MeanGain) {
		out = append(out, CaveatTrend)
	}
	return out
}

func startedTogether(ch Change) bool {
	for _, at := range ch.OtherStart {
		if d := at - ch.At; d >= -togetherSeconds && d <= togetherSeconds {
			return true
		}
	}
	return false
}

// trendBefore tells whether the readings before were already moving the way of the
// effect (Mann–Kendall, 5 %).
func trendBefore(before []float64, gain float64) bool {
	x := make([]float64, len(before))
	for i := range x {
		x[i] = float64(i)
	}
	k := MannKendall(x, before)
	return k.P < 0.05 && sign(float64(k.S)) == -sign(gain)
}

// GainState says whether a dog is getting on.
type GainState uint8

// The states.
const (
	GainUnknown  GainState = iota // not time yet, or too little to say
	GainSeen                      // the change brought the meaningful change or more
	NoGainReview                  // by its review a change meant to help has brought less
	NoGainStays                   // the index has stayed high for twelve weeks
)

// String gives the state's stable code.
func (g GainState) String() string {
	return [...]string{"unknown", "gain", "no-gain-by-review", "stays-high", "?"}[min(int(g), 4)]
}

// GainByReview judges a change that was meant to help once its review is due (unix
// seconds). Before the review, or with nothing on one side, it is unknown; a change
// that belongs to comfort needs a reading after bedding-in.
func GainByReview(t Thresholds, e Effect, review, now int64) GainState {
	switch {
	case e.BeforeN == 0 || e.AfterN == 0:
		return GainUnknown
	case e.MeanGain >= t.MeaningfulChange:
		return GainSeen
	case now < review:
		return GainUnknown
	}
	return NoGainReview
}

// StaysHigh looks back from the newest reading (in order of time): NoGainStays where
// every index over the last twelve weeks or more was at or above the line and there
// was no gap in between that is too long to be "running". It also gives the lowest
// index of that time and how many readings it is about.
func StaysHigh(t Thresholds, readings []Reading) (state GainState, lowest float64, n int) {
	var last, earliest int64
	lowest = 100
	for i := len(readings) - 1; i >= 0; i-- {
		r := &readings[i]
		if !r.Index.Scored || r.Before {
			continue
		}
		x := float64(r.Index.Total)
		if x < t.StaysAt || (n > 0 && earliest-r.At > t.running()) {
			break
		}
		if n == 0 {
			last = r.At
		}
		n, earliest, lowest = n+1, r.At, min(lowest, x)
	}
	if n == 0 {
		return GainUnknown, 0, 0
	}
	// Half a day's grace: check-ins keep no exact hour.
	if last-earliest >= int64(t.StaysWeeks)*secondsPerWeek-secondsPerDay/2 {
		return NoGainStays, lowest, n
	}
	return GainUnknown, lowest, n
}
