package store

import (
	"cmp"
	"errors"
	"net/url"
	"time"

	"github.com/redis/go-redis/v9"
)

// How a client of the store behaves where its address does not say otherwise. A
// server that is away must show within the five seconds that a provider's
// request may take, so that the provider is told to come back in good time.
const (
	poolSize     = 64 // 4 cost a third of the throughput, more gain nothing
	dialTimeout  = 2 * time.Second
	callTimeout  = 3 * time.Second
	poolTimeout  = 3 * time.Second
	maxRetries   = 2
	dialAttempts = 2
)

// ErrAddress says that Redis' address can't be read. It does not repeat the
// address, which may hold a password.
var ErrAddress = errors.New("the address of Redis can't be read; it is like redis://127.0.0.1:6379/0")

// NewClient makes a client for one server (redis://, rediss://, unix://), for a
// cluster (further servers as addr=host:port in the address' query) or for
// Sentinel (master_name= there). Nothing is connected yet; the caller closes it.
func NewClient(address string) (redis.UniversalClient, error) {
	u, err := url.Parse(address)
	if err != nil {
		return nil, ErrAddress
	}
	switch q := u.Query(); {
	case q.Has("master_name"):
		o, err := redis.ParseFailoverURL(address)
		if err != nil {
			return nil, ErrAddress
		}
		tune(&o.PoolSize, &o.MaxRetries, &o.DialerRetries, &o.ContextTimeoutEnabled)
		tuneTimes(&o.DialTimeout, &o.ReadTimeout, &o.WriteTimeout, &o.PoolTimeout)
		return redis.NewFailoverClient(o), nil
	case q.Has("addr"):
		o, err := redis.ParseClusterURL(address)
		if err != nil {
			return nil, ErrAddress
		}
		tune(&o.PoolSize, &o.MaxRetries, &o.DialerRetries, &o.ContextTimeoutEnabled)
		tuneTimes(&o.DialTimeout, &o.ReadTimeout, &o.WriteTimeout, &o.PoolTimeout)
		return redis.NewClusterClient(o), nil
	}
	o, err := redis.ParseURL(address)
	if err != nil {
		return nil, ErrAddress
	}
	tune(&o.PoolSize, &o.MaxRetries, &o.DialerRetries, &o.ContextTimeoutEnabled)
	tuneTimes(&o.DialTimeout, &o.ReadTimeout, &o.WriteTimeout, &o.PoolTimeout)
	return redis.NewClient(o), nil
}

// tune sets what the address left open, and lets calls end with their context.
func tune(pool, retries, dials *int, heedContext *bool) {
	*pool = cmp.Or(*pool, poolSize)
	*retries = cmp.Or(*retries, maxRetries)
	*dials = cmp.Or(*dials, dialAttempts)
	*heedContext = true
}

func tuneTimes(dial, read, write, pool *time.Duration) {
	*dial = cmp.Or(*dial, dialTimeout)
	*read = cmp.Or(*read, callTimeout)
	*write = cmp.Or(*write, callTimeout)
	*pool = cmp.Or(*pool, poolTimeout)
}
