package store

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

func TestALineTakesNoticesAndSendsCommands(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		do(t, s, ruth, says(ruth, "SM1", "help!"))
		n := readAll(t, s, Notices, "one")[0]
		require.False(t, n.FromLine)
		notice := care.LineEvent{Key: n.Notice.Key, At: n.Notice.At, Notice: n.Notice}
		res, err := s.DoLine(ctx, rules, n.Notice.To, notice)
		require.NoError(t, err)
		require.Equal(t, care.PracticeDone, res.Reason)
		res, err = s.DoLine(ctx, rules, n.Notice.To, notice)
		require.NoError(t, err)
		require.Equal(t, care.Repeated, res.Reason)

		l, v, err := s.LoadLine(ctx, "hillside", "lee")
		require.NoError(t, err)
		require.EqualValues(t, 1, v.count())
		require.Len(t, l.Numbers, 1)
		require.Equal(t, n.Notice.Item, l.Numbers[0].Item)

		_, err = s.DoLine(ctx, rules, "lee", care.LineEvent{Key: "SM7", At: noon.Add(time.Minute), Text: &care.LineText{Text: "ack"}})
		require.NoError(t, err)
		commands := readAll(t, s, Commands, "one")
		require.Len(t, commands, 1)
		require.Equal(t, s.ID("hillside", ruth), commands[0].Command.Household)
		require.Equal(t, noon.Add(time.Minute), commands[0].Command.Event.At)
		require.Equal(t, "ack/SM7", commands[0].Command.Event.Key)
		require.EqualValues(t, 1, commands[0].Command.Event.Practice.Ack.Alert)
		var toHer []Entry
		for _, e := range readAll(t, s, texts, "one") {
			if e.FromLine {
				require.Equal(t, "lee", e.Practitioner)
				require.Empty(t, e.Household)
				toHer = append(toHer, e)
			}
		}
		require.Len(t, toHer, 2, "her texts go out on her channel")
	})
}

func TestALineThatIsNewIsEmpty(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		l, v, err := s.LoadLine(context.Background(), "hillside", "")
		require.NoError(t, err)
		require.Equal(t, Version(""), v)
		require.Equal(t, care.Line{Clinic: "hillside"}, l)
	})
}

func TestALineTakesOneEventAfterTheOther(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		const n = 20
		var wg sync.WaitGroup
		errs := make([]error, n)
		for i := range n {
			wg.Go(func() {
				_, errs[i] = s.DoLine(ctx, rules, "lee", care.LineEvent{Key: fmt.Sprint("n", i), At: noon, Notice: &care.Notice{}})
			})
		}
		wg.Wait()
		for _, err := range errs {
			require.NoError(t, err)
		}
		l, _, err := s.LoadLine(ctx, "hillside", "lee")
		require.NoError(t, err)
		require.Len(t, l.Numbers, n)
		for i, x := range l.Numbers {
			require.EqualValues(t, i+1, x.N)
		}
	})
}

func TestAnOldLineEventIsKnownByItsKey(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		s.lineTurn = func(r *care.Rules, l care.Line, e care.LineEvent) care.LineResult {
			l.Seen = nil
			return plainLine(r, l, e)
		}
		e := care.LineEvent{Key: "digest/lee/2026-03-03T08:00", At: noon, Digest: &care.Digest{}}
		_, err := s.DoLine(ctx, rules, "lee", e)
		require.NoError(t, err)
		res, err := s.DoLine(ctx, rules, "lee", e)
		require.NoError(t, err)
		require.Equal(t, care.Repeated, res.Reason)
		require.Len(t, readAll(t, s, texts, "one"), 1)
	})
}
