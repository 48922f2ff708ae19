package redistest

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestAServerKeepsItsDataOverAKill(t *testing.T) {
	s := Start(t, "--appendfsync", "always")
	ctx := context.Background()
	require.NoError(t, s.Client(t).Set(ctx, "kept", "yes", 0).Err())
	s.Kill()
	require.Error(t, s.Client(t).Ping(ctx).Err(), "it is down")
	s.Restart(t)
	require.Equal(t, "yes", s.Client(t).Get(ctx, "kept").Val())
}

func TestAServerThatCannotStartSaysWhy(t *testing.T) {
	_, err := Run(t.TempDir(), "--no-such-setting", "1")
	require.ErrorContains(t, err, "redis-server ended at once")
}

func TestWithoutRedisServerItSaysSo(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	_, err := Run(t.TempDir())
	require.ErrorIs(t, err, ErrMissing)
}

func TestAReplicaTakesItsMastersPlace(t *testing.T) {
	c, err := RunReplicated(t.TempDir(), 3)
	require.NoError(t, err)
	t.Cleanup(c.Stop)
	ctx := context.Background()
	client := c.Client(t)
	for i := range 30 {
		require.NoError(t, client.Set(ctx, fmt.Sprint("kept", i), i, 0).Err())
	}
	for _, s := range c.Servers {
		require.NoError(t, s.Client(t).Do(ctx, "PING").Err())
		require.EqualValues(t, 1, s.Client(t).Wait(ctx, 1, patience).Val())
	}
	heir := c.Replicas[1]
	require.NoError(t, c.FailOver(1))
	require.Equal(t, heir, c.Servers[1])
	for i := range 30 {
		require.Equal(t, fmt.Sprint(i), c.Client(t).Get(ctx, fmt.Sprint("kept", i)).Val())
	}
	require.Contains(t, c.URL(), "?addr="+c.Servers[1].Addr+"&addr="+c.Servers[2].Addr)
}
