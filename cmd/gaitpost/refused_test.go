package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
)

func TestRequestsThatAreRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.got()
	before := w.household(ruthsPhone).Version
	form := worldForm(ruthsPhone, "SM00000000000000000000000000000001", "2")
	require.Equal(t, 403, w.post("another token", form))
	form.Set("AccountSid", "AC000000000000000000000000000000bb")
	require.Equal(t, 403, w.post(worldToken, form))
	form = worldForm(ruthsPhone, "SM00000000000000000000000000000001", "2")
	form.Set("To", "+441632960151")
	require.Equal(t, 403, w.post(worldToken, form))
	form = worldForm(ruthsPhone, "SM00000000000000000000000000000001", strings.Repeat("a", 70_000))
	require.Equal(t, 413, w.post(worldToken, form))
	resp, err := http.Post(w.web.URL+"/hook/elsewhere/texts", "application/x-www-form-urlencoded", strings.NewReader("a=b"))
	require.NoError(t, err)
	body, _ := io.ReadAll(resp.Body)
	resp.Body.Close()
	require.Equal(t, 404, resp.StatusCode)
	require.Empty(t, body)
	w.settle()
	require.Equal(t, before, w.household(ruthsPhone).Version, "nothing of it was kept")
	require.Empty(t, w.got())
}

func TestADeliveryTwiceHappensOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.got()
	form := worldForm(ruthsPhone, "SM000000000000000000000000000000f1", "2")
	require.Equal(t, 200, w.post(worldToken, form))
	w.settle()
	after := w.household(ruthsPhone).Version
	require.Len(t, w.got(), 1)
	for range 3 {
		require.Equal(t, 200, w.post(worldToken, form))
	}
	w.settle()
	require.Equal(t, after, w.household(ruthsPhone).Version)
	require.Empty(t, w.got())
}

// roundTrips counts what goes over the wire: each call, each pipeline.
type roundTrips struct{ n atomic.Int64 }

func (r *roundTrips) DialHook(next redis.DialHook) redis.DialHook { return next }

func (r *roundTrips) ProcessHook(next redis.ProcessHook) redis.ProcessHook {
	return func(ctx context.Context, cmd redis.Cmder) error {
		r.n.Add(1)
		return next(ctx, cmd)
	}
}

func (r *roundTrips) ProcessPipelineHook(next redis.ProcessPipelineHook) redis.ProcessPipelineHook {
	return func(ctx context.Context, cmds []redis.Cmder) error {
		r.n.Add(1)
		return next(ctx, cmds)
	}
}

func TestAnOrdinaryMessageCostsTwoRoundTrips(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	counted := &roundTrips{}
	w.client.AddHook(counted)
	for i, c := range []struct {
		text string
		most int64
	}{
		{"1", 2}, {"2ish", 2}, {"a bit more than last week I think", 2}, {"thanks", 2},
		{"he's been sick three times", 2}, {"STOP", 2}, {"START", 2},
	} {
		counted.n.Store(0)
		require.Equal(t, 200, w.post(worldToken, worldForm(ruthsPhone, fmt.Sprintf("SM%032x", 0xa0+i), c.text)))
		require.Equal(t, c.most, counted.n.Load(), c.text)
	}
	counted.n.Store(0)
	require.Equal(t, 200, w.post(worldToken, worldForm(ruthsPhone, fmt.Sprintf("SM%032x", 0xa0), "1")))
	require.EqualValues(t, 1, counted.n.Load(), "a repeated delivery is known once it is loaded")
}

func TestRedisAwayMeansComeBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.got()
	require.Equal(t, 200, w.post(worldToken, worldForm(ruthsPhone, fmt.Sprintf("SM%032x", 0xb1), "1")))
	w.redis.Kill()
	began := time.Now()
	missed := worldForm(ruthsPhone, fmt.Sprintf("SM%032x", 0xb2), "2")
	require.Equal(t, 503, w.post(worldToken, missed))
	require.Less(t, time.Since(began), 6*time.Second, "the provider waits 15 s")
	status, body := w.get("/readyz")
	require.Equal(t, 503, status)
	require.Contains(t, body, "Redis does not answer")
	status, _ = w.get("/healthz")
	require.Equal(t, 200, status)

	w.redis.Restart(t)
	require.Eventually(t, func() bool { return w.post(worldToken, missed) == 200 }, 10*time.Second, 20*time.Millisecond)
	status, body = w.get("/readyz")
	require.Equal(t, 200, status, body)
	heard := map[string]int{}
	for _, e := range w.log(ruthsPhone) {
		if e.Event.Message != nil {
			heard[e.Event.Message.ID]++
		}
	}
	require.Equal(t, 1, heard[fmt.Sprintf("SM%032x", 0xb1)])
	require.Equal(t, 1, heard[fmt.Sprintf("SM%032x", 0xb2)])
}

func (w *world) get(path string) (int, string) {
	w.t.Helper()
	resp, err := http.Get(w.web.URL + path)
	require.NoError(w.t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(w.t, err)
	return resp.StatusCode, string(body)
}

func TestALoopThatStandsStillShows(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.settle()
	w.apps[0].pulse.expect("due")
	w.clock.advance(59 * time.Second)
	status, body := w.get("/readyz")
	require.Equal(t, 200, status, body)
	w.clock.advance(2 * time.Second)
	status, body = w.get("/readyz")
	require.Equal(t, 503, status)
	require.Contains(t, body, "the loop due has not finished a round")
	w.settle()
	w.apps[0].pulse.beat("due")
	status, body = w.get("/readyz")
	require.Equal(t, 200, status, body)
}

func TestTwoOfEverythingSendEachPromptOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	var table strings.Builder
	table.WriteString("households:\n")
	number := func(i int) string { return fmt.Sprintf("+4477009004%02d", i) }
	for i := range 10 {
		fmt.Fprintf(&table, "  - {owner: Owner%c, phone: %q, dogs: [{dog: Dog%c}]}\n", 'a'+i, number(i), 'a'+i)
	}
	w.enrol(table.String())
	w.settle()
	for i := range 10 {
		w.says(number(i), "yes")
		w.got()
		w.answersAllFrom(number(i))
	}
	w.goTo("2026-03-10 09:59")
	w.got()
	other := w.newApp(w.client)
	w.clock.to(london(t, "2026-03-10 10:00"))
	for range 4 {
		var all sync.WaitGroup
		for _, a := range []*app{w.apps[0], other} {
			all.Go(func() {
				if err := a.Step(context.Background()); err != nil {
					t.Error(err)
				}
			})
		}
		all.Wait()
		w.clock.advance(20 * time.Second)
	}
	prompts := map[string]int{}
	for _, m := range w.got() {
		to, _, _ := strings.Cut(m, ":")
		prompts[to]++
	}
	for i := range 10 {
		require.Equal(t, 1, prompts[number(i)], number(i))
	}
	require.Len(t, prompts, 10)
}

// answersAllFrom is answersAll without looking at what came before.
func (w *world) answersAllFrom(number string) {
	w.t.Helper()
	for range 12 {
		o := w.household(number).Household.Contacts[0].Talk.Open
		if o == nil {
			w.got()
			return
		}
		answer := "1"
		if strings.HasPrefix(o.Session.Step, "signs") {
			answer = "no"
		}
		w.says(number, answer)
	}
	w.t.Fatal("the check-in did not end")
}

// Nothing that names a person may be in what is logged, counted or answered.
func TestNothingOfAnybodyLeaks(t *testing.T) {
	t.Parallel()
	const phone, owner, dog, words = "+447700900477", "Zephyrine", "Quillonet", "marzipanned"
	w := newWorld(t)
	out := w.enrol(fmt.Sprintf("households:\n  - {owner: %s, phone: %q, dogs: [{dog: %s, medicines: nsaid:carprofen}]}\n", owner, phone, dog))
	require.NotContains(t, out, phone)
	w.settle()
	w.says(phone, "yes "+words)
	w.says(phone, "he's collapsed, "+words)
	w.says("+447700900478", words+" from nobody you know, he can't breathe")
	w.says(drLee, "OK "+words)
	for i, kind := range []smsprovider.FaultKind{smsprovider.Answer500, smsprovider.Answer429, smsprovider.Cut, smsprovider.AcceptAndCut} {
		w.provider.Inject(smsprovider.Fault{Kind: kind, Times: 1})
		w.says(phone, fmt.Sprintf("%s %d and he's been sick", words, i))
		w.clock.advance(time.Minute)
		w.settle()
	}
	w.provider.SetHandset(phone, smsprovider.NoSuch)
	w.says(phone, words+"?")
	bad := worldForm(phone, "SM00000000000000000000000000000001", words)
	require.Equal(t, 403, w.post("another", bad))
	w.redis.Kill()
	require.Equal(t, 503, w.post(worldToken, bad))
	_, ready := w.get("/readyz")
	var metrics bytes.Buffer
	rec := &recorder{header: http.Header{}, body: &metrics}
	promhttp.HandlerFor(w.apps[0].Registry, promhttp.HandlerOpts{}).ServeHTTP(rec, &http.Request{Method: "GET", Header: http.Header{}})
	require.Contains(t, metrics.String(), "gaitpost_redis_up 0")
	require.Contains(t, metrics.String(), `gaitpost_webhook_requests_total{channel="texts",clinic="hillside",reason="red-flag"}`)
	require.Contains(t, w.logs.String(), `"reason":"red-flag"`)
	for what, text := range map[string]string{"log": w.logs.String(), "metrics": metrics.String(), "readiness": ready} {
		for _, mark := range []string{"7700900477", "7700900478", "7700 900477", owner, dog, words, "7700900101", worldToken, worldKey} {
			require.NotContains(t, strings.ToLower(text), strings.ToLower(mark), what)
		}
	}
}

type recorder struct {
	header http.Header
	body   *bytes.Buffer
}

func (r *recorder) Header() http.Header         { return r.header }
func (r *recorder) Write(b []byte) (int, error) { return r.body.Write(b) }
func (r *recorder) WriteHeader(int)             {}

// A Redis that takes connections and never answers is away too.
func TestARedisThatHangsIsAway(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	c, err := store.NewClient("redis://" + l.Addr().String())
	require.NoError(t, err)
	defer c.Close()
	began := time.Now()
	ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
	defer cancel()
	_, err = newApp(ctx, appOptions{Redis: c, Hasher: mustHasher(t), Now: time.Now, Log: discarded})
	require.ErrorIs(t, err, store.ErrUnavailable)
	require.Less(t, time.Since(began), 3*time.Second)
}
