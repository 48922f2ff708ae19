package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

// ran runs one command line of the practice's and returns all that came of it.
func (w *world) ran(args ...string) (string, string, int) {
	var out, errs bytes.Buffer
	code := run(context.Background(), args, env{
		stdin: strings.NewReader(""), stdout: &out, stderr: &errs,
		getenv: func(n string) string { return w.environ()[n] }, now: w.clock.now,
	})
	return out.String(), errs.String(), code
}

// The drill: serve, converse, back up, lose everything, restore, compare, and go
// on conversing where it stood.
func TestTheDrillOfABackup(t *testing.T) {
	t.Parallel()
	w := lived(t)
	w.command("account", "add", "r.lee", "--name", "Dr Lee", "--role", "vet")
	file := filepath.Join(t.TempDir(), "hillside.backup")
	require.Contains(t, w.command("backup", file), "2 households in ")
	before, log := w.household(ruthsPhone), w.log(ruthsPhone)
	due, err := w.apps[0].Store.DueLag(t.Context(), w.clock.now())
	require.NoError(t, err)

	_, errs, code := w.ran("restore", file)
	require.Equal(t, 1, code)
	require.Contains(t, errs, "nothing was restored: this clinic has records already: 2 households and 1 accounts")

	require.NoError(t, w.client.FlushAll(t.Context()).Err())
	out := w.command("restore", file)
	require.Contains(t, out, "2 households of 2 Mar 2026, 09:00; 0 erasures")
	require.Equal(t, before, w.household(ruthsPhone))
	require.Equal(t, log, w.log(ruthsPhone))
	again, err := w.apps[0].Store.DueLag(t.Context(), w.clock.now())
	require.NoError(t, err)
	require.Equal(t, due, again)
	require.Contains(t, w.command("account", "list"), "Dr Lee")
	_, _, code = w.ran("audit")
	require.Equal(t, 0, code, "the log still proves itself")

	w.got()
	w.says(drLee, "1 SEEN")
	require.NotEmpty(t, w.got(), "the numbers under which she knows alerts came back too")
	w.says(ruthsPhone, "he's collapsed again and his gums are white")
	require.NotEmpty(t, w.got())
	require.Greater(t, w.household(ruthsPhone).Household.Seq, before.Household.Seq)
}

// A damaged, cut or foreign file changes nothing.
func TestABackupThatCannotBeUsedChangesNothing(t *testing.T) {
	t.Parallel()
	w := lived(t)
	dir := t.TempDir()
	file := filepath.Join(dir, "good")
	w.command("backup", file)
	good, err := os.ReadFile(file)
	require.NoError(t, err)
	damaged := bytes.Clone(good)
	damaged[len(damaged)/2] ^= 1
	require.NoError(t, w.client.FlushAll(t.Context()).Err())
	for what, b := range map[string][]byte{"damaged": damaged, "cut off": good[:len(good)-40], "half": good[:len(good)/2], "empty": nil, "other": []byte("hello")} {
		bad := filepath.Join(dir, "bad")
		require.NoError(t, os.WriteFile(bad, b, 0o600))
		_, errs, code := w.ran("restore", bad)
		require.Equal(t, 1, code, what)
		require.Contains(t, errs, "nothing was restored: ", what)
		keys, err := w.client.Keys(t.Context(), "{p*").Result()
		require.NoError(t, err)
		require.Empty(t, keys, what)
	}
	_, errs, code := w.ran("restore", filepath.Join(dir, "nowhere"))
	require.Equal(t, 1, code)
	require.Contains(t, errs, "can't be read")
}

// Sealed values stay sealed in the file, and open only with their key.
func TestASealedBackupNeedsItsKey(t *testing.T) {
	t.Parallel()
	w := lived(t)
	file := filepath.Join(t.TempDir(), "sealed")
	one, two := strings.TrimSpace(w.command("keys", "new")), strings.TrimSpace(w.command("keys", "new"))
	w.sealed = one
	w.command("keys", "rotate")
	require.Contains(t, w.command("backup", file), "sealed with the store's keys")
	b, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NotContains(t, string(b), "900401")
	require.NoError(t, w.client.FlushAll(t.Context()).Err())
	w.sealed = two
	_, errs, code := w.ran("restore", file)
	require.Equal(t, 1, code)
	require.Contains(t, errs, "nothing was restored: ")
	w.sealed = one
	require.NoError(t, w.client.FlushAll(t.Context()).Err())
	w.command("restore", file)
}

const eraseRuth = "asked in writing, invented"

// stored is everything in Redis as one text.
func (w *world) stored() string {
	var b strings.Builder
	keys, err := w.client.Keys(w.t.Context(), "*:h:*").Result()
	require.NoError(w.t, err)
	logs, err := w.client.Keys(w.t.Context(), "*:log:*").Result()
	require.NoError(w.t, err)
	lines, err := w.client.Keys(w.t.Context(), "*:line:*").Result()
	require.NoError(w.t, err)
	for _, k := range append(keys, lines...) {
		b.WriteString(w.client.Get(w.t.Context(), k).Val())
	}
	for _, k := range logs {
		b.WriteString(strings.Join(w.client.LRange(w.t.Context(), k, 0, -1).Val(), "\n"))
	}
	return b.String()
}

func TestErasureFromTheCommandLine(t *testing.T) {
	t.Parallel()
	w := lived(t)
	w.command("contact", "add", "--phone", "07700 900401", "--new", "07700 900402", "--person", "Sam")
	id := w.household(ruthsPhone).ID
	require.Equal(t, id, w.household("+447700900402").ID, "a further contact's pointer")
	_, errs, code := w.ran("erase", "--phone", "07700 900401")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "--reason is missing")
	out := w.command("erase", "--phone", "07700 900401", "--reason", eraseRuth)
	require.Contains(t, out, "2 contacts would be erased for good; the record of 1 dogs would be kept until 2 March 2033")
	require.Contains(t, w.stored(), ruthsPhone, "nothing was done yet")

	out = w.command("erase", "--phone", "07700 900401", "--reason", eraseRuth, "--sure")
	require.Contains(t, out, "kept until 2 March 2033")
	stored := w.stored()
	for _, gone := range []string{ruthsPhone, "+447700900402", "Ruth", "Sam"} {
		require.NotContains(t, stored, gone)
	}
	require.Contains(t, stored, "his gums are white", "what the owner wrote is the record")
	h := w.household(ruthsPhone).Household
	require.NotEmpty(t, h.Dogs)
	require.NotEqual(t, id, w.household("+447700900402").ID, "the pointer is gone")

	w.got()
	w.goTo("2026-03-20 12:00")
	for _, text := range w.got() {
		require.NotContains(t, text, ruthsPhone)
	}
	_, _, code = w.ran("audit")
	require.Equal(t, 0, code)

	// Nobody is texted again by a list that still names them, on either number.
	for _, phone := range []string{"07700 900401", "07700 900402"} {
		file := written(t, "again.csv", strings.ReplaceAll(strings.ReplaceAll(invitedTable, "07700 900402", "07700 900403"), "07700 900401", phone))
		_, errs, code := w.ran("enrol", file)
		require.NotZero(t, code, phone)
		require.Contains(t, errs, "new consent")
	}
	w.command("enrol", "--anew", "signed at the practice", written(t, "again.csv", invitedTable))
	require.Equal(t, ruthsPhone, w.household(ruthsPhone).Household.Contacts[0].Address.Value)
	require.Nil(t, w.household(ruthsPhone).Household.Erased)
}

// At the retention date the record goes by itself; the mark stays.
func TestAnErasedRecordGoesAtItsDate(t *testing.T) {
	t.Parallel()
	w := lived(t)
	w.command("erase", "--phone", "07700 900401", "--reason", eraseRuth, "--sure")
	h := w.household(ruthsPhone).Household
	w.clock.to(time.Unix(h.Erased.Until, 0).Add(time.Minute))
	for range 3 {
		w.settle()
		w.clock.advance(10 * time.Minute)
	}
	require.Empty(t, w.household(ruthsPhone).Household.Dogs)
	require.Empty(t, w.log(ruthsPhone))
	marks, err := w.apps[0].Store.Marks(t.Context(), "hillside")
	require.NoError(t, err)
	require.Len(t, marks, 1)
	_, errs, code := w.ran("enrol", written(t, "again.csv", invitedTable))
	require.NotZero(t, code)
	require.Contains(t, errs, "new consent")
}

// A backup that is older than an erasure brings nobody back.
func TestARestoredBackupErasesAgain(t *testing.T) {
	t.Parallel()
	w := lived(t)
	file := filepath.Join(t.TempDir(), "old")
	w.command("backup", file)
	w.clock.advance(time.Hour)
	w.command("erase", "--phone", "07700 900401", "--reason", eraseRuth, "--sure")
	erased := *w.household(ruthsPhone).Household.Erased
	w.clock.advance(time.Hour)
	require.Contains(t, w.command("restore", file, "--over"), "1 erasures made since were made again")
	h := w.household(ruthsPhone).Household
	require.Equal(t, erased, *h.Erased, "as of when it was asked for")
	require.NotContains(t, w.stored(), ruthsPhone)

	w.command("backup", file)
	require.NoError(t, w.client.FlushAll(t.Context()).Err())
	w.command("restore", file)
	marks, err := w.apps[0].Store.Marks(t.Context(), "hillside")
	require.NoError(t, err)
	require.Len(t, marks, 1, "the mark is in the backup too")
	require.NotNil(t, w.household(ruthsPhone).Household.Erased)
	require.Equal(t, care.Retired, w.household(ruthsPhone).Household.Contacts[0].Consent.State)
}
