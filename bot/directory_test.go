package bot_test

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Rules that change while a server runs hold from the next request on; the
// channels stay as they are.
func TestRulesAreReplacedWhileTheServerRuns(t *testing.T) {
	h := newHouse(t)
	practitioner := harbour().Practitioners[0].Contacts[0]
	require.Equal(t, 200, h.ask(request(t, "", messageForm(practitioner, sid, "LIST"))).Code)
	other := harbour()
	other.Practitioners = nil // whoever writes is an owner now
	require.NoError(t, h.dir.SetRules(other))
	stranger := harbour()
	stranger.Clinic = "nowhere"
	require.ErrorContains(t, h.dir.SetRules(harbour(), stranger), "nowhere")

	require.Equal(t, 200, h.ask(request(t, "", messageForm(practitioner, sid+"b", "LIST"))).Code)
	got := h.turns.events()
	require.Len(t, got, 2)
	require.NotEmpty(t, got[0].line)
	require.Empty(t, got[1].line, "the refused replacement changed nothing")
}
