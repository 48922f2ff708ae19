package clinic

import (
	"fmt"
	"regexp"
	"strings"
)

// Key is one setting: what it may be, what it is where nothing is set, and
// where that comes from. [] in a path stands for each element of a list.
type Key struct {
	Path     string
	Required bool
	Default  string // as it would stand in the file
	Allowed  string
	Source   string // where the default comes from
}

const (
	ownChoice    = "this project's own choice"
	fromPlace    = "differs from practice to practice; there is no default"
	noneByItself = "none unless set"
)

const (
	allowedDays    = "mon to sun, alone, as a range like mon-fri, as a list like \"tue, thu\", or daily, weekdays, weekends"
	allowedTime    = "HH:MM from 00:00 to 24:00"
	allowedCron    = "five cron fields: minute, hour, day of the month, month, day of the week, like \"0 10 * * tue\""
	allowedPhone   = "a telephone number of at most 16 characters, like +44 7700 900123"
	allowedContact = "sms: or whatsapp: and a telephone number, like sms: +44 7700 900123; telegram: and a chat id; relay: and the gateway's address; for practitioners also email: and an address, voice: and a number to ring"
	allowedYesNo   = "yes or no"
	allowedID      = "1 to 32 lower-case letters, digits and hyphens, beginning with a letter"
	allowedChain   = "ids of practitioners, the first to be told first"
	allowedScripts = "a folder, relative to the settings file"
	allowedHours   = "for each day or range of days, spans like 08:30-18:30 (several in a list), or closed"
	allowedDate    = "a date, YYYY-MM-DD"
	allowedEnv     = "the name of an environment variable, like HARBOUR_SMS_TOKEN"

	allowedSecretFile = "the path of a file that holds the secret and nothing else"
)

// keys is every setting there is, in the order of the example file.
var keys = append([]Key{
	{"id", true, "", allowedID, fromPlace},
	{"name", true, "", upTo("practice"), fromPlace},
	{"zone", true, "", "a name from the IANA time zone database, like Europe/London", fromPlace},
	{"region", true, "", "a two-letter country code, like GB", fromPlace},
	{"phone", true, "", allowedPhone, fromPlace},
	{"emergency", true, "", allowedPhone + "; it can be changed, never left out", fromPlace},
	{"person_number", true, "", "2 to 6 digits, like 999", fromPlace},
	{"crisis_line", false, "", "3 to 15 digits and spaces", noneByItself},
	{"languages", false, "en", "a list of en, es and fr", "English alone until the safety screens of the others miss as little"},
	{"public_url", true, "", "https:// and the host that the provider reaches, without a query", fromPlace},
	{"scripts", false, "", allowedScripts, "the built-in scripts alone"},

	{"hours", true, "", allowedHours, fromPlace},
	{"closures", false, "", "a list of days or ranges of days, each with a name", noneByItself},
	{"closures[].on", false, "", allowedDate, ""},
	{"closures[].from", false, "", allowedDate, ""},
	{"closures[].to", false, "", allowedDate + ", not before from", ""},
	{"closures[].name", true, "", "1 to 40 characters", ""},
	{"quiet_hours", false, "21:00-08:00", "a span of 1 to 20 hours, like 21:00-08:00",
		"8 a.m. to 9 p.m. is when calls may be made under 47 CFR 64.1200(c)(1)"},

	{"practitioners", true, "", "a list of at least one", fromPlace},
	{"practitioners[].id", true, "", allowedID, ""},
	{"practitioners[].name", true, "", upTo("vet"), ""},
	{"practitioners[].contacts", true, "", "a list of " + allowedContact, ""},
	{"practitioners[].minimal", false, "no", allowedYesNo, ownChoice},
	{"practitioners[].digest", false, "yes", allowedYesNo, ownChoice},
	{"lead", false, "", "the id of a practitioner", "the first practitioner"},
	{"rota", false, "", "a list of shifts; the first that covers an hour holds", "every practitioner, in the order of the file"},
	{"rota[].days", true, "", allowedDays, ""},
	{"rota[].from", false, "00:00", allowedTime, ownChoice},
	{"rota[].to", false, "24:00", allowedTime + "; not after from means the next morning", ownChoice},
	{"rota[].chain", true, "", allowedChain, ""},
	{"last_resort", true, "", allowedContact, fromPlace},

	{"channels", true, "", "a list of at least one", fromPlace},
	{"channels[].name", true, "", allowedID, ""},
	{"channels[].kind", true, "", "sms, whatsapp, telegram or relay; email or voice for practitioners alone", ""},
	{"channels[].account", false, "", "sms: the account id, AC and 32 hexadecimal digits; whatsapp: the phone number id, digits; telegram: the bot's user name; email: the user name at the mail server; voice: as sms", "needed but for relay and email"},
	{"channels[].number", false, "", allowedPhone + "; relay: the gateway's address for us; email: the sender's address", "needed but for telegram"},
	{"channels[].auth_token_env", false, "", allowedEnv, "this or auth_token_file"},
	{"channels[].auth_token_file", false, "", allowedSecretFile, "this or auth_token_env"},
	{"channels[].secret_env", false, "", allowedEnv, "this or secret_file; what the provider signs with"},
	{"channels[].secret_file", false, "", allowedSecretFile, "this or secret_env; what the provider signs with"},
	{"channels[].verify_token_env", false, "", allowedEnv, "whatsapp: this or verify_token_file"},
	{"channels[].verify_token_file", false, "", allowedSecretFile, "whatsapp: this or verify_token_env"},
	{"channels[].template", false, "", "whatsapp: the name of an approved template with one text in its body", "without one, nothing can be sent a day after the owner last wrote"},
	{"channels[].template_language", false, defaultTemplateLanguage, "whatsapp: the language code the template was approved in", ownChoice},
	{"channels[].api", false, "", "http(s):// and a host: where the provider's interface is; relay: where to post to; email: smtp:// or smtps://, host and port", "the provider's own"},
	{"channels[].rate", false, "1", "0.1 to 100 messages a second", "one a second is what long-code numbers commonly carry (from memory)"},

	{"digest", false, "0 8 * * mon-fri", allowedCron, ownChoice},
	{"cadences", false, "", "checkin, weighin, weighin_loss, reassessment", ""},
}, append(append(cadenceKeys(), numberKeys()...), costKeys()...)...)

// upTo says what may stand in place of a placeholder of the scripts.
func upTo(placeholder string) string {
	return fmt.Sprintf("1 to %d characters of the text-message alphabet", roomFor(placeholder))
}

// Keys lists every setting there is.
func Keys() []Key { return append([]Key(nil), keys...) }

var bracketed = regexp.MustCompile(`\[[^\]]*\]`)

// patternOf is the path of a key as the table has it.
func patternOf(path string) string { return bracketed.ReplaceAllString(path, "[]") }

// allowedAt says what may stand at a path; "" where the table has no such key.
func allowedAt(path string) string {
	pattern := strings.TrimSuffix(patternOf(path), "[]")
	for _, k := range keys {
		if k.Path == pattern {
			return k.Allowed
		}
	}
	return ""
}

// childOf is the name of the setting directly below a section that leads to a
// path.
func childOf(section, path string) (string, bool) {
	rest := path
	if section != "" {
		var ok bool
		if rest, ok = strings.CutPrefix(path, section+"."); !ok {
			return "", false
		}
	}
	if i := strings.IndexAny(rest, ".["); i >= 0 {
		rest = rest[:i]
	}
	return rest, rest != ""
}

// childrenOf lists the settings directly below a section.
func childrenOf(section string) []string {
	var names []string
	seen := map[string]bool{}
	for _, k := range keys {
		if name, ok := childOf(section, k.Path); ok && !seen[name] {
			seen[name] = true
			names = append(names, name)
		}
	}
	return names
}
