package clinical

import (
	"errors"
	"fmt"
)

// ErrLevel is returned for an answer outside 0 to 4 that is not one of the named
// non-answers.
var ErrLevel = errors.New("an answer must be 0 to 4")

// Score is a place on the index: 0 best, 100 worst. It is kept unrounded and
// shown with one decimal.
type Score float64

// Index is the score of one check-in. A score whose Scored flag is false is 0
// and means nothing.
type Index struct {
	Pain     Score `cbor:"1,keyasint,omitempty"` // 100 × mean of the answered pain items ÷ 4
	Mobility Score `cbor:"2,keyasint,omitempty"` // likewise for the mobility items
	Total    Score `cbor:"3,keyasint,omitempty"` // mean of the two halves; the index itself

	PainScored     bool `cbor:"4,keyasint,omitempty"` // at least half of the applying pain items were answered
	MobilityScored bool `cbor:"5,keyasint,omitempty"` // likewise for mobility
	Scored         bool `cbor:"6,keyasint,omitempty"` // both halves are scored; without both there is no index
}

// IndexOf scores one check-in. A half is scored when at least half of its
// applying items were answered, at exactly half too (the rule of two widely used
// human quality-of-life scoring manuals, from memory). It returns an error that wraps
// ErrLevel and names the item when a level is out of range.
//
// Sums are taken over whole numbers, so the order of items within a half cannot
// change the result.
func IndexOf(items Items) (Index, error) {
	var sum, answered, applying [2]int
	for i, l := range items {
		h := Item(i).Half()
		switch {
		case l == NotApplicable:
		case l == Missing:
			applying[h]++
		case l.Answered():
			applying[h]++
			answered[h]++
			sum[h] += int(l)
		default:
			return Index{}, fmt.Errorf("%s is %d: %w", Item(i), l, ErrLevel)
		}
	}
	var x Index
	x.Pain, x.PainScored = halfScore(sum[Pain], answered[Pain], applying[Pain])
	x.Mobility, x.MobilityScored = halfScore(sum[Mobility], answered[Mobility], applying[Mobility])
	if x.PainScored && x.MobilityScored {
		x.Total, x.Scored = (x.Pain+x.Mobility)/2, true
	}
	return x, nil
}

// halfScore turns the sum of the answered levels into 0 to 100; false where too
// few were answered, or where no item applies at all.
func halfScore(sum, answered, applying int) (Score, bool) {
	if answered == 0 || 2*answered < applying {
		return 0, false
	}
	return Score(100*sum) / Score(int(MaxLevel)*answered), true
}
