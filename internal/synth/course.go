package synth

import "gaitpost/internal/care"

// course gives a dog its true course and what of its plan belongs to it. kg is
// its weight at enrolment.
func (b *builder) course(d *Dog, kg float64) {
	days := float64(7 * b.o.Weeks)
	base := d.Latent.At(0)
	switch d.Course {
	case Improving:
		from := float64(b.day(0.3))
		base = 42 + 8*b.rng.Float64()
		d.Latent = Level(base).Then(from, base).Then(from+25, base-26)
	case Flare:
		from := float64(b.day(0.5))
		base = 18 + 8*b.rng.Float64()
		d.Latent = Level(base).Then(from, base).Then(from+6, base+34).Then(from+24, base+30).Then(from+45, base+3)
	case Drift:
		from := float64(b.day(0.25))
		base = 20 + 6*b.rng.Float64()
		d.Latent = Level(base).Then(from, base).Then(max(days, from+1), base+26)
	case Reaction:
		base = 44
		from := float64(b.day(0.25))
		d.Latent = Level(base).Then(from, base).Then(from+12, base-16)
		d.Enrolled.Plan = []care.Entry{{Area: care.AreaActivity, What: Paced}}
	case WeightStall:
		b.onLossPlan(d, 8)
		d.Weight = Level(kg).Then(28, kg*0.965).Then(max(days, 29), kg*0.97)
	case WeightLoss:
		b.onLossPlan(d, 7)
		d.Weight = Level(kg).Then(max(days, 7), kg*(1-min(0.011*float64(b.o.Weeks), 0.22)))
		d.Latent = Level(base+12).Then(max(days, 7), base-2)
	case OptsOut, Dies:
		d.Enrolled.Plan = []care.Entry{{Area: care.AreaActivity, What: Paced}, {Area: care.AreaPain, What: Tablets, Class: care.NSAID}}
	}
}

func (b *builder) onLossPlan(d *Dog, bcs uint8) {
	d.Enrolled.BCS, d.Enrolled.Loss = bcs, true
}

// fate gives the owner what a dog's course makes them write, and the practice
// what it makes it do.
func (b *builder) fate(o *Owner, d *Dog) {
	name := d.Enrolled.Name
	he, his := pronouns(d.Enrolled.Sex)
	switch d.Course {
	case Improving:
		o.Moves = append(o.Moves, Move{Day: b.day(0.3), ReviewIn: 56, Change: care.PlanChange{Dog: name, What: "physiotherapy", Area: care.AreaTherapy,
			Action: care.PlanStart, Comfort: true, Reason: "stiff after rest", Reminders: every(care.RemindSession, 14)}})
	case Reaction:
		from := b.day(0.25)
		o.Moves = append(o.Moves, Move{Day: from, Change: care.PlanChange{Dog: name, What: Tablets, Area: care.AreaPain,
			Class: care.NSAID, Action: care.PlanStart, Comfort: true, Reason: "index high for weeks", Reminders: every(care.RemindTest, 14)}})
		o.Says = append(o.Says, Saying{Day: from + 18, Minute: 8*60 + 47,
			Text: name + " was sick last night and " + he + "s off " + his + " food today"})
	case Silent:
		o.QuietFrom = b.day(0.4)
	case Dies:
		o.Says = append(o.Says, Saying{Day: b.day(0.6), Minute: 18*60 + 20,
			Text: "Im so sorry to tell you " + name + " died yesterday. " + sentence(he) + " was 14. thank you for all you did"})
	case AsksForCall:
		o.Says = append(o.Says, Saying{Day: b.day(0.35), Minute: 11*60 + 5,
			Text: "could someone ring me about " + name + "'s exercise when you get a minute please"})
	case OptsOut:
		o.Says = append(o.Says, Saying{Day: b.day(0.5), Minute: 19*60 + 40, Text: "STOP", Ends: true})
	case NightEmergency:
		o.Says = append(o.Says, Saying{Day: b.day(0.45), Minute: 2*60 + 38,
			Text: "please help " + name + " has collapsed and " + his + " gums look white"})
	}
}

func pronouns(s care.Sex) (he, his string) {
	if s == care.Female {
		return "she", "her"
	}
	return "he", "his"
}
