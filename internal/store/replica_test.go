package store

import (
	"context"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/store/redistest"
)

// waitingFor opens a store that waits for a replica.
func waitingFor(t *testing.T, c redis.UniversalClient) *Store {
	s, err := Open(context.Background(), Options{
		Client: c, Hasher: hasher(t, secret), AllowVolatile: true, Replicas: 1, ReplicaWait: 200 * time.Millisecond,
	})
	require.NoError(t, err)
	s.turn, s.lineTurn = plainTurn, plainLine
	return s
}

// A turn counts as happened only once the replica has it. One that the master
// has already is no exception: its retry waits as well.
func TestATurnWaitsForItsReplica(t *testing.T) {
	master := redistest.Start(t)
	replica := redistest.StartReplica(t, master)
	s := waitingFor(t, master.Client(t))
	ctx := context.Background()
	id := s.ID("hillside", ruth)
	calls := map[string]func() error{
		"do":    func() error { _, err := s.Do(ctx, rules, id, says(ruth, "SM1", "2")); return err },
		"doall": func() error { return s.DoAll(ctx, []Job{{rules, id, care.Event{At: noon, Tick: &care.Tick{}}}})[0].Err },
		"line":  func() error { _, err := s.DoLine(ctx, rules, "lee", care.LineEvent{Key: "x", At: noon}); return err },
	}
	do(t, openOn(t, master.Client(t)), ruth, says(ruth, "SM0", "2"))
	require.NoError(t, replica.Pause())
	for name, call := range calls {
		require.ErrorIs(t, call(), ErrUnavailable, name)
		require.ErrorIs(t, call(), ErrUnavailable, name+", again")
	}
	require.NoError(t, replica.Resume())
	for name, call := range calls {
		require.Eventually(t, func() bool { return call() == nil }, 10*time.Second, 10*time.Millisecond, name)
	}
	require.Equal(t, 1, countOf(t, s, "SM1"))

	master.Kill()
	require.NoError(t, replica.Client(t).ReplicaOf(ctx, "NO", "ONE").Err())
	after := openOn(t, replica.Client(t))
	require.Equal(t, 1, countOf(t, after, "SM1"), "the replica has it")
}

func countOf(t *testing.T, s *Store, message string) (n int) {
	log, err := s.ReadLog(context.Background(), "hillside", s.ID("hillside", ruth), 0, 99)
	require.NoError(t, err)
	for _, e := range log {
		if e.Event.Message != nil && e.Event.Message.ID == message {
			n++
		}
	}
	return n
}

// On a cluster, what is waited for is the household's own master.
func TestAClusterWaitsForTheReplicaOfTheRecord(t *testing.T) {
	client := failedOver(t) // one master has no replica any more
	s, plain := waitingFor(t, client), openOn(t, client)
	ctx := context.Background()
	for i := range 24 {
		do(t, plain, owner(i), says(owner(i), "SM1", "2"))
	}
	replica := shared.heirs.Replicas[0]
	require.NoError(t, replica.Pause())
	defer func() { require.NoError(t, replica.Resume()) }()
	held := 0
	for i := range 24 {
		if _, err := s.Do(ctx, rules, s.ID("hillside", owner(i)), says(owner(i), "SM2", "2")); err != nil {
			require.ErrorIs(t, err, ErrUnavailable)
			held++
		}
	}
	require.Greater(t, held, 0)
	require.Less(t, held, 24, "the others' masters have theirs")
}

// A server that took over without what its master had must not pass for one
// that has it.
func TestARecordThatWasLostInAFailoverIsNotReplicated(t *testing.T) {
	master := redistest.Start(t)
	redistest.StartReplica(t, master)
	s := waitingFor(t, master.Client(t))
	do(t, openOn(t, master.Client(t)), ruth, says(ruth, "SM0", "2"))
	id := s.ID("hillside", ruth)
	require.Eventually(t, func() bool {
		return s.replicated(context.Background(), householdMark("hillside", id, 1)) == nil
	}, 10*time.Second, 10*time.Millisecond)
	err := s.replicated(context.Background(), householdMark("hillside", id, 2))
	require.ErrorIs(t, err, ErrUnavailable)
	require.ErrorContains(t, err, "without the record")
}
