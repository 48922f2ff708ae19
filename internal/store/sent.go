package store

import (
	"fmt"

	"github.com/fxamacker/cbor/v2"

	"gaitpost/internal/care"
)

// storedHousehold is a household's stored form. Its last messages, many and
// small, are one string of bytes in it, written and read by hand: as a list of
// records they were two fifths of what a household costs to load and store.
type storedHousehold struct {
	care.Household
	// Listed is the household's own field, where the messages once were.
	Listed cbor.RawMessage `cbor:"6,keyasint,omitempty"`
	// Packed holds the same CBOR as Listed.
	Packed []byte `cbor:"26,keyasint,omitempty"`
}

func storeHousehold(h *care.Household) (*storedHousehold, error) {
	sent, err := appendSent(nil, h.Sent)
	return &storedHousehold{Household: *h, Packed: sent}, err
}

func (o *storedHousehold) household() (care.Household, error) {
	raw, err := o.Packed, error(nil)
	if len(raw) == 0 {
		raw = o.Listed
	}
	o.Household.Sent, err = readSent(raw)
	return o.Household, err
}

// The major types of CBOR that occur in a message's record (RFC 8949, 3.1), in
// the place where they stand in a first byte.
const (
	cborUint   = 0 << 5
	cborNeg    = 1 << 5
	cborText   = 3 << 5
	cborArray  = 4 << 5
	cborMap    = 5 << 5
	cborSimple = 7 << 5
	cborTrue   = 21 // as the argument of a simple value
)

// The numbers of the fields of care.Sent.
const (
	sentID = 1 + iota
	sentAt
	sentContact
	sentFate
	sentPurpose
	sentAlert
	sentLate
	sentCode
	sentRung
)

// appendSent writes messages as the encoder does. One with lines is left to it.
func appendSent(b []byte, sent []care.Sent) ([]byte, error) {
	if len(sent) == 0 {
		return b, nil
	}
	const each = 24 // bytes of an ordinary message
	if b == nil {
		b = make([]byte, 0, 8+each*len(sent))
	}
	b = appendHead(b, cborArray, uint64(len(sent)))
	for i := range sent {
		m := &sent[i]
		if m.Lines == nil {
			b = appendOneSent(b, m)
			continue
		}
		one, err := encoder.Marshal(m)
		if err != nil {
			return nil, fmt.Errorf("encoding a message: %w", err)
		}
		b = append(b, one...)
	}
	return b, nil
}

func appendOneSent(b []byte, m *care.Sent) []byte {
	start := len(b)
	b = append(b, 0) // how many fields; fewer than 24
	fields := byte(3)
	b = appendText(append(b, sentID), m.ID)
	b = appendInt(append(b, sentAt), m.At)
	b = appendInt(append(b, sentContact), int64(m.Contact))
	for _, f := range [...]struct {
		number byte
		value  uint64
	}{{sentFate, uint64(m.Fate)}, {sentPurpose, uint64(m.Purpose)}, {sentAlert, uint64(m.Alert)}} {
		if f.value != 0 {
			b = appendHead(append(b, f.number), cborUint, f.value)
			fields++
		}
	}
	if m.Late {
		b = append(b, sentLate, cborSimple|cborTrue)
		fields++
	}
	if m.Code != "" {
		b = appendText(append(b, sentCode), m.Code)
		fields++
	}
	if m.Rung != 0 {
		b = appendInt(append(b, sentRung), m.Rung)
		fields++
	}
	b[start] = cborMap | fields
	return b
}

// appendHead writes the shortest head of an item (RFC 8949, 4.2.1).
func appendHead(b []byte, major byte, n uint64) []byte {
	switch {
	case n < 24:
		return append(b, major|byte(n))
	case n < 1<<8:
		return append(b, major|24, byte(n))
	case n < 1<<16:
		return append(b, major|25, byte(n>>8), byte(n))
	case n < 1<<32:
		return append(b, major|26, byte(n>>24), byte(n>>16), byte(n>>8), byte(n))
	default:
		b = append(b, major|27, byte(n>>56), byte(n>>48), byte(n>>40), byte(n>>32))
		return append(b, byte(n>>24), byte(n>>16), byte(n>>8), byte(n))
	}
}

func appendText(b []byte, s string) []byte {
	return append(appendHead(b, cborText, uint64(len(s))), s...)
}

func appendInt(b []byte, n int64) []byte {
	if n < 0 {
		return appendHead(b, cborNeg, uint64(-(n + 1)))
	}
	return appendHead(b, cborUint, uint64(n))
}

// readSent reads what appendSent or the encoder wrote. Whatever is not as it
// ordinarily is, is left to the decoder: it alone says what is damaged.
func readSent(raw []byte) ([]care.Sent, error) {
	if len(raw) == 0 {
		return nil, nil
	}
	r := sentReader{rest: string(raw)}
	if sent, ok := r.all(); ok {
		return sent, nil
	}
	var sent []care.Sent
	if err := decode(raw, &sent); err != nil {
		return nil, err
	}
	return sent, nil
}

// sentReader reads ordinary messages; their texts are parts of the whole.
type sentReader struct {
	rest string
	odd  bool // something is not as it ordinarily is
}

func (r *sentReader) all() ([]care.Sent, bool) {
	n := r.want(cborArray)
	if r.odd || n > uint64(len(r.rest)) { // each takes more than a byte
		return nil, false
	}
	sent := make([]care.Sent, n)
	for i := range sent {
		r.one(&sent[i])
	}
	return sent, !r.odd && r.rest == ""
}

func (r *sentReader) one(m *care.Sent) {
	last := uint64(0)
	for range r.want(cborMap) {
		number := r.want(cborUint)
		if r.odd = r.odd || number <= last; r.odd { // in order, as they are written
			return
		}
		last = number
		switch number {
		case sentID:
			m.ID = r.text()
		case sentAt:
			m.At = r.int(1<<63 - 1)
		case sentContact:
			m.Contact = int8(r.int(1<<7 - 1))
		case sentFate:
			m.Fate = care.Fate(r.small(1<<8 - 1))
		case sentPurpose:
			m.Purpose = care.Purpose(r.small(1<<8 - 1))
		case sentAlert:
			m.Alert = uint16(r.small(1<<16 - 1))
		case sentLate:
			m.Late = r.want(cborSimple) == cborTrue
			r.odd = r.odd || !m.Late
		case sentCode:
			m.Code = r.text()
		case sentRung:
			m.Rung = r.int(1<<63 - 1)
		default:
			r.odd = true
		}
	}
}

// want reads the head of an item of one major type and returns its argument.
func (r *sentReader) want(major byte) uint64 {
	got, n := r.head()
	r.odd = r.odd || got != major
	if r.odd {
		return 0
	}
	return n
}

func (r *sentReader) head() (major byte, n uint64) {
	if r.rest == "" {
		r.odd = true
		return 0, 0
	}
	first := r.rest[0]
	major, low := first&0xe0, first&0x1f
	r.rest = r.rest[1:]
	if low < 24 {
		return major, uint64(low)
	}
	size := 1 << (low - 24)
	if low > 27 || len(r.rest) < size || major == cborSimple {
		r.odd = true
		return 0, 0
	}
	for i := range size {
		n = n<<8 | uint64(r.rest[i])
	}
	r.rest = r.rest[size:]
	return major, n
}

func (r *sentReader) text() string {
	n := r.want(cborText)
	if r.odd || n > uint64(len(r.rest)) {
		r.odd = true
		return ""
	}
	s := r.rest[:n]
	r.rest = r.rest[n:]
	return s
}

// int reads an integer whose size is at most most, or most+1 below zero.
func (r *sentReader) int(most uint64) int64 {
	major, n := r.head()
	r.odd = r.odd || n > most || major != cborUint && major != cborNeg
	if major == cborNeg {
		return -1 - int64(n)
	}
	return int64(n)
}

func (r *sentReader) small(most uint64) uint64 {
	n := r.want(cborUint)
	r.odd = r.odd || n > most
	return n
}
