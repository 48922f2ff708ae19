package desk

import (
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// The longest texts a form takes. What is longer is refused, never cut.
const (
	maxNote = 4000
	maxText = 1200 // eight joined text messages
	maxLine = 200
)

// deed is one action of somebody at the desk on one household.
type deed struct {
	id     contact.ID
	what   care.Practice
	entry  account.Entry // Deed, and what it was about
	say    string        // code of the notice afterwards
	toPage string        // where to go on; "" is where the form was
}

// act lets a deed happen once, keeps who did it, and goes on to a page. The
// key comes from the form, so that pressing twice, or sending again after a
// lost answer, does nothing twice.
func (d *Desk) act(v *visit, t deed) error {
	nonce := v.FormValue("nonce")
	if len(nonce) < 20 || len(nonce) > 100 {
		return refuse("This form is incomplete. Load the page again and repeat it.")
	}
	t.what.By = v.who.ID
	key, err := eventKey(v, nonce)
	if err != nil {
		return err
	}
	e := care.Event{Key: key, At: v.now, Practice: &t.what}
	res, err := d.Store.Do(v.ctx(), v.clinic.Rules, t.id, e)
	if errors.Is(err, store.ErrNotFound) {
		return errNotFound
	}
	if errors.Is(err, store.ErrDoNotText) {
		return refuse("This person asked that their contacts be erased. They may be texted again only after a new consent, by enrolling them anew.")
	}
	if err != nil {
		return err
	}
	say := t.say
	t.entry.Household = string(t.id)
	switch res.Reason {
	case care.Repeated:
		say = "already"
	case care.PracticeRefused:
		t.entry.Refused = res.Refusal
		if err := d.trailed(v, t.entry); err != nil {
			return err
		}
		return refuse(res.Refusal)
	default:
		d.rosters.forget(v.clinic.Rules.Clinic, t.id)
		if err := d.trailed(v, t.entry); err != nil {
			return err
		}
	}
	return v.Redirect(http.StatusSeeOther, withNotice(t.toPage, back(v), say))
}

// eventKey makes a form's deed happen once. All forms of one page share its
// nonce, so what the form holds and where it goes are part of the key: a page
// that was gone back to can still send another form.
func eventKey(v *visit, nonce string) (string, error) {
	form, err := v.FormParams()
	if err != nil {
		return "", refuse("The form could not be read. Load the page again and repeat it.")
	}
	fields := url.Values{}
	for name, values := range form {
		if name != "from" {
			fields[name] = values
		}
	}
	sum := sha256.Sum256([]byte(v.Request().URL.Path + "?" + fields.Encode()))
	return "desk/" + v.who.ID + "/" + nonce[:20] + "/" + base64.RawURLEncoding.EncodeToString(sum[:12]), nil
}

// withNotice is a page's address with the code of what has been done.
func withNotice(to, from, say string) string {
	if to == "" {
		to = from
	}
	path, query, _ := strings.Cut(to, "?")
	var keep []string
	for _, part := range strings.Split(query, "&") {
		if part != "" && !strings.HasPrefix(part, "say=") {
			keep = append(keep, part)
		}
	}
	return path + "?" + strings.Join(append(keep, "say="+say), "&")
}

// about reads the household that an address names.
func about(v *visit) (contact.ID, error) {
	id, err := contact.ParseID(v.Param("id"))
	if err != nil {
		return "", errNotFound
	}
	return id, nil
}

// aboutDog reads the household and the dog that an address names; the dog is
// its place in the household.
func aboutDog(v *visit) (contact.ID, int8, error) {
	id, err := about(v)
	if err != nil {
		return "", 0, err
	}
	n, err := strconv.ParseUint(v.Param("dog"), 10, 6)
	if err != nil {
		return "", 0, errNotFound
	}
	return id, int8(n), nil
}

// loadDog loads a household of the reader's clinic that has the dog named in
// the address.
func (d *Desk) loadDog(v *visit) (*care.Household, int8, error) {
	id, dog, err := aboutDog(v)
	if err != nil {
		return nil, 0, err
	}
	h, err := d.load(v, id)
	if err != nil {
		return nil, 0, err
	}
	if int(dog) >= len(h.Dogs) {
		return nil, 0, errNotFound
	}
	return h, dog, nil
}

func (d *Desk) load(v *visit, id contact.ID) (*care.Household, error) {
	l, err := d.Store.Load(v.ctx(), v.clinic.Rules.Clinic, id)
	if err != nil {
		return nil, err
	}
	if l.Found == store.NotFound || l.Household.ID != id {
		return nil, errNotFound
	}
	return &l.Household, nil
}

// text reads a field of running text, tidied of what no keyboard writes.
func text(v *visit, name string, longest int) (string, error) {
	s := v.FormValue(name)
	if !utf8.ValidString(s) {
		return "", refuse("The text holds something that isn't text.")
	}
	s = strings.Map(func(c rune) rune {
		if c == '\r' || (c < ' ' && c != '\n' && c != '\t') || c == 0x7f {
			return -1
		}
		return c
	}, s)
	s = strings.TrimSpace(s)
	if utf8.RuneCountInString(s) > longest {
		return "", refuse("That text is too long: at most " + strconv.Itoa(longest) + " characters fit.")
	}
	return s, nil
}

// needed is text that must not be empty.
func needed(v *visit, name string, longest int, missing string) (string, error) {
	s, err := text(v, name, longest)
	if err == nil && s == "" {
		return "", refuse(missing)
	}
	return s, err
}

// number reads a field that holds a choice or a small whole number, from 0.
func number(v *visit, name string, most int) (int, error) {
	s := strings.TrimSpace(v.FormValue(name))
	if s == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 0 || n > most {
		return 0, refuse("“" + shorten(s, 20) + "” is not a number from 0 to " + strconv.Itoa(most) + ".")
	}
	return n, nil
}

// date reads a date, as the instant at the clinic's noon: safe from clock
// changes. Zero where the field is empty.
func date(v *visit, name string) (time.Time, error) {
	s := strings.TrimSpace(v.FormValue(name))
	if s == "" {
		return time.Time{}, nil
	}
	t, err := time.ParseInLocation(time.DateOnly, s, v.rulesZone())
	if err != nil || t.Year() < 2000 || t.Year() > 2099 {
		return time.Time{}, refuse("“" + shorten(s, 20) + "” is not a date. Write it like 2026-03-31.")
	}
	return time.Date(t.Year(), t.Month(), t.Day(), 12, 0, 0, 0, v.rulesZone()), nil
}

// shorten cuts a text for a sentence.
func shorten(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "…"
}
