package record

import (
	"strings"

	"gaitpost/internal/care"
)

// ownCodes are the words that our own sender gives for a message that it did not
// hand to a provider.
var ownCodes = map[string]string{
	care.CodeLate: "dropped by us: it could not be sent in time and would have made no sense any more",
	"no-channel":  "never sent: the settings have no channel for it",
	"gave-up":     "given up: the provider did not take it, however often it was tried",
	"damaged":     "never sent: it could not be read any more",
}

// providerCodes are a provider's codes in words.
//
// Source: Twilio's error dictionary (twilio.com/docs/api/errors); 21217, 21408,
// 21608 and 30034 from memory.
var providerCodes = map[string]string{
	"21211": "this is no telephone number",
	"21217": "this is no telephone number",
	"21408": "texts to this country are not switched on at the provider",
	"21606": "our number can't send to this one",
	"21608": "the provider's trial account sends to confirmed numbers alone",
	"21610": "the owner told the provider to stop",
	"21612": "our number can't send to this one",
	"21614": "this number takes no texts",
	"21635": "this number is a landline",
	"30001": "the provider's queue was full",
	"30002": "the account at the provider is suspended",
	"30003": "the telephone could not be reached: switched off or without a signal",
	"30004": "the message was blocked",
	"30005": "the number is not known to its network",
	"30006": "this number is a landline, or its network can't be reached",
	"30007": "the network took the text for spam",
	"30008": "the network gave no reason",
	"30034": "our number is not registered for such texts in that country",
	"63016": "the owner last wrote more than a day ago, and no template is set for that",
	"63018": "too many messages at once",
}

// NeverSent reports whether a message with this code was never handed to a
// provider, so that it cost nothing.
func NeverSent(code string) bool { _, own := ownCodes[code]; return own }

// FateWords say in words what became of a message. code is why, where it did not
// arrive; "" where nobody said.
func FateWords(f care.Fate, code string) string {
	switch f {
	case care.Queued:
		return "waiting to be sent"
	case care.SentOut:
		return "sent; nobody has said yet whether it arrived"
	case care.Delivered:
		return "delivered"
	case care.Read:
		return "read"
	case care.Unknown:
		return "may not have arrived: the provider can't say"
	}
	if code == care.CodeLate {
		return ownCodes[code]
	}
	return "not delivered: " + why(code)
}

// why is a code in words, and the code itself where it has none.
func why(code string) string {
	switch {
	case code == "":
		return "the provider gave no reason"
	case ownCodes[code] != "":
		return ownCodes[code]
	case providerCodes[code] != "":
		return providerCodes[code]
	}
	return "the provider's code " + short(strings.TrimSpace(code), 20)
}

// FateByCode is a fate by the word that the record keeps.
func FateByCode(word string) (care.Fate, bool) {
	for f := care.Queued; f <= care.Read; f++ {
		if f.String() == word {
			return f, true
		}
	}
	return care.Queued, false
}
