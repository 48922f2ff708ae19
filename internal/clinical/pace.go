package clinical

import "math"

// PaceStatus says whether there is a pace, and what it is worth.
type PaceStatus uint8

// The states.
const (
	PaceUnknown PaceStatus = iota // fewer than two weigh-ins on different days
	PaceKnown                     // all on one kind of scale
	// PaceAcrossScales: there were not two weigh-ins on the present scale, so that
	// the pace mixes home and clinic scales and must say so.
	PaceAcrossScales
)

// String gives the state's stable code.
func (s PaceStatus) String() string {
	return [...]string{"unknown", "known", "across-scales", "?"}[min(int(s), 3)]
}

// PaceBand is what a pace means on a loss plan.
type PaceBand uint8

// The bands.
const (
	PaceGaining  PaceBand = iota // below 0
	PaceStill                    // from 0 to less than 0.5 % a week
	PaceProgress                 // 0.5 to less than 1
	PaceInBand                   // 1 to 2
	PaceTooFast                  // above 2
)

// String gives the band's stable code.
func (b PaceBand) String() string {
	return [...]string{"gaining", "still", "progress", "in-band", "too-fast", "?"}[min(int(b), 5)]
}

// Pace is how fast a dog loses weight over its last weigh-ins: a Theil–Sen line
// through the logarithm of weight, so that two weigh-ins give exactly the formula
// for two (WeeklyPace).
type Pace struct {
	Status  PaceStatus
	PerWeek float64 // percent of body weight lost per week; negative is a gain
	// Low and High are a 95 % range for PerWeek: the line's own where four weigh-ins
	// or more make one, else from the scale's error. Never a promise.
	Low, High float64
	Band      PaceBand
	N         int   // weigh-ins used
	From, To  int64 // unix s; the first and last of them
	Fitted    Grams // the line's weight at To

	slope, low, high float64 // of ln(weight) per second; low is the slowest loss
}

const secondsPerWeek = 7 * secondsPerDay

// paceOf takes the last weigh-ins on the scale in use; across a change of scale only
// where there is no other way, and then it says so.
func (r WeightRules) paceOf(since []WeighIn) Pace {
	scale := since[len(since)-1].Scale
	var same []WeighIn
	for _, x := range since {
		if x.Scale == scale {
			same = append(same, x)
		}
	}
	if len(same) >= 2 {
		return r.fitPace(tail(same, r.Window), PaceKnown)
	}
	return r.fitPace(tail(since, r.Window), PaceAcrossScales)
}

func tail(w []WeighIn, n int) []WeighIn {
	if len(w) > n {
		return w[len(w)-n:]
	}
	return w
}

func (r WeightRules) fitPace(w []WeighIn, status PaceStatus) Pace {
	last := w[len(w)-1]
	p := Pace{N: len(w), From: w[0].At, To: last.At, Fitted: last.Grams}
	x, y := make([]float64, len(w)), make([]float64, len(w))
	for i, in := range w {
		x[i] = float64(in.At-last.At) / secondsPerWeek
		y[i] = math.Log(float64(in.Grams))
	}
	line, ok := TheilSen(x, y, 0.95)
	if !ok {
		return p
	}
	p.Status = status
	p.Fitted = Grams(math.Round(math.Exp(line.Intercept)))
	low, high := line.Low, line.High
	if !line.Interval {
		// Two or three weigh-ins say nothing about their own spread; the scales do.
		first := w[0]
		sd := math.Hypot(r.SD(first.Scale)/float64(first.Grams), r.SD(last.Scale)/float64(last.Grams))
		half := 1.96 * sd / (x[len(x)-1] - x[0])
		low, high = line.PerUnit-half, line.PerUnit+half
	}
	p.slope, p.low, p.high = line.PerUnit, high, low
	p.PerWeek, p.Low, p.High = lossPercent(p.slope), lossPercent(p.low), lossPercent(p.high)
	p.Band = r.band(p.PerWeek)
	return p
}

// lossPercent turns a slope of ln(weight) per week into percent lost per week.
func lossPercent(slope float64) float64 {
	// Weigh-ins minutes apart can make any slope; what is said stays finite.
	slope = min(max(slope, -5), 5)
	return -100 * math.Expm1(slope)
}

func (r WeightRules) band(perWeek float64) PaceBand {
	switch {
	case perWeek < 0:
		return PaceGaining
	case perWeek < r.Progress:
		return PaceStill
	case perWeek < r.PaceLow:
		return PaceProgress
	case perWeek <= r.PaceHigh:
		return PaceInBand
	}
	return PaceTooFast
}

// ArrivalStatus says whether there is an arrival date, and why not.
type ArrivalStatus uint8

// The states.
const (
	ArrivalUnknown ArrivalStatus = iota // no pace yet
	ArrivalNoTarget
	ArrivalThere     // at or below the target
	ArrivalNotLosing // at this pace the target is not reached
	ArrivalTooFar    // more than three years away: no date worth giving
	ArrivalKnown
)

// String gives the state's stable code.
func (s ArrivalStatus) String() string {
	return [...]string{"unknown", "no-target", "there", "not-losing", "too-far", "known", "?"}[min(int(s), 6)]
}

// Arrival is when the target would be reached if things go on as they are.
type Arrival struct {
	Status ArrivalStatus
	At     int64 // unix s; 0 unless Known
	Early  int64 // the early end of the range; 0 unless Known
	Late   int64 // the late end; 0 where the slowest pace in range never arrives within three years
}

const furthestArrival = 3 * 365 * secondsPerDay

func arrivalOf(target Target, latest WeighIn, p Pace) Arrival {
	switch {
	case target.Source == NoTarget:
		return Arrival{Status: ArrivalNoTarget}
	case latest.Grams <= target.Grams:
		return Arrival{Status: ArrivalThere}
	case p.Status == PaceUnknown:
		return Arrival{Status: ArrivalUnknown}
	}
	// ln(weight) still to lose, from the line and never less than from the target on.
	gap := max(0, math.Log(float64(p.Fitted)/float64(target.Grams)))
	if p.slope >= 0 {
		return Arrival{Status: ArrivalNotLosing}
	}
	at := arrivesAt(gap, p.slope, p.To)
	if at == 0 {
		return Arrival{Status: ArrivalTooFar}
	}
	return Arrival{Status: ArrivalKnown, At: at, Early: arrivesAt(gap, p.high, p.To), Late: arrivesAt(gap, p.low, p.To)}
}

// arrivesAt is when the gap is closed at a slope per week; 0 for never, or too far.
func arrivesAt(gap, slope float64, from int64) int64 {
	if slope >= 0 {
		return 0
	}
	seconds := gap / -slope * secondsPerWeek
	if seconds > furthestArrival {
		return 0
	}
	return from + int64(math.Round(seconds))
}
