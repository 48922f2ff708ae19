package store

import (
	"fmt"
	"time"

	"github.com/fxamacker/cbor/v2"
)

// Sealer turns values into what is stored and back. It is the one place where
// stored values can be encrypted. Open returns an error for anything that Seal
// did not make. Both must be safe for concurrent use.
type Sealer interface {
	Seal(plain []byte) []byte
	Open(sealed []byte) ([]byte, error)
}

// plainSealer stores values as they are.
type plainSealer struct{}

func (plainSealer) Seal(b []byte) []byte          { return b }
func (plainSealer) Open(b []byte) ([]byte, error) { return b, nil }

// formatCBOR is the first byte of every stored value. A value with another
// first byte was written by a newer version.
const formatCBOR = 1

var (
	encoder = must(cbor.CoreDetEncOptions().EncMode())
	// A record must load whatever an owner once wrote: text that is not UTF-8
	// is no reason to refuse it.
	decoder = must(cbor.DecOptions{
		UTF8: cbor.UTF8DecodeInvalid, MaxArrayElements: 1 << 20, MaxMapPairs: 1 << 20,
	}.DecMode())
)

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// pack encodes a value, seals it and puts prefix and format before it.
func (s *Store) pack(prefix string, v any) ([]byte, error) {
	plain, err := encoder.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("encoding a record: %w", err)
	}
	sealed := s.sealer.Seal(plain)
	b := make([]byte, 0, len(prefix)+1+len(sealed))
	b = append(b, prefix...)
	b = append(b, formatCBOR)
	return append(b, sealed...), nil
}

// unpack reads what pack wrote, prefix taken off. Errors wrap ErrDamaged.
func (s *Store) unpack(b string, v any) error {
	if b == "" || b[0] != formatCBOR {
		return fmt.Errorf("%w: its format is not known to this version", ErrDamaged)
	}
	plain, err := s.sealer.Open([]byte(b[1:]))
	if err != nil {
		return fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	if err := decoder.Unmarshal(plain, v); err != nil {
		return fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	return nil
}

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
