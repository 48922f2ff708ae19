package scheduler

import (
	"context"
	"errors"
	"fmt"
	"time"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
)

// digestWindow is how late a digest may still be sent. Later it is left out:
// the next one says all that is open.
const digestWindow = 3 * time.Hour

// Digests sends every digest whose time came within the window before an
// instant. Its key is practitioner and slot, so that it is sent once, whoever
// ticks.
func (s *Scheduler) Digests(ctx context.Context, now time.Time) error {
	var failed error
	for _, r := range s.rules.Load().list {
		slot, ok := lastFiring(r, now)
		if !ok || s.digests[r.Clinic].Equal(slot) {
			continue
		}
		if err := s.digest(ctx, r, slot, now); err != nil {
			failed = errors.Join(failed, err)
			continue
		}
		s.digests[r.Clinic] = slot
	}
	return failed
}

// lastFiring is the clinic's latest digest time in the window that ends now.
func lastFiring(r *care.Rules, now time.Time) (time.Time, bool) {
	var last time.Time
	if r.Cadences.Digest.IsZero() {
		return last, false
	}
	for at := now.Add(-digestWindow); ; {
		next, _ := r.Cadences.Digest.Next(at, cadence.LocalDate{}, r.Zone)
		if next.IsZero() || next.After(now) {
			return last, !last.IsZero()
		}
		last, at = next, next
	}
}

func (s *Scheduler) digest(ctx context.Context, r *care.Rules, slot, now time.Time) error {
	open, err := s.o.Store.OpenItems(ctx, r.Clinic)
	if err != nil {
		return fmt.Errorf("listing what is open: %w", err)
	}
	name := slot.UTC().Format(time.RFC3339)
	for _, p := range r.Practitioners {
		if !p.Digest {
			continue
		}
		res, err := s.o.Store.DoLine(ctx, r, p.ID, care.LineEvent{
			Key: "digest/" + name, At: now, Digest: &care.Digest{Slot: name, Open: open},
		})
		if err != nil {
			return fmt.Errorf("sending a digest: %w", err)
		}
		s.o.Observer.Digested(r.Clinic, res.Reason)
	}
	return nil
}
