package desk

import (
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// fields are a good form for each POST about a household, so that a refusal
// means who asked and not what was asked.
var fields = map[string][]string{
	"/h/:id/alerts/:n/ack":             {"note", "seen"},
	"/h/:id/alerts/:n/close":           {"outcome", "phoned"},
	"/h/:id/alerts/:n/call":            {"result", "called"},
	"/h/:id/write":                     {"contact", "0", "text", "hello"},
	"/h/:id/resume":                    {"contact", "0"},
	"/h/:id/erase":                     {"why", "asked", "sure", "yes"},
	"/h/:id/consent":                   {"contact", "0", "state", "declined", "how", "by telephone"},
	"/h/:id/contact":                   {"of", "0", "via", "text", "address", "07700 900177", "how", "vouched"},
	"/h/:id/join":                      {"contact", "0", "via", "telegram"},
	"/h/:id/dogs/:dog/note":            {"note", "a note"},
	"/h/:id/dogs/:dog/findings":        {"text", "stiff"},
	"/h/:id/dogs/:dog/weigh":           {"kg", "30"},
	"/h/:id/dogs/:dog/details":         {"own1", "the stairs"},
	"/h/:id/dogs/:dog/home":            {"task", "1", "to", "solved"},
	"/h/:id/dogs/:dog/home/ask":        {},
	"/h/:id/dogs/:dog/days":            {"weeks", "3"},
	"/h/:id/dogs/:dog/plan":            {"action", "start", "area", "home", "what", "rugs"},
	"/h/:id/dogs/:dog/plan/withdraw":   {"entry", "1", "why", "wrong dog"},
	"/h/:id/dogs/:dog/plan/suggestion": {"kind", "activity", "verdict", "decline", "why", "not now"},
	"/h/:id/dogs/:dog/quiet":           {"until", "2026-04-01"},
	"/h/:id/dogs/:dog/quiet-sign":      {"sign", "diarrhoea", "until", "2026-04-01"},
	"/h/:id/dogs/:dog/farewell":        {"sure", "yes"},
	"/h/:id/dogs/:dog/farewell/undo":   {},
	"/h/:id/pause":                     {"contact", "0", "until", "2026-04-01", "why", "moving house"},
	"/h/:id/dogs/:dog/thresholds":      {"n-level_at", "60"},
	"/h/:id/dogs/:dog/cadence":         {"kind", "checkin", "cron", "0 9 * * fri", "gap", "6"},
	"/h/:id/dogs/:dog/hold":            {"until", "2026-04-01", "why", "after an operation"},
	"/h/:id/dogs/:dog/correct":         {"at", "1", "withdraw", "yes", "why", "wrong dog"},
	"/h/:id/dogs/:dog/checkin":         {"who", "Ruth", "item-limping", "1"},
	"/h/:id/messages/:message/rung":    {"note", "rang"},
}

// at fills in an address' places.
func at(path string, id contact.ID) string {
	return Prefix + strings.NewReplacer(":id", string(id), ":n", "1", ":dog", "0", ":message", string(id)+"-1-0").Replace(path)
}

// Every route that names a household is tried with another clinic's: with its
// real ids, from an account that may do everything.
func TestThreatInsiderOfAnotherClinic(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	other := b.enrol("valley", 1, "Marked Owner", care.EnrolledDog{Name: "Markedog"})
	own := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	b.says("valley", other, "Markedog has collapsed MARKEDWORDS")
	before := b.household("valley", other)
	vet := b.signedIn("hillside", account.Vet)
	tried := 0
	for _, r := range routes {
		page := &answer{}
		switch {
		case !strings.Contains(r.path, ":id"):
			if r.method != http.MethodGet || r.path == "/live" {
				continue
			}
			page = vet.get(Prefix + r.path)
		case r.method == http.MethodGet:
			page = vet.get(at(r.path, other))
			require.Equal(t, http.StatusNotFound, page.status, r.path)
			tried++
		default:
			form, ok := fields[r.path]
			require.True(t, ok, "no form for %s: add one", r.path)
			page = vet.post(at(r.path, other), form...)
			require.Equal(t, http.StatusNotFound, page.status, r.path)
			tried++
		}
		for _, secret := range []string{"Marked", "MARKEDWORDS", "Valley"} {
			require.NotContains(t, page.body, secret, r.path)
		}
	}
	require.GreaterOrEqual(t, tried, 19)
	require.Equal(t, before, b.household("valley", other), "nothing of the other clinic's was changed")
	require.Equal(t, http.StatusNotFound, vet.get("/desk/live?of="+string(other)).status,
		"a household that isn't there can't be watched")
	vet.get("/desk/dogs?q=Markedog&show=all").has(".empty", "No dog fits that")
	vet.get("/desk/dogs").has("table.caseload", "Bramble")
	require.NotEqual(t, own, other, "the same number is two ids at two clinics")
}

// A ticket of one clinic that claims to be of another is good nowhere.
func TestATicketIsGoodAtItsOwnClinicAlone(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	vet := b.signedIn("hillside", account.Vet)
	vet.get("/desk/today").ok()
	vet.cookie.Value = strings.Replace(vet.cookie.Value, "hillside", "valley", 1)
	require.Contains(t, vet.get("/desk/today").to(), "/desk/sign-in")
	for _, bad := range []string{"", "x", "hillside~vet.one~AAAA", strings.Repeat("~", 400)} {
		c := &client{b, &http.Cookie{Name: "desk", Value: bad}}
		require.Contains(t, c.get("/desk/dogs").to(), "/desk/sign-in", bad)
	}
}

func TestNothingWithoutSigningIn(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	nobody := &client{b: b}
	for _, r := range routes {
		var page *answer
		if r.method == http.MethodGet {
			page = nobody.get(at(r.path, id))
		} else {
			page = nobody.post(at(r.path, id), fields[r.path]...)
		}
		if r.path == "/live" {
			require.Equal(t, http.StatusNoContent, page.status)
			continue
		}
		require.Equal(t, http.StatusSeeOther, page.status, r.path)
		require.Contains(t, page.to(), "/desk/sign-in", r.path)
		require.NotContains(t, page.body, "Bramble")
	}
	require.Contains(t, nobody.get("/desk/no/such/page").to(), "/desk/sign-in", "not even which pages there are")
}

// What each role may do is asked of every route.
func TestEveryRouteAsksForTheRole(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	for _, role := range account.Roles {
		c := b.signedIn("hillside", role)
		for _, r := range routes {
			if r.needs == "" || role.Can(r.needs) {
				continue
			}
			page := (*answer)(nil)
			if r.method == http.MethodGet {
				page = c.get(at(r.path, id))
			} else {
				page = c.post(at(r.path, id), fields[r.path]...)
			}
			require.Equal(t, http.StatusForbidden, page.status, "%s %s", role, r.path)
			require.NotContains(t, page.text("main"), "Bramble")
		}
	}
	require.Equal(t, b.household("hillside", id).Dogs[0].Status, care.Followed)
}

func TestOnlyVetsChangeMedicines(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble",
		Plan: []care.Entry{{Area: care.AreaPain, What: "invented tablets", Class: care.NSAID}}})
	nurse := b.signedIn("hillside", account.Nurse)
	plan := at("/h/:id/dogs/:dog/plan", id)
	for _, f := range [][]string{
		{"action", "stop", "entry", "1"},
		{"action", "stop", "entry", "1", "area", "home"},
		{"action", "start", "area", "pain relief", "what", "something"},
		{"action", "start", "area", "supplements", "class", "nsaid", "what", "something"},
	} {
		require.Equal(t, http.StatusForbidden, nurse.post(plan, f...).status, f)
	}
	nurse.start(plan, "area", "home", "what", "rugs").done("planned")
	// No entry given, but the name of the medicine: only a start is taken so.
	require.Equal(t, 422, nurse.post(plan, "action", "stop", "what", "invented tablets").status)
	h := b.household("hillside", id)
	require.Equal(t, care.Active, h.Dogs[0].Plan[0].Status)
	require.Len(t, h.Dogs[0].Plan, 2)
}

func TestOtherSitesCanSendNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	before := b.household("hillside", id)
	vet := b.signedIn("hillside", account.Vet)
	for _, r := range append(slices.Clone(routes), openRoutes...) {
		if r.method != http.MethodPost {
			continue
		}
		for header, value := range map[string]string{"Sec-Fetch-Site": "cross-site", "Origin": "https://elsewhere.example"} {
			req := vet.form(at(r.path, id), fields[r.path]...)
			req.Header.Del("Sec-Fetch-Site")
			req.Header.Set(header, value)
			page := vet.do(req)
			require.Equal(t, http.StatusForbidden, page.status, "%s %s", r.path, header)
		}
	}
	require.Equal(t, before, b.household("hillside", id))
	vet.get("/desk/today").ok()
}

// A link that is followed by a scanner, a preview or a reader changes nothing.
func TestGetChangesNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	b.says("hillside", id, "Bramble has collapsed")
	before := b.household("hillside", id)
	vet := b.signedIn("hillside", account.Vet)
	for _, r := range routes {
		if r.path == "/live" {
			continue
		}
		page := vet.get(at(r.path, id) + "?outcome=phoned&sure=yes&text=hello&contact=0&result=called")
		if r.method == http.MethodPost && !slices.ContainsFunc(routes, func(o route) bool { return o.path == r.path && o.method == http.MethodGet }) {
			require.Equal(t, http.StatusNotFound, page.status, r.path)
		}
		for _, n := range page.all("form") {
			method, _ := attr(n, "method")
			action, _ := attr(n, "action")
			require.True(t, method == "post" || strings.HasPrefix(action, "/desk/dogs") || strings.HasPrefix(action, "/desk/outcomes"), "%s is sent by %s", action, method)
		}
	}
	require.Equal(t, before, b.household("hillside", id))
	vet.get("/desk/today").ok()
}

func TestHeadersOfEveryAnswer(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(o *Options) { o.Insecure = false })
	c := &client{b: b}
	for _, path := range []string{"/desk/sign-in", "/desk/today", "/desk/static/desk.css", "/desk/static/desk.js", "/desk/nothing"} {
		h := c.get(path).header
		csp := h.Get("Content-Security-Policy")
		require.Contains(t, csp, "default-src 'none'")
		require.Contains(t, csp, "frame-ancestors 'none'")
		require.NotContains(t, csp, "unsafe")
		require.Equal(t, "nosniff", h.Get("X-Content-Type-Options"))
		require.NotEmpty(t, h.Get("Strict-Transport-Security"))
	}
	require.Equal(t, "no-store", c.get("/desk/sign-in").header.Get("Cache-Control"))
	require.Equal(t, http.StatusNotFound, c.get("/desk/static/..%2fdesk.go").status)
}

// The policy forbids what is inline; a page that had any would lose it.
func TestPagesHoldNothingInline(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble", Grams: 30_000})
	b.says("hillside", id, "Bramble has collapsed")
	vet := b.signedIn("hillside", account.Vet)
	for _, r := range routes {
		if r.method != http.MethodGet || r.path == "/live" {
			continue
		}
		page := vet.get(at(r.path, id))
		page.hasNot("style")
		for n := range page.root.Descendants() {
			for _, a := range n.Attr {
				require.False(t, a.Key == "style" || strings.HasPrefix(a.Key, "on"), "%s: %s on %s", r.path, a.Key, n.Data)
			}
			if n.Data == "script" {
				require.Nil(t, n.FirstChild, "an inline script on %s", r.path)
			}
		}
		ids := map[string]bool{}
		for _, n := range page.all("[id]") {
			id, _ := attr(n, "id")
			require.False(t, ids[id], "%s: two elements are called %s", r.path, id)
			ids[id] = true
		}
	}
}

func TestCookies(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(o *Options) { o.Insecure = false })
	c := &client{b: b}
	req := c.form("/desk/sign-in", "clinic", "hillside", "account", "vet.one", "password", password)
	page := c.do(req)
	require.Equal(t, http.StatusSeeOther, page.status)
	line := page.header.Get("Set-Cookie")
	for _, want := range []string{"__Host-desk=", "Secure", "HttpOnly", "SameSite=Lax", "Path=/"} {
		require.Contains(t, line, want)
	}
}

func TestSessionsRunOut(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	vet := b.signedIn("hillside", account.Vet)
	vet.get("/desk/today").ok()
	b.pass(account.SessionIdle - time.Minute)
	vet.get("/desk/today").ok()
	b.pass(account.SessionIdle - time.Minute)
	vet.get("/desk/today").ok() // used meanwhile
	b.pass(account.SessionIdle)
	require.Contains(t, vet.get("/desk/today").to(), "why=idle")
	require.Nil(t, vet.cookie, "the cookie is taken back")

	vet = b.signedIn("hillside", account.Vet)
	for range 13 {
		b.pass(account.SessionIdle - time.Minute)
		if page := vet.get("/desk/today"); page.status != http.StatusOK {
			require.Contains(t, page.to(), "why=run-out")
			return
		}
	}
	t.Fatal("a session never ran out")
}

func TestSigningOut(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	here, there, other := b.signedIn("hillside", account.Vet), b.signedIn("hillside", account.Vet), b.signedIn("hillside", account.Nurse)
	ticket := *here.cookie
	require.Contains(t, here.post("/desk/sign-out").to(), "/desk/sign-in")
	here.cookie = &ticket
	require.Contains(t, here.get("/desk/today").to(), "/desk/sign-in", "the old ticket is worth nothing")
	there.get("/desk/today").ok()

	third := b.signedIn("hillside", account.Vet)
	require.Contains(t, third.post("/desk/sign-out-everywhere").to(), "/desk/sign-in")
	require.Contains(t, there.get("/desk/today").to(), "why=signed-out")
	other.get("/desk/today").ok()
}
