package care

import (
	"slices"

	"gaitpost/internal/contact"
)

// The reasons of a line whose telephone was lost.
const (
	LineCut      Reason = "telephone-cut-off"
	LineRestored Reason = "telephone-restored"
)

// Lost says that one of a practitioner's telephones is in strange hands, or is
// back. Nothing is sent to one that is cut off, and what comes from it is not
// heeded and not answered; her other contacts go on.
type Lost struct {
	Address contact.Address
	Back    bool
}

// lost cuts a telephone off, or takes it up again. What waited for a code is
// dropped: the code may have been read.
func (t *lineTurn) lost(l *Lost) Reason {
	t.l.Cut = slices.DeleteFunc(slices.Clone(t.l.Cut), func(a contact.Address) bool { return a == l.Address })
	t.l.Pending = nil
	if l.Back {
		return LineRestored
	}
	t.l.Cut = append(t.l.Cut, l.Address)
	return LineCut
}

func (t *lineTurn) isCut(a contact.Address) bool { return slices.Contains(t.l.Cut, a) }
