package main

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/dialog"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
	"gaitpost/internal/store/redistest"
)

// An invented practice and invented people; the numbers are from Ofcom's ranges
// for drama.
const (
	worldAccount = "AC000000000000000000000000000000aa"
	worldToken   = "an invented token of the tests"
	worldKey     = "an invented key for the tests"
	worldNumber  = "+441632960150"
	drLee        = "+447700900101"
	ruthsPhone   = "+447700900401"
)

// worldSettings are a clinic whose hook is at %[1]s and whose provider is at
// %[2]s.
const worldSettings = `id: hillside
name: Hillside Vets
zone: Europe/London
region: GB
phone: 01632 960100
emergency: 01632 960999
person_number: 999
public_url: %[1]s
hours:
  mon-fri: 08:30-18:30
practitioners:
  - id: lee
    name: Dr Lee
    contacts: "sms: +44 7700 900101"
    digest: yes
last_resort: "sms: +44 7700 900109"
digest: 0 8 * * mon-fri
channels:
  - name: texts
    kind: sms
    account: AC000000000000000000000000000000aa
    number: +44 1632 960150
    auth_token_env: HILLSIDE_TOKEN
    api: %[2]s
    rate: 100
`

// simClock is a clock that only tests move.
type simClock struct{ at atomic.Int64 }

func (c *simClock) now() time.Time          { return time.Unix(c.at.Load(), 0).UTC() }
func (c *simClock) to(t time.Time)          { c.at.Store(t.Unix()) }
func (c *simClock) advance(d time.Duration) { c.to(c.now().Add(d)) }

// london is a local time in the practice's zone.
func london(t testing.TB, text string) time.Time {
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	at, err := time.ParseInLocation("2006-01-02 15:04", text, zone)
	require.NoError(t, err)
	return at
}

// world is a whole deployment: a Redis of its own, apps on it, the provider's
// stand-in, and the clock that all share.
type world struct {
	t        *testing.T
	clock    *simClock
	redis    *redistest.Server
	url      string // of Redis, for whoever the world's processes are there
	sealed   string // the keys that seal what is stored, "" for none
	client   redis.UniversalClient
	provider *smsprovider.Provider
	web      *httptest.Server
	config   string
	apps     []*app
	logs     *lockedBuffer
	read     int // messages of the provider's ledger that were looked at
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// newWorld begins on a Monday morning in term.
func newWorld(t *testing.T) *world {
	server := redistest.Start(t)
	return newWorldOn(t, &world{redis: server, url: server.URL()})
}

// newWorldOn begins on a Redis that is there.
func newWorldOn(t *testing.T, w *world) *world {
	w.t, w.clock, w.logs = t, &simClock{}, &lockedBuffer{}
	w.clock.to(london(t, "2026-03-02 09:00"))
	var front atomic.Pointer[http.ServeMux]
	w.web = httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) { front.Load().ServeHTTP(rw, r) }))
	t.Cleanup(w.web.Close)
	var err error
	w.provider, err = smsprovider.New(smsprovider.Options{
		Accounts: []smsprovider.Account{{SID: worldAccount, Token: worldToken, Numbers: []smsprovider.Number{
			{E164: worldNumber, Hook: w.web.URL + "/hook/hillside/texts", Retries: 0, AdvancedOptOut: true},
		}}}, Now: w.clock.now,
	})
	require.NoError(t, err)
	api := httptest.NewServer(w.provider)
	t.Cleanup(api.Close)
	w.config = filepath.Join(t.TempDir(), "hillside.yaml")
	require.NoError(t, os.WriteFile(w.config, fmt.Appendf(nil, worldSettings, w.web.URL, api.URL), 0o600))
	w.client, err = store.NewClient(w.url)
	require.NoError(t, err)
	t.Cleanup(func() { _ = w.client.Close() })
	a := w.newApp(w.client)
	mux := http.NewServeMux()
	mux.Handle("/hook/", a.Hooks)
	(&health{app: a}).register(mux)
	front.Store(mux)
	return w
}

func (w *world) environ() map[string]string {
	return map[string]string{
		"GAITPOST_CONFIG": w.config, "GAITPOST_REDIS_URL": w.url,
		"GAITPOST_CONTACT_KEY": worldKey, "HILLSIDE_TOKEN": worldToken, "GAITPOST_SEAL_KEYS": w.sealed,
	}
}

// newApp starts one more app on the same Redis.
func (w *world) newApp(client redis.UniversalClient) *app {
	w.t.Helper()
	builtin, err := dialog.Builtin()
	require.NoError(w.t, err)
	src := clinic.SourceAt(w.config, func(n string) string { return w.environ()[n] }, builtin)
	src.Files = firstRead(src.Files)
	clinics, problems := clinic.LoadFrom(src)
	require.NoError(w.t, refuse(problems))
	h, err := contact.NewHasher([]byte(worldKey))
	require.NoError(w.t, err)
	keys, err := store.ParseKeyring(w.sealed)
	require.NoError(w.t, err)
	a, err := newApp(context.Background(), appOptions{
		Keys:    keys,
		Clinics: clinics, Overlay: overlaysOn(src, clinics), Redis: client, Hasher: h, Now: w.clock.now,
		Log: slog.New(slog.NewJSONHandler(w.logs, nil)),
	})
	require.NoError(w.t, err)
	w.apps = append(w.apps, a)
	return a
}

// command runs one command line of the practice's, at the world's time.
func (w *world) command(args ...string) string {
	w.t.Helper()
	var out, errs bytes.Buffer
	code := run(context.Background(), args, env{
		stdin: strings.NewReader(""), stdout: &out, stderr: &errs,
		getenv: func(n string) string { return w.environ()[n] }, now: w.clock.now,
	})
	require.Equal(w.t, 0, code, errs.String())
	return out.String()
}

// enrol enrols households from YAML.
func (w *world) enrol(text string) string {
	w.t.Helper()
	file := filepath.Join(w.t.TempDir(), "households.yaml")
	require.NoError(w.t, os.WriteFile(file, []byte(text), 0o600))
	return w.command("enrol", file)
}

// settle does what is due, and lets the provider report.
func (w *world) settle() {
	w.t.Helper()
	for range 3 {
		for _, a := range w.apps {
			require.NoError(w.t, a.Step(context.Background()))
		}
		w.provider.Advance(context.Background(), w.clock.now().Add(10*time.Second))
	}
}

// goTo moves the clock on: in long steps while there is far to go, then by the
// quarter of an hour, as everything the tests look at happens at its end.
func (w *world) goTo(local string) {
	w.t.Helper()
	for to := london(w.t, local); w.clock.now().Before(to); {
		step := 15 * time.Minute
		if to.Sub(w.clock.now()) > 6*time.Hour {
			step = 2 * time.Hour
		}
		w.clock.to(earlier(w.clock.now().Add(step), to))
		w.settle()
	}
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// says lets a handset write, and everything that follows from it happen.
func (w *world) says(from, text string) {
	w.t.Helper()
	d, err := w.provider.From(context.Background(), smsprovider.Text{From: from, To: worldNumber, Body: text})
	require.NoError(w.t, err)
	require.Equal(w.t, 200, d.Status, text)
	w.clock.advance(time.Second)
	w.settle()
}

// got returns what was sent since it was last asked, "number: text".
func (w *world) got() []string {
	all := w.provider.Since(w.read)
	w.read += len(all)
	var texts []string
	for _, m := range all {
		if m.Direction == smsprovider.OutboundAPI {
			texts = append(texts, m.To+": "+m.Body)
		}
	}
	return texts
}

// hears expects just one text, to a number, with these words in it.
func (w *world) hears(to string, words ...string) {
	w.t.Helper()
	texts := w.got()
	require.Len(w.t, texts, 1)
	w.isText(texts[0], to, words...)
}

func (w *world) isText(text, to string, words ...string) {
	w.t.Helper()
	require.True(w.t, strings.HasPrefix(text, to+": "), text)
	for _, word := range words {
		require.Contains(w.t, text, word)
	}
}

// household is a household as stored.
func (w *world) household(number string) store.Loaded {
	w.t.Helper()
	st := w.apps[0].Store
	l, err := st.Load(context.Background(), "hillside", st.ID("hillside", contact.Address{Channel: contact.SMS, Value: number}))
	require.NoError(w.t, err)
	return l
}

// log is a household's log.
func (w *world) log(number string) []store.LogEntry {
	w.t.Helper()
	entries, err := w.apps[0].Store.ReadLog(context.Background(), "hillside", w.household(number).ID, 0, 10000)
	require.NoError(w.t, err)
	return entries
}

// worldForm is a message as the provider posts it.
func worldForm(from, sid, text string) url.Values {
	return url.Values{
		"AccountSid": {worldAccount}, "From": {from}, "To": {worldNumber}, "Body": {text},
		"MessageSid": {sid}, "SmsSid": {sid}, "NumMedia": {"0"}, "NumSegments": {"1"}, "ApiVersion": {"2010-04-01"},
	}
}

// post posts a form signed with a token, and returns the status.
func (w *world) post(token string, form url.Values) int {
	w.t.Helper()
	r, err := smsprovider.Request(context.Background(), token, w.web.URL+"/hook/hillside/texts", form)
	require.NoError(w.t, err)
	resp, err := http.DefaultClient.Do(r)
	require.NoError(w.t, err)
	defer resp.Body.Close()
	return resp.StatusCode
}

// rewrite changes the settings on disk.
func (w *world) rewrite(from, to string) {
	w.t.Helper()
	text, err := os.ReadFile(w.config)
	require.NoError(w.t, err)
	require.Contains(w.t, string(text), from)
	require.NoError(w.t, os.WriteFile(w.config, bytes.ReplaceAll(text, []byte(from), []byte(to)), 0o600))
}
