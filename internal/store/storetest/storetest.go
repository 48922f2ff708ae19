// Package storetest opens stores for the tests of packages that use one, so
// that those need not know what is behind it.
package storetest

import (
	"context"
	"testing"

	"github.com/alicebob/miniredis/v2"
	"github.com/redis/go-redis/v9"

	"gaitpost/internal/contact"
	"gaitpost/internal/store"
	"gaitpost/internal/store/redistest"
)

// Secret is the invented secret of the contact ids of these stores.
const Secret = "an invented secret of the tests"

// Open opens an empty store on a real server of its own, which keeps its data
// on disk. Both end with the test. Use the server to kill and restart it.
func Open(t testing.TB) (*store.Store, *redistest.Server) {
	t.Helper()
	server := redistest.Start(t)
	return On(t, server.Client(t)), server
}

// OpenStandIn opens an empty store on the in-process stand-in: quick, on its
// own, and without time-outs of keys.
func OpenStandIn(t testing.TB) *store.Store {
	t.Helper()
	c := redis.NewClient(&redis.Options{Addr: miniredis.RunT(t).Addr()})
	t.Cleanup(func() { _ = c.Close() })
	return On(t, c)
}

// On opens a store on a client.
func On(t testing.TB, c redis.UniversalClient) *store.Store {
	t.Helper()
	s, err := store.Open(context.Background(), store.Options{Client: c, Hasher: Hasher(t), AllowVolatile: true})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Hasher makes the contact ids of these stores.
func Hasher(t testing.TB) *contact.Hasher {
	t.Helper()
	h, err := contact.NewHasher([]byte(Secret))
	if err != nil {
		t.Fatal(err)
	}
	return h
}
