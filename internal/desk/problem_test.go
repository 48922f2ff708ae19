package desk

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
)

// Whatever goes wrong is said in a sentence, on a page like every other, with a
// way on.
func TestEveryErrorIsAPageWithAWayOn(t *testing.T) {
	t.Parallel()
	s, server := openStore(t)
	b := benchOn(t, s, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	vet, reception := b.signedIn("hillside", account.Vet), b.signedIn("hillside", account.Reception)
	long := strings.Repeat("a long story ", 600)
	say := func(a *answer, status int, words ...string) {
		t.Helper()
		require.Equal(t, status, a.status)
		a.has("html[lang=en]")
		require.Len(t, a.all("main h1"), 1)
		a.has("main", words...)
		a.has("main a")
		require.NotEmpty(t, a.text("title"))
	}
	say(vet.get("/desk/nothing"), http.StatusNotFound, "There is nothing here", "mistyped")
	vet.get("/desk/nothing").has("nav a", "Today", "Dogs")
	say(vet.get("/desk/rules/try"), http.StatusNotFound, "There is nothing here")
	say(vet.get("/desk/h/"+string(id)+"/dogs/9"), http.StatusNotFound, "There is nothing here")
	say(reception.get("/desk/dogs"), http.StatusForbidden, "Not for your role")
	refused := vet.post(at("/h/:id/dogs/:dog/note", id), "note", long, "from", at("/h/:id/dogs/:dog", id))
	say(refused, http.StatusUnprocessableEntity, "This was not done", "Back to where you were")
	require.Contains(t, refused.text("textarea"), strings.TrimSpace(long), "nothing that was typed is lost")
	server.Kill()
	say(vet.get("/desk/today"), http.StatusServiceUnavailable, "can't be reached", "Nothing is lost")
}
