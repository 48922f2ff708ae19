package store

import (
	"encoding"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"github.com/fxamacker/cbor/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
)

// stored are the types whose encoding is kept in Redis.
var stored = []any{care.Household{}, care.Line{}, storedEntry{}, storedOut{}}

// ownForm are types that encode themselves; each is filled by hand.
var ownForm = map[reflect.Type]func() any{
	reflect.TypeFor[clinical.Past](): func() any {
		var c clinical.Course
		for i := range 3 {
			_, err := c.Add(clinical.DefaultThresholds(), clinical.Reading{At: 1_770_000_000 + int64(i)*604800}, false)
			if err != nil {
				panic(err)
			}
		}
		return c.Past
	},
}

// A field stored under its Go name would take more room than its value, and
// renaming it would lose what is stored.
func TestStoredFieldsHaveNumbers(t *testing.T) {
	seen := map[reflect.Type]bool{}
	for _, v := range stored {
		checkNumbers(t, reflect.TypeOf(v), seen)
	}
}

func checkNumbers(t *testing.T, typ reflect.Type, seen map[reflect.Type]bool) {
	if seen[typ] {
		return
	}
	seen[typ] = true
	switch typ.Kind() {
	case reflect.Pointer, reflect.Slice, reflect.Array, reflect.Map:
		checkNumbers(t, typ.Elem(), seen)
	case reflect.Struct:
		if encodesItself(typ) {
			require.Contains(t, ownForm, typ, "%s encodes itself: fill it by hand in this test", typ)
			return
		}
		numbers := map[string]string{}
		for i := range typ.NumField() {
			f := typ.Field(i)
			tag := f.Tag.Get("cbor")
			if tag == "-" {
				continue
			}
			where := fmt.Sprintf("%s.%s", typ, f.Name)
			n, _, _ := strings.Cut(tag, ",")
			assert.Truef(t, f.IsExported() && strings.Contains(tag, ",keyasint"), "%s has no number: it is stored by its name, or not at all", where)
			assert.Emptyf(t, numbers[n], "%s has the number of another field", where)
			numbers[n] = where
			checkNumbers(t, f.Type, seen)
		}
	}
}

func encodesItself(typ reflect.Type) bool {
	for _, i := range []reflect.Type{reflect.TypeFor[cbor.Marshaler](), reflect.TypeFor[encoding.BinaryMarshaler]()} {
		if typ.Implements(i) || reflect.PointerTo(typ).Implements(i) {
			return true
		}
	}
	return false
}

// Every field of what is stored comes back: each is set to something that is
// not its zero value first.
func TestEveryStoredFieldComesBack(t *testing.T) {
	s := &Store{keys: ring(t, oldKey)}
	for _, v := range stored {
		want := reflect.New(reflect.TypeOf(v))
		n := 0
		fill(t, want.Elem(), &n)
		b, err := s.pack("here", "", want.Interface())
		require.NoError(t, err)
		got := reflect.New(reflect.TypeOf(v))
		require.NoError(t, s.unpack("here", string(b), got.Interface()))
		require.Equal(t, want.Interface(), got.Interface())
		plain := &Store{}
		one, err := plain.pack("", "", want.Interface())
		require.NoError(t, err)
		again, err := plain.pack("", "", got.Interface())
		require.NoError(t, err)
		require.Equal(t, one, again, "the same value has one encoding")
	}
}

// fill sets every field that is stored to a value of its own.
func fill(t *testing.T, v reflect.Value, n *int) {
	if own, ok := ownForm[v.Type()]; ok {
		v.Set(reflect.ValueOf(own()))
		return
	}
	*n++
	switch v.Kind() {
	case reflect.Bool:
		v.SetBool(true)
	case reflect.String:
		v.SetString(fmt.Sprintf("text %d é", *n))
	case reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int, reflect.Int64:
		v.SetInt(int64(1 + *n%100))
	case reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint, reflect.Uint64:
		v.SetUint(uint64(1 + *n%200))
	case reflect.Float32, reflect.Float64:
		v.SetFloat(float64(*n) + 0.1)
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(t, v.Elem(), n)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range v.Len() {
			fill(t, v.Index(i), n)
		}
	case reflect.Array:
		for i := range v.Len() {
			fill(t, v.Index(i), n)
		}
	case reflect.Map:
		v.Set(reflect.MakeMap(v.Type()))
		key, elem := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
		fill(t, key, n)
		fill(t, elem, n)
		v.SetMapIndex(key, elem)
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).Tag.Get("cbor") != "-" {
				fill(t, v.Field(i), n)
			}
		}
	default:
		t.Fatalf("a stored %s can't be filled: teach this test how", v.Type())
	}
}

// A log entry does not keep twice what the message holds already; whichever of
// it is the same, all of it comes back.
func TestALogEntryKeepsNothingTwice(t *testing.T) {
	s := &Store{}
	message := care.MessageIn{From: ruth, ID: "SM0123456789abcdef", Text: "a bit stiff, otherwise himself"}
	words := care.Fact{Kind: care.FactWords, Text: message.Text, ID: message.ID}
	other := care.Fact{Kind: care.FactWords, Text: "other", ID: "SMother"}
	for _, facts := range [][]care.Fact{nil, {words}, {other, words}, {words, words}, {other}, {{Kind: care.FactNote, Text: message.Text, ID: message.ID}}} {
		for _, key := range []string{"", message.ID, "texts/" + message.ID, "unlike"} {
			for _, id := range []string{"", message.ID} {
				m := message
				m.ID = id
				want := LogEntry{Seq: 7, At: noon, Event: care.Event{Key: key, At: noon, Message: &m}, Reason: care.Answered, Facts: facts}
				b, err := s.pack("here", "", storedTurn(Versions{}, Change{Event: want.Event, Result: care.Result{
					Household: care.Household{Seq: 7}, Reason: care.Answered, Facts: facts,
				}}))
				require.NoError(t, err)
				var got storedEntry
				require.NoError(t, s.unpack("here", string(b), &got))
				require.Equal(t, want, got.entry())
				if key != "unlike" && id != "" && len(facts) == 1 && facts[0].ID == message.ID && facts[0].Kind == care.FactWords {
					require.Equal(t, 1, strings.Count(string(b), message.ID))
					require.Equal(t, 1, strings.Count(string(b), message.Text))
				}
			}
		}
	}
}
