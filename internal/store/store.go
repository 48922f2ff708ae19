package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/dialog"
	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
	"gaitpost/internal/signs"
)

// Options are what a Store is opened with.
type Options struct {
	// Client is a single server's, Sentinel's or a cluster's. Its retries may
	// stay on: every write here can be sent twice. The caller closes it.
	Client redis.UniversalClient
	// Hasher makes contact ids. Its secret must stay the same for as long as
	// the store lives.
	Hasher *contact.Hasher
	// Keys seal stored values; nil stores them in the clear.
	Keys *Keyring
	// AllowVolatile lets a server serve that keeps nothing on disk.
	AllowVolatile bool
	// Replicas is how many replicas must have a turn before Do, DoAll or DoLine
	// says that it happened; 0 waits for none. It costs a round trip. A replica
	// has it in memory: that outlives the loss of the master, not of both.
	Replicas int
	// ReplicaWait is how long they may take, at most 2 s; 0 is 1 s.
	ReplicaWait time.Duration
	// EventLife is how long an event's key is kept; 0 is eight days. Tests in which
	// an hour passes in seconds give less.
	EventLife time.Duration
	// Versions says what decided a turn; nil is VersionsOf.
	Versions func(*care.Rules) Versions
}

// Versions name everything that a turn's outcome depends on beside household
// and event. A turn can be decided again where they are equal.
type Versions struct {
	Formula int    `cbor:"1,keyasint,omitempty"`
	Lexicon string `cbor:"2,keyasint,omitempty"`
	Scripts string `cbor:"3,keyasint,omitempty"`
	Rules   string `cbor:"4,keyasint,omitempty"` // of the clinic's settings
}

// VersionsOf returns the versions of what this program is built with and of the
// scripts a clinic uses.
func VersionsOf(r *care.Rules) Versions {
	v := Versions{Formula: clinical.FormulaVersion, Lexicon: signs.Version}
	if lib := scriptsOf(r); lib != nil {
		v.Scripts = lib.Version()
	}
	return v
}

func scriptsOf(r *care.Rules) *dialog.Library {
	if r == nil {
		return nil
	}
	return r.Scripts
}

// Store keeps everything in Redis. It is safe for concurrent use, and any
// number of processes may use one Redis.
type Store struct {
	rdb      redis.UniversalClient
	gather   *gather
	hasher   *contact.Hasher
	keys     *Keyring
	versions func(*care.Rules) Versions
	// sealedOnly: every value was sealed once, and one in the clear is none of
	// ours.
	sealedOnly bool

	replicas    int
	replicaWait time.Duration
	eventLife   time.Duration

	// What decides; tests of the store put plainer deciders here.
	turn     func(*care.Rules, care.Household, care.Event) care.Result
	lineTurn func(*care.Rules, care.Line, care.LineEvent) care.LineResult
}

// Open checks the server and returns a Store on it. It refuses a server that
// keeps nothing on disk (ErrVolatile, unless allowed) and one whose data was
// written with another number of partitions or another secret (ErrOtherStore), or
// is sealed with a key that was not given (ErrKeyMissing).
// A server that can't be reached is ErrUnavailable.
func Open(ctx context.Context, o Options) (*Store, error) {
	if o.Client == nil || o.Hasher == nil {
		return nil, errors.New("opening the store: a Redis client and the secret for contact ids are needed")
	}
	s := &Store{
		rdb: o.Client, gather: &gather{rdb: o.Client}, hasher: o.Hasher, keys: o.Keys, versions: o.Versions,
		replicas: max(o.Replicas, 0), replicaWait: min(o.ReplicaWait, 2*time.Second),
		eventLife: cmp.Or(max(o.EventLife, 0), eventLife),
		turn:      care.Turn, lineTurn: care.LineTurn,
	}
	if s.versions == nil {
		s.versions = VersionsOf
	}
	if !o.AllowVolatile {
		// A disk that is full may have room again before the first message comes.
		if err := s.Durable(ctx); err != nil && !errors.Is(err, ErrDisk) {
			return nil, err
		}
	}
	if err := s.checkMeta(ctx); err != nil {
		return nil, err
	}
	if err := s.checkKeys(ctx); err != nil {
		return nil, err
	}
	if err := s.loadScripts(ctx); err != nil {
		return nil, err
	}
	return s, nil
}

func (s *Store) eachMaster(ctx context.Context, f func(context.Context, redis.Cmdable) error) error {
	cluster, ok := s.rdb.(*redis.ClusterClient)
	if !ok {
		return f(ctx, s.rdb)
	}
	err := cluster.ForEachMaster(ctx, func(ctx context.Context, c *redis.Client) error { return f(ctx, c) })
	if errors.Is(err, ErrVolatile) || errors.Is(err, ErrDisk) {
		return err
	}
	return wrap("asking every master", err)
}

// checkMeta writes what the store is built on the first time, and refuses
// anything else ever after.
func (s *Store) checkMeta(ctx context.Context) error {
	mark := s.hasher.ID("", contact.Address{Channel: "meta", Value: "secret"})
	want := [...]struct{ field, value, what string }{
		{"partitions", fmt.Sprint(contact.Partitions), "number of partitions"},
		{"secret", string(mark), "secret for contact ids"},
	}
	var had *redis.SliceCmd
	_, err := s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for _, w := range want {
			p.HSetNX(ctx, metaKey(), w.field, w.value)
		}
		had = p.HMGet(ctx, metaKey(), want[0].field, want[1].field)
		return nil
	})
	if err != nil {
		return wrap("reading how the store was created", err)
	}
	for i, w := range want {
		if had.Val()[i] != w.value {
			return fmt.Errorf("%w: it was made with another %s", ErrOtherStore, w.what)
		}
	}
	return nil
}

// Ping reports whether the store answers: nil, or an error wrapping
// ErrUnavailable.
func (s *Store) Ping(ctx context.Context) error {
	return wrap("asking Redis whether it is there", s.rdb.Ping(ctx).Err())
}

// ID is the id of a contact at a clinic.
func (s *Store) ID(clinic string, a contact.Address) contact.ID { return s.hasher.ID(clinic, a) }
