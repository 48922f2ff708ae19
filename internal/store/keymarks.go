package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
)

// Fields of metaKey that say how values are sealed. A key is marked before the
// first value is sealed with it, so that a process without it refuses to start
// instead of failing at the first value it meets.
const (
	keyMark    = "key:"  // and the key's id: values may be sealed with it
	sealedMark = "clear" // "refused": no value in the clear is taken any more
	refused    = "refused"
)

// checkKeys refuses to open a store whose keys are not all there, and marks the
// key that seals from now on.
func (s *Store) checkKeys(ctx context.Context) error {
	marks, err := s.rdb.HGetAll(ctx, metaKey()).Result()
	if err != nil {
		return wrap("reading which keys the store is sealed with", err)
	}
	var missing []string
	for field := range marks {
		if id, ok := strings.CutPrefix(field, keyMark); ok && !s.keys.Has(KeyID(id)) {
			missing = append(missing, id)
		}
	}
	if len(missing) > 0 {
		slices.Sort(missing)
		return fmt.Errorf("%w: %s; give every key that was ever used until it is retired", ErrKeyMissing, strings.Join(missing, ", "))
	}
	s.sealedOnly = marks[sealedMark] == refused
	now := s.keys.Sealing()
	if now == "" {
		if s.sealedOnly {
			return fmt.Errorf("%w: everything here is sealed, and no key was given that seals", ErrKeyMissing)
		}
		return nil
	}
	return wrap("noting the key that seals", s.rdb.HSetNX(ctx, metaKey(), keyMark+string(now), "1").Err())
}

// MarkedKeys are the keys that values may be sealed with, and whether values in
// the clear are refused. Errors wrap ErrUnavailable.
func (s *Store) MarkedKeys(ctx context.Context) (ids []KeyID, sealedOnly bool, err error) {
	marks, err := s.rdb.HGetAll(ctx, metaKey()).Result()
	if err != nil {
		return nil, false, wrap("reading which keys the store is sealed with", err)
	}
	for field := range marks {
		if id, ok := strings.CutPrefix(field, keyMark); ok {
			ids = append(ids, KeyID(id))
		}
	}
	slices.Sort(ids)
	return ids, marks[sealedMark] == refused, nil
}

// RetireKey lets a key be missing from now on. The caller has made sure that no
// value is sealed with it. Errors wrap ErrUnavailable.
func (s *Store) RetireKey(ctx context.Context, id KeyID) error {
	return wrap("retiring a key", s.rdb.HDel(ctx, metaKey(), keyMark+string(id)).Err())
}

// RefuseClear lets every process that opens the store from now on refuse values
// in the clear. The caller has made sure that there are none. Errors wrap
// ErrUnavailable.
func (s *Store) RefuseClear(ctx context.Context) error {
	return wrap("refusing values in the clear", s.rdb.HSet(ctx, metaKey(), sealedMark, refused).Err())
}
