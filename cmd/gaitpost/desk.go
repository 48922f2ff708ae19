package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"gaitpost/bot"
	"gaitpost/internal/clinic"
	"gaitpost/internal/desk"
	"gaitpost/internal/store"
	"gaitpost/internal/synth"
)

// clinicList looks clinics up.
type clinicList []*clinic.Clinic

// Clinic returns the clinic with an id, nil where there is none.
func (l clinicList) Clinic(id string) *clinic.Clinic {
	for _, c := range l {
		if c.Rules.Clinic == id {
			return c
		}
	}
	return nil
}

// IDs lists the clinics' ids in the order of their files.
func (l clinicList) IDs() []string {
	ids := make([]string, len(l))
	for i, c := range l {
		ids[i] = c.Rules.Clinic
	}
	return ids
}

// deskOptions are what the practitioner's pages are served with.
type deskOptions struct {
	Store   *store.Store
	Clinics desk.Clinics
	// Overlay lays changes over the settings; nil: they can only be read here.
	Overlay overlaid
	// Channels fetch what came with owners' messages; nil: it isn't shown.
	Channels *bot.Directory
	// Changed is told of settings that were changed here.
	Changed func()
	Now     func() time.Time
	Log     *slog.Logger
	// Proxies are the networks of reverse proxies whose word about a client's
	// address is taken; none: the address of the connection counts.
	Proxies []*net.IPNet
	// Insecure lets cookies go over plain HTTP: for this machine alone.
	Insecure bool
}

// newDesk puts the pages together. Stop it when the server begins to shut down.
func newDesk(o deskOptions) (http.Handler, *desk.Desk, error) {
	d, err := desk.New(desk.Options{
		Store: o.Store, Clinics: o.Clinics, Overlay: o.Overlay, Changed: func(string) { o.Changed() }, Now: o.Now, Log: o.Log, Insecure: o.Insecure,
		Drawings: drawings(), Papers: desk.StandardPapers(), Burden: burden, Media: mediaOf(o.Channels),
	})
	if err != nil {
		return nil, nil, err
	}
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.IPExtractor = echo.ExtractIPDirect()
	if len(o.Proxies) > 0 {
		trust := []echo.TrustOption{echo.TrustLoopback(false), echo.TrustLinkLocal(false), echo.TrustPrivateNet(false)}
		for _, p := range o.Proxies {
			trust = append(trust, echo.TrustIPRange(p))
		}
		e.IPExtractor = echo.ExtractIPFromXFFHeader(trust...)
	}
	d.Register(e)
	return e, d, nil
}

// mediaOf lets the desk fetch what came with messages, by the channels they came
// by.
func mediaOf(channels *bot.Directory) func(ctx context.Context, clinicID, channel, ref string) (string, io.ReadCloser, error) {
	if channels == nil {
		return nil
	}
	return func(ctx context.Context, clinicID, channel, ref string) (string, io.ReadCloser, error) {
		kind, body, err := channels.FetchMedia(ctx, clinicID, channel, ref)
		if err != nil {
			return "", nil, forDesk(err)
		}
		return kind, media{body}, nil
	}
}

// media is a file whose errors are the desk's.
type media struct{ io.ReadCloser }

func (m media) Read(p []byte) (int, error) {
	n, err := m.ReadCloser.Read(p)
	return n, forDesk(err)
}

func forDesk(err error) error {
	switch {
	case errors.Is(err, bot.ErrMediaGone):
		return desk.ErrMediaGone
	case errors.Is(err, bot.ErrMediaTooLarge):
		return desk.ErrMediaTooLarge
	}
	return err
}

// burden says how often stable dogs would alert under a clinic's rules, on few
// enough dogs that a page can wait for it.
func burden(c *clinic.Clinic) (string, error) {
	r, err := synth.Trial(synth.TrialOptions{Rules: c.Rules, Dogs: 600, Weeks: 52, Seed: 1})
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("In a simulation %.1f %% of a stable dog's check-ins would open an alert, and a lasting rise of 20 points "+
		"would be caught within two answered check-ins in %.0f %% of dogs.", 100*r.StableFlaggedShare, 100*r.Steps[2].CaughtWithin2), nil
}
