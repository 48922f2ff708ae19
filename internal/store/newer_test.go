package store

import (
	"context"
	"testing"

	"github.com/fxamacker/cbor/v2"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/contact"
)

// byANewerProgram is a packed value as a program would write it that has one
// more field, of its top level or of one of the structures within.
func byANewerProgram(t *testing.T, s *Store, where, packed string, within ...uint64) []byte {
	t.Helper()
	plain, err := s.reveal(where, packed)
	require.NoError(t, err)
	var all map[any]any
	require.NoError(t, cbor.Unmarshal(plain, &all))
	at := all
	for _, n := range within {
		switch next := at[n].(type) {
		case map[any]any:
			at = next
		case []any:
			at = next[0].(map[any]any)
		default:
			t.Fatalf("there is nothing at field %d", n)
		}
	}
	at[uint64(9999)] = "what only a newer program understands"
	again, err := s.pack(where, "", all)
	require.NoError(t, err)
	return again
}

// While old and new processes run side by side, an old one meets what a new one
// wrote. It changes nothing there, so that nothing of it is lost, and says why.
func TestAnOldProcessLeavesWhatANewerOneWrote(t *testing.T) {
	for name, within := range map[string][]uint64{"the household": nil, "a contact of it": {3}} {
		t.Run(name, func(t *testing.T) {
			onReal(t, func(t *testing.T, s *Store) {
				ctx := context.Background()
				a := owner(1)
				do(t, s, a, says(a, "SM1", "2"))
				u := unit{"hillside", s.ID("hillside", a)}
				record, err := s.rdb.Get(ctx, householdKey(u)).Result()
				require.NoError(t, err)
				v, value := split(record)
				newer := string(v) + string(byANewerProgram(t, s, householdKey(u), value, within...))
				require.NoError(t, s.rdb.Set(ctx, householdKey(u), newer, 0).Err())
				logged := s.rdb.LLen(ctx, logKey(u)).Val()

				_, err = s.Do(ctx, rules, u.id, says(a, "SM2", "3"))
				require.ErrorIs(t, err, ErrNewer)
				require.ErrorContains(t, err, "a newer version of the program wrote it")
				require.Equal(t, newer, s.rdb.Get(ctx, householdKey(u)).Val(), "not a byte of it is touched")
				require.Equal(t, logged, s.rdb.LLen(ctx, logKey(u)).Val())

				// The provider sends it again, and a process of the new version takes it.
				require.NoError(t, s.rdb.Set(ctx, householdKey(u), record, 0).Err())
				do(t, s, a, says(a, "SM2", "3"))
				require.Equal(t, logged+1, s.rdb.LLen(ctx, logKey(u)).Val())
			})
		})
	}
}

// A message of a newer process is not given up by an old sender, but waits for
// one that understands it.
func TestAnOldSenderLeavesANewerMessageWaiting(t *testing.T) {
	onReal(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		a := owner(1)
		do(t, s, a, says(a, "SM1", "2"))
		p := s.ID("hillside", a).Partition()
		messages, err := s.rdb.XRange(ctx, streamKey(p, texts), "-", "+").Result()
		require.NoError(t, err)
		require.Len(t, messages, 1)
		old := messages[0].Values["m"].(string)
		require.NoError(t, s.rdb.XDel(ctx, streamKey(p, texts), messages[0].ID).Err())
		newer := byANewerProgram(t, s, outWhere(texts), old, 6)
		require.NoError(t, s.rdb.Do(ctx, "XADD", streamKey(p, texts), "*", "m", newer).Err())
		do(t, s, owner(1), says(a, "SM3", "2"))

		require.Len(t, readAll(t, s, texts, "old"), 1, "what it understands goes on")
		require.Len(t, staleAll(t, s, "old").Entries, 1)
		b, err := s.Backlog(ctx, texts)
		require.NoError(t, err)
		require.Equal(t, 0, b.Aside)
		require.Equal(t, 2, b.Pending, "the newer one is there for whoever understands it")
	})
}

// Damage is told from what is merely newer.
func TestHalfARecordIsNotANewerOne(t *testing.T) {
	s := &Store{}
	packed, err := s.pack("", "", storedOut{Clinic: "hillside", Message: &storedMessage{ID: "m", Channel: contact.SMS}})
	require.NoError(t, err)
	var o storedOut
	require.ErrorIs(t, s.unpack("", string(byANewerProgram(t, s, "", string(packed))), &o), ErrNewer)
	require.ErrorIs(t, s.unpack("", "\x01\xa1", &o), ErrDamaged)
	require.NotErrorIs(t, s.unpack("", "\x01\xa1", &o), ErrNewer, "half a record is not a newer one")
}
