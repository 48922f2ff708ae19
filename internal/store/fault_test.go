package store

import (
	"context"
	"io"
	"net"
	"sync/atomic"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store/redistest"
)

// cut is a wire that can lose one answer: the server has done what it was
// asked, and the connection ends before the answer is read.
type cut struct {
	armed atomic.Bool
	lost  atomic.Int32
	then  func() // happens between the loss and the next attempt
}

func (c *cut) dial(ctx context.Context, network, addr string) (net.Conn, error) {
	conn, err := (&net.Dialer{}).DialContext(ctx, network, addr)
	return &cutConn{Conn: conn, cut: c}, err
}

type cutConn struct {
	net.Conn
	cut  *cut
	sent atomic.Bool // something was sent while the wire was armed
}

func (c *cutConn) Write(b []byte) (int, error) {
	if c.cut.armed.Load() {
		c.sent.Store(true)
	}
	return c.Conn.Write(b)
}

func (c *cutConn) Read(b []byte) (int, error) {
	n, err := c.Conn.Read(b)
	if !c.sent.Load() || err != nil || !c.cut.armed.CompareAndSwap(true, false) {
		return n, err
	}
	c.cut.lost.Add(1)
	if c.cut.then != nil {
		c.cut.then()
	}
	_ = c.Conn.Close()
	return 0, io.EOF
}

// onCutWire opens a store over a wire that loses answers, and one beside it.
func onCutWire(t *testing.T) (*Store, *Store, *cut) {
	plain := openOn(t, realServer(t))
	c := &cut{}
	client := redis.NewClient(&redis.Options{Addr: shared.server.Addr, Dialer: c.dial, PoolSize: 1})
	t.Cleanup(func() { _ = client.Close() })
	return openOn(t, client), plain, c
}

func TestACommitWhoseAnswerWasLostIsDoneOnce(t *testing.T) {
	events := map[string]care.Event{
		"with a key":    says(ruth, "SM2", "3"),
		"without a key": {At: noon, Tick: &care.Tick{}},
	}
	for name, e := range events {
		t.Run(name, func(t *testing.T) {
			s, plain, wire := onCutWire(t)
			do(t, plain, ruth, says(ruth, "SM1", "2"))
			c := decided(t, s, ruth, e)
			wire.armed.Store(true)
			out, err := s.Commit(context.Background(), c)
			require.NoError(t, err)
			require.Equal(t, Committed, out)
			require.EqualValues(t, 1, wire.lost.Load(), "the answer was lost and the commit sent again")
			n, err := s.LogLen(context.Background(), "hillside", c.ID)
			require.NoError(t, err)
			require.Equal(t, 2, n)
			require.Len(t, readAll(t, plain, Messages(contact.SMS), "one"), 1+len(c.Result.Send))
		})
	}
}

func TestALostAnswerWithAnotherEventInBetween(t *testing.T) {
	s, plain, wire := onCutWire(t)
	do(t, plain, ruth, says(ruth, "SM1", "2"))
	c := decided(t, s, ruth, says(ruth, "SM2", "3"))
	wire.then = func() { do(t, plain, ruth, says(ruth, "SM3", "4")) }
	wire.armed.Store(true)
	out, err := s.Commit(context.Background(), c)
	require.NoError(t, err)
	require.Equal(t, Committed, out)
	require.EqualValues(t, 1, wire.lost.Load())
	log, err := s.ReadLog(context.Background(), "hillside", c.ID, 0, 9)
	require.NoError(t, err)
	require.Len(t, log, 3)
	require.Equal(t, "SM2", log[1].Event.Key)
	require.Equal(t, "SM3", log[2].Event.Key)
}

func TestLosingAnyAnswerChangesNothing(t *testing.T) {
	steps := map[string]func(*testing.T, *Store, Entry){
		"ack":    func(t *testing.T, s *Store, e Entry) { require.NoError(t, s.Ack(context.Background(), e)) },
		"retry":  func(t *testing.T, s *Store, e Entry) { require.NoError(t, s.RetryAt(context.Background(), e, noon)) },
		"aside":  func(t *testing.T, s *Store, e Entry) { require.NoError(t, s.SetAside(context.Background(), e, "why")) },
		"revive": func(t *testing.T, s *Store, _ Entry) { _, _ = s.Revive(context.Background(), "sms", noon, 9) },
		"do":     func(t *testing.T, s *Store, _ Entry) { do(t, s, ruth, says(ruth, "SM9", "2")) },
	}
	for name, step := range steps {
		t.Run(name, func(t *testing.T) {
			s, plain, wire := onCutWire(t)
			do(t, plain, ruth, says(ruth, "SM1", "2"))
			e := readAll(t, plain, "sms", "one")[0]
			wire.armed.Store(true)
			step(t, s, e)
			require.EqualValues(t, 1, wire.lost.Load())
			b, err := plain.Backlog(context.Background(), "sms")
			require.NoError(t, err)
			want := map[string]Backlog{
				"ack": {}, "retry": {Retrying: 1}, "aside": {Aside: 1}, "revive": {Pending: 1}, "do": {Pending: 1, Waiting: 1},
			}[name]
			b.Oldest = time.Time{}
			require.Equal(t, want, b)
		})
	}
}

func TestAStoreThatIsAwayIsUnavailable(t *testing.T) {
	server := redistest.Start(t, "--appendfsync", "always")
	ctx := context.Background()
	client := redis.NewClient(&redis.Options{Addr: server.Addr, MaxRetries: 1, DialerRetries: 1, MinRetryBackoff: -1})
	defer client.Close()
	s := openOn(t, client)
	id := s.ID("hillside", ruth)
	do(t, s, ruth, says(ruth, "SM1", "help!"))
	before := dump(t, s)
	server.Kill()

	calls := map[string]func() error{
		"do":       func() error { _, err := s.Do(ctx, rules, id, says(ruth, "SM2", "2")); return err },
		"doall":    func() error { return s.DoAll(ctx, []Job{{rules, id, says(ruth, "SM2", "2")}})[0].Err },
		"load":     func() error { _, err := s.Load(ctx, "hillside", id); return err },
		"log":      func() error { _, err := s.ReadLog(ctx, "hillside", id, 0, 1); return err },
		"claim":    func() error { _, err := s.ClaimDueAll(ctx, noon, time.Minute, 9); return err },
		"read":     func() error { _, err := s.Read(ctx, Take{"sms", []int{0}, "one", 9, 0}); return err },
		"stale":    func() error { _, err := s.ClaimStale(ctx, Stale{"sms", 0, "one", 0, 9}); return err },
		"backlog":  func() error { _, err := s.Backlog(ctx, "sms"); return err },
		"caseload": func() error { _, _, err := s.Caseload(ctx, "hillside", 0, 9); return err },
		"items":    func() error { _, err := s.OpenItems(ctx, "hillside"); return err },
		"line":     func() error { _, err := s.DoLine(ctx, rules, "lee", care.LineEvent{Key: "x", At: noon}); return err },
		"token":    func() error { _, err := s.TakeToken(ctx, "hillside", ruth, Rate{1, 1}, noon); return err },
		"ping":     func() error { return s.Ping(ctx) },
		"open":     func() error { _, err := Open(ctx, Options{Client: client, Hasher: s.hasher}); return err },
	}
	for name, call := range calls {
		err := call()
		require.ErrorIs(t, err, ErrUnavailable, name)
		require.NotContains(t, err.Error(), ruth.Value, name)
	}

	server.Restart(t)
	require.Eventually(t, func() bool { return s.Ping(ctx) == nil }, 2*time.Second, 10*time.Millisecond, "nobody restarted us")
	require.Equal(t, before, dump(t, s), "half a commit was written")
	require.Equal(t, care.Answered, do(t, s, ruth, says(ruth, "SM2", "2")).Reason)
}

func TestAFullServerIsUnavailableAndWritesNothing(t *testing.T) {
	server := redistest.Start(t, "--maxmemory", "3mb", "--maxmemory-policy", "noeviction")
	s := openOn(t, server.Client(t))
	ctx := context.Background()
	do(t, s, ruth, says(ruth, "SM1", "2"))
	require.NoError(t, s.rdb.ConfigSet(ctx, "maxmemory", "1").Err())
	before := dump(t, s)
	_, err := s.Do(ctx, rules, s.ID("hillside", ruth), says(ruth, "SM2", "2"))
	require.ErrorIs(t, err, ErrUnavailable)
	require.Equal(t, before, dump(t, s))
}
