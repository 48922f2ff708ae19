package desk

import (
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
)

func (c *client) signIn(clinic, id, password string, more ...string) *answer {
	c.b.t.Helper()
	return c.post("/desk/sign-in", append([]string{"clinic", clinic, "account", id, "password", password}, more...)...)
}

func TestSigningIn(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	c := &client{b: b}
	page := c.get("/desk/sign-in").ok()
	page.has("select option", "Hillside Vets", "Valley Vets")
	page.has("input[type=password][autocomplete=current-password]")
	page = c.get("/desk/dogs?show=all")
	require.Equal(t, "/desk/sign-in?next=%2Fdesk%2Fdogs%3Fshow%3Dall", page.to())
	page = c.signIn("hillside", " VET.one ", password, "next", "/desk/dogs?show=all")
	require.Equal(t, "/desk/dogs?show=all", page.to())
	c.get("/desk/dogs").ok().has(".top", "Hillside Vets", "Sam Vet", "Sign out")
	require.Equal(t, "/desk/", c.get("/desk/sign-in").to(), "who is signed in need not sign in")

	for _, next := range []string{"https://elsewhere.example/", "//elsewhere.example", "/desk//elsewhere.example", `/desk/\elsewhere`,
		"/desk/../hook", "/hook/x", "javascript:alert(1)", "/deskelsewhere", "/desk/%2e%2e/hook"} {
		to := (&client{b: b}).signIn("hillside", "vet.one", password, "next", next).to()
		require.Equal(t, "/desk/", to, next)
	}
}

func TestWrongSignInsAllReadTheSame(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	for _, w := range [][3]string{
		{"hillside", "vet.one", "wrong"}, {"hillside", "nobody", password}, {"valley", "nobody.else", password},
		{"elsewhere", "vet.one", password}, {"", "", ""}, {"hillside", "vet.one' OR 1=1", password}, {"hillside", "vet.one", strings.Repeat("x", 5000)},
	} {
		c := &client{b: b}
		page := c.signIn(w[0], w[1], w[2])
		require.Equal(t, http.StatusUnauthorized, page.status, w)
		page.has("[role=alert]", wrongSignIn)
		require.Nil(t, c.cookie)
		require.NotContains(t, page.body, "xxxxx")
	}
	list, _, err := b.store.ReadAudit(context.Background(), "hillside", b.now(), 0, 10)
	require.NoError(t, err)
	require.Len(t, list, 3, "each wrong try at a real clinic, with a name that can be one, stands in the trail")
	require.Equal(t, account.SignInFailed, list[0].Deed)
	require.NotEmpty(t, list[0].From)
}

func TestGuessingIsThrottledAtTheDesk(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	c := &client{b: b}
	for range 5 {
		require.Equal(t, http.StatusUnauthorized, c.signIn("hillside", "vet.one", "a guess").status)
	}
	page := c.signIn("hillside", "vet.one", password)
	require.Equal(t, http.StatusTooManyRequests, page.status, "the right password too, or it would tell")
	page.has("[role=alert]", "Please wait 1 minute")
	require.NotEmpty(t, page.header.Get("Retry-After"))
	require.Equal(t, http.StatusSeeOther, c.signIn("valley", "vet.one", password).status, "another clinic's are its own")
	b.pass(time.Minute)
	require.Equal(t, http.StatusSeeOther, c.signIn("hillside", "vet.one", password).status)

	// One place that tries many names runs out as well.
	tried := 0
	for i := 0; i < 60; i++ {
		if c.signIn("valley", "name"+itoa(i), "a guess").status == http.StatusTooManyRequests {
			break
		}
		tried++
	}
	require.Less(t, tried, 40)
}

func TestAGivenPasswordHasToBeChanged(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	_, err := b.store.ChangeAccount(context.Background(), "hillside", "vet.one", func(a *account.Account) { a.MustChange = true })
	require.NoError(t, err)
	c, elsewhere := b.signedIn("hillside", account.Vet), b.signedIn("hillside", account.Vet)
	require.Equal(t, "/desk/account?say=must-change", c.get("/desk/today").to())
	c.get("/desk/account?say=must-change").ok().has(".notice", "Please choose your own")
	const next = "seven green umbrellas"
	for want, f := range map[string][]string{
		"not right":     {"old", "wrong", "new", next, "again", next},
		"the same way":  {"old", password, "new", next, "again", "other"},
		"at least 12":   {"old", password, "new", "short", "again", "short"},
		"easy to guess": {"old", password, "new", "vet.onevet.one", "again", "vet.onevet.one"},
	} {
		page := c.post("/desk/account/password", f...)
		require.Equal(t, 422, page.status)
		page.has("[role=alert]", want)
	}
	require.Equal(t, "/desk/account?say=password", c.post("/desk/account/password", "old", password, "new", next, "again", next).to())
	c.get("/desk/today").ok()
	require.Contains(t, elsewhere.get("/desk/today").to(), "why=signed-out")
	require.Equal(t, http.StatusSeeOther, (&client{b: b}).signIn("hillside", "vet.one", next).status)
}

func TestTheTrailSaysWhoSawAndChangedWhat(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	vet, manager := b.signedIn("hillside", account.Vet), b.signedIn("hillside", account.Manager)
	vet.get("/desk/h/" + string(id) + "/dogs/0").ok()
	vet.post("/desk/h/"+string(id)+"/write", "contact", "0", "text", "MARKED words").done("sent")
	vet.post("/desk/h/"+string(id)+"/alerts/9/ack", "note", "x")
	page := manager.get("/desk/trail").ok()
	page.has("tbody", "saw a dog", "wrote to an owner", "Sam Vet", "acknowledged an alert", "refused", "That alert is closed already", "saw this trail")
	require.NotContains(t, page.body, "MARKED", "what was written is in the record, not here")
	require.NotContains(t, page.body, "Bramble")
	b.signedIn("valley", account.Manager).get("/desk/trail").ok().hasNot("tbody a")
	require.NotContains(t, b.logged.String(), "MARKED")
}

func TestPagesWithoutAStoreSaySo(t *testing.T) {
	t.Parallel()
	s, server := openStore(t)
	b := benchOn(t, s, nil)
	vet := b.signedIn("hillside", account.Vet)
	vet.get("/desk/today").ok()
	server.Kill()
	page := vet.get("/desk/today")
	require.Equal(t, http.StatusServiceUnavailable, page.status)
	page.has("h1", "can't be reached")
	require.NotContains(t, page.body, "127.0.0.1")
	require.NotContains(t, page.body, "dial")
}
