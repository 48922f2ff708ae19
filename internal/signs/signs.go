package signs

import "fmt"

// Version names the lexicon and the model together. It changes whenever a
// finding may change, so that an audit knows which readings it can repeat.
const Version = "2"

// Urgency says how soon a sign needs a vet.
type Urgency uint8

const (
	// None is everything that can wait for its reader.
	None Urgency = iota
	// SameDay is a sign for which the owner should phone the practice today.
	SameDay
	// Emergency is a sign that needs a vet now, at any hour.
	Emergency
)

// String gives "none", "same-day" or "emergency".
func (u Urgency) String() string {
	switch u {
	case None:
		return "none"
	case SameDay:
		return "same-day"
	case Emergency:
		return "emergency"
	}
	return fmt.Sprintf("Urgency(%d)", uint8(u))
}

// MarshalText writes the urgency as its word, for JSON and logs.
func (u Urgency) MarshalText() ([]byte, error) {
	if u > Emergency {
		return nil, fmt.Errorf("urgency %d is not one of none, same-day, emergency", uint8(u))
	}
	return []byte(u.String()), nil
}

// UnmarshalText reads what MarshalText writes.
func (u *Urgency) UnmarshalText(b []byte) error {
	got, err := ParseUrgency(string(b))
	if err == nil {
		*u = got
	}
	return err
}

// ParseUrgency reads "none", "same-day" or "emergency".
func ParseUrgency(s string) (Urgency, error) {
	for u := None; u <= Emergency; u++ {
		if u.String() == s {
			return u, nil
		}
	}
	return None, fmt.Errorf("%q is not an urgency: none, same-day or emergency", s)
}

// Context is what is on the plan of the dog that the message is about. The
// zero value is a dog with neither medicine, or one that is not known.
type Context struct {
	NSAID    bool     // an anti-inflammatory is on the plan
	Antibody bool     // a monthly antibody injection is on the plan
	DogNames []string // the household's dogs; they only help to tell whose body is meant
	Lang     string   // the writer's language, such as "es" or "es-MX"; "" and unknown ones are English
}

// Finding is what one message was read as.
type Finding struct {
	Urgency Urgency
	// Ask is set when the reading is unsure: the higher urgency was taken,
	// and one closed question to the owner should settle it.
	Ask bool
	// Death: the dog has died. A near miss, a telephone or a person does not count.
	Death bool
	// Euthanasia: the owner talks of putting the dog to sleep.
	Euthanasia bool
	// Distress: the owner is in despair or hints at harming themselves.
	Distress bool
	// Person: a person, not a dog, needs help.
	Person bool
	// Signs are the signs that decided, most urgent first; never nil.
	Signs []Sign
	// Reason is one sentence that names the owner's words that decided.
	Reason string
}
