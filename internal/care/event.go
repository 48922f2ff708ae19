package care

import (
	"time"

	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
	"gaitpost/internal/signs"
)

// Event is one thing that happened to a household. Exactly one of its parts is
// set. At is the instant it carries with it; Key makes it happen once.
type Event struct {
	Key      string     `cbor:"1,keyasint"`
	At       time.Time  `cbor:"-"`
	Message  *MessageIn `cbor:"3,keyasint,omitempty"`
	Tick     *Tick      `cbor:"4,keyasint,omitempty"`
	Report   *Report    `cbor:"5,keyasint,omitempty"`
	Practice *Practice  `cbor:"6,keyasint,omitempty"`
}

// MessageIn is a message from a person.
type MessageIn struct {
	From  contact.Address `cbor:"1,keyasint"`
	Via   string          `cbor:"2,keyasint"`           // the clinic's channel name
	ID    string          `cbor:"3,keyasint"`           // the provider's id
	Text  string          `cbor:"4,keyasint"`           // cleaned of control characters
	Media []string        `cbor:"5,keyasint,omitempty"` // content types, never fetched here
	// ProviderOptOut is "STOP", "START" or "HELP" where the provider already
	// matched and answered the word itself, so that it is not answered twice.
	ProviderOptOut string `cbor:"6,keyasint,omitempty"`
	// Edited says that this is an earlier message as it was changed since. It is
	// screened and kept; it answers nothing, for what it once answered is past.
	Edited bool `cbor:"10,keyasint,omitempty"`
	// Joiner is set where the text is a code of ours by which somebody joins
	// from this address: the address' id.
	Joiner contact.ID `cbor:"11,keyasint,omitempty"`
	// Refs are the provider's own references to what Media names, one for each, ""
	// for what can't be fetched; nil where nothing can. At most 200 printable ASCII
	// characters each. The files stay with the provider.
	Refs []string `cbor:"12,keyasint,omitempty"`
}

// Tick says that time has passed: whatever is due at the event's instant is
// done.
type Tick struct{}

// Report is a provider's word on a message we sent.
type Report struct {
	Message string `cbor:"1,keyasint"` // our message id
	Fate    Fate   `cbor:"2,keyasint"`
	// OptedOut: the provider refuses to send since the person opted out there.
	OptedOut bool `cbor:"3,keyasint,omitempty"`
	// Dead: the number cannot receive texts at all.
	Dead bool   `cbor:"4,keyasint,omitempty"`
	Code string `cbor:"5,keyasint,omitempty"` // the provider's
}

// Practice is something staff did. Exactly one of its parts is set.
type Practice struct {
	By string `cbor:"1,keyasint"` // practitioner or account id

	Enrol     *Enrolment      `cbor:"2,keyasint,omitempty"`
	Plan      *PlanChange     `cbor:"3,keyasint,omitempty"`
	Ack       *AlertAction    `cbor:"4,keyasint,omitempty"`
	Close     *AlertAction    `cbor:"5,keyasint,omitempty"`
	Quiet     *QuietDog       `cbor:"6,keyasint,omitempty"`
	Write     *WriteOwner     `cbor:"7,keyasint,omitempty"`
	CheckIn   *EnteredCheckIn `cbor:"8,keyasint,omitempty"`
	Farewell  *Farewell       `cbor:"9,keyasint,omitempty"`
	QuietSign *QuietSign      `cbor:"10,keyasint,omitempty"`
	Consent   *RecordConsent  `cbor:"11,keyasint,omitempty"`
	Note      *Note           `cbor:"12,keyasint,omitempty"`
	Findings  *Findings       `cbor:"13,keyasint,omitempty"`
	Weigh     *EnteredWeight  `cbor:"14,keyasint,omitempty"`
	Resume    *Resume         `cbor:"15,keyasint,omitempty"`
	Settings  *DogSettings    `cbor:"16,keyasint,omitempty"`
	Decide    *Decide         `cbor:"25,keyasint,omitempty"`
	Withdraw  *Withdraw       `cbor:"26,keyasint,omitempty"`
	Rung      *Rung           `cbor:"30,keyasint,omitempty"`
	Hold      *HoldDog        `cbor:"17,keyasint,omitempty"`
	Pause     *PauseTexts     `cbor:"18,keyasint,omitempty"`
	Correct   *Correction     `cbor:"19,keyasint,omitempty"`
	House     *HouseAction    `cbor:"35,keyasint,omitempty"`
	Days      *OfferDays      `cbor:"36,keyasint,omitempty"`
	Contact   *NewContact     `cbor:"42,keyasint,omitempty"`
	Join      *Join           `cbor:"43,keyasint,omitempty"`
	Erase     *Erasure        `cbor:"32,keyasint,omitempty"`
	// Anew goes with Enrol: how a new consent was given after an erasure.
	Anew string `cbor:"33,keyasint,omitempty"`
}

// Enrolment adds a household, or changes what changed when repeated.
type Enrolment struct {
	Owner Owner         `cbor:"1,keyasint"`
	Dogs  []EnrolledDog `cbor:"2,keyasint"`
	// Invite sends the invitation; it is sent once.
	Invite bool `cbor:"3,keyasint,omitempty"`
}

// Owner is the person who will be texted.
type Owner struct {
	Name     string          `cbor:"1,keyasint"`
	Address  contact.Address `cbor:"2,keyasint"`
	ID       contact.ID      `cbor:"3,keyasint"`
	Lang     string          `cbor:"4,keyasint,omitempty"`
	Zone     string          `cbor:"5,keyasint,omitempty"`
	Via      string          `cbor:"6,keyasint"`
	OneByOne bool            `cbor:"7,keyasint,omitempty"` // prefers one question at a time
}

// EnrolledDog is a dog as the practice enrols it.
type EnrolledDog struct {
	Name   string    `cbor:"1,keyasint"`
	Ref    string    `cbor:"2,keyasint,omitempty"`
	Sex    Sex       `cbor:"3,keyasint,omitempty"`
	Entire bool      `cbor:"4,keyasint,omitempty"`
	Own    [2]string `cbor:"5,keyasint,omitempty"`
	BCS    uint8     `cbor:"6,keyasint,omitempty"`
	Muscle uint8     `cbor:"7,keyasint,omitempty"`
	Grams  int64     `cbor:"8,keyasint,omitempty"`  // weight on the clinic's scale
	Target int64     `cbor:"9,keyasint,omitempty"`  // 0: from BCS
	Loss   bool      `cbor:"10,keyasint,omitempty"` // on a weight-loss plan
	Plan   []Entry   `cbor:"11,keyasint,omitempty"`
	// Before is the day-0 check-in, answered at the practice; nil if none.
	Before *clinical.Items `cbor:"12,keyasint,omitempty"`
	// Untreated: treatment has not begun, so check-ins still are "before".
	Untreated bool `cbor:"13,keyasint,omitempty"`
}

// PlanChange starts, stops, restarts or holds an entry of a dog's plan.
type PlanChange struct {
	Dog     string        `cbor:"1,keyasint"`           // name
	Entry   uint16        `cbor:"2,keyasint,omitempty"` // an existing entry, 0 for a new one
	What    string        `cbor:"3,keyasint,omitempty"`
	Area    Area          `cbor:"4,keyasint,omitempty"`
	Class   MedicineClass `cbor:"5,keyasint,omitempty"`
	Action  PlanAction    `cbor:"6,keyasint"`
	Reason  string        `cbor:"7,keyasint,omitempty"`
	Comfort bool          `cbor:"8,keyasint,omitempty"`
	On      int64         `cbor:"9,keyasint,omitempty"` // when it took effect, 0: the event's instant
	Batch   string        `cbor:"10,keyasint,omitempty"`
	Why     string        `cbor:"11,keyasint,omitempty"` // what it is for; with PlanStart "" takes Reason
	Who     string        `cbor:"12,keyasint,omitempty"` // who does it or sees to it
	Review  int64         `cbor:"13,keyasint,omitempty"` // when it is looked at again
	Source  Source        `cbor:"14,keyasint,omitempty"`
	// Reminders go with PlanStart, and with PlanReminders, which replaces the
	// entry's list: one whose ID is known keeps where it stands, the rest are
	// new, and what is missing has gone.
	Reminders []Reminder `cbor:"15,keyasint,omitempty"`
	// Clear names details that PlanDetails empties: "why", "who", "review",
	// "batch", "comfort", "source".
	Clear []string `cbor:"16,keyasint,omitempty"`
	// Reminder is the one that PlanDone is about, 0 for the entry's only one.
	Reminder uint8 `cbor:"17,keyasint,omitempty"`
}

// PlanAction is what a plan change does.
type PlanAction string

const (
	PlanStart   PlanAction = "start"
	PlanStop    PlanAction = "stop"
	PlanHold    PlanAction = "hold"
	PlanRestart PlanAction = "restart"
	PlanAdjust  PlanAction = "adjust" // a dose or form changed; which, the vet knows
	// PlanDetails changes what is written about an entry: each field that is
	// given (What, Why, Who, Review, Source, Batch, Comfort, On for the start)
	// replaces the old one, Clear empties. It opens no stretch.
	PlanDetails PlanAction = "details"
	// PlanReminders replaces an entry's reminders. It opens no stretch.
	PlanReminders PlanAction = "reminders"
	// PlanDecline keeps that something proposed was not taken up, and why
	// (Reason); for an entry on the plan, that it was given up.
	PlanDecline PlanAction = "decline"
	// PlanDone records that a reminded thing was done on On: an injection given
	// (Batch is kept), tablets collected, a test or session done. The next one
	// falls due from that day.
	PlanDone PlanAction = "done"
)

// PlanActions lists every action, in the order they are offered.
var PlanActions = []PlanAction{PlanStart, PlanStop, PlanHold, PlanRestart, PlanAdjust,
	PlanDetails, PlanReminders, PlanDone, PlanDecline}

// AlertAction acknowledges or closes an alert.
type AlertAction struct {
	Alert   uint16  `cbor:"1,keyasint"`
	Note    string  `cbor:"2,keyasint,omitempty"`
	Outcome Outcome `cbor:"3,keyasint,omitempty"`
	// Minutes is how long staff say it took, 0 where they don't; at most
	// MaxMinutes. It stands beside what they did and decides nothing.
	Minutes uint16 `cbor:"8,keyasint,omitempty"`
}

// Rung records what staff did about a message that did not arrive.
type Rung struct {
	Message string `cbor:"1,keyasint"` // the message's whole id
	Note    string `cbor:"2,keyasint,omitempty"`
}

// Outcome says what came of an alert.
type Outcome string

const (
	Phoned            Outcome = "phoned"
	CouldNotReach     Outcome = "couldn't reach" // comes due again, never closes
	Booked            Outcome = "booked"
	SeenByVet         Outcome = "seen"
	SentToEmergency   Outcome = "sent to emergency care"
	PlanChanged       Outcome = "plan changed"
	SuspectedReaction Outcome = "suspected reaction"
	Referred          Outcome = "referred"
	FalseAlarm        Outcome = "false alarm"
	NoAction          Outcome = "no action needed"
	DogDied           Outcome = "died"
)

// Outcomes lists every outcome, in the order they are offered.
var Outcomes = []Outcome{Phoned, CouldNotReach, Booked, SeenByVet, SentToEmergency,
	PlanChanged, SuspectedReaction, Referred, FalseAlarm, NoAction, DogDied}

// QuietDog quiets everything of a dog but red flag and sign.
type QuietDog struct {
	Dog   int8  `cbor:"1,keyasint"`
	Until int64 `cbor:"2,keyasint"` // 0 ends the quiet
}

// QuietSign quiets one known same-day sign of a dog until a date; Until 0 ends
// its quiet.
type QuietSign struct {
	Dog   int8       `cbor:"1,keyasint"`
	Sign  signs.Sign `cbor:"2,keyasint"`
	Until int64      `cbor:"3,keyasint"`
}

// WriteOwner is a message that staff write; it opens a handover.
type WriteOwner struct {
	Contact int8   `cbor:"1,keyasint"`
	Text    string `cbor:"2,keyasint"`
}

// EnteredCheckIn is a check-in taken by telephone or on paper.
type EnteredCheckIn struct {
	Dog    int8           `cbor:"1,keyasint"`
	Items  clinical.Items `cbor:"2,keyasint"`
	Doses  int8           `cbor:"3,keyasint,omitempty"` // missed; -1 not asked
	Signs  []signs.Sign   `cbor:"4,keyasint,omitempty"`
	Who    string         `cbor:"5,keyasint,omitempty"` // who answered
	Before bool           `cbor:"6,keyasint,omitempty"` // a day-0 check-in
	On     int64          `cbor:"7,keyasint,omitempty"` // when it was taken, 0: the event's instant
}

// EnteredWeight is a weigh-in that staff record.
type EnteredWeight struct {
	Dog    int8           `cbor:"1,keyasint"`
	Grams  int64          `cbor:"2,keyasint"`
	Scale  clinical.Scale `cbor:"3,keyasint"`
	BCS    uint8          `cbor:"4,keyasint,omitempty"`
	Muscle uint8          `cbor:"5,keyasint,omitempty"`
	On     int64          `cbor:"6,keyasint,omitempty"` // when it was taken, 0: the event's instant
}

// Farewell records a dog's death, or undoes one recorded in error.
type Farewell struct {
	Dog  int8 `cbor:"1,keyasint"`
	Undo bool `cbor:"2,keyasint,omitempty"`
}

// RecordConsent keeps a consent given or taken back in person or by telephone.
type RecordConsent struct {
	Contact int8         `cbor:"1,keyasint"`
	State   ConsentState `cbor:"2,keyasint"`
	How     string       `cbor:"3,keyasint"`
}

// Note is a remark of staff on a dog, kept in the record.
type Note struct {
	Dog  int8   `cbor:"1,keyasint"`
	Text string `cbor:"2,keyasint"`
}

// Resume gives a conversation back to the scripts before its handover ends.
type Resume struct {
	Contact int8 `cbor:"1,keyasint"`
}
