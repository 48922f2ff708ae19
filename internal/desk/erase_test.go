package desk

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
)

func TestContactsAreErasedAtTheDesk(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	at := at("/h/:id/erase", id)
	for _, r := range []account.Role{account.Nurse, account.Reception} {
		require.Equal(t, http.StatusForbidden, b.signedIn("hillside", r).get(at).status, r)
	}
	manager := b.signedIn("hillside", account.Manager)
	manager.get(at).ok().has("main", "can’t be undone", "Ruth", "until 3 March 2033", "Local rules come first", "can’t be found by a machine")
	require.Equal(t, 422, manager.post(at, "why", "asked in writing").status, "without the box nothing happens")
	require.Equal(t, 422, manager.post(at, "sure", "yes").status, "without a reason neither")
	require.Nil(t, b.household("hillside", id).Erased)

	manager.post(at, "why", "asked in writing", "sure", "yes").done("erased")
	h := b.household("hillside", id)
	require.NotNil(t, h.Erased)
	require.True(t, h.Contacts[0].Address.IsZero())
	manager.get(at).ok().has("main", "erased on", "asked in writing", "kept until")
	require.Equal(t, 422, manager.post(at, "why", "again", "sure", "yes").status)
	b.signedIn("hillside", account.Vet).get("/desk/h/" + string(id) + "/dogs/0").ok().hasNot("main a[href^=tel]")
	b.signedIn("hillside", account.Vet).get("/desk/trail").ok().has("main", "erased an owner's contacts", "asked in writing")
}
