package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
	"gaitpost/internal/store/redistest"
)

// asCommand in the environment lets the test's own binary be the program, so
// that tests can run it as a process of its own.
const asCommand = "GAITPOST_TEST_AS_COMMAND"

func TestMain(m *testing.M) {
	if os.Getenv(asCommand) != "" {
		main()
	}
	code := m.Run()
	removeFaultBinary()
	os.Exit(code)
}

var discarded = slog.New(slog.DiscardHandler)

func mustHasher(t testing.TB) *contact.Hasher {
	h, err := contact.NewHasher([]byte(worldKey))
	require.NoError(t, err)
	return h
}

func TestServeSaysEverythingThatIsWrong(t *testing.T) {
	t.Parallel()
	_, errs, code := asked(t, nil, "serve", "--config", "../../testdata/config/bad_everything_at_once.yaml", "--role", "cook")
	require.Equal(t, 1, code)
	for _, want := range []string{"--role is \"cook\"", "bad_everything_at_once.yaml:", "problems:", "--redis is missing", "GAITPOST_CONTACT_KEY is not set"} {
		require.Contains(t, errs, want)
	}
	_, errs, code = asked(t, nil, "serve", "--config", "/nowhere", "--redis", "http://:a-password@x")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "/nowhere")
	require.Contains(t, errs, "the address of Redis can't be read")
	require.NotContains(t, errs, "a-password")
}

func TestServeRefusesARedisThatKeepsNothing(t *testing.T) {
	t.Parallel()
	d := servedSettings(t, redistest.Start(t, "--appendonly", "no").URL(), "http://127.0.0.1:1")
	_, errs, code := asked(t, d, "serve", "--listen", "127.0.0.1:0", "--metrics-listen", "")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "this Redis keeps nothing on disk")
}

func TestServeSaysThatRedisIsAway(t *testing.T) {
	t.Parallel()
	d := servedSettings(t, "redis://127.0.0.1:1", "http://127.0.0.1:1")
	_, errs, code := asked(t, d, "serve", "--listen", "127.0.0.1:0", "--metrics-listen", "")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "the store can't be reached")
}

const servedURL = "https://texts.hillside.example"

func servedSettings(t *testing.T, redisURL, api string) map[string]string {
	file := filepath.Join(t.TempDir(), "hillside.yaml")
	require.NoError(t, os.WriteFile(file, fmt.Appendf(nil, worldSettings, servedURL, api), 0o600))
	return map[string]string{
		"GAITPOST_CONFIG": file, "GAITPOST_REDIS_URL": redisURL,
		"GAITPOST_CONTACT_KEY": worldKey, "HILLSIDE_TOKEN": worldToken,
	}
}

// served is the program, serving as a process of its own.
type served struct {
	cmd  *exec.Cmd
	addr map[string]string // "requests", "metrics"
	log  *lockedBuffer
	read chan struct{} // closed when its log has ended
}

func serveIt(t *testing.T, environ map[string]string) *served {
	t.Helper()
	s := &served{addr: map[string]string{}, log: &lockedBuffer{}, read: make(chan struct{})}
	s.cmd = exec.Command(os.Args[0], "serve", "--listen", "127.0.0.1:0", "--metrics-listen", "127.0.0.1:0")
	s.cmd.Env = append(os.Environ(), asCommand+"=1")
	for k, v := range environ {
		s.cmd.Env = append(s.cmd.Env, k+"="+v)
	}
	errs, err := s.cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, s.cmd.Start())
	t.Cleanup(func() { _ = s.cmd.Process.Kill() })
	lines := bufio.NewScanner(io.TeeReader(errs, s.log))
	for len(s.addr) < 2 {
		require.True(t, lines.Scan(), s.log.String())
		var entry struct{ Msg, For, Address string }
		if json.Unmarshal(lines.Bytes(), &entry) == nil && entry.Msg == "listening" {
			s.addr[entry.For] = entry.Address
		}
	}
	go func() {
		defer close(s.read)
		for lines.Scan() {
		}
	}()
	return s
}

// post posts a message as the provider does that knows the public address.
func (s *served) post(client *http.Client, from, sid, text string) int {
	form := worldForm(from, sid, text)
	r, err := smsprovider.Request(context.Background(), worldToken, servedURL+"/hook/hillside/texts", form)
	if err != nil {
		return 0
	}
	r.URL.Scheme, r.URL.Host = "http", s.addr["requests"]
	resp, err := client.Do(r)
	if err != nil {
		return 0
	}
	defer resp.Body.Close()
	_, _ = io.Copy(io.Discard, resp.Body)
	return resp.StatusCode
}

// A process that is told to stop in the middle of traffic finishes what it has
// begun: every message it answered with 200 is in the log, once.
func TestAStopInMidTrafficLosesNothing(t *testing.T) {
	t.Parallel()
	redis := redistest.Start(t)
	provider, err := smsprovider.New(smsprovider.Options{
		Accounts: []smsprovider.Account{{SID: worldAccount, Token: worldToken, Numbers: []smsprovider.Number{{E164: worldNumber}}}},
		Now:      time.Now,
	})
	require.NoError(t, err)
	api := httptest.NewServer(provider)
	defer api.Close()
	environ := servedSettings(t, redis.URL(), api.URL)
	s := serveIt(t, environ)

	resp, err := http.Get("http://" + s.addr["metrics"] + "/metrics")
	require.NoError(t, err)
	body, err := io.ReadAll(resp.Body)
	resp.Body.Close()
	require.NoError(t, err)
	require.Contains(t, string(body), "gaitpost_redis_up 1")
	resp, err = http.Get("http://" + s.addr["requests"] + "/metrics")
	require.NoError(t, err)
	resp.Body.Close()
	require.Equal(t, 404, resp.StatusCode, "metrics are not for the internet")

	taken := s.traffic(t, 150)
	require.NoError(t, s.cmd.Process.Signal(syscall.SIGTERM))
	all := taken()
	<-s.read
	require.NoError(t, s.cmd.Wait(), s.log.String())
	require.GreaterOrEqual(t, len(all), 150)

	c, err := store.NewClient(redis.URL())
	require.NoError(t, err)
	defer c.Close()
	st, err := store.Open(context.Background(), store.Options{Client: c, Hasher: mustHasher(t)})
	require.NoError(t, err)
	kept := map[string]int{}
	for i := range trafficHands {
		id := st.ID("hillside", contact.Address{Channel: contact.SMS, Value: handOf(i)})
		entries, err := st.ReadLog(context.Background(), "hillside", id, 0, 100_000)
		require.NoError(t, err)
		for _, e := range entries {
			if e.Event.Message != nil {
				kept[e.Event.Message.ID]++
			}
		}
	}
	for _, sid := range all {
		require.Equal(t, 1, kept[sid], sid)
	}
	b, err := st.Backlog(context.Background(), store.Messages(contact.SMS))
	require.NoError(t, err)
	require.Zero(t, b.Pending, "what was not sent went back to the queue")
	require.Zero(t, b.Aside)
}

const trafficHands = 8

func handOf(i int) string { return fmt.Sprintf("+4477009005%02d", i) }

// traffic lets several handsets write one message after the other until the
// process takes no more. It returns once n messages were taken; the result waits
// for the rest and lists all that were.
func (s *served) traffic(t *testing.T, n int) func() []string {
	var mu sync.Mutex
	var taken []string
	enough := make(chan struct{})
	var hands sync.WaitGroup
	for i := range trafficHands {
		hands.Go(func() {
			client := &http.Client{Transport: &http.Transport{}}
			for k := 0; ; k++ {
				sid := fmt.Sprintf("SM%016x%016x", i+1, k+1)
				if s.post(client, handOf(i), sid, "is the surgery open on Sunday?") != 200 {
					return
				}
				mu.Lock()
				taken = append(taken, sid)
				if len(taken) == n {
					close(enough)
				}
				mu.Unlock()
			}
		})
	}
	select {
	case <-enough:
	case <-time.After(30 * time.Second):
		t.Fatalf("the traffic did not get through: %s", s.log.String())
	}
	return func() []string {
		hands.Wait()
		return taken
	}
}

func TestSettingsThatChangeOnDiskAreNoted(t *testing.T) {
	t.Parallel()
	d := servedSettings(t, "redis://127.0.0.1:1", "http://127.0.0.1:1")
	now := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	e := env{stderr: io.Discard, getenv: func(n string) string { return d[n] }, now: func() time.Time { return now }}
	s, err := prepare(e, serveOptions{role: "all"}, discarded)
	require.NoError(t, err)
	defer s.client.Close()
	require.Empty(t, s.settings.notes())

	text, err := os.ReadFile(d["GAITPOST_CONFIG"])
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(d["GAITPOST_CONFIG"], append(text, "quiet_hours: 20:00-09:00\n"...), 0o600))
	require.Empty(t, s.settings.notes(), "one look holds a minute")
	now = now.Add(time.Minute)
	require.Contains(t, s.settings.notes()[0], "have changed since the start")

	require.NoError(t, os.WriteFile(d["GAITPOST_CONFIG"], append(text, "quiet_hours: 25:00-09:00\n"...), 0o600))
	now = now.Add(time.Minute)
	require.Contains(t, s.settings.notes()[0], "the settings on disk have 1 problem")
}
