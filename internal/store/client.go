package store

import (
	"cmp"
	"crypto/tls"
	"crypto/x509"
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
//
// Over rediss:// the server has to prove its name with a certificate that the
// system's authorities, or those of NewTLSClient, have signed.
func NewClient(address string) (redis.UniversalClient, error) {
	return NewTLSClient(address, TLS{})
}

// TLS is what a connection over rediss:// is made with, each as PEM text.
type TLS struct {
	CA        string // authorities to believe instead of the system's; "": the system's
	Cert, Key string // shown to a server that asks who we are; "": nothing
}

// Errors of the settings of TLS. They never repeat what they are about.
var (
	ErrTLSUnused = errors.New("certificates for Redis are given, but its address is not rediss://, so that everything would go over the network in the clear")
	ErrTLSCA     = errors.New("the authorities for Redis hold no certificate in PEM form")
	ErrTLSCert   = errors.New("the certificate for Redis and its key can't be read, or don't belong together")
)

// apply puts what was given into the configuration that an address led to; c is
// nil for an address without TLS.
func (t TLS) apply(c *tls.Config) error {
	if t == (TLS{}) {
		return nil
	}
	if c == nil {
		return ErrTLSUnused
	}
	if t.CA != "" {
		c.RootCAs = x509.NewCertPool()
		if !c.RootCAs.AppendCertsFromPEM([]byte(t.CA)) {
			return ErrTLSCA
		}
	}
	if t.Cert != "" || t.Key != "" {
		pair, err := tls.X509KeyPair([]byte(t.Cert), []byte(t.Key))
		if err != nil {
			return ErrTLSCert // the cause may quote the key
		}
		c.Certificates = []tls.Certificate{pair}
	}
	return nil
}

// NewTLSClient is NewClient with certificates of the deployment's own. Errors
// wrap ErrAddress or one of the ErrTLS….
func NewTLSClient(address string, t TLS) (redis.UniversalClient, error) {
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
		tune(&o.PoolSize, &o.MaxRetries, &o.DialerRetries, &o.ContextTimeoutEnabled, &o.DisableIdentity)
		tuneTimes(&o.DialTimeout, &o.ReadTimeout, &o.WriteTimeout, &o.PoolTimeout)
		if err := t.apply(o.TLSConfig); err != nil {
			return nil, err
		}
		return redis.NewFailoverClient(o), nil
	case q.Has("addr"):
		o, err := redis.ParseClusterURL(address)
		if err != nil {
			return nil, ErrAddress
		}
		tune(&o.PoolSize, &o.MaxRetries, &o.DialerRetries, &o.ContextTimeoutEnabled, &o.DisableIdentity)
		tuneTimes(&o.DialTimeout, &o.ReadTimeout, &o.WriteTimeout, &o.PoolTimeout)
		if err := t.apply(o.TLSConfig); err != nil {
			return nil, err
		}
		return redis.NewClusterClient(o), nil
	}
	o, err := redis.ParseURL(address)
	if err != nil {
		return nil, ErrAddress
	}
	tune(&o.PoolSize, &o.MaxRetries, &o.DialerRetries, &o.ContextTimeoutEnabled, &o.DisableIdentity)
	tuneTimes(&o.DialTimeout, &o.ReadTimeout, &o.WriteTimeout, &o.PoolTimeout)
	if err := t.apply(o.TLSConfig); err != nil {
		return nil, err
	}
	return redis.NewClient(o), nil
}

// tune sets what the address left open, lets calls end with their context, and
// keeps the client from naming its library, which our user may not do.
func tune(pool, retries, dials *int, heedContext, anonymous *bool) {
	*pool = cmp.Or(*pool, poolSize)
	*retries = cmp.Or(*retries, maxRetries)
	*dials = cmp.Or(*dials, dialAttempts)
	*heedContext, *anonymous = true, true
}

func tuneTimes(dial, read, write, pool *time.Duration) {
	*dial = cmp.Or(*dial, dialTimeout)
	*read = cmp.Or(*read, callTimeout)
	*write = cmp.Or(*write, callTimeout)
	*pool = cmp.Or(*pool, poolTimeout)
}
