package care_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

// TestTheScreenReadsTheContactsLanguage: the same words are a danger sign for an
// owner who writes Spanish and mean nothing to the English screen; an English
// emergency counts whatever the language.
func TestTheScreenReadsTheContactsLanguage(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		lang, text string
		flagged    bool
	}{
		{"es", "no puede respirar", true},
		{"", "no puede respirar", false},
		{"es", "he collapsed in the patio", true},
		{"es", "no ha vomitado ni tiene diarrea", false},
	} {
		k := watched(t)
		k.house.Contacts[0].Lang = c.lang
		k.do(care.Event{Message: &care.MessageIn{From: ownerAddress, Via: "text", ID: "SM1", Text: c.text}})
		require.Equal(t, c.flagged, k.open(care.RedFlag) != nil, "%s: %s", c.lang, c.text)
	}
}
