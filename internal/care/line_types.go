package care

import (
	"time"

	"gaitpost/internal/contact"
)

// Line is a practitioner's own line: a small unit of the same shape as a
// household. It keeps the numbers under which she sees alerts.
type Line struct {
	Clinic       string     `cbor:"1,keyasint"`
	Practitioner string     `cbor:"2,keyasint"` // id; "" is the last-resort contact
	Numbers      []Numbered `cbor:"3,keyasint,omitempty"`
	Seen         []string   `cbor:"4,keyasint,omitempty"` // event keys, oldest first
	Seq          uint64     `cbor:"5,keyasint,omitempty"`
	NextNumber   uint16     `cbor:"6,keyasint,omitempty"`
	LastDigest   int64      `cbor:"7,keyasint,omitempty"`
	LastShown    uint16     `cbor:"8,keyasint,omitempty"` // what a bare OK refers to
	// Rest is what MORE will show: numbers of a list too long for one text.
	Rest []uint16 `cbor:"9,keyasint,omitempty"`
	// Pending is an instruction that waits for its code.
	Pending *Pending `cbor:"10,keyasint,omitempty"`
	// Cut are telephones of hers that were lost: see Lost.
	Cut []contact.Address `cbor:"11,keyasint,omitempty"`
	// MailOff: digests go by text though there is a mailbox.
	MailOff bool `cbor:"12,keyasint,omitempty"`
}

// Numbered is an alert under the number a practitioner knows it by.
type Numbered struct {
	N    uint16 `cbor:"1,keyasint"`
	Item Item   `cbor:"2,keyasint"`
	Said int64  `cbor:"3,keyasint,omitempty"` // when it was last shown to her
}

// LineEvent is one thing that happened on a practitioner's line. Exactly one
// of its parts is set.
type LineEvent struct {
	Key    string
	At     time.Time
	Notice *Notice
	Text   *LineText
	Digest *Digest
	// Refused answers a command that the household refused.
	Refused *Refused
	Lost    *Lost
	Trouble *TroubleNews
}

// Refused is a practitioner's command that changed nothing, and why.
type Refused struct {
	Household contact.ID
	Alert     uint16
	Sentence  string
}

// LineText is a text from a practitioner's registered contact.
type LineText struct {
	From contact.Address
	Via  string
	ID   string // the provider's id
	Text string
	// Open is every open alert of the clinic, most urgent first. It is needed
	// only where LineNeedsOpen says so of the text.
	Open []Item
}

// Digest is a digest that fell due: Slot names it, Open is every open alert of
// the clinic, most urgent first.
type Digest struct {
	Slot string
	Open []Item
}

// LineResult is what a turn of the line decided.
type LineResult struct {
	Line     Line
	Reason   Reason
	Send     []Message
	Commands []Command
}

// Command is something a practitioner told by text to be done to a household:
// one event with a key of its own.
type Command struct {
	Household contact.ID
	Event     Event
}
