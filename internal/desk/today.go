package desk

import (
	"cmp"
	"net/http"
	"slices"
	"strconv"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// shownAlerts is how many alerts of one group a page shows.
const shownAlerts = 200

type todayPage struct {
	page
	Groups      []alertGroup
	Open        int
	Undelivered []undelivered // nothing sent since has arrived either
	// NotDelivered is how many there are on the page of their own.
	NotDelivered int
	Reception    bool
	Closed       string // when the practice next opens, if it is closed now
	Followed     int
	// Troubles are what of the service itself has stopped, in words.
	Troubles []string
}

// alertGroup is alerts of one kind of urgency.
type alertGroup struct {
	Title, About string
	Slug         string
	Alerts       []alertView
	More         int // not shown
}

// today is what needs somebody now. Reception's view of it holds no clinical
// notes.
func (d *Desk) today(v *visit) error {
	households, err := d.openHouseholds(v)
	if err != nil {
		return err
	}
	p := &todayPage{page: d.page(v, "Today"), Reception: !seesClinical(v) || v.QueryParam("view") == "reception"}
	p.Live = "today"
	if v.QueryParam("refresh") != "" {
		p.Refresh = 60
	}
	alerts := d.openAlerts(v, households)
	p.Open = len(alerts)
	p.Groups = grouped(alerts, p.Reception)
	summary, err := d.rosters.get(v.ctx(), v.clinic.Rules, v.now)
	if err != nil {
		return err
	}
	p.Followed = summary.followed()
	p.Undelivered = summary.undelivered(v.now, true)
	p.NotDelivered = len(summary.undelivered(v.now, false))
	if r := v.clinic.Rules; !r.Hours.Open(v.now) {
		if at, ok := r.Hours.NextOpening(v.now); ok {
			p.Closed = p.Stamp(at.Unix()).Text
		}
	}
	watch, err := d.Store.ReadWatch(v.ctx())
	if err != nil {
		return err
	}
	for _, t := range watch.Told[v.clinic.Rules.Clinic] {
		p.Troubles = append(p.Troubles, t.What(v.clinic.Rules.Zone))
	}
	slices.Sort(p.Troubles)
	if err := d.trailed(v, account.Entry{Deed: account.SawToday}); err != nil {
		return err
	}
	return d.render(v, http.StatusOK, "today", p)
}

// openHouseholds are the households of the reader's clinic that have something
// open.
func (d *Desk) openHouseholds(v *visit) ([]care.Household, error) {
	id := v.clinic.Rules.Clinic
	cases, err := d.Store.OpenCases(v.ctx(), id)
	if err != nil {
		return nil, err
	}
	ids := make([]contact.ID, len(cases))
	for i, c := range cases {
		ids[i] = c.ID
	}
	loaded, err := d.Store.Many(v.ctx(), id, ids)
	if err != nil {
		return nil, err
	}
	list := make([]care.Household, 0, len(loaded))
	for i := range loaded {
		if loaded[i].Found != store.NotFound {
			list = append(list, loaded[i].Household)
		}
	}
	return list, nil
}

// openAlerts lists what is open, most urgent first: by urgency, by whether
// somebody has taken it on, by reason, then the longest open.
func (d *Desk) openAlerts(v *visit, households []care.Household) []alertView {
	type ranked struct {
		alertView
		rank int
	}
	var list []ranked
	for i := range households {
		for _, a := range households[i].Alerts {
			if a.IsOpen() {
				list = append(list, ranked{d.alertView(v, &households[i], a), slices.Index(care.AlertReasons, a.Reason)})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b ranked) int {
		return cmp.Or(cmp.Compare(b.Level, a.Level), cmp.Compare(btoi(a.Acked), btoi(b.Acked)),
			cmp.Compare(a.rank, b.rank), cmp.Compare(a.Opened, b.Opened))
	})
	views := make([]alertView, len(list))
	for i := range list {
		views[i] = list[i].alertView
	}
	return views
}

// grouped parts alerts for the page. What somebody wrote stands apart from what
// was worked out.
func grouped(alerts []alertView, reception bool) []alertGroup {
	groups := []alertGroup{
		{Title: "Now", Slug: "now", About: "A vet is needed at once. Each is closed by a person."},
		{Title: "Before closing time", Slug: "today", About: "To be dealt with today."},
		{Title: "Messages to read", Slug: "messages", About: "Questions, call-backs, photos and notes from owners."},
		{Title: "When you read", Slug: "digest", About: "Changes, weights, silences and reviews that can wait for a quiet hour."},
	}
	for _, a := range alerts {
		g := &groups[3]
		switch {
		case a.Level == care.Now:
			g = &groups[0]
		case a.Reason == reasonNames[care.Question]:
			g = &groups[2]
		case a.Level == care.Today:
			g = &groups[1]
		case reception:
			continue // nothing that reception rings about
		}
		if len(g.Alerts) >= shownAlerts {
			g.More++
			continue
		}
		g.Alerts = append(g.Alerts, a)
	}
	return slices.DeleteFunc(groups, func(g alertGroup) bool { return len(g.Alerts) == 0 })
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func itoa(n int) string { return strconv.Itoa(n) }
