package contact

import (
	"errors"
	"net/mail"
	"regexp"
	"strings"
)

// Errors of Parse for addresses that are no telephone numbers.
var (
	ErrChatID  = errors.New("a chat id is a whole number of at most 19 digits")
	ErrRelayed = errors.New("a gateway's address has 1 to 64 letters, digits and + @ . _ : -")
	ErrMailbox = errors.New("a mail address is written like lee@practice.example")
	ErrKind    = errors.New("there is no such kind of contact")
)

var (
	chatID  = regexp.MustCompile(`^-?[1-9][0-9]{0,18}$`)
	relayed = regexp.MustCompile(`^[A-Za-z0-9+@._:-]{1,64}$`)
)

// Parse reads an address of a channel. region is
// where a telephone number without a country code belongs. Errors are those of
// ParsePhone, ErrChatID, ErrRelayed, ErrMailbox and ErrKind; none repeats the address.
func Parse(kind Channel, text, region string) (Address, Warning, error) {
	text = strings.TrimSpace(text)
	switch kind {
	case SMS, WhatsApp:
		a, w, err := ParsePhone(text, region)
		if err != nil {
			return Address{}, NoWarning, err
		}
		return Address{Channel: kind, Value: a.Value}, w, nil
	case Voice:
		a, w, err := ParsePhone(text, region)
		if err != nil {
			return Address{}, NoWarning, err
		}
		return Address{Channel: Voice, Value: a.Value}, w, nil
	case Email:
		if a, err := mail.ParseAddress(text); err != nil || a.Address != text || len(text) > 254 {
			return Address{}, NoWarning, ErrMailbox
		}
	case Telegram:
		if !chatID.MatchString(text) {
			return Address{}, NoWarning, ErrChatID
		}
	case Relay:
		if !relayed.MatchString(text) {
			return Address{}, NoWarning, ErrRelayed
		}
	default:
		return Address{}, NoWarning, ErrKind
	}
	return Address{Channel: kind, Value: text}, NoWarning, nil
}
