package main

import (
	"bufio"
	"bytes"
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// demoAtDesk serves the page of a world in which some weeks have passed, with
// the lead practitioner signed in at the desk.
func demoAtDesk(t *testing.T, w *demoWorld) (*demoPage, *deskClient) {
	t.Helper()
	p, err := newDemoPage(w)
	require.NoError(t, err)
	server := httptest.NewServer(p.handler())
	t.Cleanup(func() { p.desk.stop(); server.CloseClientConnections(); server.Close() })
	return p, signIn(t, server.URL, w.rules.Clinic, "lee", p.desk.password)
}

var deskArticle = regexp.MustCompile(`<form method="post" action="(/desk/h/[0-9a-f]+/alerts/\d+)/ack"`)

func TestTheDemoHasADesk(t *testing.T) {
	t.Parallel()
	w := demoAfter(t, 2)
	// As far as an alert that somebody has yet to take on.
	p, lee := demoAtDesk(t, w)
	var found []string
	for range 400 {
		if found = deskArticle.FindStringSubmatch(lee.get("/desk/today")); found != nil {
			break
		}
		res, _ := lee.post("/clock", "by", "next")
		require.Equal(t, http.StatusSeeOther, res.StatusCode)
	}
	require.NotNil(t, found, "no alert is open")
	today := lee.get("/desk/today")
	require.Contains(t, today, "Larkfield Vets")
	require.Contains(t, lee.get("/desk/rules"), w.nextDigest().Format("Mon 2 Jan 2006, 15:04"), "by the simulated clock")

	res, _ := lee.post(found[1]+"/ack", "nonce", strings.Repeat("n", 43))
	require.Equal(t, http.StatusSeeOther, res.StatusCode)
	require.Contains(t, lee.get("/desk/today"), "Taken on by Dr Lee")

	// What is written to an owner is on their telephone at once.
	household, _, _ := strings.Cut(found[1], "/alerts/")
	before := w.written
	res, _ = lee.post(household+"/write", "text", "A vet of the invented practice asks how things are.", "nonce", strings.Repeat("m", 43))
	require.Equal(t, http.StatusSeeOther, res.StatusCode)
	require.Greater(t, w.written, before)
	require.Condition(t, func() bool {
		for _, phone := range w.phones {
			if hasText(phone, "how things are") {
				return true
			}
		}
		return false
	})

	// The clock is the visitor's: moving it signs nobody out.
	res, _ = lee.post("/clock", "by", "day")
	require.Equal(t, http.StatusSeeOther, res.StatusCode)
	require.Contains(t, lee.get("/desk/today"), "Larkfield Vets")
	require.NoError(t, p.w.trouble)
}

func TestARuleChangedInTheDemoHolds(t *testing.T) {
	t.Parallel()
	w := demoAfter(t, 1)
	_, lee := demoAtDesk(t, w)
	require.Equal(t, 303, lee.changes(0, "cadences.checkin.cron", "15 16 * * fri"))
	require.Equal(t, "15 16 * * fri", w.rules.Cadences.CheckIn.String())
	require.NoError(t, w.trouble)
	sent := len(w.turns.marks)
	require.NoError(t, w.runUntil(w.now().AddDate(0, 0, 6)))
	fridays := 0
	for _, m := range w.turns.marks[sent:] {
		if m.what == "checkin sent" && m.at.In(w.zone).Format("Mon 15:04") == "Fri 16:15" {
			fridays++
		}
	}
	require.Greater(t, fridays, 10)
	require.Equal(t, 303, lee.changes(1, "digest", "0 7 * * mon-fri"), "still signed in or not, nothing is lost")
}

func TestTheDemosDeskUpdatesByItself(t *testing.T) {
	t.Parallel()
	w := demoAfter(t, 1)
	_, lee := demoAtDesk(t, w)
	ctx, stop := context.WithTimeout(t.Context(), 20*time.Second)
	defer stop()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, lee.at+"/desk/live?of=today", nil)
	require.NoError(t, err)
	r.AddCookie(lee.cookie)
	res, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer res.Body.Close()
	lines := bufio.NewScanner(res.Body)
	await := func(event string) {
		for lines.Scan() {
			if lines.Text() == "event: "+event {
				return
			}
		}
		t.Fatalf("the stream ended before %s", event)
	}
	await("ready")
	owner := ""
	for number, phone := range w.phones {
		if phone.owner != nil {
			owner = number
		}
	}
	posted, err := http.PostForm(lee.at+"/write", url.Values{"owner": {owner}, "from": {owner}, "text": {"he has collapsed and can't get up"}})
	require.NoError(t, err)
	posted.Body.Close()
	await("news")
}

func TestTheDemoSaysWhoMaySignIn(t *testing.T) {
	t.Parallel()
	w := demoAfter(t, 0)
	p, _ := demoAtDesk(t, w)
	var out bytes.Buffer
	p.desk.introduce(&out, "127.0.0.1:8080")
	require.Contains(t, out.String(), "http://127.0.0.1:8080/desk")
	require.Contains(t, out.String(), "lee (vet), okafor (vet), nia (nurse), tom (reception), mara (manager)")
	require.Contains(t, out.String(), p.desk.password)
}
