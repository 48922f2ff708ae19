package clinical

// Better says which way a measure improves.
type Better uint8

// The directions.
const (
	FallIsBetter Better = iota // the index, body weight on a loss plan
	RiseIsBetter
)

// Overlap compares every value before with every value after.
type Overlap struct {
	Pairs  int     // pairs compared
	Better int     // pairs in which "after" is better
	Equal  int     // pairs in which they are equal
	Worse  int     // pairs in which "after" is worse
	NAP    float64 // non-overlap of all pairs: (better + half of equal) ÷ pairs, 0 to 1
	Tau    float64 // (better − worse) ÷ pairs, −1 to 1
	// TauU is Tau less the trend that was under way before (Parker et al., Behav
	// Ther 2011;42:284-299); it can leave −1 to 1.
	TauU float64
}

// OverlapOf compares two phases of one animal (Parker, Vannest and Davis, Behav
// Modif 2011;35:303-322). before is in order of time. False where either is empty.
func OverlapOf(before, after []float64, direction Better) (Overlap, bool) {
	if len(before) == 0 || len(after) == 0 {
		return Overlap{}, false
	}
	improves := func(from, to float64) int {
		if direction == FallIsBetter {
			return sign(from - to)
		}
		return sign(to - from)
	}
	var o Overlap
	trend := 0
	for i, a := range before {
		for _, b := range after {
			switch improves(a, b) {
			case 1:
				o.Better++
			case 0:
				o.Equal++
			case -1:
				o.Worse++
			}
		}
		for _, later := range before[i+1:] {
			trend += improves(a, later)
		}
	}
	o.Pairs = len(before) * len(after)
	pairs := float64(o.Pairs)
	o.NAP = (float64(o.Better) + float64(o.Equal)/2) / pairs
	o.Tau = float64(o.Better-o.Worse) / pairs
	o.TauU = float64(o.Better-o.Worse-trend) / pairs
	return o, true
}
