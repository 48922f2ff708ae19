package clinic

import (
	"encoding/base64"
	"regexp"
	"slices"
	"strings"

	"gaitpost/internal/contact"
)

// The secrets a channel may have; in the settings each ends in _env or _file.
const (
	authToken     = "auth_token"   // ours, shown with every request of ours
	signingSecret = "secret"       // what the provider signs its requests with
	verifyToken   = "verify_token" // what it shows when it asks for an address
)

// channelKind is what the settings of one kind of channel hold.
type channelKind struct {
	needs, may []string       // settings beside name, kind, rate and the secrets
	secrets    map[string]int // what it has, each with its least length in characters
	optional   map[string]int // what it may have besides
	staff      bool           // reaches practitioners alone
	// api says what is wrong with where the interface is; nil for a web address.
	api func(string) string
	// fault says what is wrong with the form of the signing secret, "" for
	// nothing; nil where any form will do.
	fault   func(secret string) string
	account *regexp.Regexp // what an account id looks like, nil for none
	address *regexp.Regexp // what our address looks like where it is no telephone number
}

// channelKinds is every kind of channel.
//
// Account ids of text messages and the lengths of webhook secrets are those of
// the providers' documentation (Twilio; Meta's Graph API; Telegram's Bot API;
// Standard Webhooks 1.0.0, which asks for 24 to 64 random bytes: at least 38
// characters with the prefix). Shorter ones that a provider would allow could be
// guessed.
var channelKinds = map[contact.Channel]channelKind{
	contact.SMS: {
		needs: []string{"account", "number"}, may: []string{"api"},
		secrets: map[string]int{authToken: 1},
		account: regexp.MustCompile(`^AC[0-9a-fA-F]{32}$`),
	},
	contact.WhatsApp: {
		needs: []string{"account", "number"}, may: []string{"api", "template", "template_language"},
		secrets: map[string]int{authToken: 16, signingSecret: 16, verifyToken: 16},
		account: regexp.MustCompile(`^[0-9]{5,20}$`),
	},
	contact.Telegram: {
		needs: []string{"account"}, may: []string{"api"},
		secrets: map[string]int{authToken: 16, signingSecret: 16},
		account: regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_]{4,31}$`), fault: tokenFault,
	},
	contact.Email: {
		needs: []string{"number", "api"}, may: []string{"account"}, staff: true,
		secrets: map[string]int{signingSecret: 16}, optional: map[string]int{authToken: 1},
		address: regexp.MustCompile(`^[^@\s<>"]{1,64}@[^@\s<>"]{1,190}$`), api: mailServer,
	},
	contact.Voice: {
		needs: []string{"account", "number"}, may: []string{"api"}, staff: true,
		secrets: map[string]int{authToken: 1},
		account: regexp.MustCompile(`^AC[0-9a-fA-F]{32}$`),
	},
	contact.Relay: {
		needs:   []string{"number", "api"},
		secrets: map[string]int{signingSecret: 38},
		address: regexp.MustCompile(`^[A-Za-z0-9+@._:-]{1,64}$`), fault: webhookSecretFault,
	},
}

// has says whether a kind of channel has a setting of this name.
func (k channelKind) has(name string) bool {
	switch name {
	case "name", "kind", "rate":
		return true
	}
	if slices.Contains(k.needs, name) || slices.Contains(k.may, name) {
		return true
	}
	base, ok := strings.CutSuffix(name, "_env")
	if !ok {
		base, ok = strings.CutSuffix(name, "_file")
	}
	_, wanted := k.secrets[base]
	_, may := k.optional[base]
	return ok && (wanted || may)
}

// webhookSecretFault checks a secret of Standard Webhooks 1.0.0: "whsec_" and 24
// to 64 random bytes in base64.
func webhookSecretFault(s string) string {
	encoded, ok := strings.CutPrefix(s, "whsec_")
	raw, err := base64.StdEncoding.DecodeString(encoded)
	if !ok || err != nil || len(raw) < 24 || len(raw) > 64 {
		return "the secret there is not whsec_ and 24 to 64 bytes in base64"
	}
	return ""
}

var token = regexp.MustCompile(`^[A-Za-z0-9_-]{1,256}$`)

// tokenFault checks a secret token of Telegram's Bot API (setWebhook).
func tokenFault(s string) string {
	if !token.MatchString(s) {
		return "the secret there has other characters than letters, digits, _ and -, or more than 256"
	}
	return ""
}

var server = regexp.MustCompile(`^smtps?://[A-Za-z0-9.-]+:[0-9]{1,5}$`)

// mailServer checks where mail is handed in.
func mailServer(s string) string {
	if !server.MatchString(s) {
		return "this is not written like smtp://mail.example:587 or smtps://mail.example:465"
	}
	return ""
}
