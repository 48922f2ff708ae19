package dialog

import "time"

// Form is how a script asks: a message per question, or a whole list in one.
type Form uint8

// The two forms of a script. A script without forms is asked one by one.
const (
	OneByOne  Form = 0
	AllAtOnce Form = 1
)

// String returns the word a script file uses for the form.
func (f Form) String() string {
	if f == AllAtOnce {
		return "all"
	}
	return "one"
}

// Kind is what a step expects, and what a Value holds.
type Kind uint8

// The kinds of step. Grid and say steps never give a Value of their own kind:
// a grid gives scale values, a say step gives none.
const (
	KindNone   Kind = iota
	KindScale       // Number: 0 (best) to 4 (worst), or NotApplicable
	KindGrid        // several scale items in one reply
	KindYesNo       // Yes, and Text where the owner added words
	KindWeight      // Number: grams; 0 with NotApplicable where it could not be weighed
	KindChoice      // Number: 1-based option, Text: the option's id
	KindNumber      // Number: a count, 0 or more
	KindText        // Text: the owner's words
	KindSay         // nothing is expected
)

var kindNames = [...]string{"none", "scale", "grid", "yesno", "weight", "choice", "number", "text", "say"}

// String returns the word a script file uses for the kind.
func (k Kind) String() string {
	if int(k) < len(kindNames) {
		return kindNames[k]
	}
	return "none"
}

// Value is one answer as read. Which fields hold depends on Kind.
type Value struct {
	Kind          Kind    `cbor:"1,keyasint,omitempty" json:"kind,omitempty"`
	Number        float64 `cbor:"2,keyasint,omitempty" json:"number,omitempty"`
	Yes           bool    `cbor:"3,keyasint,omitempty" json:"yes,omitempty"`
	Text          string  `cbor:"4,keyasint,omitempty" json:"text,omitempty"`
	NotApplicable bool    `cbor:"5,keyasint,omitempty" json:"not_applicable,omitempty"` // X, or "can't weigh"
	Carried       bool    `cbor:"6,keyasint,omitempty" json:"carried,omitempty"`        // SAME: the last answer carried over
}

// Answer is a value given for an item. Scale items carry the codes of
// package clinical; the rest are named by the scripts.
type Answer struct {
	Item  string `cbor:"1,keyasint,omitempty" json:"item,omitempty"`
	Value Value  `cbor:"2,keyasint,omitempty" json:"value"`
}

// Session is where a conversation stands. It is stored with the household.
// A Session with an empty Step is over.
type Session struct {
	Script  string   `cbor:"1,keyasint,omitempty"`
	Version int      `cbor:"2,keyasint,omitempty"` // of the script when it began
	Form    Form     `cbor:"3,keyasint,omitempty"`
	Step    string   `cbor:"4,keyasint,omitempty"` // the step now waiting for an answer
	Asked   uint8    `cbor:"5,keyasint,omitempty"` // unclear replies to this step so far
	Answers []Answer `cbor:"6,keyasint,omitempty"` // the last value per item, in the order first given
	Trail   []string `cbor:"7,keyasint,omitempty"` // steps asked and left, oldest first
}

// Open reports whether the session still waits for an answer.
func (s Session) Open() bool { return s.Step != "" }

// Answer returns the value last given for item.
func (s Session) Answer(item string) (Value, bool) {
	for _, a := range s.Answers {
		if a.Item == item {
			return a.Value, true
		}
	}
	return Value{}, false
}

// Context is what the engine needs to know about the household. It is read,
// never changed.
type Context struct {
	Lang string            // language of the contact; English where the script lacks it
	Vars map[string]string // placeholder values, without braces: "dog": "Bramble"
	// Facts steer only_if and branches: "medicine", "own1", "own2",
	// "implausible", "two_dogs" and what else a script names.
	Facts    map[string]bool
	Before   map[string]int // last answered level per scale item, for SAME and branches
	Sign     bool           // the safety screen found a sign in this text
	CanCarry bool           // SAME for the whole dog is allowed (not two weeks running)
}

// Line is something said, kept instead of its text: Render gives the text.
type Line struct {
	Script  string            `cbor:"1,keyasint,omitempty"`
	Version int               `cbor:"2,keyasint,omitempty"`
	Step    string            `cbor:"3,keyasint,omitempty"`
	Part    string            `cbor:"4,keyasint,omitempty"` // one of the Part constants
	Vars    map[string]string `cbor:"5,keyasint,omitempty"` // only the placeholders the text uses
	// Lang is the language it was said in, "" for English: somebody may change
	// theirs, and what was said stays what it was.
	Lang string `cbor:"6,keyasint,omitempty"`
}

// The parts of a step that can be said.
const (
	PartAsk     = "ask"     // the question
	PartMore    = "more"    // the question when its item was already answered in passing
	PartReask   = "reask"   // asked again after an unclear reply
	PartMissing = "missing" // asked again for the items a reply left out
	PartFresh   = "fresh"   // asked again where SAME can't be taken
	PartRemind  = "remind"  // the one reminder
	PartSay     = "say"     // a text that expects nothing
)

// Result is what a reply did.
type Result struct {
	Session  Session
	Reason   Reason
	Recorded []Answer // new or changed by this reply, in the order recorded
	Say      []Line
	Done     bool // the session is over: Session.Step is empty
	// Unsettled names the items of closed safety questions that this reply
	// left without an answer because the dialog moved on. They count as unanswered.
	Unsettled []string
}

// Reason says in one word what a reply was taken for.
type Reason string

// The reasons of a Result.
const (
	Answered       Reason = "answered"        // the question was answered
	PartlyAnswered Reason = "partly-answered" // some items of a list were answered; the rest is asked
	Unclear        Reason = "unclear"         // not understood; asked again once
	MovedOn        Reason = "moved-on"        // not understood twice; the next question follows
	WentBack       Reason = "went-back"       // the previous question is asked again
	Skipped        Reason = "skipped"         // the owner passed over the question
	Postponed      Reason = "postponed"       // the owner will answer later
	Carried        Reason = "carried"         // SAME: last answers carried over
	Corrected      Reason = "corrected"       // the previous answer was changed
	CannotWeigh    Reason = "cannot-weigh"    // no weight could be taken
	Away           Reason = "away"            // the dog is elsewhere this week
	Finished       Reason = "finished"        // the last question was answered
	NotForDialog   Reason = "not-for-dialog"  // a question or remark; asked again without counting
	NoSession      Reason = "no-session"      // nothing was being asked
)

// Limits are a script's time limits. The caller keeps the clock.
type Limits struct {
	RemindAfter time.Duration // the one reminder; 0: none
	CloseAfter  time.Duration // closed unfinished, counted from the first question
	SafetyAfter time.Duration // a closed safety question unanswered this long counts as same-day
}
