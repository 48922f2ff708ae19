package desk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"html/template"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// The roster is what a search, a filter or an order of the whole caseload needs
// of every dog: a few hundred bytes each, kept in memory and brought up to date
// by asking for the versions of all households (16 bytes each) and loading only
// those that changed. The order of a list may be rosterAge old; the dogs on a
// page are always asked for anew, and so is what was changed at this desk. A row
// of the page, once made, is kept for as long as its household stays the same.
const (
	rosterAge   = 10 * time.Second
	headsAtOnce = 5000
	loadsAtOnce = 500
)

type rosters struct {
	desk *Desk
	mu   sync.Mutex
	all  map[string]*roster // by clinic
}

// roster is one clinic's.
type roster struct {
	mu     sync.Mutex // held while it is brought up to date
	at     time.Time
	known  map[contact.ID]known
	stale  map[contact.ID]bool // changed at this desk
	latest *summary
	guard  sync.Mutex // of stale
	rules  *care.Rules
	dirty  bool // known holds what latest doesn't yet
}

// known is what the roster knows of one household.
type known struct {
	version store.Version
	rows    []row
	html    []template.HTML // of each row; "" where it was not shown yet
	lost    []lost
}

// summary is every dog of a clinic as of one moment. It is never changed, but
// for the orders it remembers.
type summary struct {
	rows []row
	lost []lost

	mu     sync.Mutex
	orders map[string][]int32
}

func (r *rosters) of(clinic string) *roster {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.all == nil {
		r.all = map[string]*roster{}
	}
	if r.all[clinic] == nil {
		r.all[clinic] = &roster{known: map[contact.ID]known{}, stale: map[contact.ID]bool{}}
	}
	return r.all[clinic]
}

// forget marks a household as changed.
func (r *rosters) forget(clinic string, id contact.ID) {
	o := r.of(clinic)
	o.guard.Lock()
	o.stale[id] = true
	o.guard.Unlock()
}

// get returns a clinic's dogs, at most rosterAge old.
func (r *rosters) get(ctx context.Context, rules *care.Rules, now time.Time) (*summary, error) {
	o := r.of(rules.Clinic)
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.rules != rules { // other settings, other baselines and words
		o.known, o.at, o.rules = map[contact.ID]known{}, time.Time{}, rules
	}
	stale := o.takeStale()
	fresh := o.latest != nil && now.Sub(o.at) < rosterAge && !now.Before(o.at)
	if fresh && len(stale) == 0 {
		return o.latest, nil
	}
	changed, err := stale, error(nil)
	if !fresh {
		if changed, err = r.changed(ctx, o, stale); err != nil {
			return nil, err
		}
		o.at = now
	}
	if err := r.load(ctx, o, changed, now); err != nil {
		o.at = time.Time{}
		return nil, err
	}
	if o.dirty || o.latest == nil {
		o.latest, o.dirty = o.summarise(), false
	}
	return o.latest, nil
}

// rowsAt are the rows of a page, as their households are now: what has changed
// since the roster was made is loaded.
func (r *rosters) rowsAt(v *visit, s *summary, which []int32) ([]template.HTML, error) {
	ids := make([]contact.ID, len(which))
	for k, i := range which {
		ids[k] = s.rows[i].ID
	}
	heads, err := r.desk.Store.Heads(v.ctx(), v.clinic.Rules.Clinic, ids)
	if err != nil {
		return nil, err
	}
	o := r.of(v.clinic.Rules.Clinic)
	o.mu.Lock()
	defer o.mu.Unlock()
	var changed []contact.ID
	for k, id := range ids {
		if o.known[id].version != heads[k] && !slices.Contains(changed, id) {
			changed = append(changed, id)
		}
	}
	if err := r.load(v.ctx(), o, changed, v.now); err != nil {
		return nil, err
	}
	rows := make([]template.HTML, 0, len(which))
	for _, i := range which {
		dog, k := int(s.rows[i].Dog), o.known[s.rows[i].ID]
		if dog >= len(k.rows) {
			continue // it has gone meanwhile
		}
		if k.html[dog] == "" {
			if k.html[dog], err = r.desk.rowHTML(v, k.rows[dog]); err != nil {
				return nil, err
			}
		}
		rows = append(rows, k.html[dog])
	}
	return rows, nil
}

func (o *roster) takeStale() []contact.ID {
	o.guard.Lock()
	defer o.guard.Unlock()
	var ids []contact.ID
	for id := range o.stale {
		ids = append(ids, id)
	}
	clear(o.stale)
	return ids
}

// changed lists the households that are new, gone or at another version.
func (r *rosters) changed(ctx context.Context, o *roster, stale []contact.ID) ([]contact.ID, error) {
	clinic := o.rules.Clinic
	cases, _, err := r.desk.Store.Caseload(ctx, clinic, 0, 1<<24)
	if err != nil {
		return nil, err
	}
	changed := stale
	present := make(map[contact.ID]bool, len(cases))
	for part := range slices.Chunk(cases, headsAtOnce) {
		ids := make([]contact.ID, len(part))
		for i, c := range part {
			ids[i] = c.ID
			present[c.ID] = true
		}
		heads, err := r.desk.Store.Heads(ctx, clinic, ids)
		if err != nil {
			return nil, err
		}
		for i, head := range heads {
			if k, ok := o.known[ids[i]]; !ok || k.version != head {
				changed = append(changed, ids[i])
			}
		}
	}
	for id := range o.known {
		if !present[id] {
			changed = append(changed, id)
		}
	}
	return changed, nil
}

// load loads households anew, some chunks of them at a time: reading one takes
// longer than Redis takes to hand it over.
func (r *rosters) load(ctx context.Context, o *roster, ids []contact.ID, now time.Time) error {
	o.dirty = o.dirty || len(ids) > 0
	parts := slices.Collect(slices.Chunk(ids, loadsAtOnce))
	got := make([][]known, len(parts))
	failed := make([]error, len(parts))
	slots := make(chan struct{}, runtime.GOMAXPROCS(0)+1) // one waits for Redis
	var panicked atomic.Value
	var wg sync.WaitGroup
	for i, part := range parts {
		slots <- struct{}{}
		wg.Go(func() {
			defer func() {
				if p := recover(); p != nil {
					panicked.Store(fmt.Sprint(p))
				}
				<-slots
			}()
			got[i], failed[i] = r.read(ctx, o.rules, part, now)
		})
	}
	wg.Wait()
	if p := panicked.Load(); p != nil { // the caller's to catch, as if it had worked alone
		panic(p)
	}
	if err := errors.Join(failed...); err != nil {
		return err
	}
	for i, part := range parts {
		for n, id := range part {
			if o.known[id] = got[i][n]; got[i][n].version == "" {
				delete(o.known, id)
			}
		}
	}
	return nil
}

// read loads some households; one that has gone has no version.
func (r *rosters) read(ctx context.Context, rules *care.Rules, ids []contact.ID, now time.Time) ([]known, error) {
	loaded, err := r.desk.Store.Many(ctx, rules.Clinic, ids)
	if err != nil {
		return nil, err
	}
	list := make([]known, len(loaded))
	for i := range loaded {
		l := &loaded[i]
		if l.Found == store.NotFound {
			continue
		}
		rows := rowsOf(rules, &l.Household, now)
		list[i] = known{version: l.Version, rows: rows, html: make([]template.HTML, len(rows)), lost: lostOf(&l.Household)}
	}
	return list, nil
}

// warmMost is up to how many households a clinic's roster is made before
// anybody asks for it: more are not one practice's, and may never be looked at.
const warmMost = 20_000

// Warm makes the rosters of every clinic, so that the first page after a start
// need not. It takes some seconds: call it in the background. What fails is left
// to that page.
func (d *Desk) Warm(ctx context.Context) {
	for _, c := range d.offered() {
		_, n, err := d.Store.Caseload(ctx, c.Rules.Clinic, 0, 1)
		if err == nil && n > warmMost {
			continue
		}
		if err == nil {
			_, err = d.rosters.get(ctx, c.Rules, d.Now())
		}
		if err != nil && ctx.Err() == nil {
			d.Log.Warn("desk: the list of dogs could not be made beforehand", "clinic", c.Rules.Clinic, "err", err)
		}
	}
}

func (o *roster) summarise() *summary {
	s := &summary{rows: make([]row, 0, len(o.known)), orders: map[string][]int32{}}
	for _, k := range o.known {
		s.rows = append(s.rows, k.rows...)
		s.lost = append(s.lost, k.lost...)
	}
	slices.SortFunc(s.lost, func(a, b lost) int { return cmp.Or(cmp.Compare(b.at, a.at), cmp.Compare(a.message, b.message)) })
	return s
}

func (s *summary) followed() int {
	n := 0
	for i := range s.rows {
		n += btoi(s.rows[i].Status == care.Followed)
	}
	return n
}

// order lists the rows by a sort, each worked out once. Ties go by name, then
// by id, so that pages never overlap.
func (s *summary) order(by string) []int32 {
	s.mu.Lock()
	defer s.mu.Unlock()
	if o, ok := s.orders[by]; ok {
		return o
	}
	o := make([]int32, len(s.rows))
	for i := range o {
		o[i] = int32(i)
	}
	compare := sorts[by].compare
	slices.SortFunc(o, func(x, y int32) int {
		a, b := &s.rows[x], &s.rows[y]
		if c := compare(a, b); c != 0 { // folding names takes longer than all the rest
			return c
		}
		return cmp.Or(cmp.Compare(fold(a.Name), fold(b.Name)), cmp.Compare(a.ID, b.ID), cmp.Compare(a.Dog, b.Dog))
	})
	s.orders[by] = o
	return o
}
