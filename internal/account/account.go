package account

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// Account is one person's way in to one clinic's desk.
type Account struct {
	ID     string `cbor:"1,keyasint"` // what they sign in with, as of CheckID
	Clinic string `cbor:"2,keyasint"`
	Name   string `cbor:"3,keyasint"` // as colleagues read it: "Dr Lee"
	Role   Role   `cbor:"4,keyasint"`
	// Hash is the password's, as of HashPassword.
	Hash string `cbor:"5,keyasint"`
	// Generation counts what ends every session there is: a new password, and
	// signing out everywhere.
	Generation uint32 `cbor:"6,keyasint,omitempty"`
	Created    int64  `cbor:"7,keyasint,omitempty"` // Unix seconds
	// MustChange: the password was given out by somebody else and has to be
	// changed before anything else is done.
	MustChange bool `cbor:"8,keyasint,omitempty"`
	// Dates is the digest of the address at which a calendar program reads the
	// clinic's due dates in this person's name; "" for none.
	Dates string `cbor:"9,keyasint,omitempty"`
}

// Role is what somebody does at the practice.
type Role string

// The roles.
const (
	Vet       Role = "vet"
	Nurse     Role = "nurse"
	Reception Role = "reception"
	Manager   Role = "manager"
)

// Roles lists every role.
var Roles = []Role{Vet, Nurse, Reception, Manager}

// ErrRole, ErrID and ErrName say what is wrong with a new account, each as a
// sentence for the person who makes it.
var (
	ErrRole = errors.New("a role is one of: vet, nurse, reception, manager")
	ErrID   = errors.New("a sign-in name has 2 to 40 lower-case letters, digits, dots or hyphens, and begins with a letter")
	ErrName = errors.New("a name is needed, of at most 60 characters")
)

const (
	maxID   = 40
	maxName = 60
)

// ParseRole reads a role. Error: ErrRole.
func ParseRole(s string) (Role, error) {
	r := Role(strings.ToLower(strings.TrimSpace(s)))
	if !slices.Contains(Roles, r) {
		return "", fmt.Errorf("%q: %w", s, ErrRole)
	}
	return r, nil
}

// CheckID reports whether a sign-in name may be used: it stands in addresses,
// logs and the record, so it holds nothing that would need to be quoted.
// Error: ErrID.
func CheckID(id string) error {
	if len(id) < 2 || len(id) > maxID || id[0] < 'a' || id[0] > 'z' {
		return ErrID
	}
	for _, c := range id {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '.' && c != '-' {
			return ErrID
		}
	}
	return nil
}

// TidyID is a sign-in name as typed, in the form it is kept in.
func TidyID(s string) string { return strings.ToLower(strings.TrimSpace(s)) }

// Check reports the first thing wrong with an account: ErrID, ErrName or
// ErrRole.
func (a Account) Check() error {
	if err := CheckID(a.ID); err != nil {
		return err
	}
	if strings.TrimSpace(a.Name) == "" || utf8.RuneCountInString(a.Name) > maxName || !utf8.ValidString(a.Name) {
		return ErrName
	}
	_, err := ParseRole(string(a.Role))
	return err
}
