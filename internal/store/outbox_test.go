package store

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/contact"
)

const texts = Queue(contact.SMS)

// staleAll takes over whatever anybody holds.
func staleAll(t *testing.T, s *Store, consumer string) TakenOver {
	t.Helper()
	var all TakenOver
	for p := range contact.Partitions {
		got, err := s.ClaimStale(context.Background(), Stale{Queue: texts, Partition: p, Consumer: consumer, Max: 1000})
		require.NoError(t, err)
		all.Entries = append(all.Entries, got.Entries...)
		all.Lost = append(all.Lost, got.Lost...)
	}
	return all
}

func TestNothingIsHandedOutTwiceOrLost(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		for i := range 60 {
			do(t, s, owner(i), says(owner(i), "SM1", "2"))
		}
		got := map[string]bool{}
		for _, consumer := range []string{"one", "two"} {
			for _, span := range s.Spans() {
				entries, err := s.Read(context.Background(), Take{Queue: texts, Partitions: span, Consumer: consumer, Max: 2})
				require.NoError(t, err)
				for _, e := range entries {
					require.NotContains(t, got, e.Message.ID)
					got[e.Message.ID] = true
				}
			}
		}
		for _, e := range readAll(t, s, texts, "two") {
			require.NotContains(t, got, e.Message.ID)
			got[e.Message.ID] = true
		}
		require.Len(t, got, 60)
	})
}

func TestAnEntryOutlivesItsConsumer(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		for i := range 30 {
			do(t, s, owner(i), says(owner(i), "SM1", "2"))
		}
		first := readAll(t, s, texts, "dead")
		require.Len(t, first, 30)
		require.Empty(t, readAll(t, s, texts, "alive"))
		for p := range contact.Partitions {
			none, err := s.ClaimStale(ctx, Stale{Queue: texts, Partition: p, Consumer: "alive", MinIdle: time.Hour, Max: 10})
			require.NoError(t, err)
			require.Empty(t, none.Entries, "it may still be at work")
		}
		taken := staleAll(t, s, "alive")
		require.Len(t, taken.Entries, 30)
		require.Empty(t, taken.Lost)
		for _, e := range taken.Entries {
			require.Equal(t, 2, e.Deliveries)
			require.Equal(t, "Thank you.", e.Message.Text)
		}
		require.NoError(t, s.Ack(ctx, taken.Entries...))
		require.NoError(t, s.Ack(ctx, first...), "the dead one comes back late")
		require.Empty(t, staleAll(t, s, "alive").Entries)
		b, err := s.Backlog(ctx, texts)
		require.NoError(t, err)
		require.Equal(t, Backlog{}, b, "streams are emptied by acknowledgement")
		require.NoError(t, s.Ack(ctx))
	})
}

func TestTakingOverInSmallSteps(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		for i := range 25 {
			do(t, s, ruth, says(ruth, fmt.Sprint("SM", i), "2"))
		}
		require.Len(t, readAll(t, s, texts, "dead"), 25)
		p := s.ID("hillside", ruth).Partition()
		got := 0
		for range 3 {
			taken, err := s.ClaimStale(ctx, Stale{Queue: texts, Partition: p, Consumer: "alive", Max: 10})
			require.NoError(t, err)
			require.LessOrEqual(t, len(taken.Entries), 10)
			require.NoError(t, s.Ack(ctx, taken.Entries...))
			got += len(taken.Entries)
		}
		require.Equal(t, 25, got)
	})
}

// The stand-in does not report entries that were deleted while pending.
func TestEntriesDeletedUnsentAreReported(t *testing.T) {
	onReal(t, func(t *testing.T, s *Store) {
		do(t, s, ruth, says(ruth, "SM1", "2"))
		e := readAll(t, s, texts, "dead")[0]
		require.NoError(t, s.rdb.XDel(context.Background(), streamKey(e.Partition, texts), e.StreamID).Err())
		taken := staleAll(t, s, "alive")
		require.Empty(t, taken.Entries)
		require.Equal(t, []string{e.StreamID}, taken.Lost)
	})
}

func TestAnEntryCanBePutOff(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		do(t, s, ruth, says(ruth, "SM1", "2"))
		e := readAll(t, s, texts, "one")[0]
		for try := 2; try <= 4; try++ {
			require.NoError(t, s.RetryAt(ctx, e, noon.Add(time.Minute)))
			require.NoError(t, s.RetryAt(ctx, e, noon.Add(time.Hour)), "done already")
			b, err := s.Backlog(ctx, texts)
			require.NoError(t, err)
			require.Equal(t, Backlog{Retrying: 1}, b)
			n, err := s.Revive(ctx, texts, noon.Add(59*time.Second), 10)
			require.NoError(t, err)
			require.Zero(t, n)
			n, err = s.Revive(ctx, texts, noon.Add(time.Minute), 10)
			require.NoError(t, err)
			require.Equal(t, 1, n)
			again := readAll(t, s, texts, "two")
			require.Len(t, again, 1)
			require.Equal(t, e.Message, again[0].Message)
			require.Equal(t, try, again[0].Deliveries)
			e = again[0]
		}
		taken := staleAll(t, s, "three")
		require.Equal(t, 5, taken.Entries[0].Deliveries, "retries and takings-over together")
	})
}

func TestAnEntryGivenUpIsKept(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		do(t, s, ruth, says(ruth, "SM1", "2"))
		e := readAll(t, s, texts, "one")[0]
		require.NoError(t, s.SetAside(ctx, e, "the provider refused it five times"))
		require.NoError(t, s.SetAside(ctx, e, "again"), "done already")
		b, err := s.Backlog(ctx, texts)
		require.NoError(t, err)
		require.Equal(t, Backlog{Aside: 1}, b)
		asides, err := s.SetAsides(ctx, texts, 10)
		require.NoError(t, err)
		require.Len(t, asides, 1)
		require.Equal(t, "the provider refused it five times", asides[0].Why)
		require.Equal(t, e.Message, asides[0].Message)
		require.False(t, asides[0].Damaged)
	})
}

func TestAnEntryThatCannotBeReadHoldsUpNobody(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		p := s.ID("hillside", ruth).Partition()
		require.NoError(t, s.rdb.XAdd(ctx, &redis.XAddArgs{Stream: streamKey(p, texts), Values: []any{"m", "\x09newer"}}).Err())
		do(t, s, ruth, says(ruth, "SM1", "2"))
		require.Len(t, readAll(t, s, texts, "one"), 1)
		asides, err := s.SetAsides(ctx, texts, 10)
		require.NoError(t, err)
		require.Len(t, asides, 1)
		require.True(t, asides[0].Damaged)
	})
}

func TestTheBacklogIsCounted(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		for i := range 5 {
			do(t, s, ruth, says(ruth, fmt.Sprint("SM", i), "2"))
		}
		p := s.ID("hillside", ruth).Partition()
		got, err := s.Read(ctx, Take{Queue: texts, Partitions: []int{p}, Consumer: "one", Max: 2})
		require.NoError(t, err)
		require.Len(t, got, 2)
		b, err := s.Backlog(ctx, texts)
		require.NoError(t, err)
		require.False(t, b.Oldest.IsZero())
		b.Oldest = time.Time{}
		require.Equal(t, Backlog{Waiting: 3, Pending: 2}, b)
	})
}

// One that still holds entries must stay: they would be lost with it.
func TestOnlyIdleConsumersAreRemoved(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		do(t, s, ruth, says(ruth, "SM1", "2"))
		e := readAll(t, s, texts, "holds one")
		readAll(t, s, texts, "holds none")
		n, err := s.DropIdleConsumers(ctx, texts, time.Hour)
		require.NoError(t, err)
		require.Zero(t, n)
		_, err = s.DropIdleConsumers(ctx, texts, 0)
		require.NoError(t, err)
		taken := staleAll(t, s, "alive")
		require.Len(t, taken.Entries, 1)
		require.Equal(t, e[0].StreamID, taken.Entries[0].StreamID)
		names, err := s.rdb.XInfoConsumers(ctx, streamKey(e[0].Partition, texts), groupName).Result()
		require.NoError(t, err)
		for _, c := range names {
			require.NotEqual(t, "holds none", c.Name)
		}
		_, err = s.DropIdleConsumers(ctx, "a queue nobody used", 0)
		require.NoError(t, err)
	})
}

func TestAReaderWaitsForWork(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		p := s.ID("hillside", ruth).Partition()
		take := Take{Queue: texts, Partitions: []int{p}, Consumer: "one", Max: 10}
		_, err := s.Read(context.Background(), take)
		require.NoError(t, err)
		take.Block = 20 * time.Second
		got := make(chan []Entry)
		go func() {
			entries, _ := s.Read(context.Background(), take)
			got <- entries
		}()
		do(t, s, ruth, says(ruth, "SM1", "2"))
		require.Len(t, <-got, 1)
		take.Block = time.Millisecond
		entries, err := s.Read(context.Background(), take)
		require.NoError(t, err, "nothing came in time")
		require.Empty(t, entries)
	})
}
