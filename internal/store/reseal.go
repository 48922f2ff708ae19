package store

import (
	"context"
	_ "embed"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"
	"sync"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/account"
)

//go:embed scripts/reseal.lua
var resealSource string

//go:embed scripts/reaside.lua
var reasideSource string

var (
	resealScript  = newScript(resealSource)
	reasideScript = newScript(reasideSource)
)

// InTheClear stands for a key's id where a value is not sealed.
const InTheClear KeyID = "clear"

// Sealed says what a walk over the whole store found.
type Sealed struct {
	Keys   int           // Redis keys looked at
	Values map[KeyID]int // values by the key that they were sealed with, as found
	// Waiting are values among them that wait in the outbox: they can't be
	// sealed anew, and go by themselves.
	Waiting  map[KeyID]int
	Resealed int
	// Changed are values that changed while they were looked at; the running
	// service wrote them, with its own key.
	Changed int
	Damaged int // values that no key opens, or in a form this version does not know
	Unknown int // Redis keys of a kind that this version does not know
}

// Sweep is a walk over the whole store.
type Sweep struct {
	// Reseal seals every value anew that is not sealed with the key that seals
	// now. Without, values are only counted.
	Reseal bool
	// Progress is told, now and then, what was found so far; nil: nobody.
	Progress func(Sealed)
}

const (
	sweepKeys   = 256 // Redis keys looked at in one go
	sweepValues = 256 // elements of a list or stream read in one go
)

// Sweep looks at every value there is, on every master. It may run beside the
// service and be stopped and begun again at any time: what is sealed with the
// newest key already is passed over. Errors wrap ErrUnavailable, or ErrKeyMissing
// where Reseal is asked for and no key seals.
func (s *Store) Sweep(ctx context.Context, o Sweep) (Sealed, error) {
	w := &sweeper{s: s, Sweep: o, found: Sealed{Values: map[KeyID]int{}, Waiting: map[KeyID]int{}}}
	if o.Reseal && s.keys.Sealing() == "" {
		return w.found, fmt.Errorf("%w: none was given that seals", ErrKeyMissing)
	}
	var mu sync.Mutex // a cluster's masters are walked side by side
	err := s.eachMaster(ctx, func(ctx context.Context, c redis.Cmdable) error {
		cursor := uint64(0)
		for {
			keys, next, err := c.Scan(ctx, cursor, "", sweepKeys).Result()
			if err != nil {
				return wrap("walking over the store", err)
			}
			mu.Lock()
			err = w.look(ctx, keys)
			mu.Unlock()
			if cursor = next; err != nil || cursor == 0 {
				return err
			}
		}
	})
	return w.found, err
}

type sweeper struct {
	s *Store
	Sweep
	found Sealed
	calls []call // under way, of this batch
}

// looks says how a kind of Redis key keeps sealed values; kinds that keep none
// are in unsealed.
var looks = map[string]func(*sweeper, context.Context, string) error{
	"h": (*sweeper).record, "line": (*sweeper).record, "session": (*sweeper).plainString, "placed": (*sweeper).plainString,
	"log": (*sweeper).list, "audit": (*sweeper).list, "overlay": (*sweeper).list,
	"accounts": (*sweeper).accounts, "erased": (*sweeper).fields, "out": (*sweeper).stream, "aside": (*sweeper).asides, "retry": (*sweeper).retries,
}

// unsealed are the kinds whose values are ids, instants and counts.
var unsealed = map[string]bool{"a": true, "e": true, "due": true, "case": true, "bucket": true, "guess": true, "watch": true}

// kindOf is the part of a Redis key that says what it is.
func kindOf(key string) string {
	_, rest, ok := strings.Cut(key, "}:")
	if !ok {
		return ""
	}
	kind, _, _ := strings.Cut(rest, ":")
	return kind
}

func (w *sweeper) look(ctx context.Context, keys []string) error {
	for _, k := range keys {
		kind := kindOf(k)
		w.found.Keys++
		switch f := looks[kind]; {
		case f != nil:
			if err := f(w, ctx, k); err != nil {
				return err
			}
		case k != metaKey() && !unsealed[kind]:
			w.found.Unknown++
		}
		if len(w.calls) >= sweepValues {
			if err := w.flush(ctx); err != nil {
				return err
			}
		}
	}
	if err := w.flush(ctx); err != nil {
		return err
	}
	if w.Progress != nil {
		w.Progress(w.found)
	}
	return nil
}

func (w *sweeper) flush(ctx context.Context) error {
	calls := w.calls
	w.calls = nil
	for _, cmd := range w.s.runAll(ctx, calls) {
		n, err := cmd.Int()
		if err != nil {
			return wrap("sealing values anew", err)
		}
		w.found.Resealed += n
		w.found.Changed += 1 - n
	}
	return nil
}

// anew counts a value and returns it sealed with the newest key; ok is false
// where nothing is to be done.
func (w *sweeper) anew(where, head, value string) (again []byte, ok bool) {
	id, known := sealOf(value)
	if !known {
		w.found.Damaged++
		return nil, false
	}
	w.found.Values[id]++
	if !w.Reseal || id == w.s.keys.Sealing() {
		return nil, false
	}
	plain, err := w.s.reveal(where, value)
	if err == nil {
		again, err = w.s.keys.seal([]byte(head), where, plain)
	}
	if err != nil {
		w.found.Damaged++
		return nil, false
	}
	return again, true
}

// sealOf says which key a value is sealed with.
func sealOf(value string) (KeyID, bool) {
	switch {
	case value != "" && value[0] == formatCBOR:
		return InTheClear, true
	case len(value) >= sealHead && value[0] == formatSealed:
		return KeyID(hex.EncodeToString([]byte(value[1:sealHead]))), true
	}
	return "", false
}

func (w *sweeper) put(key, kind, at, was string, is []byte, to string) {
	w.calls = append(w.calls, call{resealScript, []string{key}, []any{kind, at, was, is, to}})
}

// record looks at a household or a line: a version, then the value.
func (w *sweeper) record(ctx context.Context, key string) error {
	return w.text(ctx, key, func(record string) (string, string) {
		v, value := split(record)
		return string(v), value
	})
}

func (w *sweeper) plainString(ctx context.Context, key string) error {
	return w.text(ctx, key, func(record string) (string, string) { return "", record })
}

func (w *sweeper) text(ctx context.Context, key string, parts func(string) (head, value string)) error {
	record, err := w.s.rdb.Get(ctx, key).Result()
	if isNil(err) {
		return nil // it ran out meanwhile
	}
	if err != nil {
		return wrap("reading a value to seal it anew", err)
	}
	head, value := parts(record)
	if is, ok := w.anew(key, head, value); ok {
		w.put(key, "string", "", record, is, "")
	}
	return nil
}

func (w *sweeper) list(ctx context.Context, key string) error {
	for from := int64(0); ; from += sweepValues {
		values, err := w.s.rdb.LRange(ctx, key, from, from+sweepValues-1).Result()
		if err != nil {
			return wrap("reading a list to seal it anew", err)
		}
		for i, v := range values {
			if is, ok := w.anew(key, "", v); ok {
				w.put(key, "list", strconv.FormatInt(from+int64(i), 10), v, is, "")
			}
		}
		if err := w.flush(ctx); err != nil || len(values) < sweepValues {
			return err
		}
	}
}

// accounts looks at a clinic's accounts, and moves one that an earlier version
// put under the sign-in name.
func (w *sweeper) accounts(ctx context.Context, key string) error {
	records, err := w.s.rdb.HGetAll(ctx, key).Result()
	if err != nil {
		return wrap("reading accounts to seal them anew", err)
	}
	for field, record := range records {
		var a account.Account
		if err := w.s.unpack(key+"/"+field, record, &a); err != nil {
			w.found.Damaged++
			continue
		}
		_, ok := w.anew(key+"/"+field, "", record)
		to := w.s.accountFields(a.Clinic, a.ID)[0]
		if !w.Reseal || !ok && to == field {
			continue
		}
		is, err := w.s.pack(key+"/"+to, "", a)
		if err != nil {
			return err
		}
		w.put(key, "hash", field, record, is, to)
	}
	return nil
}

// fields looks at the values of a hash that are sealed for their field.
func (w *sweeper) fields(ctx context.Context, key string) error {
	values, err := w.s.rdb.HGetAll(ctx, key).Result()
	if err != nil {
		return wrap("reading a table to seal it anew", err)
	}
	for field, v := range values {
		if is, ok := w.anew(key+"/"+field, "", v); ok {
			w.put(key, "hash", field, v, is, field)
		}
	}
	return nil
}

// retries looks at messages that were put off; a member has two words before
// the value, as in retry.lua.
func (w *sweeper) retries(ctx context.Context, key string) error {
	members, err := w.s.rdb.ZRange(ctx, key, 0, -1).Result()
	if err != nil {
		return wrap("reading messages that wait to seal them anew", err)
	}
	for _, m := range members {
		parts := strings.SplitN(m, " ", 3)
		if len(parts) < 3 {
			w.found.Damaged++
			continue
		}
		head := parts[0] + " " + parts[1] + " "
		if is, ok := w.anew(outWhere(queueOf(key)), head, parts[2]); ok {
			w.put(key, "zset", "", m, is, "")
		}
	}
	return nil
}

// queueOf is the queue that a stream's or set's key belongs to.
func queueOf(key string) Queue {
	parts := strings.SplitN(key, ":", 3)
	return Queue(parts[len(parts)-1])
}

// stream only counts: an entry of a stream can't be changed, and who has it in
// hand must find it as it was. It goes when it is sent.
func (w *sweeper) stream(ctx context.Context, key string) error {
	return w.eachEntry(ctx, key, func(m redis.XMessage) error {
		raw, _ := m.Values["m"].(string)
		id, known := sealOf(raw)
		if !known {
			w.found.Damaged++
			return nil
		}
		w.found.Values[id]++
		w.found.Waiting[id]++
		return nil
	})
}

func (w *sweeper) eachEntry(ctx context.Context, key string, visit func(redis.XMessage) error) error {
	from := "-"
	for {
		entries, err := w.s.rdb.XRangeN(ctx, key, from, "+", sweepValues).Result()
		if err != nil {
			return wrap("reading a queue", err)
		}
		for _, m := range entries {
			if err := visit(m); err != nil {
				return err
			}
		}
		if len(entries) < sweepValues {
			return nil
		}
		from = "(" + entries[len(entries)-1].ID
	}
}

// asides writes what was given up anew as a whole: there is little of it, and
// nobody has it in hand.
func (w *sweeper) asides(ctx context.Context, key string) error {
	var args []any
	q, changed := queueOf(key), false
	one := func(where, v string) string {
		is, ok := w.anew(where, "", v)
		if !ok {
			return v
		}
		changed = true
		return string(is)
	}
	err := w.eachEntry(ctx, key, func(m redis.XMessage) error {
		raw, _ := m.Values["m"].(string)
		why, _ := m.Values["w"].(string)
		args = append(args, m.ID, one(outWhere(q), raw), one(whyWhere(q), why))
		return nil
	})
	if err != nil || !changed {
		return err
	}
	w.calls = append(w.calls, call{reasideScript, []string{key}, args})
	return nil
}
