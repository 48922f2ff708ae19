package contact_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/contact"
)

func TestParseReadsEachKindOfAddress(t *testing.T) {
	for _, c := range []struct {
		kind contact.Channel
		text string
		want string
		err  error
	}{
		{contact.SMS, "07700 900123", "+447700900123", nil},
		{contact.WhatsApp, " 07700 900123 ", "+447700900123", nil},
		{contact.WhatsApp, "07700", "", contact.ErrPhoneTooShort},
		{contact.Telegram, "-1001234567890123456", "-1001234567890123456", nil},
		{contact.Telegram, "@ruth", "", contact.ErrChatID},
		{contact.Telegram, "007", "", contact.ErrChatID},
		{contact.Relay, "ruth@gateway.example", "ruth@gateway.example", nil},
		{contact.Relay, "two words", "", contact.ErrRelayed},
		{contact.Email, "ruth@mail.example", "", contact.ErrKind},
		{"pigeon", "1", "", contact.ErrKind},
	} {
		a, _, err := contact.Parse(c.kind, c.text, "GB")
		require.ErrorIs(t, err, c.err, "%s %s", c.kind, c.text)
		if c.err == nil {
			require.Equal(t, contact.Address{Channel: c.kind, Value: c.want}, a)
			continue
		}
		require.True(t, a.IsZero())
		require.NotContains(t, err.Error(), c.text)
	}
}
