package store

import (
	"context"
	_ "embed"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

//go:embed scripts/restore.lua
var restoreSource string

var restoreScript = newScript(restoreSource)

// Restoring says how a backup is restored.
type Restoring struct {
	Rules *care.Rules
	Now   time.Time
	// Over lets it take the place of what the clinic has. What the backup does not
	// know stays.
	Over bool
	// Progress is told how many households there were so far; nil: nobody.
	Progress func(int)
}

// restoreField of the HASH of metaKey says that a clinic's restore has begun and
// not ended.
func restoreField(clinic string) string { return "restoring/" + clinic }

// Restore puts a clinic back as a backup had it. The file is read through first,
// with its checksum and every household opened, before anything is written; each
// household is then written whole. Redis knows no transaction over partitions:
// broken off, the clinic is marked as half restored, and the same call goes on
// from the beginning without needing Over. Erasures that the target knows and the
// backup doesn't are made again. Nothing else may write meanwhile: stop the
// service. Errors wrap ErrBackup, ErrNotEmpty, ErrOtherStore, ErrDamaged or
// ErrUnavailable.
func (s *Store) Restore(ctx context.Context, file io.ReadSeeker, o Restoring) (BackedUp, error) {
	found, err := readBackup(file, func(h BackupHead, r backupRecord) error { return s.checkRecord(o.Rules.Clinic, h, r) })
	if err != nil {
		return found, err
	}
	if err := s.mayRestore(ctx, o, found.Head); err != nil {
		return found, err
	}
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return found, fmt.Errorf("reading the backup again: %w", err)
	}
	if err := s.rdb.HSet(ctx, metaKey(), restoreField(o.Rules.Clinic), found.Head.Made).Err(); err != nil {
		return found, wrap("beginning to restore", err)
	}
	n := 0
	_, err = readBackup(file, func(_ BackupHead, r backupRecord) error {
		if r.Kind == "h" {
			if n++; o.Progress != nil {
				o.Progress(n)
			}
		}
		return s.restoreRecord(ctx, o.Rules.Clinic, r)
	})
	if err != nil {
		return found, err
	}
	if found.ErasedAgain, err = s.EraseAgain(ctx, o.Rules, o.Now); err != nil {
		return found, err
	}
	return found, wrap("ending to restore", s.rdb.HDel(ctx, metaKey(), restoreField(o.Rules.Clinic)).Err())
}

// checkRecord refuses a backup of another clinic or store, and one whose
// households can't be opened here.
func (s *Store) checkRecord(clinic string, h BackupHead, r backupRecord) error {
	switch {
	case h.Clinic != clinic:
		return fmt.Errorf("%w: it is of the clinic %s, not of %s", ErrBackup, h.Clinic, clinic)
	case h.Mark != s.secretMark():
		return fmt.Errorf("%w: the backup was made with another secret for contact ids", ErrOtherStore)
	case r.Kind != "h" && backupKinds[r.Kind] == "":
		return fmt.Errorf("%w: it holds records of a kind that this version does not know", ErrBackup)
	case r.Kind != "h" && (r.Part < 0 || r.Part >= len(tags) || strings.ContainsAny(r.Tail, "{}")):
		return fmt.Errorf("%w: a record in it says no place", ErrBackup)
	case r.Kind != "h":
		return nil
	}
	id, err := contact.ParseID(r.Tail)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrBackup, err)
	}
	u := unit{clinic, id}
	if _, err := s.decodeHousehold(u, string(r.Value), Direct); err != nil {
		return err
	}
	for i, v := range r.List {
		var e storedEntry
		if err := s.unpack(logKey(u), string(v), &e); err != nil {
			return fmt.Errorf("entry %d of the log of household %s in the backup: %w", i, id, err)
		}
	}
	return nil
}

// mayRestore refuses a clinic that has records, unless told otherwise or in the
// middle of a restore.
func (s *Store) mayRestore(ctx context.Context, o Restoring, h BackupHead) error {
	begun, err := s.rdb.HGet(ctx, metaKey(), restoreField(o.Rules.Clinic)).Result()
	if err != nil && !isNil(err) {
		return wrap("looking for a restore that was broken off", err)
	}
	if begun == strconv.FormatInt(h.Made, 10) || o.Over {
		return nil
	}
	n := 0
	if err := s.Households(ctx, o.Rules.Clinic, func(contact.ID) error { n++; return nil }); err != nil {
		return err
	}
	list, err := s.Accounts(ctx, o.Rules.Clinic)
	if err != nil {
		return err
	}
	if n+len(list) > 0 {
		return fmt.Errorf("%w: %d households and %d accounts", ErrNotEmpty, n, len(list))
	}
	return nil
}

func (s *Store) restoreRecord(ctx context.Context, clinic string, r backupRecord) error {
	if r.Kind == "h" {
		return s.restoreHousehold(ctx, unit{clinic, contact.ID(r.Tail)}, r)
	}
	key := tags[r.Part] + ":" + r.Kind + ":" + clinic
	if r.Tail != "" {
		key += ":" + r.Tail
	}
	var err error
	switch {
	case r.Fields: // what is there beside, such as later marks, stays
		for i := 0; i+1 < len(r.List) && err == nil; i += 2 {
			err = s.rdb.HSet(ctx, key, string(r.List[i]), r.List[i+1]).Err()
		}
	case backupKinds[r.Kind] == "list":
		if err = s.rdb.Del(ctx, key).Err(); err == nil && len(r.List) > 0 {
			values := make([]any, len(r.List))
			for i, v := range r.List {
				values[i] = v
			}
			err = s.rdb.RPush(ctx, key, values...).Err()
		}
	default:
		err = s.rdb.Set(ctx, key, r.Value, 0).Err()
	}
	return wrap("restoring a record", err)
}

func (s *Store) restoreHousehold(ctx context.Context, u unit, r backupRecord) error {
	l, err := s.decodeHousehold(u, string(r.Value), Direct)
	if err != nil {
		return err
	}
	life := "0"
	if l.Household.Stranger {
		life = millis(strangerLife)
	}
	args := []any{r.Value, r.Due, r.Rank, dueMember(u), string(u.id), life}
	for _, v := range r.List {
		args = append(args, v)
	}
	return wrap("restoring a household", s.run(ctx, call{restoreScript, householdKeys(u), args}).Err())
}
