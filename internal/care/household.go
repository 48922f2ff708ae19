package care

import (
	"gaitpost/dialog"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
	"gaitpost/internal/signs"
)

// Household is the unit of state, of order and of concurrency: its people,
// their conversations, their dogs and what is open about them. The numbers in
// the tags are the stored names of the fields: they are never reused, and a
// field once stored is never retyped. Instants are Unix seconds, 0 for never.
type Household struct {
	ID       contact.ID `cbor:"1,keyasint"`
	Clinic   string     `cbor:"2,keyasint"`
	Contacts []Contact  `cbor:"3,keyasint,omitempty"`
	Dogs     []Dog      `cbor:"4,keyasint,omitempty"`
	Alerts   []Alert    `cbor:"5,keyasint,omitempty"` // open ones, and closed ones that still hold a reason shut
	Sent     []Sent     `cbor:"6,keyasint,omitempty"` // the last messages to its people, oldest first; the store packs them, under 26
	Seen     Keys       `cbor:"7,keyasint,omitempty"` // the last events that had a key
	Seq      uint64     `cbor:"8,keyasint"`           // turns taken
	AlertSeq uint16     `cbor:"9,keyasint,omitempty"` // alerts ever raised
	// Stranger marks a number that wrote in without being enrolled.
	Stranger bool  `cbor:"10,keyasint,omitempty"`
	Enrolled int64 `cbor:"11,keyasint,omitempty"`
	// ScreenedAt is when a stranger was last told where to turn.
	ScreenedAt int64 `cbor:"12,keyasint,omitempty"`
	// Opened are the local dates, days since 1970, on which we opened a
	// conversation with this household, oldest first, as far back as matters.
	Opened []int32 `cbor:"15,keyasint,omitempty"`
	// Lessons are the short lessons this household has had, oldest first. None
	// is given twice.
	Lessons []GivenLesson `cbor:"23,keyasint,omitempty"`
	// Floods are the contacts who wrote lately, and how much more is answered.
	Floods []Flood `cbor:"25,keyasint,omitempty"`
	// Erased: the contacts are gone, the record is kept until its date.
	Erased *Erased `cbor:"20,keyasint,omitempty"`
	// WhichDog is an open question whose sign it was.
	WhichDog *WhichDog `cbor:"13,keyasint,omitempty"`
}

// Contact is one person of the household at one address, with a conversation,
// a language and a consent of their own.
type Contact struct {
	ID      contact.ID      `cbor:"1,keyasint"`
	Address contact.Address `cbor:"2,keyasint"`
	Name    string          `cbor:"3,keyasint"`
	Lang    string          `cbor:"4,keyasint,omitempty"` // "" is English
	Zone    string          `cbor:"5,keyasint,omitempty"` // IANA name, "" is the clinic's
	Consent Consent         `cbor:"6,keyasint"`
	Via     string          `cbor:"7,keyasint,omitempty"` // the clinic's channel name
	Talk    Conversation    `cbor:"8,keyasint"`
	// Hold is the pause that the practice made; Talk.Paused says until when.
	Hold *Hold `cbor:"9,keyasint,omitempty"`
	// Person is whose address this is: the index of that person's first contact
	// plus 1; 0 for a first contact itself.
	Person uint8 `cbor:"13,keyasint,omitempty"`
	// Join is an invitation to this person to join on another channel.
	Join *Join `cbor:"14,keyasint,omitempty"`
	// Pending is an address that waits for a yes from this one.
	Pending *NewContact `cbor:"15,keyasint,omitempty"`
	// Chosen is when the conversation with this person last moved here.
	Chosen int64 `cbor:"16,keyasint,omitempty"`
}

// ConsentState says what a person has agreed to.
type ConsentState uint8

const (
	NotInvited ConsentState = iota
	Invited                 // the invitation went out; nothing more is sent
	Agreed
	Declined
	OptedOut
	Retired // not an address of this person any more
)

// Consent keeps who agreed to what, when, and in which words.
type Consent struct {
	State   ConsentState `cbor:"1,keyasint"`
	At      int64        `cbor:"2,keyasint,omitempty"`
	Words   string       `cbor:"3,keyasint,omitempty"` // the person's own
	Message string       `cbor:"4,keyasint,omitempty"` // the provider's id of that message
	How     string       `cbor:"5,keyasint,omitempty"` // "text", or how the practice recorded it
}

// Conversation is what is going on with one person.
type Conversation struct {
	Open  *Open    `cbor:"1,keyasint,omitempty"`
	Queue []Prompt `cbor:"2,keyasint,omitempty"` // dialogs that wait for their turn
	// Handover is until when staff, not scripts, talk to this person.
	Handover int64 `cbor:"3,keyasint,omitempty"`
	// Paused is until when no prompts go out (away, a bad day).
	Paused  int64 `cbor:"4,keyasint,omitempty"`
	LastIn  int64 `cbor:"5,keyasint,omitempty"`
	LastOut int64 `cbor:"6,keyasint,omitempty"`
	// Suspended is a dialog that a more urgent one interrupted.
	Suspended *Open `cbor:"7,keyasint,omitempty"`
}

// Open is a dialog under way.
type Open struct {
	Session  dialog.Session `cbor:"1,keyasint"`
	Kind     PromptKind     `cbor:"2,keyasint"`
	Dog      int8           `cbor:"3,keyasint"` // index in Household.Dogs, -1 for none
	Slot     string         `cbor:"4,keyasint,omitempty"`
	BegunAt  int64          `cbor:"5,keyasint"`
	AskedAt  int64          `cbor:"6,keyasint"` // when the question it stands at was asked
	Reminded bool           `cbor:"7,keyasint,omitempty"`
	Alert    uint16         `cbor:"8,keyasint,omitempty"` // the alert it belongs to, 0 for none
	Later    int64          `cbor:"9,keyasint,omitempty"` // asked to come back then
	// What a reminder is about: the plan entry, its reminder, and the local date
	// of the thing, days since 1970.
	Entry    uint16 `cbor:"10,keyasint,omitempty"`
	Reminder uint8  `cbor:"11,keyasint,omitempty"`
	About    int32  `cbor:"12,keyasint,omitempty"`
	Task     uint8  `cbor:"13,keyasint,omitempty"` // the awkward place it asks about
}

// PromptKind is the script a prompt runs; its text is the script's id.
type PromptKind string

const (
	PromptInvitation   PromptKind = "invitation"
	PromptCheckIn      PromptKind = "checkin"
	PromptSignsOnly    PromptKind = "signsonly"
	PromptWeighIn      PromptKind = "weighin"
	PromptReassessment PromptKind = "reassessment"
	PromptReached      PromptKind = "reached"
	PromptFarewell     PromptKind = "farewell"
	PromptSignCheck    PromptKind = "signcheck" // one closed question about an unsure sign

	// What comes round about the plan. The first four ask whether it was done;
	// PromptReminder and PromptExercises only say it, in the script "reminder".
	PromptInjection PromptKind = "reminder_injection"
	PromptTablets   PromptKind = "reminder_tablets"
	PromptTest      PromptKind = "reminder_test"
	PromptSession   PromptKind = "reminder_session"
	PromptReminder  PromptKind = "reminder"
	PromptExercises PromptKind = "reminder_exercises"

	PromptLesson  PromptKind = "lesson"
	PromptSummary PromptKind = "summary"
	// What goes round the house, asks two weeks later about what was awkward
	// there, and asks what matters to the owner.
	PromptHouse      PromptKind = "house"
	PromptHouseAgain PromptKind = "house_again"
	PromptActivities PromptKind = "activities"
	PromptGoodDay    PromptKind = "gooddays" // a good day or a bad day, of an evening
	// PromptNewContact asks at the old address whether a new one is theirs.
	PromptNewContact PromptKind = "newcontact"
)

// mayBeAsked reports whether something waits to be asked of a contact with no
// dialog open. Before they have agreed that is the invitation alone.
func (c *Contact) mayBeAsked() bool {
	talk := &c.Talk
	if talk.Open != nil || len(talk.Queue) == 0 && talk.Suspended == nil {
		return false
	}
	return c.Consent.State == Agreed ||
		c.Consent.State == Invited && len(talk.Queue) > 0 && talk.Queue[0].Kind == PromptInvitation
}

// Prompt is a dialog that fell due and waits for its turn.
type Prompt struct {
	Kind PromptKind `cbor:"1,keyasint"`
	Dog  int8       `cbor:"2,keyasint"`
	Slot string     `cbor:"3,keyasint"` // kind, dog and local date: what makes it once
	Due  int64      `cbor:"4,keyasint"`
	// Alert is the alert a prompt belongs to, 0 for none.
	Alert uint16 `cbor:"5,keyasint,omitempty"`
}

// DogStatus says whether a dog is being followed.
type DogStatus uint8

const (
	Followed DogStatus = iota
	OnHold             // the practice paused it
	Died
	Left // no longer followed here
)

// Sex of a dog, for the pronoun only.
type Sex uint8

const (
	UnknownSex Sex = iota
	Male
	Female
)

// Dog is one dog and its running course.
type Dog struct {
	Name        string             `cbor:"1,keyasint"`
	Sex         Sex                `cbor:"2,keyasint,omitempty"`
	Status      DogStatus          `cbor:"3,keyasint,omitempty"`
	Ended       int64              `cbor:"4,keyasint,omitempty"` // when it died or left
	Own         [2]string          `cbor:"5,keyasint,omitempty"` // the owner's own two activities
	BCS         uint8              `cbor:"6,keyasint,omitempty"` // practitioner's body condition score, 1..9, 0 unknown
	Muscle      uint8              `cbor:"7,keyasint,omitempty"` // practitioner's muscle condition, 0 unknown, 1 normal .. 4 severe loss
	Entire      bool               `cbor:"8,keyasint,omitempty"` // unspayed or uncastrated
	Target      int64              `cbor:"9,keyasint,omitempty"` // target weight, grams
	Plan        []Entry            `cbor:"10,keyasint,omitempty"`
	Unsaid      bool               `cbor:"11,keyasint,omitempty"` // no plan was recorded at enrolment
	Due         []Due              `cbor:"12,keyasint,omitempty"` // at most one a kind
	Missed      uint8              `cbor:"13,keyasint,omitempty"` // check-ins running unanswered
	Done        uint16             `cbor:"14,keyasint,omitempty"` // check-ins answered
	OneByOne    bool               `cbor:"15,keyasint,omitempty"` // the owner prefers one question at a time
	CarriedLast bool               `cbor:"16,keyasint,omitempty"` // the last check-in was carried over whole
	Quieted     []QuietedSign      `cbor:"17,keyasint,omitempty"`
	Quiet       int64              `cbor:"18,keyasint,omitempty"` // until when everything but red flag and sign is quiet
	Course      clinical.Course    `cbor:"19,keyasint"`
	Weights     []clinical.WeighIn `cbor:"20,keyasint,omitempty"` // the last ones, oldest first
	Ref         string             `cbor:"21,keyasint,omitempty"` // the practice's own reference
	Before      bool               `cbor:"22,keyasint,omitempty"` // treatment has not begun: check-ins are the "before"
	BCSAt       int64              `cbor:"24,keyasint,omitempty"` // when BCS was given
	// OwnerBCS is the owner's own estimate of body condition on the same nine
	// points, 0 unknown. It stands beside BCS and decides nothing.
	OwnerBCS uint8 `cbor:"23,keyasint,omitempty"`
	// OwnNumbers and OwnCadences hold for this dog in place of the clinic's.
	OwnNumbers  []OwnNumber  `cbor:"25,keyasint,omitempty"`
	OwnCadences []OwnCadence `cbor:"26,keyasint,omitempty"`
	// Decisions are the newest word of the practice on each suggestion.
	Decisions []Decision `cbor:"40,keyasint,omitempty"`
	Found     *Found     `cbor:"41,keyasint,omitempty"` // the practitioner's findings; replaced, never changed in place
	// Awkward is what the owner last named as awkward at home; replaced, never
	// changed in place.
	Awkward *OwnerWords `cbor:"42,keyasint,omitempty"`
	// Withdrawn are entries that were entered in error: off the plan as if they
	// had never been on it, kept with the reason.
	Withdrawn []Entry `cbor:"43,keyasint,omitempty"`
	MuscleAt  int64   `cbor:"44,keyasint,omitempty"` // when Muscle was given
	// Hold is the pause of a dog that is on hold.
	Hold *Hold `cbor:"27,keyasint,omitempty"`
	// Forgot: check-ins have been forgotten already that the course was made of.
	Forgot bool `cbor:"28,keyasint,omitempty"`
	// Unlooked is the local date, days since 1970, of a reassessment that
	// nobody answered; 0 when the last one was.
	Unlooked int32 `cbor:"30,keyasint,omitempty"`
	// House are the awkward places at home that the owner named, oldest first;
	// HouseAt is when the owner last went round the house with us.
	House   []HomeTask `cbor:"47,keyasint,omitempty"`
	HouseAt int64      `cbor:"48,keyasint,omitempty"`
	// AskedOwn is when the owner was asked what matters to them, and Summed when
	// they last had a summary.
	AskedOwn int64 `cbor:"49,keyasint,omitempty"`
	Summed   int64 `cbor:"50,keyasint,omitempty"`
	// Days is the note of good and bad days; replaced, never changed in place.
	Days *GoodDays `cbor:"51,keyasint,omitempty"`
}

// Area of the plan.
type Area string

const (
	AreaPain       Area = "pain relief"
	AreaWeight     Area = "body weight"
	AreaActivity   Area = "activity"
	AreaHome       Area = "home"
	AreaTherapy    Area = "therapy"
	AreaSupplement Area = "supplements"
)

// MedicineClass is what Gaitpost knows of a medicine; never a dose.
type MedicineClass string

const (
	NotMedicine MedicineClass = ""
	NSAID       MedicineClass = "nsaid"
	Antibody    MedicineClass = "antibody" // anti-NGF, a monthly injection
	Steroid     MedicineClass = "steroid"
	Aspirin     MedicineClass = "aspirin"
	OtherMed    MedicineClass = "other"
)

// EntryStatus of a plan entry.
type EntryStatus uint8

const (
	Active EntryStatus = iota
	Held               // suspected: its reminders and dose questions stop until the vet decides
	Ended
)

// Entry is one thing on the plan.
type Entry struct {
	ID      uint16        `cbor:"1,keyasint"`
	Area    Area          `cbor:"2,keyasint"`
	What    string        `cbor:"3,keyasint"`
	Class   MedicineClass `cbor:"4,keyasint,omitempty"`
	Why     string        `cbor:"5,keyasint,omitempty"`
	Started int64         `cbor:"6,keyasint"`
	Ended   int64         `cbor:"7,keyasint,omitempty"`
	Status  EntryStatus   `cbor:"8,keyasint,omitempty"`
	Comfort bool          `cbor:"9,keyasint,omitempty"` // expected to change comfort
	By      string        `cbor:"10,keyasint,omitempty"`
	Reason  string        `cbor:"11,keyasint,omitempty"` // of the last change of status
	Batch   string        `cbor:"12,keyasint,omitempty"`
	Review  int64         `cbor:"13,keyasint,omitempty"` // when it is looked at again
	// Who does it or sees to it: the owner, the practice, a therapist by name.
	Who    string `cbor:"14,keyasint,omitempty"`
	Source Source `cbor:"15,keyasint,omitempty"` // where it comes from; "" is this practice
	// Reminders are what comes round about it. One of an entry that is held or
	// has ended is never sent.
	Reminders []Reminder `cbor:"16,keyasint,omitempty"`
	// Declined: proposed and not taken up, or given up by the owner. Its status
	// is Ended; Reason says why. One that never began has Ended = Started.
	Declined bool `cbor:"17,keyasint,omitempty"`
}

// Source is where something on the plan comes from.
type Source string

const (
	FromHere       Source = ""
	FromOutOfHours Source = "out-of-hours vet"
	FromLeftovers  Source = "leftovers"
	FromBought     Source = "bought extras"
	FromElsewhere  Source = "elsewhere" // another practice, or not known
)

// Sources lists every source, in the order they are offered.
var Sources = []Source{FromHere, FromOutOfHours, FromLeftovers, FromBought, FromElsewhere}

// Due is when a prompt of one kind next falls due, and the local dates that it
// and the last one belong to. A clock change can push a firing past midnight:
// it still belongs to the date it was meant for.
type Due struct {
	Kind PromptKind `cbor:"1,keyasint"`
	At   int64      `cbor:"2,keyasint"`
	Last int32      `cbor:"3,keyasint,omitempty"` // local date of the last one, days since 1970; 0 for none
	Date int32      `cbor:"4,keyasint,omitempty"` // local date that At belongs to
}

// QuietedSign is a known same-day sign that the practitioner agreed to ignore.
type QuietedSign struct {
	Sign  signs.Sign `cbor:"1,keyasint"`
	Until int64      `cbor:"2,keyasint"`
	By    string     `cbor:"3,keyasint,omitempty"`
}

// Sent is one message to a person of the household and what became of it.
type Sent struct {
	// ID is the message's id less the household's, with which every id begins.
	ID      string  `cbor:"1,keyasint"`
	At      int64   `cbor:"2,keyasint"`
	Contact int8    `cbor:"3,keyasint"`
	Fate    Fate    `cbor:"4,keyasint,omitempty"`
	Purpose Purpose `cbor:"5,keyasint,omitempty"`
	Alert   uint16  `cbor:"6,keyasint,omitempty"`
	// Late: we dropped it ourselves, since it had lost its sense by the time it
	// could be sent. That says nothing about the person's telephone.
	Late bool `cbor:"7,keyasint,omitempty"`
	// Code is why it did not arrive: the provider's code, or our own word.
	Code string `cbor:"8,keyasint,omitempty"`
	// Rung is when staff dealt with its not having arrived.
	Rung int64 `cbor:"9,keyasint,omitempty"`
	// Lines are what a safety message said, kept where the person could be
	// reached in another way too.
	Lines []dialog.Line `cbor:"10,keyasint,omitempty"`
}

// Fate of a message, in the only order it may move.
type Fate uint8

const (
	Queued  Fate = iota
	Unknown      // neither sent nor not sent can be shown
	SentOut
	Failed // refused or undeliverable
	Delivered
	Read
)
