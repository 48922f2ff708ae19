package contact

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/nyaruka/phonenumbers"
)

// Warning says what is doubtful about an address that was accepted.
type Warning string

const (
	// NoWarning means nothing is doubtful.
	NoWarning Warning = ""
	// NotValid means the number has a possible length, but the numbering plan
	// has no such number in use. Numbers reserved for fiction are often like this.
	NotValid Warning = "not-valid"
)

// Sentence explains the warning to a person; empty when there is none.
func (w Warning) Sentence() string {
	if w == NotValid {
		return "This number has the right length, but the country's numbering plan does not list it as in use. Please check it."
	}
	return ""
}

// Errors of ParsePhone. Each is a sentence for a person and never repeats the number.
var (
	ErrPhoneEmpty      = errors.New("the telephone number is missing")
	ErrPhoneNotANumber = errors.New("this is not a telephone number; write it like +44 7700 900123")
	ErrPhoneNoCountry  = errors.New("the country of this telephone number is not known; write it with + and the country code, like +44 7700 900123")
	ErrPhoneTooShort   = errors.New("this telephone number is too short; give it with its area code")
	ErrPhoneTooLong    = errors.New("this telephone number is too long")
	ErrPhoneLength     = errors.New("this telephone number does not have a length used in its country")
	ErrPhoneExtension  = errors.New("this telephone number has an extension; give the number itself")
	ErrPhoneRegion     = errors.New("the region is not a two-letter country code like GB or US")
)

var e164 = regexp.MustCompile(`^\+[1-9][0-9]{6,14}$`)

// maxPhoneText is the longest text read as one telephone number, in bytes.
const maxPhoneText = 64

// ParsePhone reads a telephone number as people write it and returns it in
// E.164 form on the SMS channel. region (ISO 3166-1 alpha-2, "GB") is the
// country of numbers written without one; it may be empty when text starts
// with +. A possible number that the numbering plan does not list is accepted
// with the warning NotValid: numbers reserved for fiction are of that kind.
// Errors: the Err… values of this package.
func ParsePhone(text, region string) (Address, Warning, error) {
	text = strings.TrimSpace(text)
	region = strings.ToUpper(strings.TrimSpace(region))
	if err := checkPhoneInput(text, region); err != nil {
		return Address{}, NoWarning, err
	}
	number, err := phonenumbers.Parse(text, region)
	if err != nil {
		return Address{}, NoWarning, phoneSentence(err)
	}
	if number.GetExtension() != "" {
		return Address{}, NoWarning, ErrPhoneExtension
	}
	if err := possibleLength(number); err != nil {
		return Address{}, NoWarning, err
	}
	value := phonenumbers.Format(number, phonenumbers.E164)
	if !e164.MatchString(value) {
		return Address{}, NoWarning, ErrPhoneNotANumber
	}
	warning := NoWarning
	if !phonenumbers.IsValidNumber(number) {
		warning = NotValid
	}
	return Address{Channel: SMS, Value: value}, warning, nil
}

func checkPhoneInput(text, region string) error {
	switch {
	case text == "":
		return ErrPhoneEmpty
	case len(text) > maxPhoneText:
		return ErrPhoneTooLong
	case region != "" && !phonenumbers.GetSupportedRegions()[region]:
		return fmt.Errorf("%w: got %q", ErrPhoneRegion, region)
	}
	return nil
}

// phoneSentence puts the parser's reason into our words.
func phoneSentence(err error) error {
	switch {
	case errors.Is(err, phonenumbers.ErrInvalidCountryCode):
		return ErrPhoneNoCountry
	case errors.Is(err, phonenumbers.ErrTooShortNSN), errors.Is(err, phonenumbers.ErrTooShortAfterIDD):
		return ErrPhoneTooShort
	case errors.Is(err, phonenumbers.ErrNumTooLong):
		return ErrPhoneTooLong
	}
	return ErrPhoneNotANumber
}

// possibleLength refuses numbers of a length the country does not use. Numbers
// of local length (without area code) are refused too: they can't be dialled
// from elsewhere.
func possibleLength(number *phonenumbers.PhoneNumber) error {
	if phonenumbers.IsPossibleNumber(number) &&
		phonenumbers.IsPossibleNumberWithReason(number) == phonenumbers.IS_POSSIBLE {
		return nil
	}
	switch phonenumbers.IsPossibleNumberWithReason(number) {
	case phonenumbers.TOO_SHORT, phonenumbers.IS_POSSIBLE_LOCAL_ONLY:
		return ErrPhoneTooShort
	case phonenumbers.TOO_LONG:
		return ErrPhoneTooLong
	case phonenumbers.INVALID_COUNTRY_CODE:
		return ErrPhoneNoCountry
	}
	return ErrPhoneLength
}
