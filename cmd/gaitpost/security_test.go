package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
	"gaitpost/internal/store/redistest"
)

// aclWord is an invented password of the Redis user that deploy's file names.
const aclWord = "an-invented-word-for-redis"

const strangersPhone = "+447700900499"

// underACL is a world whose processes are the user of deploy/redis-users.acl, and
// whose records are sealed. The test itself looks at Redis as another user.
func underACL(t *testing.T) *world {
	t.Helper()
	text, err := os.ReadFile("../../deploy/redis-users.acl")
	require.NoError(t, err)
	users := string(text)
	require.Contains(t, users, "user default off\n")
	users = strings.Replace(users, "user default off\n", "user default on nopass ~* &* +@all\n", 1)
	users = strings.Replace(users, "#"+strings.Repeat("0", 64), ">"+aclWord, 1)
	file := filepath.Join(t.TempDir(), "users.acl")
	require.NoError(t, os.WriteFile(file, []byte(users), 0o600))
	server := redistest.Start(t, "--aclfile", file)
	key, err := store.NewKey(rand.Reader)
	require.NoError(t, err)
	return newWorldOn(t, &world{redis: server, url: "redis://gaitpost:" + aclWord + "@" + server.Addr + "/0", sealed: key})
}

// browser is somebody at the desk.
type browser struct {
	t   *testing.T
	web *httptest.Server
	*http.Client
}

func (w *world) pages() *browser {
	w.t.Helper()
	pages, d, err := newDesk(deskOptions{Store: w.apps[0].Store, Clinics: w.apps[0].settings, Now: w.clock.now, Log: discarded, Insecure: true})
	require.NoError(w.t, err)
	w.t.Cleanup(d.Stop)
	web := httptest.NewServer(pages)
	w.t.Cleanup(web.Close)
	jar, err := cookiejar.New(nil)
	require.NoError(w.t, err)
	return &browser{w.t, web, &http.Client{Jar: jar}}
}

func (b *browser) read(resp *http.Response, err error) (int, string) {
	b.t.Helper()
	require.NoError(b.t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(b.t, err)
	return resp.StatusCode, string(body)
}

func (b *browser) get(path string) (int, string) { return b.read(b.Get(b.web.URL + path)) }

func (b *browser) post(path string, form ...string) (int, string) {
	nonce, err := account.NewSecret(rand.Reader)
	require.NoError(b.t, err)
	values := url.Values{"nonce": {nonce}}
	for i := 0; i < len(form); i += 2 {
		values.Set(form[i], form[i+1])
	}
	return b.read(b.PostForm(b.web.URL+path, values))
}

const staffPassword = "seven green umbrellas"

// account lets somebody sign in to the desk.
func (w *world) account(id, name, role string) {
	w.t.Helper()
	var out, errs bytes.Buffer
	code := run(context.Background(), []string{"account", "add", id, "--name", name, "--role", role, "--password-stdin"}, env{
		stdin: strings.NewReader(staffPassword + "\n"), stdout: &out, stderr: &errs,
		getenv: func(n string) string { return w.environ()[n] }, now: w.clock.now,
	})
	require.Equal(w.t, 0, code, errs.String())
}

// signedIn is a member of staff at the desk.
func (w *world) signedIn(id string) *browser {
	w.t.Helper()
	b := w.pages()
	status, body := b.post("/desk/sign-in", "clinic", "hillside", "account", id, "password", staffPassword)
	require.Equal(w.t, 200, status)
	require.Contains(w.t, body, "Sign out")
	return b
}

var codeInText = regexp.MustCompile(`reply (YES \d{4}) to do it`)

// practitionerSays writes as Dr Lee, and answers with the code where one is
// asked for.
func (w *world) practitionerSays(text string) {
	w.t.Helper()
	w.got()
	w.says(drLee, text)
	for _, m := range w.got() {
		if code := codeInText.FindStringSubmatch(m); code != nil && strings.HasPrefix(m, drLee) {
			w.says(drLee, code[1])
		}
	}
}

// wholeDay is what happens between an enrolment and the next morning's digest:
// conversation, emergency, desk, commands, outbox and schedule.
func (w *world) wholeDay() {
	w.t.Helper()
	ctx := context.Background()
	w.agreed()
	w.answersAll(ruthsPhone)
	w.says(ruthsPhone, "he's collapsed and his gums are white")
	w.practitionerSays("1 OK ringing her at once")
	w.practitionerSays("1 CLOSE sent to emergency care, stable now")
	w.says(ruthsPhone, "could I move the next appointment to Friday?")
	w.says(strangersPhone, "do you look after rabbits as well?")
	w.command("plan-change", "--phone", "07700 900401", "--dog", "Bramble", "--hold", "carprofen", "--reason", "seen at the emergency clinic")
	w.account("sam.vet", "Samantha Vetter", "vet")
	b := w.signedIn("sam.vet")
	id := string(w.household(ruthsPhone).ID)
	for _, page := range []string{"/desk/today", "/desk/dogs", "/desk/h/" + id, "/desk/h/" + id + "/dogs/0", "/desk/account"} {
		status, body := b.get(page)
		require.Equal(w.t, 200, status, page)
		require.NotEmpty(w.t, body)
	}
	status, said := b.post("/desk/h/"+id+"/write", "contact", "0", "text", "The laboratory has rung: all is well.")
	require.Equal(w.t, 200, status, said)
	w.settle()
	w.goTo("2026-03-03 08:30")
	b.post("/desk/sign-out")
	w.command("keys", "rotate")
	w.command("account", "remove", "sam.vet")

	st := w.apps[0].Store
	q := store.Messages(contact.SMS)
	_, err := st.ClaimStale(ctx, store.Stale{Queue: q, Consumer: "test", Max: 10})
	require.NoError(w.t, err)
	_, err = st.DropIdleConsumers(ctx, q, time.Hour)
	require.NoError(w.t, err)
	for _, f := range []func() error{
		func() error { _, err := st.Backlog(ctx, q); return err },
		func() error { _, err := st.DueLag(ctx, w.clock.now()); return err },
		func() error { _, err := st.SetAsides(ctx, q, 5); return err },
		func() error { return st.Ping(ctx) },
	} {
		require.NoError(w.t, f())
	}
	require.Empty(w.t, w.provider.Problems())
}

// The whole of a day runs as the user of deploy's file, nothing it does is
// refused, and what it never does is.
func TestTheRedisUserMayDoWhatIsNeededAndNoMore(t *testing.T) {
	t.Parallel()
	w := underACL(t)
	w.wholeDay()
	ctx := context.Background()
	admin := w.redis.Client(t)
	refused, err := admin.Do(ctx, "ACL", "LOG").Slice()
	require.NoError(t, err)
	require.Empty(t, refused, "something was refused that is needed")
	for _, words := range [][]any{
		{"FLUSHALL"}, {"KEYS", "*"}, {"CONFIG", "GET", "*"}, {"ACL", "LIST"}, {"SHUTDOWN"},
		{"MONITOR"}, {"REPLICAOF", "NO", "ONE"}, {"SAVE"}, {"SCRIPT", "FLUSH"}, {"CLIENT", "LIST"}, {"FUNCTION", "LIST"},
		{"GET", "another:program"}, {"MIGRATE", "x", "1", "{p00}:due", "0", "1"}, {"RENAME", "{p00}:due", "{p00}:x"},
		{"EVAL", "return redis.call('KEYS','*')", "0"}, {"PUBLISH", "x", "y"}, {"DUMP", "{p00}:due"},
	} {
		err := w.client.Do(ctx, words...).Err()
		require.Error(t, err, words)
		require.Regexp(t, `permission|can.t run this command`, err.Error(), words)
	}
	anyone := redis.NewClient(&redis.Options{Addr: w.redis.Addr, Username: "gaitpost", Password: "another word"})
	defer anyone.Close()
	require.Error(t, anyone.Ping(ctx).Err())
}

// Threat: a stolen dump. Everything that Redis ever wrote to disk, commands that
// were undone since included, holds no number, no name and no word of anybody.
func TestThreatStolenDump(t *testing.T) {
	t.Parallel()
	w := underACL(t)
	w.wholeDay()
	dump := w.onDisk()
	require.Greater(t, len(dump), 20_000, "an empty dump would pass")
	require.Contains(t, dump, "{p", "it is a dump of ours")
	secrets := []string{
		"7700900", "900401", "1632960", "Ruth", "Bramble", "Dr Lee", "Samantha", "Vetter", "sam.vet", staffPassword,
		"argon2", "carprofen", "emergency clinic", "red flag", "hydro", worldKey, worldToken, w.sealed, w.sealed[30:],
	}
	texts := 0
	for _, m := range w.provider.Since(0) {
		if len(m.Body) > 8 {
			secrets, texts = append(secrets, m.Body), texts+1
			if len(m.Body) > 40 {
				secrets = append(secrets, m.Body[10:30])
			}
		}
	}
	require.Greater(t, texts, 15)
	for _, s := range secrets {
		if at := strings.Index(dump, s); at >= 0 {
			t.Errorf("%q is in the dump: %q", s, dump[max(at-60, 0):min(at+60, len(dump))])
		}
	}
	// The very same day in the clear does hold them, so that the search can fail.
	clear := newWorld(t)
	clear.wholeDayInTheClear()
	require.Contains(t, clear.onDisk(), "Bramble")
	require.Contains(t, clear.onDisk(), "7700900401")
}

func (w *world) wholeDayInTheClear() {
	w.agreed()
	w.answersAll(ruthsPhone)
}

// onDisk is all that Redis has written to its append-only file.
func (w *world) onDisk() string {
	w.t.Helper()
	dir, err := w.redis.Client(w.t).ConfigGet(context.Background(), "dir").Result()
	require.NoError(w.t, err)
	var all strings.Builder
	require.NoError(w.t, filepath.WalkDir(dir["dir"], func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.Contains(path, "appendonly") {
			return err
		}
		text, err := os.ReadFile(path)
		all.Write(text)
		return err
	}))
	return all.String()
}

// Threat: forged webhooks. What is not signed, is signed with another secret or
// was changed after signing is refused alike, without a word, and changes nothing.
func TestThreatForgedWebhook(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	before := w.household(ruthsPhone).Version
	form := worldForm(ruthsPhone, "SM00000000000000000000000000000bad", "STOP")
	require.Equal(t, 403, w.post("another token", form))
	signed, err := smsprovider.Request(context.Background(), worldToken, w.web.URL+"/hook/hillside/texts", form)
	require.NoError(t, err)
	changed := signed.Clone(context.Background())
	form.Set("Body", "START")
	changed.Body = io.NopCloser(strings.NewReader(form.Encode()))
	changed.ContentLength = int64(len(form.Encode()))
	unsigned := changed.Clone(context.Background())
	unsigned.Header.Del("X-Twilio-Signature")
	for _, r := range []*http.Request{changed, unsigned} {
		r.Body = io.NopCloser(strings.NewReader(form.Encode()))
		resp, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		body, err := io.ReadAll(resp.Body)
		resp.Body.Close()
		require.NoError(t, err)
		require.Equal(t, 403, resp.StatusCode)
		require.Empty(t, body)
	}
	require.Equal(t, before, w.household(ruthsPhone).Version)
}

// Threat: guessed links. Whatever is guessed reads the same as what is there and
// not open to the guesser: hook paths, the desk's pages, households' ids.
func TestThreatGuessedLink(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	id := string(w.household(ruthsPhone).ID)
	b := w.pages()
	b.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	for _, path := range []string{"/desk/h/" + id, "/desk/h/" + strings.Repeat("0", 32), "/desk/h/x", "/desk/no/such/page", "/desk/dogs"} {
		resp, err := b.Get(b.web.URL + path)
		require.NoError(t, err)
		resp.Body.Close()
		require.Equal(t, 303, resp.StatusCode, path)
		require.Contains(t, resp.Header.Get("Location"), "/desk/sign-in")
	}
	form := worldForm(ruthsPhone, "SM00000000000000000000000000000009", "hello")
	answers := map[string]bool{}
	for _, path := range []string{"/hook/hillside/other", "/hook/riverside/texts", "/hook/hillside/texts/other", "/hook/", "/hook/%2e%2e/texts"} {
		resp, err := http.PostForm(w.web.URL+path, form)
		status, body := b.read(resp, err)
		require.Equal(t, 404, status, path)
		answers[body] = true
	}
	require.LessOrEqual(t, len(answers), 1, "they can be told apart")

	// A cookie with a ticket that was made up is worth as much as none.
	req, err := http.NewRequest(http.MethodGet, b.web.URL+"/desk/h/"+id, nil)
	require.NoError(t, err)
	req.AddCookie(&http.Cookie{Name: "desk", Value: "hillside~sam.vet~" + strings.Repeat("A", 43)})
	resp, err := b.Do(req)
	require.NoError(t, err)
	resp.Body.Close()
	require.Equal(t, 303, resp.StatusCode)
}

// Threat: a spoofed practitioner. The forger writes from her number; what the
// provider sends goes to her. He reads nothing and ends nothing.
func TestThreatSpoofedPractitioner(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.answersAll(ruthsPhone)
	w.says(ruthsPhone, "he's collapsed and his gums are white")
	w.got()
	for _, forged := range []string{"LIST", "1 CLOSE phoned", "1 QUIET 180", "1 CLOSE died", "YES 0000", "YES 1234", "yes"} {
		w.says(drLee, forged)
		for _, m := range w.got() {
			require.True(t, strings.HasPrefix(m, drLee), "an answer went elsewhere: %s", m)
		}
	}
	h := w.household(ruthsPhone).Household
	require.True(t, h.Alerts[0].IsOpen())
	require.Zero(t, h.Dogs[0].Quiet)
	require.Equal(t, care.Followed, h.Dogs[0].Status)
	// She herself reads the code; what is held on the alert is decided first.
	w.command("plan-change", "--phone", "07700 900401", "--dog", "Bramble", "--stop", "carprofen", "--reason", "suspected")
	w.practitionerSays("1 CLOSE phoned")
	for _, a := range w.household(ruthsPhone).Household.Alerts {
		require.False(t, a.Reason == care.RedFlag && a.IsOpen())
	}
}

// Threat: a practitioner's telephone is lost. One command, and it is dead to us,
// with the service running; another, and it is alive again.
func TestThreatLostPhone(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.answersAll(ruthsPhone)
	require.Contains(t, w.command("lost-phone", "07700 900101"), "of lee is cut off")
	w.says(ruthsPhone, "he's collapsed and his gums are white")
	for _, text := range []string{"LIST", "1 OK", "HELP"} {
		w.says(drLee, text)
	}
	for _, m := range w.got() {
		require.False(t, strings.HasPrefix(m, drLee), m)
	}
	require.Equal(t, care.OpenAlert, w.household(ruthsPhone).Household.Alerts[0].State)
	w.clock.advance(16 * time.Minute)
	w.settle()
	told := ""
	for _, m := range w.got() {
		told += m + "\n"
	}
	require.Contains(t, told, "+447700900109: NOW", "the last resort is told instead")
	w.command("lost-phone", "07700 900101", "--found")
	w.says(drLee, "LIST")
	w.hears(drLee, "Bramble")
	_, errs, code := asked(t, w.environ(), "lost-phone", "07700 900777")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "no practitioner of this clinic has that number")
}
