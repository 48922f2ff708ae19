package store

import (
	"errors"
	"reflect"
	"testing"

	"github.com/fxamacker/cbor/v2"
	"github.com/stretchr/testify/require"

	"gaitpost/dialog"
	"gaitpost/internal/care"
)

// Messages written by hand are to the byte what the library makes of them, each
// field by itself: one that is new and forgotten here shows.
func TestSentIsWrittenAsTheEncoderDoes(t *testing.T) {
	cases := []care.Sent{
		{}, {ID: "1f-0", At: 1_770_000_000, Contact: 1, Fate: care.Delivered, Purpose: care.ForSafety, Alert: 300, Late: true, Code: "30003", Rung: 1_770_000_001},
		{ID: "a name that is longer than twenty-three bytes", At: -1, Contact: -1, Alert: 24, Rung: -300},
		{At: 1 << 40, Contact: 127, Alert: 255}, {At: -1 << 63, Contact: -128}, {At: 1<<63 - 1, Alert: 65535},
		{ID: "2-1", Lines: []dialog.Line{{}}},
	}
	typ := reflect.TypeFor[care.Sent]()
	n := 0
	for i := range typ.NumField() {
		var m care.Sent
		fill(t, reflect.ValueOf(&m).Elem().Field(i), &n)
		cases = append(cases, m)
	}
	for _, list := range append([][]care.Sent{nil, cases}, each(cases)...) {
		got, err := appendSent(nil, list)
		require.NoError(t, err)
		back, err := readSent(got)
		require.NoError(t, err)
		if len(list) == 0 {
			require.Empty(t, got)
			require.Empty(t, back)
			continue
		}
		want, err := encoder.Marshal(list)
		require.NoError(t, err)
		require.Equal(t, want, got)
		require.Equal(t, list, back)
	}
}

func each(all []care.Sent) [][]care.Sent {
	var lists [][]care.Sent
	for _, m := range all {
		lists = append(lists, []care.Sent{m})
	}
	return lists
}

// A household comes back from its stored form, and from the form in which its
// messages were a list; one without messages is stored as it was.
func TestAHouseholdComesBackFromItsStoredForm(t *testing.T) {
	var h care.Household
	n := 0
	fill(t, reflect.ValueOf(&h).Elem(), &n)
	listed, err := encoder.Marshal(h)
	require.NoError(t, err)
	stored, err := storeHousehold(&h)
	require.NoError(t, err)
	packed, err := encoder.Marshal(stored)
	require.NoError(t, err)
	require.NotEqual(t, listed, packed)
	for _, b := range [][]byte{listed, packed} {
		var back storedHousehold
		require.NoError(t, decoder.Unmarshal(b, &back))
		again, err := back.household()
		require.NoError(t, err)
		require.Equal(t, h, again)
	}

	h.Sent = nil
	want, err := encoder.Marshal(h)
	require.NoError(t, err)
	stored, err = storeHousehold(&h)
	require.NoError(t, err)
	got, err := encoder.Marshal(stored)
	require.NoError(t, err)
	require.Equal(t, want, got)
}

// No field of the household has the number that the store packs messages under.
func TestThePackedMessagesHaveANumberOfTheirOwn(t *testing.T) {
	typ := reflect.TypeFor[care.Household]()
	for i := range typ.NumField() {
		require.NotEqual(t, "26,keyasint,omitempty", typ.Field(i).Tag.Get("cbor"), typ.Field(i).Name)
	}
}

// What is written in another way than ours is read as the decoder reads it, and
// what it refuses is damage.
func TestOddlyWrittenSentIsTheDecoders(t *testing.T) {
	cases := map[string]struct {
		raw  []byte
		want []care.Sent // nil: damaged
	}{
		"fields in another order":    {[]byte{0x81, 0xa2, 2, 7, 1, 0x61, 'a'}, []care.Sent{{ID: "a", At: 7}}},
		"a field of a newer program": {[]byte{0x81, 0xa2, 1, 0x61, 'a', 0x18, 99, 1}, nil},
		"a length not given":         {[]byte{0x9f, 0xa1, 1, 0x61, 'a', 0xff}, []care.Sent{{ID: "a"}}},
		"a number written too long":  {[]byte{0x81, 0xa1, 2, 0x18, 7}, []care.Sent{{At: 7}}},
		"no list":                    {[]byte{0xf6}, []care.Sent{}},
		"a contact that is too high": {[]byte{0x81, 0xa1, 3, 0x18, 200}, nil},
		"a text for a number":        {[]byte{0x81, 0xa1, 2, 0x61, 'a'}, nil},
		"cut short":                  {[]byte{0x81, 0xa1, 1, 0x63, 'a'}, nil},
		"more than it says":          {[]byte{0x80, 0x80}, nil},
		"ever so many, and nothing":  {[]byte{0x9a, 0, 1, 0, 0}, nil},
		"ever so many":               {[]byte{0x9b, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}, nil},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			got, err := readSent(c.raw)
			if c.want == nil {
				require.ErrorIs(t, err, ErrDamaged)
				require.Equal(t, name == "a field of a newer program", errors.Is(err, ErrNewer))
				return
			}
			require.NoError(t, err)
			require.Equal(t, len(c.want), len(got))
			for i := range c.want {
				require.Equal(t, c.want[i], got[i])
			}
		})
	}
}

// Whatever the bytes, reading by hand says what the decoder says.
func FuzzReadSent(f *testing.F) {
	for _, list := range [][]care.Sent{{{}}, {{ID: "1-0", At: 5, Fate: 1, Late: true, Code: "x"}, {Contact: -1}}, {{Lines: []dialog.Line{{}}}}} {
		b, err := encoder.Marshal(list)
		require.NoError(f, err)
		f.Add(b)
	}
	f.Add([]byte{0x81, 0xa2, 2, 7, 1, 0x61, 'a'})
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) == 0 || cbor.Wellformed(b) != nil {
			return // not what a record can hold
		}
		got, err := readSent(b)
		var want []care.Sent
		if refused := decoder.Unmarshal(b, &want); refused != nil {
			require.ErrorIs(t, err, ErrDamaged)
			return
		}
		require.NoError(t, err)
		require.Equal(t, len(want), len(got))
		for i := range want {
			require.Equal(t, want[i], got[i])
		}
	})
}
