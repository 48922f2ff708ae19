package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A practice that ran in the clear takes a first key, then another, beside the
// running service, and lets the old one go.
func TestKeysFromNoneToTheSecond(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.answersAll(ruthsPhone)
	var keys []string
	asks := func(args ...string) (string, string, int) {
		d := w.environ()
		d["GAITPOST_SEAL_KEYS"] = strings.Join(keys, "\n")
		return asked(t, d, args...)
	}
	tells := func(args ...string) string {
		t.Helper()
		out, errs, code := asks(args...)
		require.Equal(t, 0, code, errs)
		return out
	}
	require.Contains(t, tells("keys", "status"), "no key: new values are stored in the clear")
	_, errs, code := asks("keys", "rotate")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "holds no key that seals")

	first, second := strings.TrimSpace(tells("keys", "new")), strings.TrimSpace(tells("keys", "new"))
	require.NotEqual(t, first, second)
	id := func(key string) string { return strings.Split(key, "-")[2] }
	keys = []string{"wait " + first}
	require.Contains(t, tells("keys", "status"), "no key: new values are stored in the clear")
	keys = []string{first}
	out := tells("keys", "status")
	require.Contains(t, out, "Sealing now: "+id(first))
	require.Contains(t, out, "gaitpost keys rotate seals them anew")
	_, errs, code = asks("keys", "retire", "clear")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "still sealed with clear")
	tells("keys", "rotate")
	require.Contains(t, tells("keys", "retire", "clear"), "clear is retired")
	require.Contains(t, tells("keys", "status"), "Values in the clear are refused")

	// The running service has not been restarted: what it wrote meanwhile, and
	// all that was sealed, is there for the next one.
	keys = []string{first, second}
	require.Contains(t, tells("keys", "rotate"), "Sealing now: "+id(second))
	require.Contains(t, tells("keys", "status"), id(first)+"  0 values; it may go: gaitpost keys retire "+id(first))
	_, errs, code = asks("keys", "retire", id(second))
	require.Equal(t, 1, code)
	require.Contains(t, errs, "is what seals new values")
	_, errs, code = asks("keys", "retire", "00000000")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "there is no key 00000000 in use")

	keys = []string{second}
	d := w.environ()
	d["GAITPOST_SEAL_KEYS"] = second
	_, errs, code = asked(t, d, "serve", "--listen", "127.0.0.1:0", "--metrics-listen", "")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "sealed with a key that is missing: "+id(first))
	require.NotContains(t, errs, second[30:60])

	keys = []string{first, second}
	tells("keys", "retire", id(first))
	keys = []string{second}
	require.NotContains(t, tells("keys", "status"), id(first))
}

func TestKeysThatCantBeReadStopTheStart(t *testing.T) {
	t.Parallel()
	d := servedSettings(t, "redis://127.0.0.1:1", "http://127.0.0.1:1")
	d["GAITPOST_SEAL_KEYS"] = "gaitpost-key-00000000-5ecret"
	_, errs, code := asked(t, d, "serve")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "GAITPOST_SEAL_KEYS: key 1: not a key of this program")
	require.NotContains(t, errs, "5ecret")
}
