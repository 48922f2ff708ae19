package bot

import (
	"context"
	"errors"
	"net/http"
	"time"

	"gaitpost/dialog"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// Channel is one account and number of a messaging provider. It is safe for
// concurrent use.
type Channel interface {
	// Receive checks that a request to one of the channel's two addresses is
	// genuine and meant for this account and number, and reads what it says.
	// None means that there is nothing to do. Errors wrap one of the Err…
	// values below; they never hold a number or a text.
	Receive(r Request) ([]Inbound, error)
	// Answer is what the provider wants to hear after a request was taken.
	Answer() Answer
	// Send hands one message to the provider. A nil error means that it was
	// accepted; any other is a *SendError.
	Send(ctx context.Context, m Outgoing) (Receipt, error)
	// Lookup asks whether the provider has a message. CantTell comes with an
	// error that says why; the other answers come without one.
	Lookup(ctx context.Context, m Outgoing) (Presence, error)
}

// Hook is one of the two addresses of a channel.
type Hook uint8

const (
	MessageHook Hook = iota // somebody wrote
	StatusHook              // what became of a message of ours
)

// Request is what a provider posted.
type Request struct {
	Hook     Hook
	Header   http.Header
	RawQuery string // as requested; signatures cover it
	Body     []byte // the whole body; not to be kept after Receive returns
}

// Answer is the body of a successful response. An empty one is 204.
type Answer struct {
	ContentType string
	Body        []byte
}

// Inbound is one thing a provider told: a message from somebody, or a report on
// a message of ours. Just one of Message and Report is set.
type Inbound struct {
	Key  string          // makes it happen once, whatever is repeated
	Peer contact.Address // who wrote, or whom our message went to
	// Message has the text as it was written; Via is left to the server.
	Message *care.MessageIn
	// Report has in Message what Outgoing.Ref was.
	Report *care.Report
	// StaffOnly: the message counts only where it is from a practitioner's
	// registered contact; from anybody else it is nothing.
	StaffOnly bool
}

// Why a request is refused.
var (
	ErrNoSignature  = errors.New("the request has no signature")
	ErrBadSignature = errors.New("the signature does not match the request")
	ErrAlgorithm    = errors.New("the request is signed in a way that is not known here")
	ErrOtherAccount = errors.New("the request is for another account")
	ErrOtherNumber  = errors.New("the request is for another number")
	ErrBroken       = errors.New("the request can't be read")
)

// Outgoing is one message for a provider.
type Outgoing struct {
	// Ref comes back with every report on the message: letters, digits, "-",
	// "~" and "." only.
	Ref  string
	To   contact.Address
	Text string
	// Valid is how long the provider may hold it; it is then to be dropped.
	Valid time.Duration
	// Since is when the message was decided on: an equal text that the
	// provider had before is another message.
	Since time.Time
	// Choices are answers that a channel with buttons may offer; Text is whole
	// without them.
	Choices []dialog.Choice
	// Heard is when this person last wrote; zero for never or not known.
	Heard time.Time
	// Mail is what a channel of e-mail writes in place of Text; nil elsewhere.
	Mail *care.Mail
}

// Handshaker is a channel whose provider asks with a GET whether an address is
// its own before it posts anything there.
type Handshaker interface {
	// Handshake returns what to answer. Errors wrap ErrNoSignature,
	// ErrBadSignature or ErrBroken.
	Handshake(rawQuery string) (Answer, error)
}

// Receipt is a provider's word that it took a message.
type Receipt struct {
	ID string // the provider's
	// Sent: no report will come on this message, which counts as sent.
	Sent bool
}

// Presence says whether a provider has a message.
type Presence uint8

const (
	CantTell Presence = iota
	Present
	Absent // for certain: it may be sent again
)

// Class says what to do about a message that was not accepted.
type Class string

const (
	Permanent     Class = "permanent"     // will never be accepted
	Retry         Class = "retry"         // was not accepted, may be later
	Throttled     Class = "throttled"     // too fast: was not looked at
	UnknownResult Class = "unknown"       // may have been accepted
	OptedOut      Class = "opted-out"     // the person opted out at the provider
	Dead          Class = "dead"          // the number can't receive texts
	Misconfigured Class = "misconfigured" // our account or number is at fault: alarm
)

// SendError says why a provider did not accept a message. It holds neither the
// number nor the text.
type SendError struct {
	Class Class
	Code  string // the provider's, "" for none
	// RetryAfter is how long the provider wants to be left alone; 0 for unsaid.
	RetryAfter time.Duration
	Err        error // the cause; may be nil
}

// Error is a sentence for the log.
func (e *SendError) Error() string {
	s := "the provider did not accept the message (" + string(e.Class)
	if e.Code != "" {
		s += ", code " + e.Code
	}
	s += ")"
	if e.Err != nil {
		s += ": " + e.Err.Error()
	}
	return s
}

// Unwrap returns the cause.
func (e *SendError) Unwrap() error { return e.Err }
