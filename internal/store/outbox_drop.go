package store

import "context"

// DropAside takes an entry out of those that were given up, once somebody has
// seen to it. It is safe to repeat. Errors wrap ErrUnavailable.
func (s *Store) DropAside(ctx context.Context, a Aside) error {
	return wrap("taking away what was set aside", s.rdb.XDel(ctx, asideKey(a.Partition, a.Queue), a.StreamID).Err())
}
