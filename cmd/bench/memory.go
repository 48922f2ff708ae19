package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/fxamacker/cbor/v2"
	"github.com/spf13/cobra"

	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

type memoryOptions struct{ dogs, weeks int }

func newMemoryCmd() *cobra.Command {
	var o memoryOptions
	cmd := &cobra.Command{
		Use:   "memory",
		Short: "Measure how much memory a dog takes in Redis after two years",
		Long: `Memory starts a redis-server of its own and lets invented owners answer a check-in
each week, by the rules themselves: every prompt, answer, thank-you and delivery
report is a turn in the store. Then it counts the memory that Redis uses for a dog:
its household, its whole log, its places in the due set and in the caseload, and the
event keys of the last week. What was sent is no longer in the outbox.

ratio is that in terms of the same log as compact JSON: every entry with all its
facts and readings, no field that is empty, and the numbers of the fields as names.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return measureMemory(cmd.Context(), cmd.OutOrStdout(), o)
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.dogs, "dogs", 80, "how many dogs the sample has, at most 10000")
	f.IntVar(&o.weeks, "weeks", 104, "how many check-ins each has answered, at least 2")
	return cmd
}

// memoryResult is the last line of the measure. Bytes are a dog's.
type memoryResult struct {
	Bench     string  `json:"bench"`
	Ratio     float64 `json:"ratio"`
	Bytes     float64 `json:"redis_bytes"`
	JSONBytes float64 `json:"json_bytes"`
	// Record and Log are what the household and its log take by themselves.
	Record  float64 `json:"record_bytes"`
	Log     float64 `json:"log_bytes"`
	Entries float64 `json:"log_entries"`
	Dogs    int     `json:"dogs"`
	Weeks   int     `json:"weeks"`
	Seconds float64 `json:"wall_seconds"`
}

func measureMemory(ctx context.Context, out io.Writer, o memoryOptions) error {
	began := time.Now()
	if o.dogs < 1 || o.dogs > 10_000 || o.weeks < 2 {
		return fmt.Errorf("want 1 to 10000 dogs and at least 2 weeks")
	}
	g, err := newGround(ctx)
	if err != nil {
		return err
	}
	defer g.close()
	empty, err := g.used(ctx)
	if err != nil {
		return err
	}
	herd, err := g.grow(ctx, o)
	if err != nil {
		return err
	}
	full, err := g.used(ctx)
	if err != nil {
		return err
	}
	dogs := float64(o.dogs)
	res := memoryResult{Bench: "memory", Bytes: (full - empty) / dogs, Dogs: o.dogs, Weeks: o.weeks}
	if err := res.weigh(ctx, g, herd); err != nil {
		return err
	}
	res.Ratio = res.Bytes / res.JSONBytes
	res.Seconds = time.Since(began).Seconds()
	fmt.Fprintf(out, "%d dogs with %d check-ins: %.0f bytes each in Redis, of which household %.0f and log %.0f (%.0f entries); as JSON %.0f: ratio %.2f\n",
		o.dogs, o.weeks, res.Bytes, res.Record, res.Log, res.Entries, res.JSONBytes, res.Ratio)
	return last(out, res)
}

// used is what Redis uses for data, without what its connections and its file
// take for the moment.
func (g *ground) used(ctx context.Context) (float64, error) {
	sum := 0.0
	for field, sign := range map[string]float64{"used_memory": 1, "mem_clients_normal": -1, "mem_aof_buffer": -1} {
		v, err := g.info(ctx, "memory", field)
		if err != nil {
			return 0, err
		}
		sum += sign * v
	}
	return sum, nil
}

// grow lets everybody answer, and leaves in Redis what would be there: of the
// event keys those of the last week, of the outbox nothing.
func (g *ground) grow(ctx context.Context, o memoryOptions) ([]*growing, error) {
	herd := make([]*growing, o.dogs)
	for i := range herd {
		a := number(i)
		herd[i] = &growing{r: g.clinic.Rules, rng: rand.New(rand.NewPCG(3, uint64(i))), at: begun, store: g.store,
			owner: care.Owner{Name: "Ruth", Address: a, ID: g.store.ID(g.clinic.Rules.Clinic, a), Via: "texts"}}
	}
	err := side(herd, func(i int, d *growing) error {
		k := i
		if k%8 == 1 { // these would have two dogs
			k += 3
		}
		d.enrol(k)
		d.say("yes")
		return d.through(o.weeks - 1)
	})
	if err == nil {
		err = g.drop(ctx, "*:e:*")
	}
	if err == nil {
		err = side(herd, func(_ int, d *growing) error { return d.through(1) })
	}
	if err == nil {
		err = g.drop(ctx, "*:out:*")
	}
	return herd, err
}

// side works on all of a herd, several at a time.
func side(herd []*growing, f func(int, *growing) error) error {
	var mu sync.Mutex
	var failed error
	next := make(chan int)
	var wg sync.WaitGroup
	for range 16 {
		wg.Go(func() {
			for i := range next {
				if err := f(i, herd[i]); err != nil {
					mu.Lock()
					failed = err
					mu.Unlock()
				}
			}
		})
	}
	for i := range herd {
		next <- i
	}
	close(next)
	wg.Wait()
	return failed
}

// drop deletes the keys of a pattern.
func (g *ground) drop(ctx context.Context, pattern string) error {
	keys := g.client.Scan(ctx, 0, pattern, 1000).Iterator()
	for keys.Next(ctx) {
		if err := g.client.Del(ctx, keys.Val()).Err(); err != nil {
			return err
		}
	}
	return keys.Err()
}

// weigh finds what a dog's parts take, and its log as JSON.
func (res *memoryResult) weigh(ctx context.Context, g *ground, herd []*growing) error {
	for _, part := range []struct {
		pattern string
		into    *float64
	}{{"*:h:*", &res.Record}, {"*:log:*", &res.Log}} {
		keys := g.client.Scan(ctx, 0, part.pattern, 1000).Iterator()
		for keys.Next(ctx) {
			n, err := g.client.MemoryUsage(ctx, keys.Val(), 0).Result()
			if err != nil {
				return err
			}
			*part.into += float64(n) / float64(len(herd))
		}
		if err := keys.Err(); err != nil {
			return err
		}
	}
	for _, d := range herd {
		entries, err := g.store.ReadLog(ctx, g.clinic.Rules.Clinic, d.owner.ID, 0, 1<<20)
		if err != nil {
			return err
		}
		for _, e := range entries {
			n, err := compactJSON(e)
			if err != nil {
				return err
			}
			res.JSONBytes += float64(n) / float64(len(herd))
			res.Entries += 1 / float64(len(herd))
		}
	}
	return nil
}

// written is a log entry with nothing left out that can't be worked out again.
type written struct {
	Seq      uint64         `cbor:"1,keyasint,omitempty"`
	At       int64          `cbor:"2,keyasint,omitempty"`
	Event    care.Event     `cbor:"3,keyasint,omitempty"`
	Reason   care.Reason    `cbor:"4,keyasint,omitempty"`
	Refusal  string         `cbor:"5,keyasint,omitempty"`
	Versions store.Versions `cbor:"6,keyasint,omitempty"`
	Facts    []care.Fact    `cbor:"7,keyasint,omitempty"`
}

// compactJSON is how long an entry is as JSON with the fields' numbers as names.
// The stored tags know which fields are empty, so it goes by way of them.
func compactJSON(e store.LogEntry) (int, error) {
	if m := e.Event.Message; m != nil { // its words and its id are said once
		e.Event.Key = strings.TrimSuffix(e.Event.Key, m.ID)
		for i := range e.Facts {
			if f := &e.Facts[i]; f.Kind == care.FactWords {
				f.Text, f.ID = "", ""
			}
		}
	}
	b, err := cbor.Marshal(written{e.Seq, e.At.Unix(), e.Event, e.Reason, e.Refusal, e.Versions, e.Facts})
	if err != nil {
		return 0, err
	}
	var plain any
	if err := cbor.Unmarshal(b, &plain); err != nil {
		return 0, err
	}
	text, err := json.Marshal(named(plain))
	return len(text), err
}

// named turns what CBOR gives into what JSON takes, without fields that are empty.
func named(v any) any {
	switch v := v.(type) {
	case map[any]any:
		m := make(map[string]any, len(v))
		for k, x := range v {
			switch x = named(x); x {
			case nil, "", uint64(0), false:
			default:
				m[fmt.Sprint(k)] = x
			}
		}
		if len(m) == 0 {
			return nil
		}
		return &m
	case []any:
		for i := range v {
			v[i] = named(v[i])
		}
		return &v
	case float64:
		return json.Number(strconv.FormatFloat(v, 'g', -1, 64))
	default:
		return v
	}
}
