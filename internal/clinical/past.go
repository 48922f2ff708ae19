package clinical

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// maxPast is half a year of weekly readings.
const maxPast = KeptReadings

// KeptReadings is how many readings a course remembers.
const KeptReadings = 26

// ErrStoredPast is returned for stored readings that cannot be read back.
var ErrStoredPast = errors.New("stored readings are damaged")

// pastFlags says what is known about a remembered reading beyond its answers.
type pastFlags uint8

const (
	wasBefore  pastFlags = 1 << iota // taken before treatment
	wasCarried                       // "same as last time" for the whole dog
	wasSettled                       // in a stretch and past its bedding-in
	wasInAlert                       // an alert was open, or this reading began one
	wasFirst                         // first settled one of its stretch
	wasScored                        // has an index
)

// pastReading is one remembered reading. total is worked out again on loading.
type pastReading struct {
	at    int64 // unix seconds
	total float64
	items uint32 // packed
	day   int32  // local calendar day
	flags pastFlags
}

func (p *pastReading) is(f pastFlags) bool { return p.flags&f != 0 }

// Past is the last readings of a course, oldest first, 26 at most. It is a plain
// value: copying it copies the readings. Stored it is a byte string of about nine
// bytes a reading.
type Past struct {
	n  uint8
	at [maxPast]pastReading
}

// Len is the number of readings remembered.
func (p *Past) Len() int { return int(p.n) }

func (p *Past) last() *pastReading {
	if p.n == 0 {
		return nil
	}
	return &p.at[p.n-1]
}

// push adds a reading as the newest and forgets the oldest where it is full.
func (p *Past) push(r pastReading) {
	if p.n == maxPast {
		copy(p.at[:], p.at[1:])
		p.n--
	}
	p.at[p.n] = r
	p.n++
}

// pop forgets the newest reading.
func (p *Past) pop() {
	p.n--
	p.at[p.n] = pastReading{}
}

// reading gives a remembered reading in its ordinary form.
func (p *Past) reading(i int) Reading { return p.at[i].reading() }

func (q *pastReading) reading() Reading {
	items, _ := unpackItems(q.items) // checked when it came in
	index, _ := IndexOf(items)
	return Reading{
		At: q.at, Day: q.day, Items: items, Index: index,
		Before: q.is(wasBefore), Carried: q.is(wasCarried),
	}
}

const pastVersion = 1

// MarshalBinary writes the stored form: version byte, then for each reading the
// seconds since the one before, the day likewise, packed answers and flags.
func (p Past) MarshalBinary() ([]byte, error) {
	if p.n == 0 {
		return nil, nil
	}
	b := make([]byte, 0, 1+int(p.n)*12)
	b = append(b, pastVersion)
	var at int64
	var day int32
	for i := range p.at[:p.n] {
		q := &p.at[i]
		b = binary.AppendVarint(b, q.at-at)
		b = binary.AppendVarint(b, int64(q.day-day))
		b = binary.LittleEndian.AppendUint32(b, q.items)
		b = append(b, byte(q.flags))
		at, day = q.at, q.day
	}
	return b, nil
}

// UnmarshalBinary reads the stored form. It returns an error that wraps
// ErrStoredPast for anything that MarshalBinary did not write.
func (p *Past) UnmarshalBinary(b []byte) error {
	*p = Past{}
	if len(b) == 0 {
		return nil
	}
	if b[0] != pastVersion {
		return fmt.Errorf("version %d: %w", b[0], ErrStoredPast)
	}
	b = b[1:]
	var at, day int64
	for len(b) > 0 {
		dAt, n := binary.Varint(b)
		if n <= 0 {
			return fmt.Errorf("time: %w", ErrStoredPast)
		}
		b = b[n:]
		dDay, n := binary.Varint(b)
		if n <= 0 || len(b) < n+5 || p.n == maxPast {
			return fmt.Errorf("length: %w", ErrStoredPast)
		}
		b = b[n:]
		at, day = at+dAt, day+dDay
		q := pastReading{at: at, day: int32(day), items: binary.LittleEndian.Uint32(b), flags: pastFlags(b[4])}
		b = b[5:]
		items, err := unpackItems(q.items)
		if err != nil {
			return fmt.Errorf("%w: %w", ErrStoredPast, err)
		}
		index, err := IndexOf(items)
		if err != nil {
			return fmt.Errorf("%w: %w", ErrStoredPast, err)
		}
		q.total = float64(index.Total)
		p.push(q)
	}
	return nil
}
