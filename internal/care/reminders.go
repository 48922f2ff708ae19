package care

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"gaitpost/internal/cadence"
)

// ReminderKind is what a reminder of a plan entry is about. It decides what the
// owner is told, what is asked back afterwards, and what goes first when
// several things compete for a day.
type ReminderKind string

const (
	RemindInjection  ReminderKind = "injection"  // the next of a repeat injection, given at the practice
	RemindTablets    ReminderKind = "tablets"    // more to collect from the practice
	RemindTest       ReminderKind = "test"       // a blood or urine test
	RemindSession    ReminderKind = "session"    // a therapy session that is booked
	RemindExercises  ReminderKind = "exercises"  // exercises at home
	RemindSupplement ReminderKind = "supplement" // something given beside the food
	RemindWeighIn    ReminderKind = "weigh-in"
	RemindOther      ReminderKind = "other"
)

// ReminderKinds lists every kind, in the order they come first when they
// compete.
var ReminderKinds = []ReminderKind{RemindInjection, RemindTablets, RemindTest,
	RemindSession, RemindSupplement, RemindOther, RemindWeighIn, RemindExercises}

// Known reports whether k is one of ReminderKinds.
func (k ReminderKind) Known() bool { return slices.Contains(ReminderKinds, k) }

// AsksBack reports whether the owner is asked afterwards whether it was done.
// The others are only said.
func (k ReminderKind) AsksBack() bool {
	switch k {
	case RemindInjection, RemindTablets, RemindTest, RemindSession:
		return true
	}
	return false
}

// Ahead is how many days before its day a thing is spoken of, so that there is
// time to book it. 0 means that it is first spoken of on the day itself.
func (k ReminderKind) Ahead() int {
	switch k {
	case RemindInjection, RemindTest:
		return 5
	case RemindSession:
		return 1
	}
	return 0
}

// Reminder is one thing about a plan entry that comes round: when, and where it
// stands. Exactly one of Cron (with Gap), Every and On says when; with none of
// them the clinic's own default for the kind holds. Days are local dates as
// days since 1970, 0 for none; At is an instant in Unix seconds.
type Reminder struct {
	ID   uint8        `cbor:"1,keyasint,omitempty"` // within the entry, from 1; 0 in a change: not known yet
	Kind ReminderKind `cbor:"2,keyasint"`
	// Cron and Gap are a cadence: a five-field expression in the owner's zone,
	// and how many whole days must lie between two of them.
	Cron string `cbor:"3,keyasint,omitempty"`
	Gap  int16  `cbor:"4,keyasint,omitempty"`
	// Every is a number of days: from the entry's start, and from then on from
	// the day it was last done. 1 to 731.
	Every int16 `cbor:"5,keyasint,omitempty"`
	// On lists single dates, such as booked sessions, earliest first.
	On []int32 `cbor:"6,keyasint,omitempty"`
	// Until is the last date it may belong to.
	Until int32 `cbor:"7,keyasint,omitempty"`
	// Note is said with it in the practice's own words; for RemindOther it is
	// what is said. At most 60 characters.
	Note string `cbor:"8,keyasint,omitempty"`

	// Where it stands. These are Turn's own: in a change they are ignored.
	Next  int32         `cbor:"9,keyasint,omitempty"`  // the date the thing itself is next due
	At    int64         `cbor:"10,keyasint,omitempty"` // when the owner next hears of it, 0: not by itself
	Stage ReminderStage `cbor:"11,keyasint,omitempty"`
	Done  int32         `cbor:"12,keyasint,omitempty"` // the date it was last done
	Meant int32         `cbor:"13,keyasint,omitempty"` // the date At was meant for, before anything else took that day
	// Missed is the date of the one that was neither done nor heard of in time:
	// the practice's to see until it is done.
	Missed int32 `cbor:"14,keyasint,omitempty"`
}

// ReminderStage says what the owner next hears of a thing that is due.
type ReminderStage uint8

const (
	StageAhead ReminderStage = iota // that it comes up, or that it is today
	StageAsk                        // whether it was done
	StageAgain                      // the same once more
	StageOver                       // asked twice in vain: nothing more by itself
)

// ReminderRules are a clinic's settings for what comes round, and for how often
// a household hears from us first. The zero value stands for
// DefaultReminderRules.
type ReminderRules struct {
	// The days from one to the next where the plan entry does not say.
	Injection, Tablets, Test, Exercises, Supplement, WeighIn, Other int
	// AskAgain is how many days after a "not yet", or no answer, the owner is
	// asked once more.
	AskAgain int
	// Overdue is how many days after its day a thing that nobody has done
	// becomes the practice's to see.
	Overdue int
	// PerWeek is how many conversations we open with a household in any seven
	// local days; in one day it is never more than one. Safety does not count.
	PerWeek int
}

// DefaultReminderRules are the contract's own: one conversation a day and four
// a week. The days between are common practice, no source.
func DefaultReminderRules() ReminderRules {
	return ReminderRules{
		Injection: 28, Tablets: 28, Test: 182, Exercises: 7, Supplement: 28, WeighIn: 28, Other: 28,
		AskAgain: 3, Overdue: 7, PerWeek: 4,
	}
}

// ReminderRules are the clinic's, or the defaults where it set none.
func (r *Rules) ReminderRules() ReminderRules {
	if r.Reminders == (ReminderRules{}) {
		return DefaultReminderRules()
	}
	return r.Reminders
}

// EveryDays is how many days lie between two reminders of a kind where the plan
// entry does not say; 0 for a session, which is booked date by date.
func (r ReminderRules) EveryDays(k ReminderKind) int {
	switch k {
	case RemindInjection:
		return r.Injection
	case RemindTablets:
		return r.Tablets
	case RemindTest:
		return r.Test
	case RemindExercises:
		return r.Exercises
	case RemindSupplement:
		return r.Supplement
	case RemindWeighIn:
		return r.WeighIn
	case RemindOther:
		return r.Other
	}
	return 0
}

const (
	maxReminders    = 8   // of one entry
	maxReminderNote = 60  // characters
	maxEveryDays    = 731 // two years
	maxDates        = 40  // of one reminder
)

// setReminders replaces an entry's reminders. One whose ID is known keeps where
// it stands. It returns why it can't, or "".
func (e *Entry) setReminders(list []Reminder) string {
	if len(list) > maxReminders {
		return fmt.Sprintf("At most %d reminders go with one thing on the plan.", maxReminders)
	}
	if len(list) == 0 {
		e.Reminders = nil
		return ""
	}
	out := make([]Reminder, 0, len(list))
	top := uint8(0)
	for _, was := range e.Reminders {
		top = max(top, was.ID)
	}
	for _, rem := range list {
		if why := rem.check(); why != "" {
			return why
		}
		fresh := Reminder{Kind: rem.Kind, Cron: rem.Cron, Gap: rem.Gap, Every: rem.Every, On: slices.Clone(rem.On), Until: rem.Until, Note: rem.Note}
		if was := e.reminder(rem.ID); rem.ID != 0 && was != nil {
			fresh.ID, fresh.Done = was.ID, was.Done
			if was.sameTiming(rem) {
				fresh.Next, fresh.At, fresh.Stage, fresh.Meant, fresh.Missed = was.Next, was.At, was.Stage, was.Meant, was.Missed
			}
		} else {
			top++
			fresh.ID = top
		}
		slices.Sort(fresh.On)
		out = append(out, fresh)
	}
	e.Reminders = out
	return ""
}

// check returns what is wrong with a reminder as a sentence, "" for nothing.
func (m *Reminder) check() string {
	ways := 0
	for _, given := range []bool{m.Cron != "", m.Every != 0, len(m.On) > 0} {
		if given {
			ways++
		}
	}
	switch {
	case !m.Kind.Known():
		return fmt.Sprintf("%q is not a kind of reminder.", m.Kind)
	case ways > 1:
		return "A reminder comes by a cadence, every so many days, or on single dates: one of the three."
	case m.Kind == RemindSession && ways == 0:
		return "A session needs its dates, or how often it is."
	case m.Every < 0 || m.Every > maxEveryDays:
		return fmt.Sprintf("A reminder comes every 1 to %d days.", maxEveryDays)
	case len(m.On) > maxDates:
		return fmt.Sprintf("At most %d dates go with one reminder.", maxDates)
	case utf8.RuneCountInString(m.Note) > maxReminderNote:
		return fmt.Sprintf("A reminder's note is at most %d characters.", maxReminderNote)
	case m.Kind == RemindOther && strings.TrimSpace(m.Note) == "":
		return "Say what the owner is to be reminded of."
	}
	if m.Cron != "" {
		if _, err := cadence.Parse(m.Cron, int(m.Gap)); err != nil {
			return "That cadence can't be read: " + err.Error() + "."
		}
	}
	return ""
}

func (m *Reminder) sameTiming(o Reminder) bool {
	return m.Kind == o.Kind && m.Cron == o.Cron && m.Gap == o.Gap && m.Every == o.Every &&
		m.Until == o.Until && slices.Equal(m.On, o.On)
}

// reminder returns the entry's reminder with an ID, or nil.
func (e *Entry) reminder(id uint8) *Reminder {
	for i := range e.Reminders {
		if e.Reminders[i].ID == id {
			return &e.Reminders[i]
		}
	}
	return nil
}
