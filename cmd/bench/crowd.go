package main

import (
	"context"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/care"
	"gaitpost/internal/store"
	"gaitpost/scheduler"
)

// crowd is the households that fall due together.
type crowd struct {
	*ground
	now     time.Time
	all     []*idler
	byID    map[string]*idler // by their due member
	claims  [][]any           // the commands of one claim
	streams []string          // that the prompts go to
}

// idler is one household to be woken: the bare calls that it takes, and what to
// put back afterwards.
type idler struct {
	load   []string
	sha    string
	keys   []string
	args   []any
	record string
}

// dueCourses is how many invented households the crowd are copies of.
const dueCourses = 12

// newCrowd stores n households whose check-in falls due.
func newCrowd(ctx context.Context, g *ground, n int) (*crowd, error) {
	c := &crowd{ground: g, byID: map[string]*idler{}}
	var houses []care.Household
	for k := range dueCourses {
		h, at, err := waiting(g.clinic.Rules, k)
		if err != nil {
			return nil, err
		}
		houses = append(houses, h)
		if at.After(c.now) {
			c.now = at
		}
	}
	shapes, err := c.capture(ctx, houses)
	if err != nil {
		return nil, err
	}
	for i := range n {
		if err := c.add(ctx, i, houses[i%dueCourses], shapes[i%dueCourses]); err != nil {
			return nil, err
		}
	}
	return c, c.putBack(ctx)
}

// waiting grows a household until its next weekly check-in is due, and returns
// it as it is just before.
func waiting(r *care.Rules, k int) (care.Household, time.Time, error) {
	g := &growing{r: r, rng: rand.New(rand.NewPCG(7, uint64(k))), at: begun, owner: ruth()}
	g.enrol(2 * k) // with one dog each
	g.say("yes")
	for answered := 0; ; {
		if err := g.untilAsked(); err != nil {
			return g.h, g.at, err
		}
		o := g.open()
		if o.Kind == care.PromptCheckIn {
			answered++
		}
		for g.open() != nil && g.open().Slot == o.Slot {
			g.say(g.answer())
		}
		if answered < 8 || g.open() != nil {
			continue
		}
		before := g.h
		res := care.Turn(r, before, care.Event{At: g.next, Tick: &care.Tick{}})
		if o := res.Household.Contacts[0].Talk.Open; o != nil && o.Kind == care.PromptCheckIn {
			return before, g.next, nil
		}
	}
}

// capture wakes one of each kind and keeps what went over the wire, and a claim.
func (c *crowd) capture(ctx context.Context, houses []care.Household) ([]*shape, error) {
	own, w, client, err := c.listenTo(ctx)
	if err != nil {
		return nil, err
	}
	defer client.Close()
	var shapes []*shape
	for i, h := range houses {
		a := number(maxHouseholds - 100 + i)
		id := c.store.ID(c.clinic.Rules.Clinic, a)
		if err := c.keep(ctx, h, id, a, c.now.AddDate(1, 0, 0)); err != nil {
			return nil, err
		}
		w.begin()
		done := own.DoAll(ctx, []store.Job{{Rules: c.clinic.Rules, ID: id, Event: care.Event{At: c.now, Tick: &care.Tick{}}}})
		if done[0].Err != nil {
			return nil, done[0].Err
		}
		if len(done[0].Result.Send) != 1 {
			return nil, fmt.Errorf("a household that is woken is not prompted: %s", done[0].Result.Reason)
		}
		sh, err := w.end()
		if err != nil {
			return nil, err
		}
		sh.id = id
		shapes = append(shapes, sh)
	}
	w.begin()
	if _, err := own.ClaimDueAll(ctx, c.now.AddDate(-9, 0, 0), time.Minute, store.ClaimMax); err != nil {
		return nil, err
	}
	c.claims = w.cmds
	for _, claim := range c.claims {
		claim[4] = c.now.Unix()
	}
	return shapes, nil
}

// add stores one of the crowd.
func (c *crowd) add(ctx context.Context, i int, h care.Household, sh *shape) error {
	a := number(i)
	id := c.store.ID(c.clinic.Rules.Clinic, a)
	if err := c.keep(ctx, h, id, a, c.now); err != nil {
		return err
	}
	d := &idler{sha: sh.sha, args: slices.Clone(sh.args)}
	for _, k := range sh.load {
		d.load = append(d.load, sh.place(k, id))
	}
	for _, k := range sh.keys {
		d.keys = append(d.keys, sh.place(k, id))
	}
	d.args[argDueMember] = sh.place(fmt.Sprint(sh.args[argDueMember]), id)
	d.args[argCaseMember] = string(id)
	var err error
	if d.record, err = c.client.Get(ctx, d.keys[0]).Result(); err != nil {
		return fmt.Errorf("reading a household back: %w", err)
	}
	if stream := d.keys[len(d.keys)-1]; !slices.Contains(c.streams, stream) {
		c.streams = append(c.streams, stream)
	}
	c.all = append(c.all, d)
	c.byID[fmt.Sprint(d.args[argDueMember])] = d
	return nil
}

// putBack makes everybody due again, as they were, and empties the outbox.
func (c *crowd) putBack(ctx context.Context) error {
	for part := range slices.Chunk(c.all, 1000) {
		_, err := c.client.Pipelined(ctx, func(p redis.Pipeliner) error {
			for _, d := range part {
				p.Set(ctx, d.keys[0], d.record, 0)
				p.ZAdd(ctx, d.keys[2], redis.Z{Score: float64(c.now.Unix()), Member: d.args[argDueMember]})
			}
			return nil
		})
		if err != nil {
			return fmt.Errorf("putting the households back: %w", err)
		}
	}
	return c.client.Del(ctx, c.streams...).Err()
}

// measured runs one burst that has to wake everybody.
func (c *crowd) measured(ctx context.Context, burst func(context.Context) (int, error)) (outcome, error) {
	if err := c.putBack(ctx); err != nil {
		return outcome{}, err
	}
	redisUsed, used, began := c.cpu(ctx), cpuTime(), time.Now()
	n, err := burst(ctx)
	took := time.Since(began)
	if err != nil {
		return outcome{}, err
	}
	if n != len(c.all) {
		return outcome{}, fmt.Errorf("%d were woken, and %d were due", n, len(c.all))
	}
	each := time.Duration(n)
	return outcome{sent: n, perSecond: float64(n) / took.Seconds(), p50: took, p99: took,
		cpu: (cpuTime() - used) / each, redis: (c.cpu(ctx) - redisUsed) / each}, nil
}

// wake is the scheduler's own way.
func (c *crowd) wake(ctx context.Context) (outcome, error) {
	return c.measured(ctx, func(ctx context.Context) (int, error) {
		seen := &woken{}
		s := scheduler.New(scheduler.Options{
			Store: c.store, Clinics: []*care.Rules{c.clinic.Rules}, Now: func() time.Time { return c.now },
			Log: quiet, Observer: seen,
		})
		err := s.Due(ctx, c.now)
		return seen.reasons[care.Prompted], err
	})
}

// bare claims, loads and commits as the scheduler does, and decides nothing.
func (c *crowd) bare(ctx context.Context) (outcome, error) {
	return c.measured(ctx, func(ctx context.Context) (int, error) {
		n := 0
		for {
			due, err := c.claim(ctx)
			if err != nil || len(due) == 0 {
				return n, err
			}
			if err := c.commit(ctx, due); err != nil {
				return n, err
			}
			n += len(due)
		}
	})
}

func (c *crowd) claim(ctx context.Context) ([]*idler, error) {
	cmds := make([]*redis.Cmd, len(c.claims))
	_, err := c.client.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i, claim := range c.claims {
			cmds[i] = p.Do(ctx, claim...)
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("claiming: %w", err)
	}
	var due []*idler
	for _, cmd := range cmds {
		members, err := cmd.StringSlice()
		if err != nil {
			return nil, fmt.Errorf("claiming: %w", err)
		}
		for _, m := range members {
			due = append(due, c.byID[m])
		}
	}
	return due, nil
}

// commit loads and commits a batch.
func (c *crowd) commit(ctx context.Context, due []*idler) error {
	loads, commits := make([]*redis.SliceCmd, len(due)), make([]*redis.Cmd, len(due))
	_, err := c.client.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i, d := range due {
			loads[i] = p.MGet(ctx, d.load...)
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("loading: %w", err)
	}
	_, err = c.client.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i, d := range due {
			record, _ := loads[i].Val()[0].(string)
			commits[i] = p.EvalSha(ctx, d.sha, d.keys, d.next(record)...)
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("committing: %w", err)
	}
	for _, cmd := range commits {
		if done, err := cmd.StringSlice(); err != nil || len(done) != 1 || done[0] != "done" {
			return fmt.Errorf("the commit script answered %q, %w", done, err)
		}
	}
	return nil
}

// next is the arguments of the commit on a loaded record.
func (d *idler) next(record string) []any {
	value := d.args[argRecord].([]byte)
	b := make([]byte, versionBytes, len(value))
	binary.BigEndian.PutUint64(b, binary.BigEndian.Uint64([]byte(record[:8]))+1)
	binary.BigEndian.PutUint64(b[8:], rand.Uint64())
	args := slices.Clone(d.args)
	args[argVersion], args[argRecord] = record[:versionBytes], append(b, value[versionBytes:]...)
	return args
}
