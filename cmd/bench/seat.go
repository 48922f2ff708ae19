package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// seat is one household of the bench.
type seat struct {
	number string
	id     contact.ID
	stage  *stage
	key    string // its record's
	record string // as it is before every burst
	// What the bare handler loads, and commits for the first and second message.
	load  []string
	calls [2]bareCall
}

// courses is how many invented households all others are copies of.
const courses = 48

// weeksOf is how long a course has been under way: a quarter are new and answer
// one question at a time.
func weeksOf(k int) int {
	if k%4 == 0 {
		return k / 4 % 2
	}
	return 2 + k/2
}

// settle grows the courses, gives every household a stage of one, and keeps what
// the commits of each stage are. It returns when the check-ins are open.
func (r *rig) settle(ctx context.Context) (time.Time, error) {
	var stages []*stage
	var now time.Time
	for k := range courses {
		some, at, err := course(r.clinic.Rules, k, weeksOf(k))
		if err != nil {
			return now, err
		}
		stages = append(stages, some...)
		if at.After(now) {
			now = at
		}
	}
	shapes, err := r.capture(ctx, stages, now)
	if err != nil {
		return now, err
	}
	return now, r.seatAll(ctx, stages, shapes)
}

// seatAll stores every household and lays down who writes when.
func (r *rig) seatAll(ctx context.Context, stages []*stage, shapes map[*stage]*shape) error {
	rng := rand.New(rand.NewPCG(2, 3))
	for i := range r.o.households {
		st := stages[rng.IntN(len(stages))]
		a := number(i)
		s := &seat{number: a.Value, id: r.store.ID(r.clinic.Rules.Clinic, a), stage: st}
		if err := r.put(ctx, s, a); err != nil {
			return err
		}
		sh := shapes[st]
		s.key, s.load = sh.place(sh.state, s.id), []string{sh.place(sh.load[0], s.id), sh.place(sh.load[1], s.id)}
		for n, at := 0, st; n < 2 && at != nil; n, at = n+1, at.next {
			s.calls[n] = shapes[at].callFor(s.id)
		}
		r.seats = append(r.seats, s)
	}
	for _, s := range r.seats {
		r.order = append(r.order, visit{s, false})
	}
	for _, s := range r.seats {
		if s.stage.next != nil {
			r.order = append(r.order, visit{s, true})
		}
	}
	return r.remember(ctx)
}

// put stores a copy of a stage's household under a number of its own.
func (r *rig) put(ctx context.Context, s *seat, a contact.Address) error {
	return r.keep(ctx, s.stage.house, s.id, a, begun.AddDate(1, 0, 0))
}

// remember keeps every record as it is before a burst.
func (r *rig) remember(ctx context.Context) error {
	for part := range slices.Chunk(r.seats, 1000) {
		cmds := make([]*redis.StringCmd, len(part))
		_, err := r.client.Pipelined(ctx, func(p redis.Pipeliner) error {
			for i, s := range part {
				cmds[i] = p.Get(ctx, s.key)
			}
			return nil
		})
		if err != nil {
			return fmt.Errorf("reading the households back: %w", err)
		}
		for i, s := range part {
			s.record = cmds[i].Val()
		}
	}
	return nil
}

// putBack writes every record that the last burst changed as it was.
func (r *rig) putBack(ctx context.Context) error {
	if r.touched == 0 {
		return nil
	}
	for part := range slices.Chunk(r.order[:r.touched], 1000) {
		_, err := r.client.Pipelined(ctx, func(p redis.Pipeliner) error {
			for _, v := range part {
				p.Set(ctx, v.seat.key, v.seat.record, 0)
			}
			return nil
		})
		if err != nil {
			return fmt.Errorf("putting the households back: %w", err)
		}
	}
	r.touched = 0
	return nil
}

// shape is the load and the commit of one stage's turn, as they went over the
// wire for a household that stands for all at that stage.
type shape struct {
	id    contact.ID
	state string
	load  []string
	sha   string
	keys  []string
	args  []any
}

// capture lets each stage's message happen once, to a household of its own, and
// keeps what went over the wire.
func (r *rig) capture(ctx context.Context, stages []*stage, now time.Time) (map[*stage]*shape, error) {
	own, wire, client, err := r.listenTo(ctx)
	if err != nil {
		return nil, err
	}
	defer client.Close()
	shapes := map[*stage]*shape{}
	trips := 0
	for i, st := range stages {
		a := number(maxHouseholds + i)
		s := &seat{id: r.store.ID(r.clinic.Rules.Clinic, a), stage: st}
		if err := r.put(ctx, s, a); err != nil {
			return nil, err
		}
		wire.begin()
		sid := fmt.Sprintf("SM%032x", 0xca0000+i)
		_, err := own.Do(ctx, r.clinic.Rules, s.id, care.Event{Key: "sms/" + sid, At: now, Message: &care.MessageIn{
			From: a, Via: "texts", ID: sid, Text: st.text,
		}})
		if err != nil {
			return nil, err
		}
		sh, err := wire.end()
		if err != nil {
			return nil, err
		}
		sh.id, sh.state = s.id, sh.keys[0]
		shapes[st] = sh
		trips += wire.trips
	}
	r.trips = float64(trips) / float64(len(stages))
	return shapes, nil
}

// place turns a key of the standing household into the same key of another.
func (s *shape) place(text string, id contact.ID) string {
	tag := func(id contact.ID) string { return fmt.Sprintf("{p%02d}", id.Partition()) }
	return strings.ReplaceAll(strings.ReplaceAll(text, tag(s.id), tag(id)), string(s.id), string(id))
}
