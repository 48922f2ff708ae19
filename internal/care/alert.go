package care

import "gaitpost/internal/signs"

// AlertReason is why the practice is told something.
type AlertReason string

const (
	RedFlag   AlertReason = "red flag"
	SignAlert AlertReason = "sign"
	Level     AlertReason = "level"
	Rise      AlertReason = "rise"
	Drift     AlertReason = "drift"
	Jump      AlertReason = "jump"
	NoGain    AlertReason = "no gain"
	Weight    AlertReason = "weight"
	Caution   AlertReason = "caution"
	Question  AlertReason = "message"
	Silence   AlertReason = "silence"
	Stopped   AlertReason = "stopped"
	Doses     AlertReason = "doses"
	ReviewDue AlertReason = "review due"
)

// AlertReasons lists every reason, most urgent first.
var AlertReasons = []AlertReason{RedFlag, SignAlert, Level, Rise, Caution, Stopped,
	Question, Weight, Drift, Jump, NoGain, Silence, Doses, ReviewDue}

// Urgency is how soon somebody has to know.
type Urgency uint8

const (
	ForDigest Urgency = iota
	Today
	Now
)

// String returns the urgency in the practice's words.
func (u Urgency) String() string { return [...]string{"digest", "today", "now"}[u] }

// AlertState is where an alert stands.
type AlertState uint8

const (
	OpenAlert AlertState = iota
	Acknowledged
	ClosedAlert
)

// Alert is one thing the practice has been or will be told about a dog. There
// is one open alert per dog and reason; new evidence joins it.
type Alert struct {
	N        uint16      `cbor:"1,keyasint"` // within the household, from 1
	Dog      int8        `cbor:"2,keyasint"` // index in Household.Dogs, -1 for the household
	Reason   AlertReason `cbor:"3,keyasint"`
	Urgency  Urgency     `cbor:"4,keyasint,omitempty"`
	State    AlertState  `cbor:"5,keyasint,omitempty"`
	Opened   int64       `cbor:"6,keyasint"`
	Updated  int64       `cbor:"7,keyasint,omitempty"`
	Acked    int64       `cbor:"8,keyasint,omitempty"`
	Closed   int64       `cbor:"9,keyasint,omitempty"`
	By       string      `cbor:"10,keyasint,omitempty"` // who acknowledged or closed it
	Outcome  Outcome     `cbor:"11,keyasint,omitempty"`
	Note     string      `cbor:"12,keyasint,omitempty"`
	Sentence string      `cbor:"13,keyasint"` // why, in one sentence with the numbers
	// Excess is by how many points the condition is exceeded, as last seen; a
	// shut reason opens again when it exceeds this by Limits.ReopenBy.
	Excess  float64      `cbor:"14,keyasint,omitempty"`
	Joined  uint16       `cbor:"15,keyasint,omitempty"` // evidence that joined since it opened
	Cleared bool         `cbor:"16,keyasint,omitempty"` // the condition no longer holds
	Signs   []signs.Sign `cbor:"17,keyasint,omitempty"`
	// Tell is when somebody is next told of it; 0: nobody by itself.
	Tell int64 `cbor:"18,keyasint,omitempty"`
	Step uint8 `cbor:"19,keyasint,omitempty"` // how many in line have been told
	// Ask is when the owner is asked whether a vet has been reached; Reached
	// is what they said.
	Ask     int64   `cbor:"20,keyasint,omitempty"`
	Reached Reached `cbor:"21,keyasint,omitempty"`
	Contact int8    `cbor:"22,keyasint,omitempty"` // who reported it
	// Held lists the plan entries that wait for the vet's decision.
	Held []uint16 `cbor:"23,keyasint,omitempty"`
	Item int8     `cbor:"24,keyasint,omitempty"` // clinical item plus one, of a jump
}

// Reached is what is known of an owner having reached a vet.
type Reached uint8

const (
	NotAsked Reached = iota
	Asking
	ReachedVet
	NotReached
)

// IsOpen reports whether somebody still has to close the alert.
func (a Alert) IsOpen() bool { return a.State != ClosedAlert }

// DefaultUrgency is the urgency a reason has unless its evidence says more.
func (r AlertReason) DefaultUrgency() Urgency {
	switch r {
	case RedFlag:
		return Now
	case SignAlert, Level, Rise, Caution:
		return Today
	default:
		return ForDigest
	}
}
