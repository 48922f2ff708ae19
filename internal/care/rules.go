package care

import (
	"sync"
	"time"

	"gaitpost/dialog"
	"gaitpost/internal/cadence"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
)

// RulesVersion counts changes of what Turn decides. An audit decides again
// only what was decided under the same version.
const RulesVersion = 2

// Rules is everything a clinic has settled that Turn needs: who is there, when
// things happen and from where on they matter. It is read only; one value
// serves all turns of a clinic until its settings change.
type Rules struct {
	Clinic    string // the clinic's id: lower-case letters, digits, hyphens
	Name      string // as owners know the practice
	Zone      *time.Location
	Region    string // ISO 3166 region that a number without a country code belongs to
	Phone     string // the practice's number, as an owner dials it
	Emergency string // the emergency number at any hour, as an owner dials it
	// PersonNumber is the number for people in an emergency ("999", "911").
	PersonNumber string
	// Crisis is a crisis line shown to an owner in despair; "" if none is set.
	Crisis string

	Hours cadence.Hours // when the practice is open, closures taken out
	Quiet cadence.Quiet // when nothing automatic is sent, in the owner's zone

	Practitioners []Practitioner
	Rota          []Shift
	// LastResort is who hears of a now alert that nobody on the rota answered.
	LastResort contact.Address

	// Lead is the id of the practitioner named in messages to owners.
	Lead string

	Cadences   Cadences
	Thresholds clinical.Thresholds
	Limits     Limits
	Weight     clinical.WeightRules // the zero value is clinical.DefaultWeightRules
	Reminders  ReminderRules        // the zero value is DefaultReminderRules
	Extras     Extras               // the zero value sends none
	Costs      Costs
	// KeepYears is how long a clinical record is kept after an erasure; 0 is
	// DefaultKeepYears.
	KeepYears int

	Scripts  *dialog.Library
	Channels []Channel

	// Languages are those that the practice reads, as codes of ISO 639-1; nil for
	// all that texts, answers and safety screen have.
	Languages []string
	// screenReads says which languages the safety screen has; nil is its own word.
	screenReads func(lang string) bool
}

// Practitioner is one member of staff who is told things by text.
type Practitioner struct {
	ID       string
	Name     string // as owners and colleagues read it: "Dr Lee"
	Contacts []contact.Address
	// Minimal leaves names and clinical detail out of texts to this person's
	// private telephone.
	Minimal bool
	// Digest says whether this person receives the digest.
	Digest bool
}

// Shift is one line of the rota: who is told of now alerts, in order, at the
// hours it covers. The first shift that covers an instant holds.
type Shift struct {
	Days     [7]bool // by time.Weekday
	From, To cadence.MinuteOfDay
	Chain    []string // practitioner ids, first to last
}

// Cadences says when each kind of prompt falls due.
type Cadences struct {
	CheckIn      cadence.Cadence
	WeighIn      cadence.Cadence
	WeighInLoss  cadence.Cadence // on a weight-loss plan
	Reassessment cadence.Cadence
	Digest       cadence.Cadence
}

// Channel is one way out to owners: an account and number of a provider. Its
// secrets are not here.
type Channel struct {
	Name    string // as the settings call it
	Kind    contact.Channel
	Address string // our number, E.164
}

// Limits are the waits and counts of the clinical contract that a clinic may
// change. Zero values are not valid; start from DefaultLimits.
type Limits struct {
	// EscalateAfter is how long a now alert waits unacknowledged before the
	// next in line is told.
	EscalateAfter time.Duration
	// FollowUpAfter is when, after an emergency reply, the owner is asked
	// once whether a vet has been reached.
	FollowUpAfter time.Duration
	// FollowUpWait is how long that question may stay unanswered.
	FollowUpWait time.Duration
	// SafetyQuestionAfter is when an unanswered closed safety question
	// becomes a same-day sign.
	SafetyQuestionAfter time.Duration
	RemindAfter         time.Duration // one reminder of an open dialog
	CloseAfter          time.Duration // an open dialog is closed
	// PromptWindow is how late a prompt may still be sent.
	PromptWindow time.Duration
	// SilentCheckIns is how many check-ins running unanswered make silence.
	SilentCheckIns int
	// MissedDoses in one week that make an alert.
	MissedDoses int
	// ReopenBy is by how many points a shut reason must worsen to open again.
	ReopenBy float64
	// SignsOnlyDays are the days after a new or restarted medicine on which a
	// signs-only text goes out (adverse reactions to anti-inflammatories
	// cluster at 14 to 30 days: Hampshire et al., JAVMA 2004;225:533-536).
	SignsOnlyDays []int
	// LateOpening is how far off opening may be before signs that cannot wait
	// send the owner to the emergency number.
	LateOpening time.Duration
	// HandoverFor is how long a conversation stays with staff after they
	// wrote to the owner.
	HandoverFor   time.Duration
	OneByOneFirst int // how many first check-ins go one question at a time
	// PromptAt is the local time of prompts that no cadence places: signs-only
	// texts and the reassessment after a change of plan.
	PromptAt cadence.MinuteOfDay
	// DespairPause is how long cheerful texts pause after talk of putting to
	// sleep or from an owner in despair.
	DespairPause time.Duration
	// FloodBurst is how many messages one contact may send at once and still be
	// answered, 0 for any number; FloodRefill is how long one of them takes to
	// come back, in whole seconds.
	FloodBurst  int
	FloodRefill time.Duration
}

// DefaultLimits returns the clinical contract's own figures.
func DefaultLimits() Limits {
	return Limits{
		EscalateAfter:       15 * time.Minute,
		FollowUpAfter:       30 * time.Minute,
		FollowUpWait:        15 * time.Minute,
		SafetyQuestionAfter: 2 * time.Hour,
		RemindAfter:         24 * time.Hour,
		CloseAfter:          72 * time.Hour,
		PromptWindow:        6 * time.Hour,
		SilentCheckIns:      2,
		MissedDoses:         2,
		ReopenBy:            10,
		SignsOnlyDays:       []int{3, 10, 21, 28},
		LateOpening:         12 * time.Hour,
		HandoverFor:         24 * time.Hour,
		OneByOneFirst:       2,
		PromptAt:            10 * 60,
		DespairPause:        7 * 24 * time.Hour,
		FloodBurst:          40,
		FloodRefill:         20 * time.Second,
	}
}

// WeightRules are the clinic's, or the defaults where it set none.
func (r *Rules) WeightRules() clinical.WeightRules {
	if r.Weight == (clinical.WeightRules{}) {
		return clinical.DefaultWeightRules()
	}
	return r.Weight
}

// Practitioner returns the practitioner with the given id.
func (r *Rules) Practitioner(id string) (Practitioner, bool) {
	for _, p := range r.Practitioners {
		if p.ID == id {
			return p, true
		}
	}
	return Practitioner{}, false
}

// PractitionerAt returns the practitioner who registered the address.
func (r *Rules) PractitionerAt(a contact.Address) (Practitioner, bool) {
	for _, p := range r.Practitioners {
		for _, c := range p.Contacts {
			if c == a {
				return p, true
			}
		}
	}
	return Practitioner{}, false
}

// Chain returns who is told of a now alert raised at the instant t, first to
// last. Where no shift covers the hour, everybody is in line in the order of
// the settings, since an emergency must reach somebody.
func (r *Rules) Chain(t time.Time) []string {
	local := t.In(r.Zone)
	for _, s := range r.Rota {
		if s.covers(local) {
			return s.Chain
		}
	}
	ids := make([]string, len(r.Practitioners))
	for i, p := range r.Practitioners {
		ids[i] = p.ID
	}
	return ids
}

// covers reports whether the shift holds at a local time. A shift whose end is
// not after its start runs past midnight and belongs to the day it began.
func (s Shift) covers(local time.Time) bool {
	m := cadence.MinuteOfDay(local.Hour()*60 + local.Minute())
	day := local.Weekday()
	if s.From < s.To {
		return s.Days[day] && m >= s.From && m < s.To
	}
	yesterday := (day + 6) % 7
	return (s.Days[day] && m >= s.From) || (s.Days[yesterday] && m < s.To)
}

// LeadName is the practitioner's name as owners read it.
func (r *Rules) LeadName() string {
	if p, ok := r.Practitioner(r.Lead); ok {
		return p.Name
	}
	return r.Name
}

var zones sync.Map // name → *time.Location: loading one reads the zone database

// zoneOf returns the zone an owner lives in: their own, or the clinic's.
func (r *Rules) zoneOf(c Contact) *time.Location {
	if c.Zone == "" {
		return r.Zone
	}
	if z, ok := zones.Load(c.Zone); ok {
		return z.(*time.Location)
	}
	z, err := time.LoadLocation(c.Zone)
	if err != nil { // enrolment checks the name; an old record may outlive its zone
		return r.Zone
	}
	zones.Store(c.Zone, z)
	return z
}
