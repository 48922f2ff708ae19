package desk

import (
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
)

// calendarOf makes an address as the signed-in person does, and returns its path.
func calendarOf(t *testing.T, c *client) string {
	t.Helper()
	page := c.post("/desk/account/dates").ok()
	address := page.text("code.address")
	_, path, ok := strings.Cut(address, "/desk/")
	require.True(t, ok, address)
	return "/desk/" + path
}

// asked is a calendar program, which never signed in.
func asked(t *testing.T, b *bench, path string) (status int, kind, body string) {
	t.Helper()
	res, err := http.Get(b.server.URL + path)
	require.NoError(t, err)
	defer res.Body.Close()
	data, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	return res.StatusCode, res.Header.Get("Content-Type"), string(data)
}

// RFC 5545, read by another library's parser.
func TestACalendarProgramReadsDueDates(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble", Ref: "D-1"})
	b.do("hillside", id, care.Practice{Plan: &care.PlanChange{Dog: "Bramble", Action: care.PlanStart, What: "short walks", Area: care.AreaActivity, Review: b.now().AddDate(0, 0, 28).Unix()}})
	b.enrol("valley", 2, "Owen", care.EnrolledDog{Name: "Moss"})
	vet := b.signedIn("hillside", account.Vet)
	path := calendarOf(t, vet)
	status, kind, body := asked(t, b, path)
	require.Equal(t, http.StatusOK, status)
	require.Equal(t, "text/calendar; charset=utf-8", kind)
	cal, err := ics.ParseCalendar(strings.NewReader(body))
	require.NoError(t, err)
	require.NotEmpty(t, cal.Events())
	require.NotContains(t, body, "Moss", "another clinic's dogs are not in it")
	require.NotContains(t, body, "Ruth", "nor are owners")
	for _, e := range cal.Events() {
		require.Contains(t, e.GetProperty(ics.ComponentPropertySummary).Value, "Bramble (D-1)")
	}
	vet.get("/desk/account").ok().hasNot("code.address")

	// A new address ends the former one, and ending it ends all.
	renewed := calendarOf(t, vet)
	for _, c := range []struct {
		path string
		want int
	}{{path, http.StatusNotFound}, {renewed, http.StatusOK}} {
		status, _, _ = asked(t, b, c.path)
		require.Equal(t, c.want, status)
	}
	vet.post("/desk/account/dates/end")
	b.pass(5 * time.Minute)
	status, _, _ = asked(t, b, renewed)
	require.Equal(t, http.StatusNotFound, status)
}

func TestGuessedCalendars(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	vet := b.signedIn("hillside", account.Vet)
	path := calendarOf(t, vet)
	parts := strings.Split(path, "/") // "", desk, dates, clinic, account, file
	for _, guess := range []string{
		"/desk/dates/hillside/" + parts[4] + "/guessed.ics", "/desk/dates/hillside/nobody/" + parts[5],
		"/desk/dates/valley/" + parts[4] + "/" + parts[5], "/desk/dates/none/" + parts[4] + "/" + parts[5],
		strings.TrimSuffix(path, ".ics"), "/desk/dates/hillside/" + parts[4] + "/.ics",
	} {
		status, _, body := asked(t, b, guess)
		require.Equal(t, http.StatusNotFound, status, guess)
		require.Empty(t, body, guess)
		b.pass(time.Minute)
	}
	seen := 0
	for range 40 {
		if status, _, _ := asked(t, b, "/desk/dates/hillside/"+parts[4]+"/guessed.ics"); status == http.StatusTooManyRequests {
			seen++
		}
	}
	require.Positive(t, seen, "guessing is throttled")
	require.Equal(t, http.StatusForbidden, b.signedIn("hillside", account.Reception).post("/desk/account/dates").status)
}
