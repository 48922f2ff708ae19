package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
	"gaitpost/internal/store/redistest"
)

// deskClient is somebody signed in to a desk.
type deskClient struct {
	t      *testing.T
	at     string // the server's address
	cookie *http.Cookie
}

const deskPassword = "slow kettle amber fence"

// signIn signs in to the desk at an address.
func signIn(t *testing.T, at, clinic, account, password string) *deskClient {
	t.Helper()
	c := &deskClient{t: t, at: at}
	res, _ := c.post("/desk/sign-in", "clinic", clinic, "account", account, "password", password)
	require.Equal(t, http.StatusSeeOther, res.StatusCode)
	require.Len(t, res.Cookies(), 1)
	c.cookie = res.Cookies()[0]
	return c
}

func (c *deskClient) do(r *http.Request) (*http.Response, string) {
	c.t.Helper()
	if c.cookie != nil {
		r.AddCookie(&http.Cookie{Name: c.cookie.Name, Value: c.cookie.Value})
	}
	res, err := http.DefaultTransport.RoundTrip(r) // follows no redirect
	require.NoError(c.t, err)
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	require.NoError(c.t, err)
	return res, string(body)
}

func (c *deskClient) get(path string) string {
	c.t.Helper()
	r, err := http.NewRequestWithContext(context.Background(), http.MethodGet, c.at+path, nil)
	require.NoError(c.t, err)
	res, body := c.do(r)
	require.Equal(c.t, http.StatusOK, res.StatusCode, body)
	return body
}

func (c *deskClient) post(path string, pairs ...string) (*http.Response, string) {
	c.t.Helper()
	form := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		form.Set(pairs[i], pairs[i+1])
	}
	r, err := http.NewRequestWithContext(context.Background(), http.MethodPost, c.at+path, strings.NewReader(form.Encode()))
	require.NoError(c.t, err)
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return c.do(r)
}

// changes changes one setting and returns the status.
func (c *deskClient) changes(seen int, key, value string) int {
	res, _ := c.post("/desk/rules/change", "key", key, "value", value, "seen", fmt.Sprint(seen), "why", "to try it")
	return res.StatusCode
}

// desk serves the first app's desk and signs a vet in.
func (w *world) desk() *deskClient {
	w.t.Helper()
	at := w.deskOf(w.apps[0])
	e := env{stdin: strings.NewReader(deskPassword + "\n"), stdout: io.Discard, stderr: io.Discard,
		getenv: func(n string) string { return w.environ()[n] }, now: w.clock.now}
	require.Zero(w.t, run(context.Background(), []string{"account", "add", "r.lee", "--name", "Dr Lee", "--role", "vet", "--password-stdin"}, e))
	return signIn(w.t, at, "hillside", "r.lee", deskPassword)
}

// deskOf serves an app's desk and returns its address.
func (w *world) deskOf(a *app) string {
	w.t.Helper()
	pages, d, err := newDesk(deskOptions{Store: a.Store, Clinics: a.settings, Overlay: a.o.Overlay, Changed: a.settingsChanged,
		Now: w.clock.now, Log: discarded, Insecure: true})
	require.NoError(w.t, err)
	server := httptest.NewServer(pages)
	w.t.Cleanup(func() { d.Stop(); server.Close() })
	return server.URL
}

// What is changed at one process's desk is what another process does next: the
// check-in goes out at the new time, and the alert is raised by the new rule.
func TestSettingsChangedAtTheDeskTakeEffectEverywhere(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.answersAll(ruthsPhone)
	lee := w.desk()
	client, err := store.NewClient(w.redis.URL())
	require.NoError(t, err)
	defer client.Close()
	other := w.newApp(client)
	before := w.log(ruthsPhone)

	require.Equal(t, 303, lee.changes(0, "cadences.checkin.cron", "0 15 * * thu"))
	require.Equal(t, 303, lee.changes(1, "thresholds.alerts.silent_checkins", "1"))
	require.Equal(t, "0 15 * * thu", w.apps[0].settings.Clinic("hillside").Rules.Cadences.CheckIn.String(), "its own process at once")
	require.Equal(t, "0 10 * * tue", other.settings.Clinic("hillside").Rules.Cadences.CheckIn.String())

	w.apps = []*app{other} // the desk's own process does nothing from here on
	w.settle()
	require.Equal(t, "0 15 * * thu", other.settings.Clinic("hillside").Rules.Cadences.CheckIn.String())
	w.got()
	w.goTo("2026-03-12 14:45")
	for _, text := range w.got() {
		require.NotContains(t, text, "limping", "nothing goes out at the old time")
	}
	w.goTo("2026-03-12 15:00")
	w.hears(ruthsPhone, "Bramble")
	w.goTo("2026-03-16 09:00") // unanswered: one is enough now
	alerts := w.household(ruthsPhone).Household.Alerts
	require.Len(t, alerts, 1)
	require.Equal(t, care.Silence, alerts[0].Reason)
	after := w.log(ruthsPhone)
	require.NotEqual(t, before[0].Versions.Rules, after[len(after)-1].Versions.Rules, "the log says under which settings")

	// Rolled back is in effect likewise.
	lee = signIn(t, lee.at, "hillside", "r.lee", deskPassword)
	res, _ := lee.post("/desk/rules/back", "to", "0")
	require.Equal(t, "/desk/rules?say=rolled-back", res.Header.Get("Location"))
	w.settle()
	require.Equal(t, "0 10 * * tue", other.settings.Clinic("hillside").Rules.Cadences.CheckIn.String())
	w.says(ruthsPhone, "are you open on Sunday?")
	after = w.log(ruthsPhone)
	require.Equal(t, before[0].Versions.Rules, after[len(after)-1].Versions.Rules)
}

// A prompt that would only have come much later comes by the new rule.
func TestAMoreFrequentCadenceDoesNotWaitForTheOldOne(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.answersAll(ruthsPhone)
	lee := w.desk()
	w.settle()
	require.Equal(t, 303, lee.changes(0, "cadences.weighin.cron", "0 14 * * mon"))
	require.Equal(t, 303, lee.changes(1, "cadences.weighin.gap", "7d"))
	require.Equal(t, 303, lee.changes(2, "thresholds.extras.activities_after", "0")) // it would have the day first
	w.goTo("2026-03-09 13:45")
	w.got()
	w.goTo("2026-03-09 14:00")
	w.hears(ruthsPhone, "Bramble", "weigh")
}

func TestTwoEditorsAtOnceAreNotMixed(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	lee := w.desk()
	var editors sync.WaitGroup
	status := make([]int, 6)
	for i := range status {
		editors.Go(func() { status[i] = lee.changes(0, "thresholds.index.level_at", fmt.Sprint(55+i)) })
	}
	editors.Wait()
	kept, refused := 0, 0
	for _, s := range status {
		switch s {
		case 303:
			kept++
		case 422:
			refused++
		}
	}
	require.Equal(t, []int{1, 5}, []int{kept, refused}, "%v", status)
	list, err := w.apps[0].Store.Overlays(t.Context(), "hillside")
	require.NoError(t, err)
	require.Len(t, list, 1)
	require.Equal(t, list[0].Set["thresholds.index.level_at"], fmt.Sprint(w.apps[0].settings.Clinic("hillside").Rules.Thresholds.LevelAt))
}

// Changes that no longer fit are not in effect, are said, and are not lost.
func TestChangesThatNoLongerFitAreSaidAndKept(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	lee := w.desk()
	require.Equal(t, 303, lee.changes(0, "thresholds.index.level_at", "46"))
	text, err := os.ReadFile(w.config)
	require.NoError(t, err)
	changed := string(text) + "thresholds: {index: {level_clears_below: 49}}\n" // above 46
	require.NoError(t, os.WriteFile(w.config, []byte(changed), 0o600))
	require.Equal(t, 303, lee.changes(1, "quiet_hours", "20:00-09:00"), "a running service lays changes over the file of its start")

	again := w.newApp(w.client)
	r := again.settings.Clinic("hillside").Rules
	require.Equal(t, 50.0, r.Thresholds.LevelAt, "the file alone")
	require.Equal(t, "21:00", r.Quiet.From.String())
	notes := again.settings.notes()
	require.Len(t, notes, 1)
	require.Contains(t, notes[0], "clinic hillside: the changes made at the desk no longer fit the settings file")
	require.Contains(t, notes[0], "level_clears_below")
	rec := httptest.NewRecorder()
	(&health{app: again}).ready(rec, httptest.NewRequest(http.MethodGet, "/readyz", nil))
	require.Equal(t, 200, rec.Code)
	require.Contains(t, rec.Body.String(), "note: clinic hillside")

	w.apps = []*app{again}
	mine := &deskClient{t: t, cookie: lee.cookie, at: w.deskOf(again)}
	page := mine.get("/desk/rules")
	require.True(t, strings.Contains(page, "no longer fit the settings file"))
	require.True(t, strings.Contains(page, "20:00-09:00"), "what was changed is still listed")
	require.Equal(t, 303, mine.changes(2, "thresholds.index.level_at", "52"), "and can be mended")
	require.Empty(t, again.settings.notes())
	require.Equal(t, 52.0, again.settings.Clinic("hillside").Rules.Thresholds.LevelAt)
	require.Equal(t, "20:00", again.settings.Clinic("hillside").Rules.Quiet.From.String(), "the rest is in effect again")
}

// Commands of the practice work under what is in effect, not under the file.
func TestCommandsWorkUnderWhatIsInEffect(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	lee := w.desk()
	require.Equal(t, 303, lee.changes(0, "thresholds.index.level_at", "61"))
	w.enrol(ruthAndBramble)
	log := w.log(ruthsPhone)
	require.Equal(t, w.apps[0].settings.versionsOf(w.apps[0].settings.Clinic("hillside").Rules), log[0].Versions)
}

// Two processes of the program share nothing but Redis: what is changed at the
// desk of one shows at the other's within seconds.
func TestAnotherProcessNoticesAChange(t *testing.T) {
	t.Parallel()
	provider, err := smsprovider.New(smsprovider.Options{Now: time.Now,
		Accounts: []smsprovider.Account{{SID: worldAccount, Token: worldToken, Numbers: []smsprovider.Number{{E164: worldNumber}}}}})
	require.NoError(t, err)
	api := httptest.NewServer(provider)
	defer api.Close()
	environ := servedSettings(t, redistest.Start(t).URL(), api.URL)
	one, two := serveIt(t, environ), serveIt(t, environ)
	e := env{stdin: strings.NewReader(deskPassword + "\n"), stdout: io.Discard, stderr: io.Discard,
		getenv: func(n string) string { return environ[n] }, now: time.Now}
	require.Zero(t, run(t.Context(), []string{"account", "add", "r.lee", "--name", "Dr Lee", "--role", "vet", "--password-stdin"}, e))
	lee := signIn(t, "http://"+one.addr["requests"], "hillside", "r.lee", deskPassword)
	there := &deskClient{t: t, at: "http://" + two.addr["requests"], cookie: lee.cookie}
	require.False(t, strings.Contains(there.get("/desk/rules"), "0 11 * * wed"))
	require.Equal(t, 303, lee.changes(0, "cadences.checkin.cron", "0 11 * * wed"))
	require.Eventually(t, func() bool { return strings.Contains(settingsShown(there.get("/desk/rules")), "0 11 * * wed") },
		4*lookEvery, 50*time.Millisecond)
}

// settingsShown is the part of the page with the settings in effect.
func settingsShown(page string) string {
	_, after, _ := strings.Cut(page, `id="set-h"`)
	shown, _, _ := strings.Cut(after, `id="past-h"`)
	return shown
}
