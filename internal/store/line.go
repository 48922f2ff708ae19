package store

import (
	"context"
	"fmt"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// LineChange is a decided turn of a practitioner's line.
type LineChange struct {
	Clinic       string
	Practitioner string // id; "" is the last-resort contact
	Version      Version
	Event        care.LineEvent
	Result       care.LineResult
}

// lineUnit says where a line is kept: by a keyed hash, as everything is.
func (s *Store) lineUnit(clinic, practitioner string) unit {
	return unit{clinic, s.hasher.ID(clinic, contact.Address{Channel: "line", Value: practitioner})}
}

// LoadLine returns a practitioner's line; one that isn't stored yet is new and
// empty, with the version "". Errors wrap ErrUnavailable or ErrDamaged.
func (s *Store) LoadLine(ctx context.Context, clinic, practitioner string) (care.Line, Version, error) {
	record, err := s.rdb.Get(ctx, lineKey(s.lineUnit(clinic, practitioner))).Result()
	if err != nil && !isNil(err) {
		return care.Line{}, "", wrap("loading a practitioner's line", err)
	}
	return s.decodeLine(clinic, practitioner, record)
}

func (s *Store) decodeLine(clinic, practitioner, record string) (care.Line, Version, error) {
	l := care.Line{Clinic: clinic, Practitioner: practitioner}
	if record == "" {
		return l, "", nil
	}
	v, value := split(record)
	if err := s.unpack(lineKey(s.lineUnit(clinic, practitioner)), value, &l); err != nil {
		return care.Line{}, "", fmt.Errorf("reading the line of %s at %s: %w", practitioner, clinic, err)
	}
	return l, v, nil
}

// CommitLine writes a decided turn of a line, all of it or nothing: her texts,
// and her commands into the queue Commands. Errors wrap ErrUnavailable.
func (s *Store) CommitLine(ctx context.Context, c LineChange) (Outcome, error) {
	done, _, err := s.commitLine(ctx, c)
	return done, err
}

func (s *Store) commitLine(ctx context.Context, c LineChange) (Outcome, string, error) {
	u := s.lineUnit(c.Clinic, c.Practitioner)
	w := write{
		unit: u, state: lineKey(u), version: c.Version, value: &c.Result.Line,
		eventKey: c.Event.Key, due: keep, rank: keep,
	}
	from := storedOut{Clinic: c.Clinic, FromLine: true, Practitioner: c.Practitioner, At: unix(c.Event.At)}
	for _, command := range c.Result.Commands {
		o := from
		o.Command = &storedCommand{command.Household, unix(command.Event.At), command.Event}
		value, err := s.pack(outWhere(Commands), "", o)
		if err != nil {
			return "", "", err
		}
		w.out = append(w.out, outgoing{Commands, value})
	}
	var err error
	if w.out, err = s.messages(w.out, from, c.Result.Send); err != nil {
		return "", "", err
	}
	call, err := s.writeCall(w)
	if err != nil {
		return "", "", err
	}
	return committed(s.run(ctx, call))
}

// DoLine lets one event happen on a practitioner's line, as Do does for a
// household. An event that was had before gives the reason Repeated.
func (s *Store) DoLine(ctx context.Context, r *care.Rules, practitioner string, e care.LineEvent) (care.LineResult, error) {
	l, v, err := s.LoadLine(ctx, r.Clinic, practitioner)
	if err != nil {
		return care.LineResult{}, err
	}
	for range tries {
		c := LineChange{Clinic: r.Clinic, Practitioner: practitioner, Version: v, Event: e}
		c.Result = s.lineTurn(r, l, e)
		key := lineKey(s.lineUnit(r.Clinic, practitioner))
		if c.Result.Reason == care.Repeated {
			return c.Result, s.replicated(ctx, mark{key, v.count()})
		}
		done, current, err := s.commitLine(ctx, c)
		if err != nil {
			return care.LineResult{}, err
		}
		switch done {
		case Committed:
			return c.Result, s.replicated(ctx, mark{key, v.count() + 1})
		case Duplicate:
			return care.LineResult{Line: l, Reason: care.Repeated}, s.replicated(ctx, mark{key, v.count()})
		}
		if l, v, err = s.decodeLine(r.Clinic, practitioner, current); err != nil {
			return care.LineResult{}, err
		}
	}
	return care.LineResult{}, fmt.Errorf("changing the line of %s: %w", practitioner, ErrConflict)
}
