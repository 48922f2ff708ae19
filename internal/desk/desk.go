package desk

import (
	"context"
	"crypto/rand"
	"errors"
	"html/template"
	"io"
	"log/slog"
	"net/http"
	"slices"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"gaitpost/internal/clinic"
	"gaitpost/internal/store"
)

// Prefix is where the desk lives on its server.
const Prefix = "/desk"

// Clinics knows every clinic whose desk this is. What it returns may change
// while the desk runs.
type Clinics interface {
	// Clinic returns a clinic by its id, nil where there is none.
	Clinic(id string) *clinic.Clinic
	// IDs lists the ids of all clinics, in the order they are offered.
	IDs() []string
}

// Options are what a desk is made of. Store, Clinics and Now are needed.
type Options struct {
	Store   *store.Store
	Clinics Clinics
	Now     func() time.Time
	// Log takes what went wrong inside; never names, numbers or words.
	Log *slog.Logger
	// Random is where tickets come from; nil is the system's.
	Random io.Reader
	// Insecure lets cookies go over plain HTTP: for a demo on this machine only.
	Insecure bool
	// Poll is how often pages that update by themselves look for news; 0 is
	// three seconds.
	Poll time.Duration
	// Drawings are the pictures; what is nil is shown as its table alone.
	Drawings Drawings
	// Papers are links to what can be printed about a dog, shown where set.
	Papers []Paper
	// Overlay makes a clinic's settings with changes on top, by setting path, and
	// says in sentences what is wrong with them. nil: settings can only be read.
	Overlay func(clinicID string, set map[string]string) (*clinic.Clinic, []string)
	// Media fetches what came with an owner's message from the provider of a
	// clinic's channel, by the provider's own reference. Errors that wrap
	// ErrMediaGone or ErrMediaTooLarge say so. nil: such files aren't shown.
	Media func(ctx context.Context, clinicID, channel, ref string) (contentType string, body io.ReadCloser, err error)
	// Changed is told of settings changed here, after they were kept.
	Changed func(clinicID string)
	// Burden says in a sentence how often stable dogs would alert under a
	// clinic's rules; nil: it isn't shown.
	Burden func(*clinic.Clinic) (string, error)
}

// Paper is something that can be printed about a dog. URL holds {household} and
// {dog} where their ids belong.
type Paper struct{ Title, URL string }

// Desk is the desk of every clinic of a deployment.
type Desk struct {
	Options
	pages    map[string]*template.Template
	guard    *http.CrossOriginProtection
	hashing  chan struct{} // bounds how many passwords are checked at a time
	fetching chan struct{} // bounds how many files are fetched at a time
	rosters  rosters
	watching watching
	counts   counts
	stopping chan struct{}
	stop     sync.Once
}

// hashers is how many passwords are checked at a time: each takes 19 MiB.
const hashers = 4

// New makes a desk, or says what is missing.
func New(o Options) (*Desk, error) {
	if o.Store == nil || o.Clinics == nil || o.Now == nil {
		return nil, errors.New("a desk needs a store, clinics and a clock")
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Random == nil {
		o.Random = rand.Reader
	}
	if o.Poll <= 0 {
		o.Poll = 3 * time.Second
	}
	pages, err := parsePages()
	if err != nil {
		return nil, err
	}
	d := &Desk{Options: o, pages: pages, guard: http.NewCrossOriginProtection(), hashing: make(chan struct{}, hashers),
		fetching: make(chan struct{}, fetchers), stopping: make(chan struct{})}
	d.rosters.desk, d.watching.desk, d.counts.desk = d, d, d
	return d, nil
}

// Register puts the desk under Prefix. Set the server's IPExtractor, or every
// client can choose the address that its guesses are counted by.
func (d *Desk) Register(e *echo.Echo) {
	g := e.Group(Prefix, d.headers, d.crossOrigin)
	g.GET("/static/paper.css", d.paperStyle)
	g.GET("/static/:file", d.static)
	for _, r := range openRoutes {
		g.Add(r.method, r.path, d.open(r))
	}
	for _, r := range routes {
		g.Add(r.method, r.path, d.signedIn(r))
	}
	missing := d.signedIn(route{handle: (*Desk).notFound})
	g.Any("", missing)
	g.Any("/*", missing)
}

// Stop ends the streams of pages that update by themselves, which would hold up
// a server that waits for its answers: call it when the server begins to shut
// down (http.Server.RegisterOnShutdown).
func (d *Desk) Stop() { d.stop.Do(func() { close(d.stopping) }) }

// offered lists the clinics for the sign-in page.
func (d *Desk) offered() []*clinic.Clinic {
	var list []*clinic.Clinic
	for _, id := range d.Clinics.IDs() {
		if c := d.Clinics.Clinic(id); c != nil && !slices.Contains(list, c) {
			list = append(list, c)
		}
	}
	return list
}
