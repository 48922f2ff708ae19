package desk

import (
	"bufio"
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
)

func changing(t testing.TB) func(*Options) {
	return func(o *Options) {
		o.Overlay = OverlayOf(source(t))
		o.Burden = func(c *clinic.Clinic) (string, error) { return "line at " + one(c.Rules.Thresholds.LevelAt), nil }
	}
}

func TestTheRulesPage(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	page := b.signedIn("hillside", account.Nurse).get("/desk/rules").ok()
	page.has(".times", "Tue 10 Mar 2026, 10:00", "Tue 12 May 2026, 10:00")
	require.Len(t, page.all("ol.times li"), 50)
	page.has("table.settings", "thresholds.index.level_at", "50", "0 to 100", "Lucas and Saccucci")
	page.has("table.settings tr.set", "hillside")
	page.has("table.sent", "Check-in Tuesdays at 10:00, at least 6 days apart", "next in line after 15 minutes", "days 3, 10, 21, 28 after a new or restarted medicine, at 10:00")
	page.has("dl.hours", "21:00-08:00", "mon-fri: 08:30-18:30")
	require.NotContains(t, page.body, "AC0000000", "nothing of the messaging account")
	page.hasNot("form[action=/desk/rules/try]")
	require.Equal(t, 422, b.signedIn("hillside", account.Vet).post("/desk/rules/change", "key", "x", "value", "1").status)
}

func TestSettingsAreTriedChangedAndRolledBack(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	changing(t)(&b.desk.Options)
	var told []string
	b.desk.Changed = func(id string) { told = append(told, id) }
	vet := b.signedIn("hillside", account.Vet)
	page := vet.post("/desk/rules/try", "key", "thresholds.index.level_at", "value", "60", "seen", "0").ok()
	page.has(".trial", "from 50 to 60", "Now line at 50.0", "Then line at 60.0")
	page = vet.post("/desk/rules/try", "key", "thresholds.index.level_at", "value", "600", "seen", "0").ok()
	page.has(".trial .wrong", "thresholds.index.level_at", "0 to 100")
	list, err := b.store.Overlays(context.Background(), "hillside")
	require.NoError(t, err)
	require.Empty(t, list, "trying keeps nothing")

	change := func(key, value, seen, why string) *answer {
		return vet.post("/desk/rules/change", "key", key, "value", value, "seen", seen, "why", why)
	}
	require.Equal(t, 422, change("thresholds.index.level_at", "60", "0", "").status, "why is asked")
	require.Equal(t, 422, change("phone", "01632 960111", "0", "x").status, "numbers that owners ring are not changed here")
	require.Equal(t, 422, change("practitioners[lee].name", "x", "0", "x").status)
	change("thresholds.index.level_at", "60", "0", "too many").done("rule")
	require.Equal(t, 422, change("thresholds.index.level_at", "61", "0", "stale page").status)
	change("cadences.checkin.cron", "0 11 * * wed", "1", "wednesdays").done("rule")
	change("quiet_hours", "20:00-09:00", "2", "later mornings").done("rule")
	require.Equal(t, []string{"hillside", "hillside", "hillside"}, told)

	list, err = b.store.Overlays(context.Background(), "hillside")
	require.NoError(t, err)
	require.Equal(t, map[string]string{"thresholds.index.level_at": "60", "cadences.checkin.cron": "0 11 * * wed", "quiet_hours": "20:00-09:00"}, list[2].Set)
	c, problems := b.desk.Overlay("hillside", list[2].Set)
	require.Empty(t, problems)
	require.Equal(t, 60.0, c.Rules.Thresholds.LevelAt)
	require.Equal(t, "0 11 * * wed", c.Rules.Cadences.CheckIn.String())
	require.Equal(t, "20:00", c.Rules.Quiet.From.String())
	require.Equal(t, "Hillside Vets", c.Rules.Name)

	vet.post("/desk/rules/back", "to", "1").done("rolled-back")
	page = vet.get("/desk/rules").ok()
	page.has("ol.changes", "Sam Vet", "too many", "back to change 1", "in effect", "High index: alert from: 50 → 60", "Quiet hours: 20:00-09:00 → 21:00-08:00")
	page = vet.get("/desk/rules?change=thresholds.index.level_at").ok()
	page.has("form[action=/desk/rules/try] .hint", "Allowed: 0 to 100")
	page.has("table.settings", "changed at the desk; the file says 50")
	require.Equal(t, 422, vet.post("/desk/rules/back", "to", "2", "seen", "3").status, "a page from before the last change")
	vet.post("/desk/rules/back", "to", "0").done("rolled-back")
	require.Equal(t, 422, vet.post("/desk/rules/back", "to", "99").status)
	other, err := b.store.Overlays(context.Background(), "valley")
	require.NoError(t, err)
	require.Empty(t, other)
}

// events reads a stream's events until it has one of a name.
func await(t testing.TB, r *bufio.Reader, name string) {
	t.Helper()
	for {
		line, err := r.ReadString('\n')
		require.NoError(t, err, "the stream ended before %s", name)
		if strings.TrimSpace(line) == "event: "+name {
			return
		}
	}
}

func TestAPageIsToldOfNews(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	other := b.enrol("valley", 2, "Ian", care.EnrolledDog{Name: "Moss"})
	vet := b.signedIn("hillside", account.Vet)
	ctx, stop := context.WithTimeout(t.Context(), 10*time.Second)
	defer stop()
	open := func(of string) *bufio.Reader {
		req, err := http.NewRequestWithContext(ctx, http.MethodGet, b.server.URL+"/desk/live?of="+of, nil)
		require.NoError(t, err)
		req.AddCookie(vet.cookie)
		res, err := http.DefaultClient.Do(req)
		require.NoError(t, err)
		t.Cleanup(func() { _ = res.Body.Close() })
		require.Equal(t, "text/event-stream", res.Header.Get("Content-Type"))
		r := bufio.NewReader(res.Body)
		await(t, r, "ready")
		return r
	}
	today, dog := open("today"), open(string(id))
	b.says("valley", other, "Moss has collapsed")
	b.says("hillside", id, "Bramble has collapsed, can you ring me?")
	await(t, dog, "news")
	await(t, today, "news")
	vet.get("/desk/h/"+string(id)).ok().has(".line.owner", "can you ring me")
	require.Equal(t, 404, vet.get("/desk/live?of="+string(other)).status)
	require.Equal(t, 404, b.signedIn("hillside", account.Reception).get("/desk/live?of="+string(id)).status)

	// A session that ends closes the stream.
	vet.post("/desk/sign-out-everywhere")
	await(t, dog, "ended")
}

// A price that the settings file doesn't have can be set at the desk; it needs a
// currency first.
func TestPricesAreSetAtTheDesk(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	changing(t)(&b.desk.Options)
	vet := b.signedIn("hillside", account.Vet)
	vet.get("/desk/rules").ok().has("select[name=key]", "Price of a segment sent (not set)", "Usual minutes: phoned (not set)")
	vet.post("/desk/rules/try", "key", "costs.sent_segment", "value", "0.04", "seen", "0").ok().has(".trial .wrong", "a price needs a currency")
	vet.post("/desk/rules/change", "key", "costs.currency", "value", "GBP", "seen", "0", "why", "price list").done("rule")
	vet.post("/desk/rules/try", "key", "costs.sent_segment", "value", "0.04", "seen", "1").ok().hasNot(".trial .wrong")
}

// What a change does to when things are sent is seen before it is kept.
func TestChangedTimesAreForeseen(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	changing(t)(&b.desk.Options)
	vet := b.signedIn("hillside", account.Vet)
	try := func(key, value string) *answer {
		return vet.post("/desk/rules/try", "key", key, "value", value, "seen", "0").ok()
	}
	page := try("cadences.checkin.gap", "13d")
	page.has(".trial", "it would come 26 times, now 52 times", "Tue 10 Mar 2026, 10:00", "Tue 24 Mar 2026, 10:00")
	page = try("quiet_hours", "20:00-11:00")
	page.has(".trial", "Tue 10 Mar 2026, 11:00 quiet hours: waits from 10:00")
	page = try("digest", "0 9 * * mon")
	page.has(".trial", "Mondays at 09:00", "Mon 9 Mar 2026, 09:00")
	page = try("thresholds.alerts.escalate_after", "20m")
	page.has(".trial", "does not depend on this setting")
}

func TestCadencesAreSaidInWords(t *testing.T) {
	t.Parallel()
	for expr, want := range map[string]string{
		"0 10 * * tue": "Tuesdays at 10:00", "30 8 * * mon-fri": "Monday to Friday at 08:30", "5 9 * * *": "Every day at 09:05",
		"0 10 * * 1,4": "Mondays, Thursdays at 10:00", "0 10 1 * *": "0 10 1 * *", "0 8,16 * * *": "0 8,16 * * *",
		"0 10 * * tue#2": "0 10 * * tue#2", "": "", "*/5 * * * *": "*/5 * * * *", "0 10 * * mon-": "0 10 * * mon-",
	} {
		require.Equal(t, want, cronInWords(expr), expr)
	}
}

// isSection says whether a key is a heading of others.
func isSection(path string) bool {
	for _, k := range clinic.Keys() {
		if strings.HasPrefix(k.Path, path+".") {
			return true
		}
	}
	return false
}

// No name belongs to a setting that is gone; one without a name of its own is
// called by the end of its path.
func TestNamesOfSettingsBelongToSettings(t *testing.T) {
	t.Parallel()
	known := map[string]bool{}
	for _, k := range clinic.Keys() {
		known[strings.TrimPrefix(k.Path, "thresholds.")] = true
	}
	for key := range settingNames {
		require.True(t, known[key], key)
	}
	for _, k := range clinic.Keys() {
		if changeable(k.Path) && k.Path != "costs.minutes" && !isSection(k.Path) {
			require.Contains(t, settingNames, strings.TrimPrefix(k.Path, "thresholds."), "a setting that can be changed here has a name")
		}
	}
}
