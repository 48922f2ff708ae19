package store

import (
	"bufio"
	"context"
	"crypto/sha256"
	_ "embed"
	"errors"
	"fmt"
	"hash"
	"io"
	"strings"
	"sync"
	"time"

	"github.com/fxamacker/cbor/v2"
	"github.com/redis/go-redis/v9"

	"gaitpost/internal/contact"
)

//go:embed scripts/snapshot.lua
var snapshotSource string

var snapshotScript = newScript(snapshotSource)

// A backup is a first line, then CBOR items one after the other: a head, records,
// and a tail with the number of records and the SHA-256 of everything before it.
//
// Values are kept as they are stored: sealed ones stay sealed with their keys, so
// that the file is worth no more to a thief than Redis' own, and is restored with
// the same keys and the same secret for contact ids. What a store without a key
// writes is in the clear.
const (
	backupMagic   = "gaitpost backup\n"
	backupVersion = 1
)

// BackupHead says what a backup is of.
type BackupHead struct {
	Version int    `cbor:"1,keyasint"`
	Clinic  string `cbor:"2,keyasint"`
	Made    int64  `cbor:"3,keyasint"`
	Mark    string `cbor:"4,keyasint"` // of the secret for contact ids
	Seals   KeyID  `cbor:"5,keyasint"` // the key that sealed new values then, "" for none
}

// backupRecord is one household, or one Redis key of another kind.
type backupRecord struct {
	// Kind is the key's kind, as in keys.go and deskkeys.go; tail is what tells it
	// from others of its kind, after the clinic.
	Kind   string   `cbor:"1,keyasint"`
	Tail   string   `cbor:"2,keyasint,omitempty"`
	Part   int      `cbor:"3,keyasint"`
	Value  []byte   `cbor:"4,keyasint,omitempty"` // of a string or a household
	Due    string   `cbor:"5,keyasint,omitempty"`
	Rank   string   `cbor:"6,keyasint,omitempty"`
	List   [][]byte `cbor:"7,keyasint,omitempty"` // of a list, a log, or a hash: field, value, …
	Fields bool     `cbor:"8,keyasint,omitempty"` // List is a hash's
}

// backupTail ends a file.
type backupTail struct {
	Records int    `cbor:"1,keyasint"`
	Sum     []byte `cbor:"2,keyasint"`
}

// BackedUp says what went into a backup, or came out of one.
type BackedUp struct {
	Head       BackupHead
	Households int
	Records    int // of all kinds
	// ErasedAgain are erasures made since the backup, made again after it.
	ErasedAgain int
}

// backupKinds are the kinds of keys that are kept beside households, by what
// Redis keeps them as. What waits to be sent, event keys, sessions and counts of
// attempts are not kept: they are over by the time anything is restored.
var backupKinds = map[string]string{"a": "string", "line": "string", "accounts": "hash", "overlay": "list", "audit": "list", "erased": "hash"}

func (s *Store) secretMark() string {
	return string(s.hasher.ID("", contact.Address{Channel: "meta", Value: "secret"}))
}

// backupWriter counts and sums what it writes.
type backupWriter struct {
	w   *bufio.Writer
	sum hash.Hash
	enc *cbor.Encoder
	n   int
}

func newBackupWriter(w io.Writer) *backupWriter {
	b := &backupWriter{w: bufio.NewWriter(w), sum: sha256.New()}
	b.enc = encoder.NewEncoder(io.MultiWriter(b.w, b.sum))
	return b
}

func (b *backupWriter) record(r backupRecord) error {
	b.n++
	return b.enc.Encode(r)
}

// Backup writes everything that a clinic's store holds: households with their
// logs, further contacts, practitioners' lines, accounts, changed settings, the
// trail and the marks of erasures. The service may go on: each household is whole
// and as of one instant. progress is told how many households there were so far.
// Errors wrap ErrUnavailable, or are the writer's.
func (s *Store) Backup(ctx context.Context, w io.Writer, clinic string, now time.Time, progress func(int)) (BackedUp, error) {
	b := newBackupWriter(w)
	done := BackedUp{Head: BackupHead{Version: backupVersion, Clinic: clinic, Made: now.Unix(), Mark: s.secretMark(), Seals: s.keys.Sealing()}}
	if _, err := io.WriteString(io.MultiWriter(b.w, b.sum), backupMagic); err != nil {
		return done, fmt.Errorf("writing the backup: %w", err)
	}
	if err := b.enc.Encode(done.Head); err != nil {
		return done, fmt.Errorf("writing the backup: %w", err)
	}
	// Erasures last: one made meanwhile has its mark in the backup.
	err := s.Households(ctx, clinic, func(id contact.ID) error {
		r, ok, err := s.snapshot(ctx, unit{clinic, id})
		if err != nil || !ok {
			return err
		}
		if done.Households++; progress != nil {
			progress(done.Households)
		}
		return b.record(r)
	})
	for _, kind := range []string{"a", "line", "accounts", "overlay", "audit", "erased"} {
		if err == nil {
			err = s.backupKind(ctx, b, clinic, kind)
		}
	}
	if err != nil {
		return done, fmt.Errorf("making the backup: %w", err)
	}
	done.Records = b.n
	if err := encoder.NewEncoder(b.w).Encode(backupTail{b.n, b.sum.Sum(nil)}); err != nil {
		return done, fmt.Errorf("writing the backup: %w", err)
	}
	return done, b.w.Flush()
}

func (s *Store) snapshot(ctx context.Context, u unit) (backupRecord, bool, error) {
	got, err := s.run(ctx, call{snapshotScript, householdKeys(u), []any{dueMember(u), string(u.id)}}).StringSlice()
	if err != nil {
		return backupRecord{}, false, wrap("reading a household for a backup", err)
	}
	r := backupRecord{Kind: "h", Tail: string(u.id), Part: u.partition(), Value: []byte(got[0]), Due: got[1], Rank: got[2]}
	for _, v := range got[3:] {
		r.List = append(r.List, []byte(v))
	}
	return r, got[0] != "", nil
}

func householdKeys(u unit) []string {
	return []string{householdKey(u), logKey(u), dueKey(u.partition()), caseloadKey(u.partition(), u.clinic)}
}

// backupKind writes a clinic's keys of one kind.
func (s *Store) backupKind(ctx context.Context, b *backupWriter, clinic, kind string) error {
	var one sync.Mutex // a cluster's masters are walked side by side
	return s.eachMaster(ctx, func(ctx context.Context, c redis.Cmdable) error {
		for cursor := uint64(0); ; {
			keys, next, err := c.Scan(ctx, cursor, "{p*}:"+kind+":"+clinic+"*", 512).Result()
			if err != nil {
				return wrap("looking for what to back up", err)
			}
			one.Lock()
			for _, k := range keys {
				if err == nil {
					err = s.backupKey(ctx, b, k, kind, clinic)
				}
			}
			one.Unlock()
			if cursor = next; err != nil || cursor == 0 {
				return err
			}
		}
	})
}

func (s *Store) backupKey(ctx context.Context, b *backupWriter, key, kind, clinic string) error {
	tag, rest, _ := strings.Cut(key, ":"+kind+":"+clinic)
	if rest != "" && rest[0] != ':' {
		return nil // another clinic's, whose id begins alike
	}
	r := backupRecord{Kind: kind, Tail: strings.TrimPrefix(rest, ":"), Part: -1}
	for p := range tags {
		if tags[p] == tag {
			r.Part = p
		}
	}
	var err error
	switch backupKinds[kind] {
	case "string":
		r.Value, err = s.rdb.Get(ctx, key).Bytes()
	case "list":
		var values []string
		values, err = s.rdb.LRange(ctx, key, 0, -1).Result()
		for _, v := range values {
			r.List = append(r.List, []byte(v))
		}
	case "hash":
		var values map[string]string
		values, err = s.rdb.HGetAll(ctx, key).Result()
		r.Fields = true
		for f, v := range values {
			r.List = append(r.List, []byte(f), []byte(v))
		}
	}
	switch {
	case isNil(err):
		return nil // it ran out meanwhile
	case err != nil:
		return wrap("reading what to back up", err)
	}
	return b.record(r)
}

// Errors of Restore and CheckBackup.
var (
	// ErrBackup: the file is no backup, is not whole, or was changed.
	ErrBackup = errors.New("the backup can't be used")
	// ErrNotEmpty: the clinic has records already.
	ErrNotEmpty = errors.New("this clinic has records already")
)

// readBackup reads a file through, calling visit with each record where there is
// one, and checks that it is whole.
func readBackup(file io.Reader, visit func(BackupHead, backupRecord) error) (BackedUp, error) {
	var done BackedUp
	sum := sha256.New()
	in := bufio.NewReader(file)
	magic := make([]byte, len(backupMagic))
	if _, err := io.ReadFull(in, magic); err != nil || string(magic) != backupMagic {
		return done, fmt.Errorf("%w: it is not a backup of Gaitpost's", ErrBackup)
	}
	sum.Write(magic)
	dec := decoder.NewDecoder(in)
	next := func() (cbor.RawMessage, error) {
		var raw cbor.RawMessage
		if err := dec.Decode(&raw); err != nil {
			return nil, fmt.Errorf("%w: it is cut off or damaged after %d records", ErrBackup, done.Records)
		}
		return raw, nil
	}
	raw, err := next()
	if err != nil {
		return done, err
	}
	if err := decoder.Unmarshal(raw, &done.Head); err != nil || done.Head.Version != backupVersion {
		return done, fmt.Errorf("%w: its version is %d, this program reads %d", ErrBackup, done.Head.Version, backupVersion)
	}
	for {
		sum.Write(raw)
		if raw, err = next(); err != nil {
			return done, err
		}
		var tail backupTail
		if decoder.Unmarshal(raw, &tail) == nil && len(tail.Sum) == sha256.Size {
			if tail.Records != done.Records || string(tail.Sum) != string(sum.Sum(nil)) {
				return done, fmt.Errorf("%w: its checksum does not fit", ErrBackup)
			}
			return done, nil
		}
		var r backupRecord
		if err := decoder.Unmarshal(raw, &r); err != nil {
			return done, fmt.Errorf("%w: record %d is damaged", ErrBackup, done.Records+1)
		}
		if done.Records++; r.Kind == "h" {
			done.Households++
		}
		if visit != nil {
			if err := visit(done.Head, r); err != nil {
				return done, err
			}
		}
	}
}
