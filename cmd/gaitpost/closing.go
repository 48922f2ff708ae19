package main

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"
)

// closing ends what was begun, in the opposite order, each part within its
// time. It may be closed more than once; only the first time does anything.
type closing struct {
	log   *slog.Logger
	mu    sync.Mutex
	parts []closingPart
}

type closingPart struct {
	what  string
	limit time.Duration
	end   func(context.Context) error
}

func (c *closing) add(what string, limit time.Duration, end func(context.Context) error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.parts = append(c.parts, closingPart{what, limit, end})
}

// close ends everything. A part that fails or takes too long is named and left;
// the others are ended all the same.
func (c *closing) close() error {
	c.mu.Lock()
	parts := c.parts
	c.parts = nil
	c.mu.Unlock()
	var failed error
	for i := len(parts) - 1; i >= 0; i-- {
		p := parts[i]
		ctx, cancel := context.WithTimeout(context.Background(), p.limit)
		if err := p.end(ctx); err != nil {
			c.log.Error("stopping: a part did not end in order", "part", p.what, "err", err)
			failed = errors.Join(failed, errors.New(p.what+" did not end in order"))
		} else {
			c.log.Info("stopped", "part", p.what)
		}
		cancel()
	}
	return failed
}

// within waits for a channel to close, at most until the context ends.
func within(ctx context.Context, done <-chan struct{}) error {
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
