package store

import (
	"errors"
	"fmt"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// ErrDecidedOtherwise says that a log's turn comes out otherwise when it is
// decided again: by other rules, or because something is wrong.
var ErrDecidedOtherwise = errors.New("decided again, the turn comes out otherwise")

// Replay decides every turn of a household's log again, from the first, and
// returns the household as it then is. It compares each turn's number, reason
// and facts with what was kept, and stops at the first that differs with
// ErrDecidedOtherwise. It means something only under the rules and versions
// that the log was written with.
func Replay(r *care.Rules, id contact.ID, entries []LogEntry) (care.Household, error) {
	var h care.Household
	for i, e := range entries {
		if i == 0 {
			first, ok := begin(r.Clinic, id, e.Event)
			if !ok {
				return h, fmt.Errorf("a log that does not begin with a message or an enrolment: %w", ErrDamaged)
			}
			h = first
		}
		next, same := again(r, h, e)
		if !same {
			return h, fmt.Errorf("turn %d was %s with %d facts: %w", e.Seq, e.Reason, len(e.Facts), ErrDecidedOtherwise)
		}
		h = next
	}
	return h, nil
}
