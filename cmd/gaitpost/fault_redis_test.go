package main

import (
	"context"
	"net/http"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store/redistest"
)

// Redis is killed in the middle of traffic and comes back with what it had
// written: nothing that was answered is lost, with either setting, as long as
// the machine itself stays up.
func TestRedisIsKilledAndLosesNothing(t *testing.T) {
	t.Parallel()
	for _, fsync := range []string{"always", "everysec"} {
		t.Run(fsync, func(t *testing.T) {
			t.Parallel()
			server := redistest.Start(t, "--appendfsync", fsync)
			s := newStorm(t, server.URL())
			want := s.undisturbed()
			s.launch("")
			calm := s.blow(4)
			for range 3 {
				s.passes(20)
				server.Kill()
				server.Restart(t)
			}
			s.passes(20)
			calm()
			require.Zero(t, s.settled())
			s.check(want)
		})
	}
}

// While Redis is away, gone or hanging, a provider is told to come back, in
// time; and once it is there again the program serves at once, by itself.
func TestRedisIsAwayForAWhile(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		away, back func(*redistest.Server) error
	}{
		"gone": {
			func(s *redistest.Server) error { s.Kill(); return nil },
			func(s *redistest.Server) error { s.Restart(t); return nil },
		},
		"hanging": {(*redistest.Server).Pause, (*redistest.Server).Resume},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			server := redistest.Start(t)
			s := newStorm(t, server.URL())
			want := s.undisturbed()
			p := s.launch("")
			calm := s.blow(2)
			s.passes(10)
			require.NoError(t, c.away(server))
			asked := 0
			for until := time.Now().Add(outage); time.Now().Before(until); asked++ {
				began := time.Now()
				d, err := s.provider.From(t.Context(), smsprovider.Text{From: handset(200 + asked%700), To: worldNumber, Body: "is anybody there?"})
				require.NoError(t, err)
				require.Equal(t, http.StatusServiceUnavailable, d.Status)
				require.Less(t, time.Since(began), 10*time.Second, "a provider waits 15 s")
			}
			require.NoError(t, c.back(server))
			back := time.Now()
			s.passes(1)
			recovered := time.Since(back)
			require.Less(t, recovered, 2*time.Second+slack)
			for s.provider.Redeliver(t.Context()) > 0 { // owners' own are under way as well
				require.Less(t, time.Since(back), patience)
			}
			calm()
			require.False(t, isEnded(p), "it was not restarted")
			require.Zero(t, s.settled())
			s.check(want)
			require.Positive(t, asked)
			for i := range min(asked, 700) {
				require.NotEmpty(t, s.logged(handset(200+i)))
			}
			t.Logf("away %s, served again after %s", outage, recovered)
		})
	}
}

// Connections are cut over and over, and the scripts flushed.
func TestConnectionsAreCutAndScriptsFlushed(t *testing.T) {
	t.Parallel()
	server := redistest.Start(t)
	s := newStorm(t, server.URL())
	want := s.undisturbed()
	s.launch("")
	calm := s.blow(4)
	hand := server.Client(t)
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	cuts := 0
	for until := s.taken.Load() + 150; s.taken.Load() < until; cuts++ {
		<-tick.C
		require.NoError(t, hand.Do(t.Context(), "CLIENT", "KILL", "TYPE", "normal", "SKIPME", "yes").Err())
		if cuts%10 == 0 {
			require.NoError(t, hand.ScriptFlush(t.Context()).Err())
		}
	}
	calm()
	require.Zero(t, s.settled())
	s.check(want)
	t.Logf("%d cuts in %d messages", cuts, s.taken.Load())
}

// On a cluster, scripts are flushed and a master restarts in mid-run, and in the
// long form another dies and is followed by its replica: no message fails.
func TestAClusterLosesItsScriptsAndAMaster(t *testing.T) {
	t.Parallel()
	cluster, err := redistest.RunReplicated(t.TempDir(), 3)
	require.NoError(t, err)
	t.Cleanup(cluster.Stop)
	s := newStorm(t, cluster.URL())
	want := s.undisturbed()
	p := s.launch("")
	calm := s.blow(4)
	s.passes(20)
	require.NoError(t, s.client.(*redis.ClusterClient).ForEachMaster(t.Context(), func(ctx context.Context, c *redis.Client) error {
		return c.ScriptFlush(ctx).Err()
	}))
	s.passes(20)
	cluster.Servers[0].Kill()
	cluster.Servers[0].Restart(t)
	s.passes(20)
	if failOver {
		require.NoError(t, cluster.FailOver(1))
		over := time.Now()
		s.passes(20)
		t.Logf("messages get through %s after the failover", time.Since(over).Round(time.Millisecond))
	}
	calm()
	require.Zero(t, s.settled())
	s.check(want)
	require.False(t, isEnded(p))
}
