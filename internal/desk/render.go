package desk

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"gaitpost/internal/account"
)

//go:embed templates/*.html
var templateFiles embed.FS

//go:embed static/*
var staticFiles embed.FS

// page is what every page has.
type page struct {
	Title  string
	Prefix string
	Clinic string // the practice's name; "" before anybody is signed in
	Who    account.Account
	Path   string // this page, for forms to come back to
	Notice string // what has just been done
	Nonce  string // makes this page's forms happen once each
	Nav    []link
	// Live is what the page watches for news; "" if it doesn't.
	Live string
	// Refresh is after how many seconds a page loads itself again in a browser
	// without script, where the reader asked for that; 0: never.
	Refresh int
	zone    *time.Location
	now     time.Time
}

type link struct {
	Title, URL string
	Here       bool
}

// notices are the sentences that a page may open with, by their code in its
// address: an address never holds a sentence.
var notices = map[string]string{
	"acknowledged": "Acknowledged. It stays here until somebody closes it.",
	"closed":       "Closed.",
	"again":        "Noted that the owner couldn't be reached. It comes due again.",
	"called":       "Noted.",
	"noted":        "The note is kept.",
	"sent":         "Your message is on its way. Prompts wait while you talk; safety screening goes on.",
	"resumed":      "Prompts go on.",
	"erased":       "The contacts are erased. The record is kept to its date.",
	"consent":      "The consent is recorded.",
	"entered":      "The check-in is recorded.",
	"weighed":      "The weight is recorded.",
	"found":        "The findings are recorded.",
	"details":      "The details are changed.",
	"planned":      "The plan is changed.",
	"withdrawn":    "The entry is off the plan and kept as entered in error.",
	"accepted":     "Accepted. Nothing has begun by that alone.",
	"declined":     "Declined. It comes back when what it rests on changes.",
	"quieted":      "Alerts for this dog are quiet; emergencies and same-day signs still come.",
	"loud":         "Alerts for this dog are on again.",
	"quiet-sign":   "The sign is quieted until the date given.",
	"sign-heard":   "The sign is heard again.",
	"dog-set":      "The setting of this dog is changed.",
	"held":         "The dog is paused. The owner is told; messages are still screened.",
	"home":         "Kept.",
	"home-asked":   "The owner is asked at the next hour for it.",
	"days":         "The owner is asked each evening from now on.",
	"days-ended":   "No evening is asked about any more.",
	"goes-on":      "The pause is over. The next regular prompt goes out.",
	"texts-paused": "The texts are paused. Messages are still screened.",
	"corrected":    "Corrected. What was kept first stays in the record.",
	"farewell":     "The death is recorded and every prompt for this dog has ended.",
	"undone":       "The recorded death is undone and prompts go on.",
	"rung":         "Noted. It is off the list.",
	"password":     "Your password is changed. Everywhere else you have been signed out.",
	"must-change":  "This password was given to you by somebody else. Please choose your own.",
	"rule":         "The setting is changed.",
	"rolled-back":  "The settings are rolled back.",
	"already":      "That was done already; nothing has been done twice.",

	"address-added": "The address is added. The same conversation goes on wherever they write.",
	"address-asked": "Asked at the old address. The new one is added after a yes.",
	"invited":       "Invited. Nothing more is sent before they say yes.",
	"link-sent":     "The link is on its way. It is good once, for a week.",
}

// page fills in what every page has.
func (d *Desk) page(v *visit, title string) page {
	p := page{Title: title, Prefix: Prefix, Path: v.Request().URL.RequestURI(), zone: v.rulesZone(), now: v.now,
		Notice: notices[v.QueryParam("say")]}
	if v.Request().Method != http.MethodGet {
		p.Path = Prefix + "/today"
	}
	if v.clinic == nil {
		return p
	}
	p.Clinic, p.Who = v.clinic.Rules.Name, v.who
	if nonce, err := account.NewSecret(d.Random); err == nil {
		p.Nonce = nonce
	}
	for _, n := range []struct {
		title, url string
		needs      account.Action
	}{
		{"Today", "/today", account.Ring}, {"Dogs", "/dogs", account.SeeClinical},
		{"Outcomes", "/outcomes", account.SeeOutcomes}, {"Rules", "/rules", account.SeeRules},
		{"Trail", "/trail", account.SeeAudit},
	} {
		if v.who.Role.Can(n.needs) {
			p.Nav = append(p.Nav, link{n.title, Prefix + n.url, strings.HasPrefix(v.Request().URL.Path, Prefix+n.url)})
		}
	}
	return p
}

// Stamp is an instant in the clinic's zone.
func (p page) Stamp(unix int64) stamp {
	t := time.Unix(unix, 0).In(p.zone)
	s := stamp{ISO: t.Format(time.RFC3339), Text: t.Format("Mon 2 Jan 2006, 15:04"), zero: unix == 0}
	now := p.now.In(p.zone)
	switch {
	case t.Format(time.DateOnly) == now.Format(time.DateOnly):
		s.Text = "today, " + t.Format("15:04")
	case t.Format(time.DateOnly) == now.AddDate(0, 0, -1).Format(time.DateOnly):
		s.Text = "yesterday, " + t.Format("15:04")
	case t.Year() == now.Year():
		s.Text = t.Format("Mon 2 Jan, 15:04")
	}
	return s
}

// Day is the date of an instant in the clinic's zone.
func (p page) Day(unix int64) stamp {
	t := time.Unix(unix, 0).In(p.zone)
	return stamp{ISO: t.Format(time.DateOnly), Text: t.Format("2 Jan 2006"), zero: unix == 0}
}

// Ymd is a date as a form's field holds it.
func (p page) Ymd(unix int64) string { return time.Unix(unix, 0).In(p.zone).Format(time.DateOnly) }

// Today is the clinic's date as a form's field holds it.
func (p page) Today() string { return p.now.In(p.zone).Format(time.DateOnly) }

// Can says whether the reader may do something.
func (p page) Can(a string) bool { return p.Who.Role.Can(account.Action(a)) }

// stamp is an instant as a page shows it.
type stamp struct {
	ISO, Text string
	zero      bool
}

// Known reports whether there is one.
func (s stamp) Known() bool { return !s.zero }

var functions = template.FuncMap{
	"one":    one,
	"plural": plural,
	"either": either,
	"signed": signed,
	"join":   strings.Join,
	"title":  func(v any) string { return capital(fmt.Sprint(v)) },
	"on":     withPage,
}

// both is a page and one thing on it, for parts of pages.
type both struct {
	Page any
	It   any
}

func withPage(page, it any) both { return both{page, it} }

// capital gives a text a capital.
func capital(s string) string {
	for i, c := range s {
		return strings.ToUpper(string(c)) + s[i+len(string(c)):]
	}
	return s
}

// parsePages reads every page's template, each with the layout and the parts
// (files that begin with an underscore).
func parsePages() (map[string]*template.Template, error) {
	names, err := fs.Glob(templateFiles, "templates/*.html")
	if err != nil {
		return nil, err
	}
	pages := map[string]*template.Template{}
	for _, name := range names {
		base := strings.TrimSuffix(path.Base(name), ".html")
		if strings.HasPrefix(base, "_") {
			continue
		}
		t, err := template.New(base).Funcs(functions).Option("missingkey=error").
			ParseFS(templateFiles, "templates/_*.html", name)
		if err != nil {
			return nil, fmt.Errorf("reading the desk's pages: %w", err)
		}
		pages[base] = t
	}
	return pages, nil
}

// render writes a page. It is made in full before any of it is sent, so that
// nobody gets half of one.
func (d *Desk) render(v *visit, status int, name string, data any) error {
	var b bytes.Buffer
	if err := d.pages[name].ExecuteTemplate(&b, "layout", data); err != nil {
		d.Log.Error("a page could not be made", "page", name, "error", err)
		return v.HTML(http.StatusInternalServerError, brokenPage)
	}
	return v.HTMLBlob(status, b.Bytes())
}

// brokenPage is for when no page can be made at all.
const brokenPage = `<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Something went wrong</title></head>
<body><h1>Something went wrong here</h1><p>It has been noted in the server's log. Go back and try again.</p></body></html>`

// static serves the style and the script.
func (d *Desk) static(c echo.Context) error {
	name := path.Base(c.Param("file"))
	data, err := staticFiles.ReadFile("static/" + name)
	if err != nil {
		return c.NoContent(http.StatusNotFound)
	}
	kind := map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}[path.Ext(name)]
	c.Response().Header().Set("Cache-Control", "max-age=300")
	return c.Blob(http.StatusOK, kind, data)
}
