package store

import (
	"errors"
	"fmt"
	"time"

	"github.com/fxamacker/cbor/v2"
)

// The first byte of every stored value. A value with another first byte was
// written by a newer version.
const (
	formatCBOR   = 1 // CBOR in the clear
	formatSealed = 2 // CBOR sealed with a key, as in keyring.go
)

var (
	encoder = must(cbor.CoreDetEncOptions().EncMode())
	// A record must load whatever an owner once wrote: text that is not UTF-8
	// is no reason to refuse it. A field that this program does not know is one:
	// a newer program wrote it, and writing the record back would drop it.
	decoder = must(cbor.DecOptions{
		UTF8: cbor.UTF8DecodeInvalid, MaxArrayElements: 1 << 20, MaxMapPairs: 1 << 20,
		ExtraReturnErrors: cbor.ExtraDecErrorUnknownField,
	}.DecMode())
)

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// pack encodes a value, seals it and puts prefix before it. where says what the
// value is and whose: mostly the key it is stored under. A sealed value can be
// opened there and nowhere else, so that nobody who can write to Redis can pass
// one household's record off as another's.
func (s *Store) pack(where, prefix string, v any) ([]byte, error) {
	plain, err := encoder.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("encoding a record: %w", err)
	}
	return s.keys.seal([]byte(prefix), where, plain)
}

// unpack reads what pack wrote at a place, prefix taken off. Errors wrap
// ErrDamaged, and ErrNewer where a newer program wrote it.
func (s *Store) unpack(where, b string, v any) error {
	plain, err := s.reveal(where, b)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	return decode(plain, v)
}

// decode reads what the encoder wrote. Errors as of unpack.
func decode(plain []byte, v any) error {
	err := decoder.Unmarshal(plain, v)
	var unknown *cbor.UnknownFieldError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &unknown):
		return fmt.Errorf("%w: %w", ErrDamaged, ErrNewer)
	}
	return fmt.Errorf("%w: %w", ErrDamaged, err)
}

// reveal is the encoding that a stored value holds.
func (s *Store) reveal(where, b string) ([]byte, error) {
	switch {
	case b != "" && b[0] == formatSealed:
		return s.keys.open(where, []byte(b))
	case b == "" || b[0] != formatCBOR:
		return nil, errFormat
	case s.sealedOnly:
		return nil, errInTheClear
	}
	return []byte(b[1:]), nil
}

// outWhere is where an entry of a queue is sealed for. It moves between the
// queue's streams and says itself whose it is.
func outWhere(q Queue) string { return "out:" + string(q) }

// whyWhere is where the reason is sealed for why an entry was given up.
func whyWhere(q Queue) string { return "why:" + string(q) }

// unix and fromUnix store instants as Unix seconds, the zero time as 0.
func unix(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.Unix()
}

func fromUnix(s int64) time.Time {
	if s == 0 {
		return time.Time{}
	}
	return time.Unix(s, 0).UTC()
}
