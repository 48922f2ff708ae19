package main

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

// audited runs the command on a world and returns what it printed.
func (w *world) audited() (out string, code int) {
	var stdout, stderr bytes.Buffer
	code = run(context.Background(), []string{"audit"}, env{
		stdin: strings.NewReader(""), stdout: &stdout, stderr: &stderr,
		getenv: func(n string) string { return w.environ()[n] }, now: w.clock.now,
	})
	require.Contains(w.t, stderr.String(), "hillside: done, 2 households")
	require.NotContains(w.t, stdout.String()+stderr.String(), "900401", "no numbers")
	return stdout.String(), code
}

// lived is a world with an owner, an alert that was acknowledged, and a stranger.
func lived(t *testing.T) *world {
	w := newWorld(t)
	w.agreed()
	w.answersAll(ruthsPhone)
	w.says(ruthsPhone, "he's collapsed and his gums are white")
	w.says(drLee, "OK rang her")
	w.says("+447700900499", "are you open on Sunday?")
	return w
}

func TestAnAuditProvesEveryTurn(t *testing.T) {
	t.Parallel()
	w := lived(t)
	out, code := w.audited()
	require.Equal(t, 0, code, out)
	require.Regexp(t, `^2 households, \d\d turns: \d\d decided again, 0 of other versions; no difference\n$`, out)
}

// What an audit is there to find, each put into a store that was sound.
func TestAnAuditFindsWhatDiffers(t *testing.T) {
	t.Parallel()
	w := lived(t)
	id := string(w.household(ruthsPhone).ID)
	keys, err := w.client.Keys(t.Context(), "*:log:hillside:"+id).Result()
	require.NoError(t, err)
	log, record := keys[0], strings.Replace(keys[0], ":log:", ":h:", 1)
	damage := map[string]struct {
		kind store.DifferenceKind
		do   func() error
	}{
		"an entry is missing": {store.DiffGap, func() error {
			return w.client.LRem(t.Context(), log, 1, w.client.LIndex(t.Context(), log, 3).Val()).Err()
		}},
		"an entry is there twice": {store.DiffGap, func() error {
			return w.client.LInsertAfter(t.Context(), log, w.client.LIndex(t.Context(), log, 3).Val(), w.client.LIndex(t.Context(), log, 3).Val()).Err()
		}},
		"the last is missing":   {store.DiffBehind, func() error { return w.client.RPop(t.Context(), log).Err() }},
		"an entry is damaged":   {store.DiffDamaged, func() error { return w.client.LSet(t.Context(), log, 2, "damaged").Err() }},
		"the record is damaged": {store.DiffDamaged, func() error { return w.client.SetRange(t.Context(), record, 16, "damaged").Err() }},
	}
	for name, d := range damage {
		whole := w.client.LRange(t.Context(), log, 0, -1).Val()
		before := w.client.Get(t.Context(), record).Val()
		require.NoError(t, d.do(), name)
		out, code := w.audited()
		require.Equal(t, 1, code, name)
		require.Contains(t, out, "hillside household "+id+": "+string(d.kind)+": ", name)
		require.Contains(t, out, "1 household differ", name)
		require.NoError(t, w.client.Del(t.Context(), log).Err())
		for _, v := range whole {
			require.NoError(t, w.client.RPush(t.Context(), log, v).Err())
		}
		require.NoError(t, w.client.Set(t.Context(), record, before, 0).Err())
	}
	_, code := w.audited()
	require.Equal(t, 0, code, "it is sound again")
}

// After a change of the settings, what was decided before is taken as it is.
func TestAnAuditTakesOlderVersionsAsTheyAre(t *testing.T) {
	t.Parallel()
	w := lived(t)
	w.rewrite("rate: 100", "rate: 50")
	out, code := w.audited()
	require.Equal(t, 0, code, out)
	require.Regexp(t, ` 0 decided again, \d\d of other versions; no difference`, out)
}

// A turn that was decided otherwise than it would be, or whose record is not
// what it decided, shows though the log has no gap.
func TestAnAuditDecidesAgain(t *testing.T) {
	t.Parallel()
	for kind, tamper := range map[store.DifferenceKind]func(*care.Result){
		store.DiffTurn:   func(r *care.Result) { r.Reason = care.Finished },
		store.DiffRecord: func(r *care.Result) { r.Household.Dogs[0].BCS = 9 },
		store.DiffAlerts: func(r *care.Result) { r.Household.AlertSeq++ },
	} {
		w := lived(t)
		st, rules := w.apps[0].Store, w.apps[0].settings.Clinic("hillside").Rules
		l := w.household(ruthsPhone)
		e := care.Event{Key: "sms/in/last", At: w.clock.now(), Message: &care.MessageIn{
			From: l.Household.Contacts[0].Address, Via: "texts", ID: "SMlast", Text: "thank you",
		}}
		res := care.Turn(rules, l.Household, e)
		tamper(&res)
		done, err := st.Commit(t.Context(), store.Change{
			Rules: rules, ID: l.ID, Version: l.Version, Was: l.Household, Event: e, Result: res,
		})
		require.NoError(t, err)
		require.Equal(t, store.Committed, done)
		out, code := w.audited()
		require.Equal(t, 1, code)
		require.Contains(t, out, string(l.ID)+": "+string(kind)+": ")
	}
}
