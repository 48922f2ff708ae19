package account

import (
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
)

// Session is one sign-in of one account in one browser.
type Session struct {
	Account    string `cbor:"1,keyasint"`
	Clinic     string `cbor:"2,keyasint"`
	Generation uint32 `cbor:"3,keyasint,omitempty"` // the account's at sign-in
	Began      int64  `cbor:"4,keyasint"`           // Unix seconds
	Seen       int64  `cbor:"5,keyasint"`           // when it was last used, to SeenEvery
}

// How long a session lasts. Defaults of this project: a working day, and a
// desk that was left alone for as long as a consultation may take.
const (
	SessionLife = 12 * time.Hour
	SessionIdle = time.Hour
	// SeenEvery is how exactly the last use is kept, so that not every page
	// view has to be written.
	SeenEvery = time.Minute
)

// Standing is whether a session still holds, and why not.
type Standing string

// The standings.
const (
	Good      Standing = "good"
	Idle      Standing = "idle"       // not used for SessionIdle
	RunOut    Standing = "run-out"    // older than SessionLife
	SignedOut Standing = "signed-out" // everywhere, or the password was changed
	Gone      Standing = "gone"       // the account was removed
)

// Sentence says on the sign-in page why somebody is there again.
func (s Standing) Sentence() string {
	switch s {
	case Idle:
		return "You were signed out because the desk was not used for an hour."
	case RunOut:
		return "You were signed out at the end of a working day. Please sign in again."
	case SignedOut, Gone:
		return "You have been signed out. Please sign in again."
	default:
		return ""
	}
}

// StandingOf judges a session beside its account as stored; nil is one that is
// there no more.
func StandingOf(s Session, a *Account, now time.Time) Standing {
	switch at := now.Unix(); {
	case a == nil || a.ID != s.Account || a.Clinic != s.Clinic:
		return Gone
	case a.Generation != s.Generation:
		return SignedOut
	case at-s.Began >= int64(SessionLife.Seconds()):
		return RunOut
	case at-s.Seen >= int64(SessionIdle.Seconds()):
		return Idle
	default:
		return Good
	}
}

// Ticket is what a browser holds: which session it is, and the secret that
// proves it. It names clinic and account so that both can be read in one go;
// neither is believed before the secret's digest has been found.
type Ticket struct {
	Clinic  string
	Account string
	Secret  string
}

const secretBytes = 32

// ErrTicket says that a text is not a ticket.
var ErrTicket = errors.New("this is not a sign-in ticket")

// NewTicket makes a ticket with 256 random bits.
func NewTicket(a Account, random io.Reader) (Ticket, error) {
	secret, err := NewSecret(random)
	return Ticket{Clinic: a.Clinic, Account: a.ID, Secret: secret}, err
}

// NewSecret is 256 random bits in characters that may stand in addresses,
// forms and cookies.
func NewSecret(random io.Reader) (string, error) {
	b := make([]byte, secretBytes)
	if _, err := io.ReadFull(random, b); err != nil {
		return "", fmt.Errorf("no randomness: %w", err)
	}
	return base64.RawURLEncoding.EncodeToString(b), nil
}

// String is the ticket as a cookie holds it.
func (t Ticket) String() string { return t.Clinic + "~" + t.Account + "~" + t.Secret }

// ParseTicket reads what String writes. Error: ErrTicket.
func ParseTicket(s string) (Ticket, error) {
	parts := strings.Split(s, "~")
	if len(parts) != 3 || len(s) > 300 {
		return Ticket{}, ErrTicket
	}
	t := Ticket{Clinic: parts[0], Account: parts[1], Secret: parts[2]}
	raw, err := base64.RawURLEncoding.DecodeString(t.Secret)
	if err != nil || len(raw) != secretBytes || CheckID(t.Account) != nil || !plainName(t.Clinic) {
		return Ticket{}, ErrTicket
	}
	return t, nil
}

// Digest is what is stored of a ticket: who reads the store can't sign in.
func (t Ticket) Digest() string {
	sum := sha256.Sum256([]byte(t.String()))
	return base64.RawURLEncoding.EncodeToString(sum[:])
}

// plainName reports whether a clinic's id has the form of one.
func plainName(s string) bool {
	if s == "" || len(s) > 64 {
		return false
	}
	for _, c := range s {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}
