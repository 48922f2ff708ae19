package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/dialog"
	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
	"gaitpost/internal/store/redistest"
)

// soakSize is how much of an hour's traffic a soak has.
type soakSize struct {
	owners  int
	each    int           // messages of owners in every five seconds
	keyLife time.Duration // of event keys, shortened as the hour is
}

// soakStep is what passes at once; a scheduler looks as often.
const soakStep = 5 * time.Second

// soak is a practice in an hour's traffic, on a clock of its own. The provider
// keeps nothing, so that what grows is ours.
type soak struct {
	soakSize
	t      *testing.T
	clock  *simClock
	app    *app
	client redis.UniversalClient
	rules  *care.Rules
	web    *httptest.Server
	http   *http.Client
	sent   atomic.Int64
	taken  int // messages answered 200 the first time
}

func newSoak(t *testing.T, size soakSize) *soak {
	s := &soak{soakSize: size, t: t, clock: &simClock{}, http: &http.Client{}}
	s.clock.to(london(t, "2026-03-03 09:30"))
	api := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(http.StatusCreated)
		_, _ = fmt.Fprintf(w, `{"sid":"SM%032x","status":"queued"}`, s.sent.Add(1))
	}))
	t.Cleanup(api.Close)
	var hooks atomic.Pointer[http.Handler]
	s.web = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { (*hooks.Load()).ServeHTTP(w, r) }))
	t.Cleanup(s.web.Close)
	config := filepath.Join(t.TempDir(), "hillside.yaml")
	require.NoError(t, os.WriteFile(config, fmt.Appendf(nil, worldSettings, s.web.URL, api.URL), 0o600))
	builtin, err := dialog.Builtin()
	require.NoError(t, err)
	clinics, problems := clinic.Load(config, func(string) string { return worldToken }, builtin)
	require.NoError(t, refuse(problems))
	s.rules = clinics[0].Rules
	s.client, err = store.NewClient(redistest.Start(t).URL())
	require.NoError(t, err)
	t.Cleanup(func() { _ = s.client.Close() })
	s.app, err = newApp(t.Context(), appOptions{
		Clinics: clinics, Redis: s.client, Hasher: mustHasher(t), Now: s.clock.now, Log: discarded, EventLife: size.keyLife,
	})
	require.NoError(t, err)
	h := s.app.Hooks
	hooks.Store(&h)
	for i := range s.owners {
		s.enrol(i)
	}
	return s
}

// soakPhone is the i-th owner's; the lower ones are the practitioners'.
func soakPhone(i int) string { return handset(2000 + i) }

func (s *soak) enrol(i int) {
	a := contact.Address{Channel: contact.SMS, Value: soakPhone(i)}
	for k, p := range []care.Practice{
		{By: "lee", Enrol: &care.Enrolment{Owner: care.Owner{Name: "Ruth", Address: a, Via: "texts"}, Dogs: []care.EnrolledDog{{Name: "Bramble", BCS: 6, Grams: 31_000}}}},
		{By: "lee", Consent: &care.RecordConsent{State: care.Agreed, How: "in person"}},
	} {
		id := s.app.Store.ID("hillside", a)
		_, err := s.app.Store.Do(s.t.Context(), s.rules, id, care.Event{Key: fmt.Sprintf("enrol/%d/%d", i, k), At: s.clock.now(), Practice: &p})
		require.NoError(s.t, err)
	}
}

// soakWords are what owners write, in turn: answers, questions, worries, thanks.
var soakWords = []string{"1 0 0 2 1 1 0", "no", "2", "could I move Friday's appointment?", "1", "0 0 1 1 2 0 1", "he was sick once on Tuesday, fine now",
	"thank you", "a bit stiff this morning", "28.4 kg", "x", "same"}

// five lets five seconds pass: owners write, some messages come twice, and what
// is due is done.
func (s *soak) five(n int) {
	s.t.Helper()
	for k := range s.each {
		i := n*s.each + k
		form := worldForm(soakPhone(i%s.owners), fmt.Sprintf("SM%032x", i+1), soakWords[(i/s.owners+i)%len(soakWords)])
		for range 1 + btoi(i%5 == 0) {
			r, err := smsprovider.Request(context.Background(), worldToken, s.web.URL+"/hook/hillside/texts", form)
			require.NoError(s.t, err)
			resp, err := s.http.Do(r)
			require.NoError(s.t, err)
			_, _ = io.Copy(io.Discard, resp.Body)
			resp.Body.Close()
			require.Equal(s.t, 200, resp.StatusCode)
		}
		s.taken++
	}
	s.clock.advance(soakStep)
	require.NoError(s.t, s.app.Step(context.Background()))
	if n%12 == 0 {
		require.NoError(s.t, writeMetrics(io.Discard, s.app))
	}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// level is what must not grow, and what must.
type level struct {
	heap                               uint64
	goroutines, connections            int
	streams, retries, eventKeys, state int64 // state: bytes of the households' records
	entries                            int64 // of the clinical record
}

func (s *soak) level() level {
	s.t.Helper()
	ctx := context.Background()
	s.http.CloseIdleConnections()
	var l level
	var m runtime.MemStats
	runtime.GC()
	runtime.GC()
	runtime.ReadMemStats(&m)
	l.heap, l.goroutines = m.HeapAlloc, runtime.NumGoroutine()
	info, err := s.client.Info(ctx, "clients").Result()
	require.NoError(s.t, err)
	_, err = fmt.Sscanf(info[strings.Index(info, "connected_clients:"):], "connected_clients:%d", &l.connections)
	require.NoError(s.t, err)
	keys := s.client.Scan(ctx, 0, "{p*", 1000).Iterator()
	for keys.Next(ctx) {
		key := keys.Val()
		kind := strings.SplitN(key, ":", 3)[1]
		switch kind {
		case "e":
			l.eventKeys++
			life := s.client.PTTL(ctx, key).Val()
			require.LessOrEqual(s.t, life, s.keyLife, "an event key has an end")
		case "out":
			l.streams += s.client.XLen(ctx, key).Val()
		case "retry":
			l.retries += s.client.ZCard(ctx, key).Val()
		case "h":
			l.state += s.client.StrLen(ctx, key).Val()
			require.Equal(s.t, time.Duration(-1), s.client.PTTL(ctx, key).Val(), "a patient's record never ends")
		case "log":
			l.entries += s.client.LLen(ctx, key).Val()
			require.Equal(s.t, time.Duration(-1), s.client.PTTL(ctx, key).Val(), "nor does its log")
		}
	}
	require.NoError(s.t, keys.Err())
	return l
}

// soakFor runs the hour and looks at every quarter of it.
func soakFor(t *testing.T, size soakSize) {
	s := newSoak(t, size)
	steps := int(time.Hour / soakStep)
	var quarters [4]level
	for n := range steps {
		s.five(n)
		if (n+1)%(steps/4) == 0 {
			quarters[(n+1)/(steps/4)-1] = s.level()
		}
	}
	for i, l := range quarters {
		t.Logf("quarter %d: heap %.1f MB, %d goroutines, %d connections to Redis, streams %d, put off %d, event keys %d, records %.1f kB, log entries %d",
			i+1, float64(l.heap)/1e6, l.goroutines, l.connections, l.streams, l.retries, l.eventKeys, float64(l.state)/1e3, l.entries)
	}
	mid, end := quarters[1], quarters[3]
	require.LessOrEqual(t, end.heap, mid.heap*6/5+3e6, "memory is level")
	require.LessOrEqual(t, end.goroutines, mid.goroutines+10)
	require.LessOrEqual(t, end.connections, mid.connections+8)
	require.LessOrEqual(t, end.streams, int64(size.each), "what is sent leaves its stream")
	require.LessOrEqual(t, end.retries, int64(size.each))
	require.Greater(t, end.entries-mid.entries, int64(steps/2*size.each/2), "the clinical record grows with what happens")

	// Every message is in the record, once, the first of them too.
	kept := map[string]int{}
	for i := range s.owners {
		id := s.app.Store.ID("hillside", contact.Address{Channel: contact.SMS, Value: soakPhone(i)})
		entries, err := s.app.Store.ReadLog(t.Context(), "hillside", id, 0, 1_000_000)
		require.NoError(t, err)
		for _, e := range entries {
			if e.Event.Message != nil {
				kept[e.Event.Message.ID]++
			}
		}
	}
	require.Equal(t, s.taken, len(kept))
	for sid, n := range kept {
		require.Equal(t, 1, n, sid)
	}
	require.Less(t, end.eventKeys, int64(s.taken), "event keys end by themselves")
	require.Eventually(t, func() bool { return s.level().eventKeys == 0 }, 2*s.keyLife+5*time.Second, 200*time.Millisecond, "all of them")
}

// An hour of traffic in seconds. It does not run beside other tests, whose memory
// would be counted.
func TestAnHourOfTrafficLeavesNothingBehind(t *testing.T) {
	soakFor(t, soakSize{owners: 60, each: 2, keyLife: 2 * time.Second})
}
