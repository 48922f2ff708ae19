package redistest

import (
	"context"
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
