package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
	"gaitpost/internal/desk"
	"gaitpost/internal/store"
)

// lookEvery is how often a process asks whether the settings were changed at a
// desk: one small request for all clinics together.
const lookEvery = 3 * time.Second

// placeWithin is how soon households are looked at again after a change of when
// prompts fall due: every process has noticed the change by then.
const placeWithin = 4 * lookEvery

// overlaid makes a clinic's settings with changes on top, or says in sentences
// what is wrong with them.
type overlaid func(clinicID string, set map[string]string) (*clinic.Clinic, []string)

// overlaysOn lays changes over the settings of the start. Channels and scripts
// stay those of the start: no change at the desk reaches them.
func overlaysOn(src clinic.Source, start []*clinic.Clinic) overlaid {
	src.MissingSecrets = clinic.Doubtful // they were read at the start
	lay := desk.OverlayOf(src)
	return func(id string, set map[string]string) (*clinic.Clinic, []string) {
		c, wrong := lay(id, set)
		if base := clinicList(start).Clinic(id); c != nil && base != nil {
			c.Channels, c.PublicURL, c.Rules.Scripts = base.Channels, base.PublicURL, base.Rules.Scripts
		}
		return c, wrong
	}
}

// inForce are the settings in effect: those of the files, as they were at the
// start, with what was changed at the desk on top. Many read them while one
// replaces them.
type inForce struct {
	start []*clinic.Clinic
	lay   overlaid // nil: the files alone
	log   *slog.Logger
	// tell hands changed settings to every part of the process.
	tell func([]*clinic.Clinic) error

	now      atomic.Pointer[[]*clinic.Clinic]
	versions sync.Map // *care.Rules, past ones too, to their store.Versions

	looking sync.Mutex // held while somebody looks for changes
	counts  []int      // changes that were seen, as start
	mu      sync.Mutex
	unfit   map[string][]string // what is wrong with a clinic's changes
}

func newInForce(start []*clinic.Clinic, lay overlaid, log *slog.Logger) *inForce {
	f := &inForce{start: start, lay: lay, log: log, counts: make([]int, len(start)), unfit: map[string][]string{}}
	f.put(slices.Clone(start))
	return f
}

func (f *inForce) put(list []*clinic.Clinic) {
	for _, c := range list {
		v := store.VersionsOf(c.Rules)
		v.Rules = fmt.Sprintf("%d-%s", care.RulesVersion, settingsMark(c))
		f.versions.Store(c.Rules, v)
	}
	f.now.Store(&list)
}

// versionsOf says, for every turn, what it was decided with: the program's rules
// and the clinic's settings included.
func (f *inForce) versionsOf(r *care.Rules) store.Versions {
	if v, ok := f.versions.Load(r); ok {
		return v.(store.Versions)
	}
	return store.VersionsOf(r)
}

func (f *inForce) clinics() []*clinic.Clinic { return *f.now.Load() }

// Clinic and IDs make it the desk's list of clinics.
func (f *inForce) Clinic(id string) *clinic.Clinic { return clinicList(f.clinics()).Clinic(id) }

// IDs lists the clinics' ids in the order of their files.
func (f *inForce) IDs() []string { return clinicList(f.clinics()).IDs() }

// look asks the store whether settings were changed since the last look, and
// puts the changes in force. Doing it again is safe; with an error what was in
// force stays so.
func (f *inForce) look(ctx context.Context, st *store.Store) error {
	if f.lay == nil {
		return nil
	}
	f.looking.Lock()
	defer f.looking.Unlock()
	ids := clinicList(f.start).IDs()
	counts, err := st.OverlayCounts(ctx, ids)
	if err != nil {
		return err
	}
	if slices.Equal(counts, f.counts) {
		return nil
	}
	list := slices.Clone(f.clinics())
	unfit := f.misfits()
	for i, id := range ids {
		if counts[i] == f.counts[i] {
			continue
		}
		c, wrong, err := f.changed(ctx, st, i)
		if err != nil {
			return err
		}
		list[i] = c
		delete(unfit, id)
		if len(wrong) > 0 {
			unfit[id] = wrong
			f.log.Error("settings: changes made at the desk do not fit the file, which is in effect alone", "clinic", id)
		}
		f.log.Info("settings: changed at the desk", "clinic", id, "changes", counts[i])
	}
	f.put(list)
	f.mu.Lock()
	f.unfit = unfit
	f.mu.Unlock()
	if f.tell != nil {
		if err := f.tell(list); err != nil {
			return err
		}
	}
	f.counts = counts
	return nil
}

// changed is the clinic at a place of the list with its changes on top, or the
// file alone and what is wrong with the changes.
func (f *inForce) changed(ctx context.Context, st *store.Store, i int) (*clinic.Clinic, []string, error) {
	base := f.start[i]
	list, err := st.Overlays(ctx, base.Rules.Clinic)
	if errors.Is(err, store.ErrDamaged) {
		return base, []string{"The changes kept in the store can't be read."}, nil
	}
	if err != nil {
		return nil, nil, err
	}
	if len(list) == 0 || len(list[len(list)-1].Set) == 0 {
		return base, nil, nil
	}
	c, wrong := f.lay(base.Rules.Clinic, list[len(list)-1].Set)
	if c == nil {
		return base, wrong, nil
	}
	return c, nil, nil
}

func (f *inForce) misfits() map[string][]string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return maps.Clone(f.unfit)
}

// notes says which clinics' changes are not in effect, for readiness.
func (f *inForce) notes() []string {
	unfit := f.misfits()
	var notes []string
	for _, id := range slices.Sorted(maps.Keys(unfit)) {
		notes = append(notes, fmt.Sprintf("clinic %s: the changes made at the desk no longer fit the settings file; the file alone is in effect. %s",
			id, strings.TrimSpace(strings.Join(unfit[id], " "))))
	}
	return notes
}

// placingMark tells one way of placing prompts from another: it changes with the
// settings that say when something is sent.
func placingMark(c *clinic.Clinic) string {
	sum := sha256.New()
	for _, s := range clinic.Explain(c) {
		switch {
		case strings.HasPrefix(s.Key, "cadences."), s.Key == "quiet_hours", s.Key == "zone",
			s.Key == "thresholds.alerts.prompt_at", s.Key == "thresholds.alerts.signs_only_days":
			_, _ = io.WriteString(sum, s.Key+"\x00"+s.Value+"\x00")
		}
	}
	return hex.EncodeToString(sum.Sum(nil)[:8])
}

// asFirstRead is a folder in which every file stays as it was when it was first
// read: changes at the desk are laid over the settings of the start, never over
// a file that somebody is in the middle of changing.
type asFirstRead struct {
	fs.FS
	mu    sync.Mutex
	files map[string][]byte
	dirs  map[string][]fs.DirEntry
}

func firstRead(files fs.FS) *asFirstRead {
	return &asFirstRead{FS: files, files: map[string][]byte{}, dirs: map[string][]fs.DirEntry{}}
}

// ReadFile gives the file as it was when it was first read.
func (a *asFirstRead) ReadFile(name string) ([]byte, error) {
	return remembered(a, a.files, name, fs.ReadFile)
}

// ReadDir lists a folder as it was when it was first listed.
func (a *asFirstRead) ReadDir(name string) ([]fs.DirEntry, error) {
	return remembered(a, a.dirs, name, fs.ReadDir)
}

func remembered[T any](a *asFirstRead, known map[string][]T, name string, read func(fs.FS, string) ([]T, error)) ([]T, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if had, ok := known[name]; ok {
		return slices.Clone(had), nil
	}
	got, err := read(a.FS, name)
	if err == nil {
		known[name] = slices.Clone(got)
	}
	return got, err
}
