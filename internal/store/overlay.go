package store

import (
	"context"
	_ "embed"
	"fmt"

	"github.com/redis/go-redis/v9"
)

//go:embed scripts/append.lua
var appendSource string

var appendScript = newScript(appendSource)

// Overlay is one change of a clinic's settings made at the desk. The settings
// in effect are the file's with every change on top, oldest first.
type Overlay struct {
	N    int    `cbor:"1,keyasint"` // from 1
	At   int64  `cbor:"2,keyasint"` // Unix seconds
	By   string `cbor:"3,keyasint"` // account
	Name string `cbor:"4,keyasint,omitempty"`
	Why  string `cbor:"5,keyasint,omitempty"`
	// Set is everything that differs from the file after this change, by the
	// setting's path, as it would stand in the file: to roll back is to add an
	// earlier one again.
	Set map[string]string `cbor:"6,keyasint,omitempty"`
	// Back is the change that this one goes back to; 0: it is a new one, -1:
	// back to the file alone.
	Back int `cbor:"7,keyasint,omitempty"`
}

// Overlays returns every change of a clinic's settings, oldest first. Errors
// wrap ErrUnavailable or ErrDamaged.
func (s *Store) Overlays(ctx context.Context, clinic string) ([]Overlay, error) {
	key := overlayKey(s.deskUnit(clinic))
	values, err := s.rdb.LRange(ctx, key, 0, -1).Result()
	if err != nil {
		return nil, wrap("reading changed settings", err)
	}
	list := make([]Overlay, 0, len(values))
	for i, v := range values {
		var o Overlay
		if err := s.unpack(key, v, &o); err != nil {
			return nil, fmt.Errorf("reading change %d of the settings: %w", i+1, err)
		}
		list = append(list, o)
	}
	return list, nil
}

// OverlayCounts says how many changes each clinic's settings have had, in one
// round trip: it is asked every few seconds. Errors wrap ErrUnavailable.
func (s *Store) OverlayCounts(ctx context.Context, clinics []string) ([]int, error) {
	counts := make([]*redis.IntCmd, len(clinics))
	_, err := s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i, c := range clinics {
			counts[i] = p.LLen(ctx, overlayKey(s.deskUnit(c)))
		}
		return nil
	})
	if err != nil {
		return nil, wrap("counting changes of the settings", err)
	}
	out := make([]int, len(counts))
	for i, c := range counts {
		out[i] = int(c.Val())
	}
	return out, nil
}

// AddOverlay adds a change on top of those seen by the caller: its N says which
// it is. Errors wrap ErrConflict where somebody else made one meanwhile, or
// ErrUnavailable.
func (s *Store) AddOverlay(ctx context.Context, clinic string, o Overlay) error {
	key := overlayKey(s.deskUnit(clinic))
	value, err := s.pack(key, "", o)
	if err != nil {
		return err
	}
	done, err := s.run(ctx, call{appendScript, []string{key},
		[]any{o.N - 1, value}}).Int()
	if err != nil {
		return wrap("keeping a change of the settings", err)
	}
	if done != 1 {
		return fmt.Errorf("changing the settings: %w", ErrConflict)
	}
	return nil
}
