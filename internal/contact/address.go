// Package contact holds the addresses people are reached at: it reads telephone
// numbers, hides addresses from logs, and turns them into keyed ids, so that
// storage never holds a number as a key.
package contact

import (
	"fmt"
	"log/slog"
	"unicode"
)

// Channel names a way to reach somebody.
type Channel string

// The channels there are, with what their addresses are.
const (
	SMS      Channel = "sms"      // text messages: E.164 telephone numbers
	WhatsApp Channel = "whatsapp" // E.164 telephone numbers
	Telegram Channel = "telegram" // decimal chat ids
	Relay    Channel = "relay"    // a gateway of the practice's own: its own addresses
	Email    Channel = "email"    // practitioners only: mail addresses
	Voice    Channel = "voice"    // practitioners only, calls of last resort: E.164 numbers
)

// Address is one way to reach one person. It hides its value from fmt and
// log/slog; read Value where the address itself is needed.
type Address struct {
	Channel Channel `cbor:"1,keyasint"`
	// Value is E.164 for SMS ("+447700900123"), else as the channel defines it.
	Value string `cbor:"2,keyasint"`
}

// IsZero says whether the address is missing.
func (a Address) IsZero() bool { return a == Address{} }

// String is the masked form, so that an address printed by mistake tells nothing.
func (a Address) String() string { return string(a.Channel) + ":" + Mask(a) }

// Format masks the address whatever the verb, %+v and %#v included.
func (a Address) Format(f fmt.State, _ rune) { fmt.Fprint(f, a.String()) }

// LogValue implements slog.LogValuer: logs hold the channel and nothing else.
func (a Address) LogValue() slog.Value {
	return slog.StringValue(string(a.Channel) + ":redacted")
}

// maskShown is how many characters at the end of an address staff may see: enough
// to tell two owners apart on the telephone, too few to ring or guess.
const maskShown = 3

// Mask shows the last three digits of an address for the desk ("…123"). A value
// that is too short to hide anything is masked whole.
func Mask(a Address) string {
	var tail []rune
	for _, r := range a.Value {
		if unicode.IsDigit(r) || unicode.IsLetter(r) {
			tail = append(tail, r)
		}
	}
	if len(tail) < 2*maskShown {
		return "…"
	}
	return "…" + string(tail[len(tail)-maskShown:])
}
