package store

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/store/redistest"
)

func TestProcessesSeeHowTheOthersFare(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		empty, err := s.ReadWatch(ctx)
		require.NoError(t, err)
		require.Empty(t, empty.Ticks)

		way := Way{"hillside", "texts"}
		at := func(minutes int) time.Time { return noon.Add(time.Duration(minutes) * time.Minute) }
		require.NoError(t, s.NoteTicks(ctx, map[string]time.Time{"due": noon}))
		require.NoError(t, s.NoteSends(ctx, []Sends{{Way: way, Failing: Failing{at(1), at(2)}}}))
		require.NoError(t, s.NoteSends(ctx, []Sends{{Way: way, Failing: Failing{at(3), at(9)}}}), "of another sender")
		w, err := s.ReadWatch(ctx)
		require.NoError(t, err)
		require.Equal(t, map[string]time.Time{"due": noon}, w.Ticks)
		require.Equal(t, map[Way]Failing{way: {at(1), at(9)}}, w.Failing, "from the first of all to the latest")

		require.NoError(t, s.NoteSends(ctx, []Sends{{Way: way, WentOut: true, Failing: Failing{at(11), at(11)}}}))
		w, err = s.ReadWatch(ctx)
		require.NoError(t, err)
		require.Equal(t, map[Way]Failing{way: {at(11), at(11)}}, w.Failing, "one that went out begins it anew")
		require.NoError(t, s.NoteSends(ctx, []Sends{{Way: way, WentOut: true}}))

		stuck := care.Trouble{Kind: care.StuckProvider, Channel: "texts", Since: noon}
		require.NoError(t, s.NoteTold(ctx, "hillside", stuck))
		w, err = s.ReadWatch(ctx)
		require.NoError(t, err)
		require.Empty(t, w.Failing)
		require.Equal(t, map[string][]care.Trouble{"hillside": {stuck}}, w.Told)
		require.NoError(t, s.ForgetTold(ctx, "hillside", stuck))
		w, err = s.ReadWatch(ctx)
		require.NoError(t, err)
		require.Empty(t, w.Told)
	})
}

func TestDurableSaysWhetherItIsKept(t *testing.T) {
	t.Parallel()
	server := redistest.Start(t)
	s := openOn(t, server.Client(t))
	require.NoError(t, s.Durable(context.Background()))
	require.NoError(t, server.Client(t).ConfigSet(context.Background(), "appendonly", "no").Err())
	require.ErrorIs(t, s.Durable(context.Background()), ErrVolatile)
}

func TestMemoryIsThatOfTheFullestMaster(t *testing.T) {
	onReal(t, func(t *testing.T, s *Store) {
		m, err := s.Memory(context.Background())
		require.NoError(t, err)
		require.Positive(t, m.Used)
		require.Zero(t, m.Most)
	})
	require.Equal(t, int64(7), infoNumber("# Memory\r\nused_memory:7\r\nmaxmemory:9\r\n", "used_memory"))
	require.Equal(t, int64(0), infoNumber("", "used_memory"))
}
