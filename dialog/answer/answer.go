// Package answer reads what people write when a check-in asks them something:
// a level from 0 to 4, yes or no, a weight, a count, a choice, or a wish about
// the conversation itself (stop, back, later, a question).
//
// It reads people, not forms, and it would rather not read than read wrongly:
// every reader returns a named reason, and where two readings are possible it
// returns none of them, so that the dialog asks again. The words of a language
// are data (lexicon/*.txt); the grammar that joins them is code. The package is
// pure: no clock, no I/O beyond its embedded word lists, and the same text
// always gives the same reading.
package answer

// Reason says in one word why a text was read as it was, or why it was not. It
// is the expectation of a test, the field of a log and the label of a metric.
type Reason string

// Reasons of a reading that holds.
const (
	Digit         Reason = "digit"          // a bare number: "2", "2️⃣", "a 2 today"
	Word          Reason = "word"           // a word: "two", "none", "yep"
	Fraction      Reason = "fraction"       // "3/4", "3 out of 4", "2.5" on the 0–4 scale
	Range         Reason = "range"          // "1-2", "between 2 and 3": the upper end
	Hedged        Reason = "hedged"         // "2ish", "about a 2", "I think so"
	Corrected     Reason = "corrected"      // "sorry, 3 not 2", "from 32 now 31"
	AnchorWord    Reason = "anchor-word"    // the words of one of the item's own levels
	Carried       Reason = "same"           // SAME: as last time
	NotApplicable Reason = "not-applicable" // X: doesn't apply
	AllWell       Reason = "all-well"       // "all fine", "he's grand": read as no
	Emoji         Reason = "emoji"          // 👍, 👎
	Measured      Reason = "measured"       // a weight with its own unit
	DefaultUnit   Reason = "default-unit"   // a weight read in the clinic's unit
	Subtracted    Reason = "subtracted"     // person with dog minus person alone
	CannotWeigh   Reason = "cannot-weigh"   // "can't weigh him"
	List          Reason = "list"           // one value per item, in order
	Numbered      Reason = "numbered"       // "1) 0 2) 1"
	Named         Reason = "named"          // "limping 2, nights 0"
	Letter        Reason = "letter"         // an option by its letter
	Keyword       Reason = "keyword"        // the whole message is a known word
	Phrase        Reason = "phrase"         // a known wording
	Doubtful      Reason = "doubtful"       // could be an opt-out; a person should look
)

// Reasons of a text that was not read.
const (
	Empty          Reason = "empty"
	NotAnAnswer    Reason = "not-an-answer"
	OutOfRange     Reason = "out-of-range"
	LooksLikeTime  Reason = "looks-like-time"
	LooksLikeAge   Reason = "looks-like-age"
	LooksLikeCount Reason = "looks-like-count"
	LooksLikeDate  Reason = "looks-like-date"
	LooksLikePhone Reason = "looks-like-phone"
	LooksLikePrice Reason = "looks-like-price"
	LooksLikeDose  Reason = "looks-like-measure" // a weight, length or strength where none was asked
	LooksLikeScore Reason = "looks-like-score"   // a body condition score, "7 out of 10"
	WeightChange   Reason = "weight-change"      // "lost 2 kg", "down 2"
	NotThisWeight  Reason = "other-weight"       // a target, a bag of food, a person
	PastOnly       Reason = "past-only"          // only an older value was given
	Negated        Reason = "negated"            // "not a 2"
	Hypothetical   Reason = "hypothetical"       // "if it gets to 3"
	Asked          Reason = "question"           // the text asks instead of answering
	Ambiguous      Reason = "ambiguous"          // several answers, or two ways to read it
	Unsure         Reason = "unsure"             // "dunno", "maybe"
	WrongCount     Reason = "wrong-count"        // a list with more or fewer values than items
)

// ScaleReading is one level. Value is 0 (best) … 4 (worst) and holds only when
// OK; NotApplicable and Same are answers without a value and leave OK false.
type ScaleReading struct {
	Value         int
	NotApplicable bool
	Same          bool
	OK            bool
	Reason        Reason
}

// answered reports whether the reading settles the item: a value, X or SAME.
func (r ScaleReading) answered() bool { return r.OK || r.NotApplicable || r.Same }

// Item is one question of a list: its code, the words owners call it by, and
// its five anchor phrases from level 0 to level 4 (may be nil).
type Item struct {
	Code    string
	Names   []string
	Anchors []string
}

// ScalesReading holds several levels read from one message. ByItem has the
// items that were read for certain (a value, X or SAME), Missing the codes of
// the others in the order asked. SameAll: the whole dog is as last time. OK:
// at least one item was read for certain, or SameAll.
type ScalesReading struct {
	ByItem  map[string]ScaleReading
	Missing []string
	SameAll bool
	OK      bool
	Reason  Reason
}

// YesNoReading is a yes (Value true) or a no. Detail is what the owner wrote
// beside it, in their own words, trimmed; it may be empty. Hedged answers ("I
// think so") and all-well answers ("he's grand", read as no: nothing to
// report) say so in Reason.
type YesNoReading struct {
	Value  bool
	OK     bool
	Detail string
	Reason Reason
}

// Unit is a unit of body weight.
type Unit uint8

// Units that owners weigh in. The zero value is kilograms.
const (
	Kilograms Unit = iota
	Grams
	Pounds
	Ounces
	Stone
	HalfKilos // Pfund and livre: 500 g
)

// WeightReading is a body weight. Grams holds only when OK and is then within
// 300 g … 150 000 g. Unit is the (largest) unit it was read in. CannotWeigh:
// the owner says that weighing is not possible.
type WeightReading struct {
	Grams       int64
	OK          bool
	Unit        Unit
	CannotWeigh bool
	Reason      Reason
}

// NumberReading is a count within the bounds the reader was given.
type NumberReading struct {
	Value  int
	OK     bool
	Reason Reason
}

// Option is one answer of a choice. Key is what is recorded; Label is the text
// shown; Words are further wordings. Several: it may be chosen together with
// other options that also say so.
type Option struct {
	Key     string
	Label   string
	Words   []string
	Several bool
}

// ChoiceReading holds the keys chosen, in the order of the options. More than
// one only where every one of them allows it.
type ChoiceReading struct {
	Keys   []string
	OK     bool
	Reason Reason
}

// Control is a wish about the conversation rather than an answer in it.
type Control uint8

// The wishes that Control tells apart.
const (
	ControlNone           Control = iota
	ControlBack                   // go back one question
	ControlSkip                   // leave this question out
	ControlLater                  // ask again later
	ControlSame                   // as last time
	ControlOptOut                 // no more messages
	ControlOptOutAll              // no more messages of any kind
	ControlOptOutDoubtful         // perhaps no more messages: a person should look
	ControlOptIn                  // start again after an opt-out
	ControlHelp                   // what is this, how do I reach you
	ControlAway                   // away, somebody else has the dog
	ControlCannotWeigh            // can't weigh the dog
	ControlQuestion               // asks the practice something
	ControlCallback               // wants to be rung
	ControlPrescription           // wants more of a medicine
)

var controlNames = [...]string{"none", "back", "skip", "later", "same", "opt-out", "opt-out-all",
	"opt-out-doubtful", "opt-in", "help", "away", "cannot-weigh", "question", "callback", "prescription"}

// String returns the control's name as logs and tests write it.
func (c Control) String() string {
	if int(c) < len(controlNames) {
		return controlNames[c]
	}
	return "unknown"
}
