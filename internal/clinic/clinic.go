// Package clinic reads, checks and explains a clinic's settings: one YAML file
// per clinic, written by a person. Every problem of every file is reported at
// once, with file, line, value and what is allowed. It also reads the files a
// practice enrols its caseload with.
package clinic

import (
	"io/fs"

	"gaitpost/dialog"
	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// Clinic is one clinic's settings, read and checked. It is read only.
type Clinic struct {
	Rules    *care.Rules
	Channels []ChannelSettings
	// PublicURL is where the provider reaches us, without a slash at its end.
	PublicURL string
	File      string // the file it came from

	set      map[string]int // keys that stand in the file, and their lines
	week     week           // opening hours, as Explain shows them
	closures []cadence.Closure
	scripts  string
}

// ChannelSettings is one way out to owners with all that its adapter needs.
type ChannelSettings struct {
	Name      string          // as the settings call it; care.Channel has the same
	Kind      contact.Channel // which adapter
	Account   string          // at the provider
	Number    string          // ours: E.164, or what the kind of channel has instead
	API       string          // base URL of the provider's interface, "" for its own
	AuthToken Secret          // shown with every request of ours
	// SigningSecret is what the provider signs its requests with, or shows.
	SigningSecret Secret
	VerifyToken   Secret // shown by a provider that asks for an address
	// Template is what carries a message to whom the channel lets no free text
	// go; "" for none.
	Template, TemplateLanguage string
	Rate                       float64 // messages a second, 0.1 to 100
}

// Source is where settings come from.
type Source struct {
	// Files holds the settings (*.yaml, *.yml at its root) and, below, what
	// they refer to by a relative path.
	Files fs.FS
	// Prefix is put before a file's name in problems: the directory as the
	// person typed it.
	Prefix string
	// Only limits the reading to these names; nil reads every settings file.
	Only []string
	// Getenv looks up secrets named by …_env.
	Getenv func(string) string
	// ReadFile reads secrets named by an absolute path in …_file.
	ReadFile func(string) ([]byte, error)
	// Scripts are the built-in dialogs that a clinic's own are laid over.
	Scripts *dialog.Library
	// MissingSecrets is how serious a secret is that is not there.
	MissingSecrets Severity
}
