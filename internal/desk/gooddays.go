package desk

import (
	"strconv"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
)

// daysPart is what a dog's page says of the note of good and bad days.
type daysPart struct {
	Any, Running             bool
	Since, Until, Ended      int64
	By, Why                  string
	Good, Mixed, Bad, Unsaid int
	Days                     []dayLine // oldest first
}

type dayLine struct {
	At   int64
	Mark string // "good", "in between", "bad" or "not said"
	Sign string // one sign for the row
	Said string
}

// daySigns tell the days of a row apart without colour.
var daySigns = map[care.DayMark]string{care.GoodDay: "+", care.MixedDay: "○", care.BadDay: "–", care.DayUnsaid: "·"}

func (d *Desk) daysOf(v *visit, dog *care.Dog) daysPart {
	g := dog.Days
	if g == nil {
		return daysPart{}
	}
	p := daysPart{Any: true, Running: g.Running(), Since: g.Since, Until: noon(g.Until), Ended: g.Ended, By: d.nameOf(v, g.By),
		Why:  map[string]string{"owner": "the owner had had enough", "practice": "ended by the practice", "died": "the dog has died"}[g.Why],
		Good: g.Count(care.GoodDay), Mixed: g.Count(care.MixedDay), Bad: g.Count(care.BadDay), Unsaid: g.Count(care.DayUnsaid)}
	if p.Why == "" {
		p.Why = g.Why
	}
	for _, n := range g.Days {
		p.Days = append(p.Days, dayLine{noon(n.On), n.Mark.String(), daySigns[n.Mark], n.Said})
	}
	return p
}

// offerDays begins the note of good and bad days, or ends it.
func (d *Desk) offerDays(v *visit) error {
	say := "days"
	if v.FormValue("end") == "yes" {
		say = "days-ended"
	}
	return d.onDog(v, say, account.SetDog, func(dog int8, p *care.Practice, e *account.Entry) error {
		p.Days = &care.OfferDays{Dog: dog, End: say == "days-ended"}
		if p.Days.End {
			e.Detail = "the note of good and bad days ended"
			return nil
		}
		weeks, err := number(v, "weeks", 8)
		p.Days.Weeks, e.Detail = uint8(weeks), "a note of good and bad days, weeks: "+strconv.Itoa(weeks)
		return err
	})
}
