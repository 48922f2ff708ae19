package desk

import (
	"bytes"
	"errors"
	"net/http"
	"strings"

	"gaitpost/internal/account"
	"gaitpost/internal/clinic"
	"gaitpost/internal/record"
	"gaitpost/internal/store"
)

// A calendar program asks a few times a day. The address keeps nobody out who
// has it, so that more would only help somebody who guesses or a machine gone
// wild; a whole caseload is read each time.
var (
	datesEach    = store.Rate{PerSecond: 1. / 60, Burst: 4}
	datesAddress = store.Rate{PerSecond: 1. / 10, Burst: 30}
)

// makeDates gives the account a calendar's address and shows it this once. A
// former one ends with it.
func (d *Desk) makeDates(v *visit) error {
	secret, digest, err := account.NewDates(d.Random)
	if err != nil {
		return err
	}
	if _, err := d.Store.ChangeAccount(v.ctx(), v.who.Clinic, v.who.ID, func(a *account.Account) { a.Dates = digest }); err != nil {
		return err
	}
	if err := d.trailed(v, account.Entry{Deed: account.SharedDates}); err != nil {
		return err
	}
	v.who.Dates = digest
	p := d.accountForm(v)
	p.Address = strings.TrimSuffix(v.clinic.PublicURL, "/") + Prefix + "/dates/" + v.who.Clinic + "/" + v.who.ID + "/" + secret + ".ics"
	return d.render(v, http.StatusOK, "account", p)
}

// endDates makes the address one that opens nothing.
func (d *Desk) endDates(v *visit) error {
	if _, err := d.Store.ChangeAccount(v.ctx(), v.who.Clinic, v.who.ID, func(a *account.Account) { a.Dates = "" }); err != nil {
		return err
	}
	if err := d.trailed(v, account.Entry{Deed: account.EndedDates}); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, Prefix+"/account")
}

// dates answers a calendar program, which can't sign in. Whatever is wrong with
// an address, the answer is the same.
func (d *Desk) dates(v *visit) error {
	id, name := v.Param("clinic"), v.Param("account")
	secret, isCalendar := strings.CutSuffix(v.Param("file"), ".ics")
	c := d.Clinics.Clinic(id)
	if c == nil || !isCalendar || account.CheckID(name) != nil {
		return v.NoContent(http.StatusNotFound)
	}
	wait, err := d.Store.TakeGuess(v.ctx(), c.Rules.Clinic, v.now,
		store.Guess{Kind: "dates", Name: name, Rate: datesEach},
		store.Guess{Kind: "dates-address", Name: v.RealIP(), Rate: datesAddress})
	switch {
	case err != nil:
		return v.NoContent(http.StatusServiceUnavailable)
	case wait > 0:
		v.Response().Header().Set("Retry-After", "120")
		return v.NoContent(http.StatusTooManyRequests)
	}
	a, err := d.Store.Account(v.ctx(), c.Rules.Clinic, name)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return v.NoContent(http.StatusServiceUnavailable)
	}
	if !a.OpensDates(secret) || a.Role.May(account.SeeClinical) != account.Allowed {
		return v.NoContent(http.StatusNotFound)
	}
	return d.calendar(v, c)
}

// calendar writes every due date of a clinic.
func (d *Desk) calendar(v *visit, c *clinic.Clinic) error {
	ids, err := d.Store.Enrolled(v.ctx(), c.Rules.Clinic)
	if err != nil {
		return v.NoContent(http.StatusServiceUnavailable)
	}
	var b bytes.Buffer
	cal := record.NewCalendar(&b, "Due dates, "+c.Rules.Name, v.now)
	for _, id := range ids {
		l, err := d.Store.Load(v.ctx(), c.Rules.Clinic, id)
		if err != nil {
			return v.NoContent(http.StatusServiceUnavailable)
		}
		if l.Found == store.NotFound || l.Household.Stranger {
			continue
		}
		for i := range l.Household.Dogs {
			if err := cal.Add(record.Input{Rules: c.Rules, Household: &l.Household, Dog: i, Now: v.now}); err != nil {
				return err
			}
		}
	}
	if err := cal.Close(); err != nil {
		return err
	}
	return v.Blob(http.StatusOK, "text/calendar; charset=utf-8", b.Bytes())
}
