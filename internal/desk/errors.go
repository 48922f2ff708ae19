package desk

import (
	"errors"
	"net/http"

	"gaitpost/internal/account"
	"gaitpost/internal/store"
)

// refusal is something that was not done, with the sentence for the person. What
// they had typed is shown again, so that nothing is lost.
type refusal struct {
	status   int
	sentence string
}

func (r *refusal) Error() string { return r.sentence }

// refuse says why something was not done.
func refuse(sentence string) error { return &refusal{http.StatusUnprocessableEntity, sentence} }

var errNotFound = errors.New("there is no such page")

// settle turns what a handler returned into an answer. What a person reads
// never holds internals; those go to the log.
func (d *Desk) settle(v *visit, err error) error {
	var r *refusal
	switch {
	case err == nil:
		return nil
	case v.Response().Committed:
		d.Log.Error("a page broke off", "path", v.Path(), "error", err)
		return nil
	case errors.As(err, &r):
		return d.refused(v, r)
	case errors.Is(err, errNotFound), errors.Is(err, store.ErrNotFound):
		return d.notFound(v)
	case errors.Is(err, store.ErrUnavailable):
		d.Log.Error("the store did not answer", "path", v.Path(), "error", err)
		v.Response().Header().Set("Retry-After", "5")
		return d.problem(v, http.StatusServiceUnavailable, "The record can't be reached just now",
			"Nothing is lost. Wait a moment and load this page again; if it stays like this, tell whoever runs the server.")
	default:
		d.Log.Error("a page failed", "path", v.Path(), "error", err)
		return d.problem(v, http.StatusInternalServerError, "Something went wrong here",
			"It has been noted in the server's log. Go back and try again.")
	}
}

func (d *Desk) notFound(v *visit) error {
	return d.problem(v, http.StatusNotFound, "There is nothing here",
		"The address may be mistyped, or the record may have been removed.")
}

type problemPage struct {
	page
	Sentence string
	Back     string
	Typed    []typed
}

// typed is something a person had typed into a form that was refused.
type typed struct{ Name, Value string }

func (d *Desk) problem(v *visit, status int, title, sentence string) error {
	return d.render(v, status, "problem", &problemPage{page: d.page(v, title), Sentence: sentence})
}

// refused shows why nothing was done, with what was typed.
func (d *Desk) refused(v *visit, r *refusal) error {
	p := &problemPage{page: d.page(v, "This was not done"), Sentence: r.sentence, Back: back(v)}
	form, err := v.FormParams()
	if err == nil {
		for _, name := range []string{"note", "text", "what", "reason", "who", "batch"} {
			if value := form.Get(name); value != "" {
				p.Typed = append(p.Typed, typed{name, value})
			}
		}
	}
	return d.render(v, r.status, "problem", p)
}

// back is the page that a form was on, if it was one of the desk's.
func back(v *visit) string {
	if f := v.FormValue("from"); f != "" {
		return local(f)
	}
	return Prefix + "/today"
}

// trailed adds to the trail of who saw and changed what.
func (d *Desk) trailed(v *visit, e account.Entry) error {
	e.At, e.From = v.now.Unix(), v.RealIP()
	if v.clinic != nil {
		e.Clinic, e.Account, e.Name, e.Role = v.clinic.Rules.Clinic, v.who.ID, v.who.Name, v.who.Role
	}
	return d.Store.Audit(v.ctx(), e)
}
