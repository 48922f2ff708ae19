package desk

import (
	"net/http"
	"strconv"
	"time"

	"gaitpost/internal/account"
)

// trailLength is how many entries of the trail a page shows.
const trailLength = 100

type trailPage struct {
	page
	Month       string // 2006-01
	MonthText   string
	Entries     []account.Entry
	Total       int
	From, To    int
	Newer       string
	Older       string
	MonthBefore string
	MonthAfter  string
}

// trail is who saw and changed what, a month (UTC) at a time.
func (d *Desk) trail(v *visit) error {
	at, err := time.Parse("2006-01", v.QueryParam("month"))
	if err != nil || at.Year() < 2000 || at.Year() > 2099 {
		at = v.now.UTC()
	}
	at = time.Date(at.Year(), at.Month(), 1, 0, 0, 0, 0, time.UTC)
	skip, err := strconv.Atoi(v.QueryParam("skip"))
	if err != nil || skip < 0 || skip > 1<<24 {
		skip = 0
	}
	p := &trailPage{page: d.page(v, "Who saw and changed what"), Month: at.Format("2006-01"), MonthText: at.Format("January 2006")}
	if err := d.trailed(v, account.Entry{Deed: account.SawAudit, Detail: p.Month}); err != nil {
		return err
	}
	if p.Entries, p.Total, err = d.Store.ReadAudit(v.ctx(), v.clinic.Rules.Clinic, at, skip, trailLength); err != nil {
		return err
	}
	p.From, p.To = min(skip+1, p.Total), min(skip+len(p.Entries), p.Total)
	link := func(month string, skip int) string {
		return Prefix + "/trail?month=" + month + "&skip=" + itoa(skip)
	}
	if skip > 0 {
		p.Newer = link(p.Month, max(skip-trailLength, 0))
	}
	if skip+len(p.Entries) < p.Total {
		p.Older = link(p.Month, skip+trailLength)
	}
	p.MonthBefore = link(at.AddDate(0, -1, 0).Format("2006-01"), 0)
	if next := at.AddDate(0, 1, 0); !next.After(v.now.UTC()) {
		p.MonthAfter = link(next.Format("2006-01"), 0)
	}
	return d.render(v, http.StatusOK, "trail", p)
}
