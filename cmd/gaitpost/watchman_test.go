package main

import (
	"context"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/common/expfmt"
	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
)

// ready asks a world's process whether it is ready.
func (w *world) ready() (status int, text string) {
	w.t.Helper()
	resp, err := http.Get(w.web.URL + "/readyz")
	require.NoError(w.t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(w.t, err)
	return resp.StatusCode, string(body)
}

// every lets a time pass in steps.
func (w *world) every(step, all time.Duration) {
	w.t.Helper()
	for to := w.clock.now().Add(all); w.clock.now().Before(to); {
		w.clock.advance(step)
		w.settle()
	}
}

func (w *world) told() []care.Trouble {
	w.t.Helper()
	known, err := w.apps[0].Store.ReadWatch(context.Background())
	require.NoError(w.t, err)
	return known.Told["hillside"]
}

// toLee counts her texts with some words since it was last asked.
func (w *world) toLee(words string) int {
	n := 0
	for _, m := range w.got() {
		if strings.HasPrefix(m, drLee+": ") && strings.Contains(m, words) {
			n++
		}
	}
	return n
}

// The scheduler's process dies; the others notice, tell the practice once, and
// once again when there is one.
func TestASilentSchedulerIsNoticedAndTold(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.apps[0].o.Role = roleBot
	w.newApp(w.client).o.Role = roleSender
	w.newApp(w.client).o.Role = roleScheduler
	_, text := w.ready()
	require.Contains(t, text, "ready\ntrouble: no scheduler has finished a round yet")
	w.settle()
	_, text = w.ready()
	require.Equal(t, "ready\n", text)
	w.apps = w.apps[:2] // from now on nobody wakes what is due

	w.every(30*time.Second, 3*time.Minute)
	require.Zero(t, w.toLee("Gaitpost is not working"), "three notes may be missing")
	require.Empty(t, w.told())
	w.every(30*time.Second, 30*time.Minute)
	require.Equal(t, 1, w.toLee("no check-ins and reminders go out"), "once, however long it lasts and whoever notices")
	require.Equal(t, []care.Trouble{{Kind: care.SilentScheduler, Since: london(t, "2026-03-02 09:00").UTC()}}, w.told())
	status, text := w.ready()
	require.Equal(t, 200, status, "the bot does its own work")
	require.Contains(t, text, "trouble: the scheduler is silent since 2026-03-02 09:00:00 UTC")

	w.newApp(w.client)
	w.every(30*time.Second, 5*time.Minute)
	require.Equal(t, 1, w.toLee("work again"))
	require.Empty(t, w.told())
	_, text = w.ready()
	require.Equal(t, "ready\n", text)
}

// A provider that takes nothing for minutes is noticed while owners wait.
func TestAStuckProviderIsNoticedAndTold(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.answersAll(ruthsPhone)
	w.provider.Inject(smsprovider.Fault{Kind: smsprovider.Answer503, Times: 1})
	w.says(ruthsPhone, "could you ring me?")
	w.every(30*time.Second, 10*time.Minute)
	require.Empty(t, w.told(), "one failure and a success are no trouble")

	w.got()
	w.provider.Inject(smsprovider.Fault{Kind: smsprovider.Answer503, Times: 1000})
	began := w.clock.now()
	w.says(ruthsPhone, "he was sick again this morning")
	w.every(15*time.Second, 4*time.Minute)
	require.Empty(t, w.told())
	for len(w.told()) == 0 {
		require.Less(t, w.clock.now().Sub(began), 15*time.Minute, "a single message comes up that often")
		w.every(15*time.Second, 15*time.Second)
	}
	require.Len(t, w.told(), 1)
	require.Equal(t, care.StuckProvider, w.told()[0].Kind)
	require.Equal(t, "texts", w.told()[0].Channel)
	require.WithinDuration(t, began, w.told()[0].Since, 30*time.Second)
	_, text := w.ready()
	require.Contains(t, text, "trouble: clinic hillside: the provider of the channel texts takes nothing since")
	var metrics strings.Builder
	require.NoError(t, writeMetrics(&metrics, w.apps[0]))
	require.Contains(t, metrics.String(), `gaitpost_trouble{channel="texts",clinic="hillside",kind="provider"} 1`)
	require.Regexp(t, `gaitpost_provider_failing_seconds\{channel="texts",clinic="hillside"\} [3-9]`, metrics.String())

	w.provider.Mend()
	for i := 0; len(w.told()) > 0; i++ {
		require.Less(t, i, 10, "it is over once a message goes out, which is tried every ten minutes at least")
		w.every(time.Minute, time.Minute)
	}
	w.every(time.Minute, 10*time.Minute)
	texts := strings.Join(w.got(), "\n")
	require.Equal(t, 1, strings.Count(texts, "takes none of our messages"))
	require.Equal(t, 1, strings.Count(texts, "go out again"))
	_, text = w.ready()
	require.Equal(t, "ready\n", text)
}

func TestTroublesAreJudgedByTheirTimes(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.apps[0].settings.clinics()[0]
	now := w.clock.now()
	ago := func(d time.Duration) time.Time { return now.Add(-d) }
	way := store.Way{Clinic: "hillside", Channel: "texts"}
	tick := func(due, digests time.Duration) map[string]time.Time {
		return map[string]time.Time{"due": ago(due), "digests": ago(digests)}
	}
	for name, x := range map[string]struct {
		watch store.Watch
		waits time.Duration
		want  []care.TroubleKind
	}{
		"nothing known yet":         {},
		"all is well":               {watch: store.Watch{Ticks: tick(time.Second, time.Second)}},
		"a restart":                 {watch: store.Watch{Ticks: tick(silentAfter, 0)}},
		"silent":                    {watch: store.Watch{Ticks: tick(silentAfter+time.Second, silentAfter+time.Second)}, want: []care.TroubleKind{care.SilentScheduler}},
		"one loop of it":            {watch: store.Watch{Ticks: tick(0, silentAfter+time.Second)}, want: []care.TroubleKind{care.SilentScheduler}},
		"a failure long ago":        {watch: store.Watch{Failing: map[store.Way]store.Failing{way: {Since: ago(time.Hour), Last: ago(time.Hour)}}}},
		"failures for four minutes": {watch: store.Watch{Failing: map[store.Way]store.Failing{way: {Since: ago(stuckAfter - time.Second), Last: now}}}},
		"failures for five":         {watch: store.Watch{Failing: map[store.Way]store.Failing{way: {Since: ago(stuckAfter), Last: now}}}, want: []care.TroubleKind{care.StuckProvider}},
		"another clinic's":          {watch: store.Watch{Failing: map[store.Way]store.Failing{{Clinic: "valley", Channel: "texts"}: {Since: ago(time.Hour), Last: now}}}},
		"nobody sends":              {waits: stuckAfter, want: []care.TroubleKind{care.StuckOutbox}},
		"a short wait":              {waits: stuckAfter - time.Second},
	} {
		waits := map[contact.Channel]time.Time{}
		if x.waits > 0 {
			waits[contact.SMS] = ago(x.waits)
		}
		var got []care.TroubleKind
		for _, trouble := range troublesOf(c, x.watch, waits, now) {
			got = append(got, trouble.Kind)
		}
		require.Equal(t, x.want, got, name)
	}
}

// Nobody sends: what waits in the outbox grows old there. Redis counts by its own
// clock, so that this world begins now.
func TestAnOutboxThatNobodyEmptiesIsNoticed(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.apps[0].o.Role = roleScheduler
	w.clock.to(time.Now().Add(10 * time.Minute))
	d, err := w.provider.From(t.Context(), smsprovider.Text{From: ruthsPhone, To: worldNumber, Body: "could you ring me?"})
	require.NoError(t, err)
	require.Equal(t, 200, d.Status)
	for range 2 {
		require.NoError(t, w.apps[0].Step(t.Context()))
	}
	require.Len(t, w.told(), 1)
	require.Equal(t, care.StuckOutbox, w.told()[0].Kind)
	_, text := w.ready()
	require.Contains(t, text, "wait for a sender since")
}

// Readiness names what is wrong with Redis, and takes the process out.
func TestReadinessSaysWhatIsWrongWithRedis(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.settle()
	require.NoError(t, w.client.ConfigSet(t.Context(), "appendonly", "no").Err())
	status, text := w.ready()
	require.Equal(t, 503, status)
	require.Equal(t, "not ready\nRedis keeps nothing on disk any more: its append-only file was turned off\n", text)
	var metrics strings.Builder
	require.NoError(t, writeMetrics(&metrics, w.apps[0]))
	require.Contains(t, metrics.String(), "gaitpost_redis_durable 0")
	require.NoError(t, w.client.ConfigSet(t.Context(), "appendonly", "yes").Err())
	status, _ = w.ready()
	require.Equal(t, 200, status)

	// A household that nobody wakes.
	id := contact.ID(strings.Repeat("0", 32))
	require.NoError(t, w.client.ZAdd(t.Context(), "{p00}:due", redis.Z{Score: float64(w.clock.now().Add(-time.Hour).Unix()), Member: "hillside/" + string(id)}).Err())
	_, text = w.ready()
	require.Contains(t, text, "trouble: 1 household due, the first since 2026-03-02 08:00:00 UTC: the scheduler is behind")
	w.redis.Stop()
	status, text = w.ready()
	require.Equal(t, 503, status)
	require.Equal(t, "not ready\nRedis does not answer\n", text)
}

// writeMetrics writes a scrape of an app's metrics.
func writeMetrics(w io.Writer, a *app) error {
	families, err := a.Registry.Gather()
	if err != nil {
		return err
	}
	for _, f := range families {
		if _, err := expfmt.MetricFamilyToText(w, f); err != nil {
			return err
		}
	}
	return nil
}
