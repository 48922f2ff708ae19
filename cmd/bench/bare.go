package main

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"
	"github.com/redis/go-redis/v9"

	"gaitpost/internal/contact"
)

// The commit script's terms that the bare handler has to keep to: where its
// arguments stand, and how a record begins. A bench that gets them wrong stops,
// since the script then answers something else.
const (
	keyOfEvent    = 4
	argVersion    = 0
	argRecord     = 1
	argDueMember  = 7
	argCaseMember = 9
	argEntry      = 10
	versionBytes  = 16
)

// bareCall is one commit with everything in it but the version and the event.
type bareCall struct {
	sha   string
	keys  []string
	args  []any
	value []byte // the record without its version
	event string // its key without the message's id
}

// callFor is a stage's commit for one household.
func (s *shape) callFor(id contact.ID) bareCall {
	c := bareCall{sha: s.sha, args: append([]any(nil), s.args...)}
	for _, k := range s.keys {
		c.keys = append(c.keys, s.place(k, id))
	}
	i := strings.LastIndexByte(c.keys[keyOfEvent], ':')
	c.event = c.keys[keyOfEvent][:i+1]
	c.args[argDueMember] = s.place(fmt.Sprint(s.args[argDueMember]), id)
	c.args[argCaseMember] = string(id)
	c.value = s.args[argRecord].([]byte)[versionBytes:]
	return c
}

// bare is the handler that the webhook is measured against.
type bare struct {
	client caller
	seats  map[string]*seat
}

// caller makes the two calls of a message: each on a connection of its own, or
// sharing round trips with others that come at the same moment.
type caller interface {
	MGet(ctx context.Context, keys ...string) *redis.SliceCmd
	EvalSha(ctx context.Context, sha1 string, keys []string, args ...any) *redis.Cmd
}

// sharing lets calls share round trips by the client's own means, as many at a
// time as the store does.
func sharing(client redis.UniversalClient) (caller, error) {
	c, ok := client.(*redis.Client)
	if !ok {
		return nil, errors.New("the bench knows single servers only")
	}
	return c.AutoPipelineWithOptions(&redis.AutoPipelineOptions{
		MaxBatchSize: 64, MaxBatchBytes: 128 << 10, MaxConcurrentBatches: 4, Unordered: true,
	})
}

func newBare(client caller, seats []*seat) *bare {
	b := &bare{client: client, seats: make(map[string]*seat, len(seats))}
	for _, s := range seats {
		b.seats[s.number] = s
	}
	return b
}

const emptyAnswer = `<?xml version="1.0" encoding="UTF-8"?><Response/>`

// handle reads the form, loads, commits and answers.
func (b *bare) handle(c echo.Context) error {
	s := b.seats[c.FormValue("From")]
	sid := c.FormValue("MessageSid")
	if s == nil || len(sid) != 34 || c.FormValue("Body") == "" {
		return c.NoContent(http.StatusBadRequest)
	}
	ctx := c.Request().Context()
	got, err := b.client.MGet(ctx, s.load...).Result()
	if err != nil {
		return err
	}
	record, _ := got[0].(string)
	if len(record) < versionBytes {
		return errors.New("the household is gone")
	}
	if err := b.commit(ctx, &s.calls[sid[33]-'0'], record[:versionBytes], sid); err != nil {
		return err
	}
	return c.Blob(http.StatusOK, "text/xml; charset=utf-8", []byte(emptyAnswer))
}

func (b *bare) commit(ctx context.Context, call *bareCall, version, sid string) error {
	next := make([]byte, versionBytes, versionBytes+len(call.value))
	binary.BigEndian.PutUint64(next, binary.BigEndian.Uint64([]byte(version))+1)
	binary.BigEndian.PutUint64(next[8:], rand.Uint64())
	keys := append([]string(nil), call.keys...)
	keys[keyOfEvent] = call.event + sid[len(sid)-22:]
	args := append([]any(nil), call.args...)
	args[argVersion], args[argRecord] = version, append(next, call.value...)
	done, err := b.client.EvalSha(ctx, call.sha, keys, args...).StringSlice()
	if err != nil {
		return err
	}
	if len(done) != 1 || done[0] != "done" {
		return fmt.Errorf("the commit script answered %q", done)
	}
	return nil
}

// wire keeps what goes to Redis while it is told to, and counts the round trips.
type wire struct {
	on    bool
	trips int
	cmds  [][]any
	reads [][][]any // the commands of each round trip that only read
}

// reading names the commands that change nothing.
var reading = map[string]bool{"get": true, "mget": true, "getrange": true, "hget": true, "hmget": true, "hgetall": true,
	"zrange": true, "zrevrange": true, "zrangebyscore": true, "zcard": true, "zcount": true, "lrange": true, "llen": true,
	"exists": true, "ttl": true, "pttl": true}

func (w *wire) begin() { w.on, w.trips, w.cmds, w.reads = true, 0, nil, nil }

// end is the load and the commit that were kept.
func (w *wire) end() (*shape, error) {
	w.on = false
	// Of a household that isn't there it is asked whether it was erased: once, and
	// not with any later message.
	cmds := slices.DeleteFunc(w.cmds, func(c []any) bool { return c[0] == "hget" })
	if len(cmds) != 2 {
		return nil, fmt.Errorf("a message took %d commands, not a load and a commit", len(cmds))
	}
	load, commit := cmds[0], cmds[1]
	if load[0] != "mget" || commit[0] != "evalsha" {
		return nil, fmt.Errorf("a message loads with %v and commits with %v", load[0], commit[0])
	}
	s := &shape{sha: commit[1].(string)}
	for _, k := range load[1:] {
		s.load = append(s.load, k.(string))
	}
	n := commit[2].(int)
	for _, k := range commit[3 : 3+n] {
		s.keys = append(s.keys, k.(string))
	}
	s.args = append(s.args, commit[3+n:]...)
	return s, nil
}

// DialHook implements redis.Hook.
func (w *wire) DialHook(next redis.DialHook) redis.DialHook { return next }

// ProcessHook implements redis.Hook.
func (w *wire) ProcessHook(next redis.ProcessHook) redis.ProcessHook {
	return func(ctx context.Context, cmd redis.Cmder) error {
		w.keep(cmd)
		return next(ctx, cmd)
	}
}

// ProcessPipelineHook implements redis.Hook.
func (w *wire) ProcessPipelineHook(next redis.ProcessPipelineHook) redis.ProcessPipelineHook {
	return func(ctx context.Context, cmds []redis.Cmder) error {
		w.keep(cmds...)
		return next(ctx, cmds)
	}
}

// keep keeps the commands of one round trip.
func (w *wire) keep(cmds ...redis.Cmder) {
	if !w.on {
		return
	}
	w.trips++
	var reads [][]any
	for _, c := range cmds {
		w.cmds = append(w.cmds, c.Args())
		if reading[c.Name()] {
			reads = append(reads, c.Args())
		}
	}
	if len(reads) > 0 {
		w.reads = append(w.reads, reads)
	}
}
