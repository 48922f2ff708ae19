package store

import (
	"encoding/hex"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// write makes the files of a kind of record that has none yet. Files that exist
// are never written again: what they hold is in somebody's store.
var writeGolden = flag.Bool("golden", false, "write the stored records that are missing")

const goldenDir = "testdata/stored/v1"

// Records that an earlier version stored load for ever: every value is where
// it was, and storing it again loses nothing of it.
func TestOldRecordsLoad(t *testing.T) {
	s := &Store{}
	for _, v := range stored {
		typ := reflect.TypeOf(v)
		name := filepath.Join(goldenDir, strings.ToLower(typ.Name()))
		if _, err := os.Stat(name + ".cbor.hex"); os.IsNotExist(err) && *writeGolden {
			writeRecord(t, s, name, typ)
		}
		text, err := os.ReadFile(name + ".cbor.hex")
		require.NoError(t, err)
		old, err := hex.DecodeString(strings.Join(strings.Fields(string(text)), ""))
		require.NoError(t, err)
		got := reflect.New(typ)
		require.NoError(t, s.unpack("", string(old), got.Interface()), name)

		want, err := os.ReadFile(name + ".json")
		require.NoError(t, err)
		var wanted, found any
		require.NoError(t, json.Unmarshal(want, &wanted))
		b, err := json.Marshal(got.Interface())
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(b, &found))
		requireWithin(t, typ.Name(), wanted, found)

		again, err := s.pack("", "", got.Interface())
		require.NoError(t, err)
		require.Equal(t, hex.EncodeToString(old), hex.EncodeToString(again), "%s: a field that is new must be left out where it is empty (omitempty)", name)
	}
}

// requireWithin wants everything of an old record in the new one, which may
// have more.
func requireWithin(t *testing.T, where string, want, got any) {
	switch want := want.(type) {
	case map[string]any:
		got, ok := got.(map[string]any)
		require.True(t, ok, where)
		for k, v := range want {
			require.Contains(t, got, k, "%s: a stored field has gone", where)
			requireWithin(t, where+"."+k, v, got[k])
		}
	case []any:
		got, ok := got.([]any)
		require.True(t, ok, where)
		require.Len(t, got, len(want), where)
		for i, v := range want {
			requireWithin(t, fmt.Sprintf("%s[%d]", where, i), v, got[i])
		}
	default:
		require.Equal(t, want, got, where)
	}
}

func writeRecord(t *testing.T, s *Store, name string, typ reflect.Type) {
	v := reflect.New(typ)
	n := 0
	fill(t, v.Elem(), &n)
	b, err := s.pack("", "", v.Interface())
	require.NoError(t, err)
	text := hex.EncodeToString(b)
	var lines strings.Builder
	for i := 0; i < len(text); i += 96 {
		lines.WriteString(text[i:min(i+96, len(text))] + "\n")
	}
	j, err := json.MarshalIndent(v.Interface(), "", " ")
	require.NoError(t, err)
	require.NoError(t, os.MkdirAll(goldenDir, 0o755))
	require.NoError(t, os.WriteFile(name+".cbor.hex", []byte(lines.String()), 0o644))
	require.NoError(t, os.WriteFile(name+".json", append(j, '\n'), 0o644))
}

// Whatever bytes are found in the store, reading them is an error at worst.
func FuzzUnpack(f *testing.F) {
	s := &Store{}
	for _, v := range stored {
		b, err := s.pack("", "", v)
		require.NoError(f, err)
		f.Add(b)
	}
	f.Add([]byte(nil))
	f.Add([]byte{formatCBOR})
	f.Add([]byte{9, 0xa0})
	f.Add(append([]byte{formatSealed}, make([]byte, 40)...))
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, v := range stored {
			into := reflect.New(reflect.TypeOf(v))
			if err := s.unpack("", string(b), into.Interface()); err != nil {
				require.ErrorIs(t, err, ErrDamaged)
			}
		}
	})
}
