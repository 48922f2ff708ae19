package desk

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"gaitpost/internal/account"
	"gaitpost/internal/clinic"
	"gaitpost/internal/store"
)

// policy lets a page use this server's own style, script, pictures and stream,
// and nothing else from anywhere.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; " +
	"connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// headers protects every answer of the desk, also the failed ones.
func (d *Desk) headers(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		h := c.Response().Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
		h.Set("Cache-Control", "no-store")
		if !d.Insecure {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		return next(c)
	}
}

// crossOrigin refuses what another site's page sends in somebody's name.
func (d *Desk) crossOrigin(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if err := d.guard.Check(c.Request()); err != nil {
			return d.problem(&visit{Context: c, now: d.Now()}, http.StatusForbidden,
				"This came from another site", "Nothing was changed. Open the desk itself and try again there.")
		}
		return next(c)
	}
}

// visit is one request: who, at which clinic, and when.
type visit struct {
	echo.Context
	now    time.Time
	who    account.Account
	ticket account.Ticket
	clinic *clinic.Clinic // nil before anybody is signed in
}

func (v *visit) ctx() context.Context { return v.Request().Context() }

func (v *visit) rulesZone() *time.Location {
	if v.clinic == nil {
		return time.UTC
	}
	return v.clinic.Rules.Zone
}

// open answers a route that needs nobody to be signed in.
func (d *Desk) open(r route) echo.HandlerFunc {
	return func(c echo.Context) error {
		v := &visit{Context: c, now: d.Now()}
		return d.settle(v, r.handle(d, v))
	}
}

// signedIn answers a route for whoever is signed in and may use it.
func (d *Desk) signedIn(r route) echo.HandlerFunc {
	return func(c echo.Context) error {
		v := &visit{Context: c, now: d.Now()}
		switch why, err := d.identify(v); {
		case err != nil:
			return d.settle(v, err)
		case why != account.Good:
			return d.askToSignIn(v, why)
		}
		if v.who.MustChange && !changesPassword(r) {
			return c.Redirect(http.StatusSeeOther, Prefix+"/account?say=must-change")
		}
		if r.needs != "" {
			if p := v.who.Role.May(r.needs); p != account.Allowed {
				return d.problem(v, http.StatusForbidden, "Not for your role", p.Sentence())
			}
		}
		return d.settle(v, r.handle(d, v))
	}
}

// changesPassword reports what may still be done by somebody who has to change
// their password first.
func changesPassword(r route) bool {
	return strings.HasPrefix(r.path, "/account") || strings.HasPrefix(r.path, "/sign-out")
}

// cookieName is bound to this host over HTTPS by its prefix.
func (d *Desk) cookieName() string {
	if d.Insecure {
		return "desk"
	}
	return "__Host-desk"
}

// identify finds out who is asking.
func (d *Desk) identify(v *visit) (account.Standing, error) {
	cookie, err := v.Cookie(d.cookieName())
	if err != nil {
		return account.Gone, nil
	}
	ticket, err := account.ParseTicket(cookie.Value)
	if err != nil {
		return account.Gone, nil
	}
	c := d.Clinics.Clinic(ticket.Clinic)
	if c == nil {
		return account.Gone, nil
	}
	s, a, err := d.Store.Session(v.ctx(), ticket)
	if errors.Is(err, store.ErrNotFound) {
		return account.Idle, nil
	}
	if err != nil {
		return account.Gone, err
	}
	standing := account.StandingOf(s, a, v.now)
	if standing != account.Good {
		return standing, d.Store.EndSession(v.ctx(), ticket)
	}
	v.who, v.ticket, v.clinic = *a, ticket, c
	// A stream that stays open is no sign of somebody at the desk.
	if v.Path() != Prefix+"/live" && v.now.Unix()-s.Seen >= int64(account.SeenEvery.Seconds()) {
		s.Seen = v.now.Unix()
		return standing, d.Store.SaveSession(v.ctx(), ticket, s)
	}
	return standing, nil
}

// askToSignIn sends a reader to the sign-in page, and back here afterwards. A
// form that was sent meanwhile can't be repeated by itself.
func (d *Desk) askToSignIn(v *visit, why account.Standing) error {
	if v.Path() == Prefix+"/live" {
		return v.NoContent(http.StatusNoContent) // ends the stream for good
	}
	q := url.Values{}
	if _, err := v.Cookie(d.cookieName()); err == nil {
		q.Set("why", string(why))
		d.clearCookie(v)
	}
	if v.Request().Method == http.MethodGet {
		if at := v.Request().URL.RequestURI(); at != Prefix && at != Prefix+"/" {
			q.Set("next", at)
		}
	} else {
		q.Set("lost", "1")
	}
	to := Prefix + "/sign-in"
	if len(q) > 0 {
		to += "?" + q.Encode()
	}
	return v.Redirect(http.StatusSeeOther, to)
}

// local is an address of this desk to go on to, or its first page: never
// another site's.
func local(next string) string {
	u, err := url.Parse(next)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil ||
		(u.Path != Prefix && !strings.HasPrefix(u.Path, Prefix+"/")) || strings.Contains(u.Path, "//") ||
		strings.ContainsAny(next, "\\\r\n") || strings.Contains(u.Path, "..") {
		return Prefix + "/"
	}
	return u.RequestURI()
}

func (d *Desk) setCookie(v *visit, value string, age int) {
	v.SetCookie(&http.Cookie{
		Name: d.cookieName(), Value: value, Path: "/", MaxAge: age,
		Secure: !d.Insecure, HttpOnly: true, SameSite: http.SameSiteLaxMode,
	})
}

func (d *Desk) clearCookie(v *visit) { d.setCookie(v, "", -1) }
