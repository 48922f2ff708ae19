package desk

import (
	"context"
	"net/http"
	"strconv"
	"sync"
	"time"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// Figures for a whole clinic need every household's record of a period, so they
// are counted beside the pages and kept for a while.
const (
	countsAge     = time.Hour
	countsTime    = 10 * time.Minute
	countAtOnce   = 100
	countsAgain   = 2   // seconds after which a page that waits for a count looks again
	countedTurns  = 600 // of each household: what lies before is not counted
	outcomesWeeks = 12
)

var outcomePeriods = []int{4, 12, 26}

type counts struct {
	desk *Desk
	mu   sync.Mutex
	all  map[string]*counting // by clinic and weeks
}

// counting is one count, under way or done.
type counting struct {
	began   time.Time
	rules   *care.Rules
	done    int // households
	of      int
	result  *figures
	failure error
}

type outcomesPage struct {
	page
	Weeks   int
	Periods []choice
	From    int64
	Busy    bool
	Done    int
	Of      int
	Again   int // seconds
	Failed  bool
	At      int64
	F       *figures
}

func (d *Desk) outcomes(v *visit) error {
	p := &outcomesPage{page: d.page(v, "Outcomes"), Weeks: outcomesWeeks}
	if n, err := strconv.Atoi(v.QueryParam("weeks")); err == nil {
		for _, w := range outcomePeriods {
			if w == n {
				p.Weeks = n
			}
		}
	}
	for _, w := range outcomePeriods {
		p.Periods = append(p.Periods, choice{itoa(w), "the last " + itoa(w) + " weeks", w == p.Weeks})
	}
	from := v.now.AddDate(0, 0, -7*p.Weeks)
	p.From = from.Unix()
	c := d.counts.start(v, p.Weeks, from)
	p.Done, p.Of, p.F, p.At, p.Failed = c.done, c.of, c.result, c.began.Unix(), c.failure != nil
	if p.Busy = c.result == nil && c.failure == nil; p.Busy {
		p.Again = countsAgain
	}
	if err := d.trailed(v, account.Entry{Deed: account.SawOutcomes}); err != nil {
		return err
	}
	return d.render(v, http.StatusOK, "outcomes", p)
}

// start returns the count of a period as it stands, and begins one where there
// is none or it is old.
func (x *counts) start(v *visit, weeks int, from time.Time) counting {
	x.mu.Lock()
	defer x.mu.Unlock()
	key := v.clinic.Rules.Clinic + "/" + itoa(weeks)
	if c := x.all[key]; c != nil && c.rules == v.clinic.Rules { // other settings, other prices
		age := v.now.Sub(c.began)
		if running := c.result == nil && c.failure == nil; running && age < countsTime || !running && c.failure == nil && age < countsAge {
			return *c
		}
	}
	if x.all == nil {
		x.all = map[string]*counting{}
	}
	c := &counting{began: v.now, rules: v.clinic.Rules}
	x.all[key] = c
	go x.count(c, v.clinic.Rules, from, v.now)
	return *c
}

// count goes through every household. It outlives the page that began it.
func (x *counts) count(c *counting, r *care.Rules, from, now time.Time) {
	ctx, cancel := context.WithTimeout(context.Background(), countsTime)
	defer cancel()
	f, err := x.figures(ctx, c, r, from, now)
	x.mu.Lock()
	defer x.mu.Unlock()
	if c.failure = err; err != nil {
		x.desk.Log.Error("counting outcomes failed", "error", err)
		return
	}
	c.result = f
}

func (x *counts) figures(ctx context.Context, c *counting, r *care.Rules, from, now time.Time) (*figures, error) {
	cases, total, err := x.desk.Store.Caseload(ctx, r.Clinic, 0, 1<<24)
	if err != nil {
		return nil, err
	}
	f := newFigures(r, from, now)
	for at := 0; at < len(cases); at += countAtOnce {
		var ids []contact.ID
		for _, k := range cases[at:min(at+countAtOnce, len(cases))] {
			ids = append(ids, k.ID)
		}
		households, err := x.desk.Store.Many(ctx, r.Clinic, ids)
		if err != nil {
			return nil, err
		}
		logs, err := x.desk.Store.ReadLogs(ctx, r.Clinic, ids, countedTurns)
		if err != nil {
			return nil, err
		}
		for i := range ids {
			f.household(&households[i].Household, logs[i])
		}
		x.mu.Lock()
		c.done, c.of = at+len(ids), total
		x.mu.Unlock()
	}
	f.finish()
	return f, nil
}
