package care

import "fmt"

// The gaps below which two medicines are too close, in days. Between two
// anti-inflammatories: Lascelles, McFarland and Swann, Vet Ther 2005;6:237-251.
// After aspirin: KuKanich, dvm360.
const (
	washoutDays = 5
	aspirinDays = 7
	day         = 24 * 3600
)

// Cautions lists what the practitioner should know about the medicines on a plan,
// in sentences without a full stop.
func (d *Dog) Cautions() []string { return d.cautions() }

// cautions lists what the practitioner should know about the medicines on a
// plan. They are cautions, never blocks: she decides.
func (d *Dog) cautions() []string {
	var list []string
	for i := range d.Plan {
		for k := range d.Plan {
			if i == k {
				continue
			}
			if c := caution(&d.Plan[i], &d.Plan[k]); c != "" {
				list = append(list, c)
			}
		}
	}
	return list
}

// caution is what stands against giving a beside b, "" for nothing; a is the
// anti-inflammatory.
func caution(a, b *Entry) string {
	if a.Class != NSAID || a.Status == Ended || !b.wasGiven() {
		return ""
	}
	switch {
	case b.Class == NSAID && b.Status != Ended && a.ID > b.ID:
		return fmt.Sprintf("two anti-inflammatories together: %s and %s", b.What, a.What)
	case b.Class == NSAID && within(b, a, washoutDays):
		return fmt.Sprintf("%s began less than %d days after %s", a.What, washoutDays, b.What)
	case b.Class == Steroid && (b.Status != Ended || within(b, a, washoutDays)):
		return fmt.Sprintf("an anti-inflammatory with a steroid: %s and %s", a.What, b.What)
	case b.Class == Aspirin && (b.Status != Ended || within(b, a, aspirinDays)):
		return fmt.Sprintf("%s within %d days of %s", a.What, aspirinDays, b.What)
	}
	return ""
}

// within reports whether b ended less than so many days before a began.
func within(b, a *Entry, days int64) bool {
	return b.Status == Ended && b.Ended <= a.Started && a.Started-b.Ended < days*day
}

// judgePlan raises caution where medicines on the plan don't go together.
func (t *turn) judgePlan(dog int8) {
	list := t.h.Dogs[dog].cautions()
	if len(list) == 0 {
		t.clearReason(dog, Caution, 0)
		return
	}
	t.raise(evidence{dog: dog, reason: Caution, urgency: Today, sentence: list[0], excess: float64(len(list)) * 10})
}
