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
		{contact.Email, "lee@hill.example", "lee@hill.example", nil},
		{contact.Email, "Lee <lee@hill.example>", "", contact.ErrMailbox},
		{contact.Email, "at home", "", contact.ErrMailbox},
		{contact.Voice, "01632 960144", "+441632960144", nil},
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
