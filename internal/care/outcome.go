package care

import (
	"time"

	"gaitpost/dialog"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
)

// Reason names what a turn did. It is the test's expectation, the log's field,
// the metric's label and the sentence on the desk.
type Reason string

const (
	Answered         Reason = "answered"
	AskedAgain       Reason = "asked-again"
	Finished         Reason = "finished"
	RedFlagRaised    Reason = "red-flag"
	SignRaised       Reason = "sign"
	OptOut           Reason = "opted-out"
	OptIn            Reason = "opted-in"
	HelpGiven        Reason = "help"
	ConsentGiven     Reason = "consent-given"
	ConsentRefused   Reason = "consent-refused"
	MessageKept      Reason = "message-kept" // a question, note or photo for the practice
	Joined           Reason = "joined"       // from another address, with a code of ours
	JoinRefused      Reason = "join-refused" // the code is none that is open
	EditKept         Reason = "edit-kept"    // a message changed afterwards: screened, and nothing else
	StrangerKept     Reason = "stranger"
	DeathReported    Reason = "death-reported"
	InHandover       Reason = "in-handover"
	Repeated         Reason = "repeated" // this event was seen before
	NothingDue       Reason = "nothing-due"
	RecordEnded      Reason = "record-ended" // its retention date has come: it goes
	Prompted         Reason = "prompted"
	Reminded         Reason = "reminded"
	ClosedStale      Reason = "closed-stale"
	Escalated        Reason = "escalated"
	FollowedUp       Reason = "followed-up"
	SafetyUnanswered Reason = "safety-question-unanswered"
	SkippedLate      Reason = "skipped-late"
	PauseEnded       Reason = "pause-ended"
	DeferredQuiet    Reason = "deferred-quiet-hours"
	WaitsForDay      Reason = "waits-for-a-free-day" // enough was opened with the household
	FateRecorded     Reason = "fate-recorded"
	FateStale        Reason = "fate-stale" // an older report than the one known
	PracticeDone     Reason = "practice-done"
	PracticeRefused  Reason = "practice-refused" // with Result.Refusal
	Woken            Reason = "woken"            // some of what was due was done
)

// Result is what a turn decided. The store commits all of it or nothing.
type Result struct {
	Household Household
	Reason    Reason
	// Changed says what an enrolment changed, "new" for a new household and ""
	// for nothing.
	Changed string
	// Refusal is the sentence for the person whose action was refused.
	Refusal string
	Send    []Message
	Notices []Notice
	Facts   []Fact
	// Next is when to look at this household again; zero: not by itself.
	Next time.Time
	// Rank orders the clinic's caseload: higher needs someone sooner.
	Rank float64
}

// Purpose says what a message is for, which decides what happens to it when
// its fate is unknown, late or refused.
type Purpose uint8

const (
	ForPrompt    Purpose = iota // opened by us: not in quiet hours, not late
	ForReply                    // answers something the owner just wrote
	ForSafety                   // numbers and next steps: sent again when unsure
	ForOptOut                   // the one confirmation: within 5 minutes or never
	ForStaff                    // to a practitioner
	FromPractice                // staff's own words to an owner
)

// Message is one text to send.
type Message struct {
	ID      string // unique for ever: household, turn, number within the turn
	To      contact.Address
	Via     string // the clinic's channel name
	Text    string
	Purpose Purpose
	// NotAfter is when the message has lost its sense; it is then dropped and
	// marked so, never sent late.
	NotAfter time.Time
	Contact  int8
	// Choices are the answers that a channel with buttons may offer; none for
	// text messages.
	Choices []dialog.Choice
	// Heard is when this person last wrote, zero for never or where the channel
	// does not care: some channels carry free text only for a while after that.
	Heard time.Time
	// Mail is what the message holds where it goes by e-mail; nil for texts.
	Mail *Mail
}

// Notice is something a practitioner is told. It goes through that person's
// line, which numbers it.
type Notice struct {
	Key  string // makes it happen once
	To   string // practitioner id; "" is the last-resort contact
	At   time.Time
	What NoticeKind
	Item Item
	// Review is the date of a NoticeReview.
	Review *Review
}

// NoticeKind says why a practitioner hears of an alert now.
type NoticeKind string

const (
	NoticeNew        NoticeKind = "new"
	NoticeWorse      NoticeKind = "worse"
	NoticeUnanswered NoticeKind = "unanswered"  // the one before in line did not acknowledge
	NoticeNotReached NoticeKind = "not-reached" // the owner has not reached a vet
	NoticeDueAgain   NoticeKind = "due-again"   // could not be reached before
)

// Item is one alert as a practitioner reads it.
type Item struct {
	Household contact.ID  `cbor:"1,keyasint"`
	Alert     uint16      `cbor:"2,keyasint"`
	Reason    AlertReason `cbor:"3,keyasint"`
	Urgency   Urgency     `cbor:"4,keyasint"`
	State     AlertState  `cbor:"5,keyasint,omitempty"`
	Dog       string      `cbor:"6,keyasint,omitempty"`
	Owner     string      `cbor:"7,keyasint,omitempty"`
	Phone     string      `cbor:"8,keyasint,omitempty"` // of the owner, to ring
	Sentence  string      `cbor:"9,keyasint"`
	At        int64       `cbor:"10,keyasint"`
	DogIndex  int8        `cbor:"11,keyasint,omitempty"`
}

// FactKind says what a fact records.
type FactKind string

const (
	FactReading  FactKind = "reading"
	FactWeight   FactKind = "weight"
	FactSign     FactKind = "sign"
	FactAlert    FactKind = "alert"   // Code: opened, joined, acknowledged, closed…
	FactConsent  FactKind = "consent" // Code: the new state
	FactWords    FactKind = "words"   // what a person wrote
	FactSaid     FactKind = "said"    // what was sent, as a script step
	FactWrote    FactKind = "wrote"   // what staff wrote
	FactAnswer   FactKind = "answer"  // an item's answer as read
	FactPlan     FactKind = "plan"
	FactNote     FactKind = "note"
	FactPrompt   FactKind = "prompt" // Code: sent (Number: 1 + dialog.Form), reminded, closed, skipped; Text: slot or why
	FactFate     FactKind = "fate"
	FactEnrolled FactKind = "enrolled"
	FactDied     FactKind = "died"
	FactFinding  FactKind = "finding"
	// FactReminder: Code is said, asked, done, not done, unanswered, overdue or
	// dropped; Text the kind and the thing, with why after a dropped one;
	// Number the instant of its day.
	FactReminder FactKind = "reminder"
	FactMinutes  FactKind = "minutes" // Number: minutes that staff say an alert took
	FactRung     FactKind = "rung"    // ID: a message that did not arrive; Text: what staff did instead
	// FactCorrected is what staff put right. Code: "check-in" or "weight", with
	// " withdrawn" where it was taken out; Reading, or ID and Number: what is
	// right now, or what was taken out.
	FactCorrected FactKind = "corrected"
	FactSetting   FactKind = "setting" // of one dog; Code: which; Text: old → new
	// FactSuggestion is a practitioner's word on a suggestion: Code accepted or
	// declined, ID its kind. It is not printed on what owners may be given.
	FactSuggestion FactKind = "suggestion"
)

// Fact is one thing kept in the record for good. Which fields are set depends
// on Kind.
type Fact struct {
	Kind    FactKind          `cbor:"1,keyasint"`
	Dog     int8              `cbor:"2,keyasint,omitempty"` // index plus one, 0 for none
	Contact int8              `cbor:"3,keyasint,omitempty"` // index plus one, 0 for none
	Code    string            `cbor:"4,keyasint,omitempty"`
	Text    string            `cbor:"5,keyasint,omitempty"`
	Number  float64           `cbor:"6,keyasint,omitempty"`
	Alert   uint16            `cbor:"7,keyasint,omitempty"`
	By      string            `cbor:"8,keyasint,omitempty"`
	Reading *clinical.Reading `cbor:"9,keyasint,omitempty"`
	Line    *dialog.Line      `cbor:"10,keyasint,omitempty"`
	ID      string            `cbor:"11,keyasint,omitempty"` // message id
}
