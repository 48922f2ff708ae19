package store

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

// gated counts round trips and holds them until its gate opens.
type gated struct {
	alone, together, calls atomic.Int64
	arrived                chan struct{}
	gate                   chan struct{}
}

func (g *gated) DialHook(next redis.DialHook) redis.DialHook { return next }

func (g *gated) ProcessHook(next redis.ProcessHook) redis.ProcessHook {
	return func(ctx context.Context, cmd redis.Cmder) error {
		if cmd.Name() == "echo" { // not what a new connection says of itself
			g.alone.Add(1)
			g.wait()
		}
		return next(ctx, cmd)
	}
}

func (g *gated) ProcessPipelineHook(next redis.ProcessPipelineHook) redis.ProcessPipelineHook {
	return func(ctx context.Context, cmds []redis.Cmder) error {
		if cmds[0].Name() == "echo" {
			g.together.Add(1)
			g.calls.Add(int64(len(cmds)))
			g.wait()
		}
		return next(ctx, cmds)
	}
}

func (g *gated) wait() {
	g.arrived <- struct{}{}
	<-g.gate
}

func onGate(t *testing.T) (*gather, *gated) {
	c := realServer(t)
	require.NoError(t, c.Ping(context.Background()).Err())
	h := &gated{arrived: make(chan struct{}, 1000), gate: make(chan struct{})}
	c.AddHook(h)
	return &gather{rdb: c}, h
}

func ping(ctx context.Context, n int) *redis.Cmd { return redis.NewCmd(ctx, "echo", n) }

// idle checks that no place was lost and nobody is left behind.
func idle(t *testing.T, g *gather) {
	t.Helper()
	g.mu.Lock()
	defer g.mu.Unlock()
	require.Zero(t, g.flying)
	require.Empty(t, g.queue)
}

func TestCallsThatComeTogetherShareARoundTrip(t *testing.T) {
	g, h := onGate(t)
	ctx := context.Background()
	var all sync.WaitGroup
	call := func(n int) {
		cmd := ping(ctx, n)
		if err := g.do(ctx, cmd); err != nil {
			t.Error(err)
		} else if cmd.Val() != fmt.Sprint(n) {
			t.Errorf("call %d was answered %v", n, cmd.Val())
		}
	}
	for i := range gatherLimit {
		all.Go(func() { call(i) })
	}
	for range gatherLimit {
		<-h.arrived
	}
	for i := range 100 {
		all.Go(func() { call(1000 + i) })
	}
	require.Eventually(t, func() bool { g.mu.Lock(); defer g.mu.Unlock(); return len(g.queue) == 100 }, 5*time.Second, time.Millisecond)
	close(h.gate)
	all.Wait()
	require.EqualValues(t, gatherLimit+100, h.alone.Load()+h.calls.Load(), "each is made once")
	// At best two batches carry the hundred; a few may be off before those.
	require.LessOrEqual(t, h.alone.Load()+h.together.Load(), int64(gatherLimit+25))
	idle(t, g)
}

func TestWhoCantWaitLeavesTheOthersAlone(t *testing.T) {
	g, h := onGate(t)
	var all sync.WaitGroup
	for i := range gatherLimit {
		all.Go(func() {
			if err := g.do(context.Background(), ping(context.Background(), i)); err != nil {
				t.Error(err)
			}
		})
	}
	for range gatherLimit {
		<-h.arrived
	}
	ctx, cancel := context.WithCancel(context.Background())
	left := make(chan error)
	go func() { left <- g.do(ctx, ping(ctx, 1)) }()
	all.Go(func() {
		if err := g.do(context.Background(), ping(context.Background(), 2)); err != nil {
			t.Error(err)
		}
	})
	require.Eventually(t, func() bool { g.mu.Lock(); defer g.mu.Unlock(); return len(g.queue) == 2 }, 5*time.Second, time.Millisecond)
	cancel()
	require.ErrorIs(t, <-left, context.Canceled)
	close(h.gate)
	all.Wait()
	idle(t, g)
}

// Deadlines that end at any moment must lose no place and mix no answers up.
func TestDeadlinesAtAnyMomentLoseNoPlace(t *testing.T) {
	c := realServer(t)
	g := &gather{rdb: c}
	var all sync.WaitGroup
	var answered, late atomic.Int64
	for w := range 32 {
		all.Go(func() {
			for i := range 200 {
				ctx, cancel := context.WithTimeout(context.Background(), time.Duration(50+rand.IntN(2000))*time.Microsecond)
				n := w*1000 + i
				cmd := ping(ctx, n)
				switch err := g.do(ctx, cmd); {
				case err != nil:
					late.Add(1)
				case cmd.Val() != fmt.Sprint(n):
					t.Errorf("call %d was answered %v", n, cmd.Val())
				default:
					answered.Add(1)
				}
				cancel()
			}
		})
	}
	all.Wait()
	require.EqualValues(t, 32*200, answered.Load()+late.Load())
	idle(t, g)
	ctx := context.Background()
	require.NoError(t, g.do(ctx, ping(ctx, 7)))
}

// A server that forgot the scripts gets them again, whoever shares the batch.
func TestABatchWithoutItsScriptIsDoneAllTheSame(t *testing.T) {
	s := openOn(t, realServer(t))
	require.NoError(t, s.rdb.ScriptFlush(context.Background()).Err())
	var all sync.WaitGroup
	for i := range 50 {
		all.Go(func() {
			a := owner(i)
			res, err := s.Do(context.Background(), rules, s.ID("hillside", a), says(a, fmt.Sprintf("SM%d", i), "2"))
			if err != nil || res.Reason != care.Answered {
				t.Error(res.Reason, err)
			}
		})
	}
	all.Wait()
	require.Len(t, readAll(t, s, Messages("sms"), "me"), 50)
}
