package desk

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"

	"gaitpost/internal/account"
	"gaitpost/internal/clinic"
	"gaitpost/internal/store"
)

// How often somebody may try to sign in: at once, and then by and by. One person
// at one place gets few tries; a name as a whole and a place as a whole get
// more, so that a stranger can't easily keep somebody out, nor try many names.
var (
	guessHere    = store.Rate{PerSecond: 1. / 60, Burst: 5}
	guessAccount = store.Rate{PerSecond: 1. / 20, Burst: 40}
	guessAddress = store.Rate{PerSecond: 1. / 10, Burst: 30}
)

type signInPage struct {
	page
	Clinics []*clinic.Clinic
	Chosen  string // clinic id
	ID      string
	Next    string
	Wrong   string
}

func (d *Desk) signInForm(v *visit) *signInPage {
	p := &signInPage{page: d.page(v, "Sign in"), Clinics: d.offered(), Next: local(v.FormValue("next")),
		ID: v.FormValue("account"), Chosen: v.FormValue("clinic")}
	if len(p.Clinics) == 1 {
		p.Chosen = p.Clinics[0].Rules.Clinic
	}
	return p
}

func (d *Desk) signInPage(v *visit) error {
	if why, err := d.identify(v); err != nil {
		return err
	} else if why == account.Good {
		return v.Redirect(http.StatusSeeOther, local(v.QueryParam("next")))
	}
	v.clinic = nil
	p := d.signInForm(v)
	p.Notice = account.Standing(v.QueryParam("why")).Sentence()
	if v.QueryParam("lost") != "" {
		p.Notice = "You were signed out, so what you sent was not done. Sign in, go back and send it again."
	}
	return d.render(v, http.StatusOK, "signin", p)
}

const wrongSignIn = "That sign-in name and password don't belong together. Please check both."

// signIn checks a password. The answer, and the time it takes, are the same
// whether the name or the password is wrong.
func (d *Desk) signIn(v *visit) error {
	p := d.signInForm(v)
	id, c := account.TidyID(p.ID), d.Clinics.Clinic(p.Chosen)
	if c == nil || account.CheckID(id) != nil {
		p.Wrong = wrongSignIn
		return d.render(v, http.StatusUnauthorized, "signin", p)
	}
	wait, err := d.Store.TakeGuess(v.ctx(), c.Rules.Clinic, v.now,
		store.Guess{Kind: "here", Name: id + "/" + v.RealIP(), Rate: guessHere},
		store.Guess{Kind: "account", Name: id, Rate: guessAccount},
		store.Guess{Kind: "address", Name: v.RealIP(), Rate: guessAddress})
	if err != nil {
		return err
	}
	if wait > 0 {
		minutes := int(math.Ceil(wait.Minutes()))
		v.Response().Header().Set("Retry-After", fmt.Sprint(int(math.Ceil(wait.Seconds()))))
		p.Wrong = fmt.Sprintf("Too many attempts. Please wait %s and try again.", plural(minutes, "minute"))
		return d.render(v, http.StatusTooManyRequests, "signin", p)
	}
	a, err := d.prove(v, c, id, v.FormValue("password"))
	if err != nil {
		return err
	}
	if a == nil {
		entry := account.Entry{Clinic: c.Rules.Clinic, Account: id, Deed: account.SignInFailed}
		if err := d.trailed(v, entry); err != nil {
			return err
		}
		p.Wrong = wrongSignIn
		return d.render(v, http.StatusUnauthorized, "signin", p)
	}
	return d.welcome(v, c, *a, p.Next)
}

// prove returns the account if the password is its own, nil if not.
func (d *Desk) prove(v *visit, c *clinic.Clinic, id, password string) (*account.Account, error) {
	a, err := d.Store.Account(v.ctx(), c.Rules.Clinic, id)
	hash := a.Hash
	if errors.Is(err, store.ErrNotFound) {
		hash = account.Nobody
	} else if err != nil {
		return nil, err
	}
	if len(password) > 4*account.MaxPassword {
		password = ""
	}
	select {
	case d.hashing <- struct{}{}:
		defer func() { <-d.hashing }()
	case <-v.ctx().Done():
		return nil, v.ctx().Err()
	}
	match, verr := account.Verify(hash, password)
	if verr != nil {
		d.Log.Error("a stored password can't be read", "error", verr)
	}
	if err != nil || verr != nil || match != account.Right {
		return nil, nil
	}
	return &a, nil
}

// welcome begins a session.
func (d *Desk) welcome(v *visit, c *clinic.Clinic, a account.Account, next string) error {
	if err := d.begin(v, c, a); err != nil {
		return err
	}
	if err := d.trailed(v, account.Entry{Deed: account.SignedIn}); err != nil {
		return err
	}
	if err := d.Store.ForgetGuesses(v.ctx(), a.Clinic, "here", a.ID+"/"+v.RealIP()); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, next)
}

// begin gives the browser a ticket of a new session.
func (d *Desk) begin(v *visit, c *clinic.Clinic, a account.Account) error {
	ticket, err := account.NewTicket(a, d.Random)
	if err != nil {
		return err
	}
	s := account.Session{Account: a.ID, Clinic: a.Clinic, Generation: a.Generation, Began: v.now.Unix(), Seen: v.now.Unix()}
	if err := d.Store.SaveSession(v.ctx(), ticket, s); err != nil {
		return err
	}
	v.who, v.ticket, v.clinic = a, ticket, c
	d.setCookie(v, ticket.String(), int(account.SessionLife.Seconds()))
	return nil
}

func (d *Desk) home(v *visit) error { return v.Redirect(http.StatusSeeOther, Prefix+"/today") }

func (d *Desk) signOut(v *visit) error {
	if err := d.Store.EndSession(v.ctx(), v.ticket); err != nil {
		return err
	}
	d.clearCookie(v)
	if err := d.trailed(v, account.Entry{Deed: account.LeftDesk}); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, Prefix+"/sign-in")
}

func (d *Desk) signOutEverywhere(v *visit) error {
	_, err := d.Store.ChangeAccount(v.ctx(), v.who.Clinic, v.who.ID, func(a *account.Account) { a.Generation++ })
	if err != nil {
		return err
	}
	d.clearCookie(v)
	if err := d.trailed(v, account.Entry{Deed: account.LeftAll}); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, Prefix+"/sign-in?why="+string(account.SignedOut))
}

type accountPage struct {
	page
	Wrong string
	May   []account.Action
	// Address is a calendar's, shown once.
	Address    string
	HasDates   bool
	MayHaveOne bool
}

var allActions = []account.Action{account.SeeClinical, account.Ring, account.WorkAlert, account.WriteOwner,
	account.EnterCheckIn, account.EnterFindings, account.ChangePlan, account.Prescribe, account.QuietAlerts,
	account.Farewell, account.SeeRules, account.ChangeRules, account.SeeOutcomes, account.SeeAudit}

func (d *Desk) accountForm(v *visit) *accountPage {
	p := &accountPage{page: d.page(v, "Your account")}
	p.HasDates, p.MayHaveOne = v.who.Dates != "", v.who.Role.Can(account.SeeClinical)
	p.May = slices.DeleteFunc(slices.Clone(allActions), func(a account.Action) bool { return !v.who.Role.Can(a) })
	return p
}

func (d *Desk) accountPage(v *visit) error {
	return d.render(v, http.StatusOK, "account", d.accountForm(v))
}

// changePassword ends every other session of the account.
func (d *Desk) changePassword(v *visit) error {
	wrong := func(sentence string) error {
		p := d.accountForm(v)
		p.Wrong = sentence
		return d.render(v, http.StatusUnprocessableEntity, "account", p)
	}
	wait, err := d.Store.TakeGuess(v.ctx(), v.who.Clinic, v.now,
		store.Guess{Kind: "change", Name: v.who.ID, Rate: guessHere})
	if err != nil {
		return err
	}
	if wait > 0 {
		return wrong("Too many attempts. Please wait a few minutes and try again.")
	}
	proved, err := d.prove(v, v.clinic, v.who.ID, v.FormValue("old"))
	if err != nil {
		return err
	}
	next := v.FormValue("new")
	switch {
	case proved == nil:
		return wrong("Your present password is not right.")
	case next != v.FormValue("again"):
		return wrong("The new password was not typed the same way twice.")
	case next == v.FormValue("old"):
		return wrong("That is the password you have now. Please choose another.")
	}
	if err := account.CheckPassword(next, v.who); err != nil {
		return wrong(capital(err.Error()) + ".")
	}
	hash, err := account.HashPassword(next, d.Random)
	if err != nil {
		return err
	}
	a, err := d.Store.ChangeAccount(v.ctx(), v.who.Clinic, v.who.ID, func(a *account.Account) {
		a.Hash, a.MustChange = hash, false
		a.Generation++
	})
	if err != nil {
		return err
	}
	if err := d.begin(v, v.clinic, a); err != nil {
		return err
	}
	if err := d.trailed(v, account.Entry{Deed: account.NewPassword}); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, Prefix+"/account?say=password")
}

// either chooses a word by a number: one or many.
func either(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// plural is a number and what is counted.
func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %s", n, strings.TrimSuffix(what, "s")+"s")
}
