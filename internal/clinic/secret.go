package clinic

import (
	"fmt"
	"log/slog"
)

// Secret is a password or token. It shows itself nowhere: fmt, log/slog and
// JSON print a fixed word. Read it with Reveal, at the place that needs it.
type Secret struct{ value string }

const redacted = "(secret)"

// NewSecret wraps a value.
func NewSecret(value string) Secret { return Secret{value: value} }

// Reveal returns the secret itself.
func (s Secret) Reveal() string { return s.value }

// IsZero reports whether there is none.
func (s Secret) IsZero() bool { return s.value == "" }

// Format hides the secret whatever the verb, %+v and %#v included.
func (s Secret) Format(f fmt.State, _ rune) { fmt.Fprint(f, redacted) }

// LogValue implements slog.LogValuer.
func (s Secret) LogValue() slog.Value { return slog.StringValue(redacted) }

// MarshalText keeps the secret out of JSON and YAML.
func (s Secret) MarshalText() ([]byte, error) { return []byte(redacted), nil }
