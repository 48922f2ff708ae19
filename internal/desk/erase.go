package desk

import (
	"errors"
	"net/http"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

// erasePage asks once more before an owner's contacts are erased for good.
type erasePage struct {
	page
	ID       string
	Owners   []string
	Contacts int
	Dogs     int
	Until    string
	Erased   string // the day on which they were; "" for not yet
	Why      string
}

func (d *Desk) erasePage(v *visit) error {
	id, err := about(v)
	if err != nil {
		return err
	}
	h, err := d.load(v, id)
	if err != nil {
		return err
	}
	p := &erasePage{page: d.page(v, "Erase an owner’s contacts"), ID: string(h.ID), Owners: h.Names(), Contacts: len(h.Contacts), Dogs: len(h.Dogs),
		Until: v.clinic.Rules.KeptUntil(v.now).In(v.rulesZone()).Format("2 January 2006")}
	if e := h.Erased; e != nil {
		p.Erased, p.Until, p.Why = p.Day(e.At).Text, p.Day(e.Until).Text, e.Why
	}
	return d.render(v, http.StatusOK, "erase", p)
}

// erase takes an owner's contacts away; it can't be undone.
func (d *Desk) erase(v *visit) error {
	id, err := about(v)
	if err != nil {
		return err
	}
	if _, err := d.load(v, id); err != nil {
		return err
	}
	why, err := needed(v, "why", maxLine, "Please say why the contacts are erased; the owner may read it.")
	if err != nil {
		return err
	}
	if v.FormValue("sure") != "yes" {
		return refuse("Tick the box to erase the contacts: it can’t be undone.")
	}
	nonce := v.FormValue("nonce")
	if len(nonce) < 20 || len(nonce) > 100 {
		return refuse("This form is incomplete. Load the page again and repeat it.")
	}
	key, err := eventKey(v, nonce)
	if err != nil {
		return err
	}
	res, err := d.Store.Erase(v.ctx(), v.clinic.Rules, id, care.Event{Key: key, At: v.now,
		Practice: &care.Practice{By: v.who.ID, Erase: &care.Erasure{Why: why}}})
	entry := account.Entry{Deed: account.Erased, Household: string(id), Detail: why}
	switch {
	case errors.Is(err, store.ErrNotFound):
		return errNotFound
	case err != nil:
		return err
	case res.Reason == care.PracticeRefused:
		entry.Refused = res.Refusal
		return errors.Join(d.trailed(v, entry), refuse(res.Refusal))
	}
	d.rosters.forget(v.clinic.Rules.Clinic, id)
	if err := d.trailed(v, entry); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, withNotice(Prefix+"/h/"+string(id)+"/erase", "", "erased"))
}
