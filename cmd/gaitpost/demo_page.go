package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"html/template"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/desk"
)

// demoPage serves the telephones of a demo. One request at a time works the
// world.
type demoPage struct {
	mu   sync.Mutex
	w    *demoWorld
	tmpl *template.Template
	desk *demoDesk
	// recorded counts what was recorded at the desk.
	recorded int
	seen     int // texts there were when the clock was last moved or something sent
}

const (
	demoShown  = 80 // texts of a conversation on the page
	demoLatest = 12
	demoBody   = 64 << 10
)

// serveDemo serves the page until the command is stopped.
func serveDemo(ctx context.Context, e env, w *demoWorld) error {
	p, err := newDemoPage(w)
	if err != nil {
		return err
	}
	at, err := listenDemo(w.o.addr)
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, "\nThe telephones are at http://%s - Ctrl-C ends the demo, and all of it is forgotten.\n", at.Addr())
	p.desk.introduce(e.stdout, at.Addr().String())
	server := &http.Server{Handler: p.handler(), ReadHeaderTimeout: 10 * time.Second,
		ErrorLog: slog.NewLogLogger(slog.DiscardHandler, slog.LevelError)}
	server.RegisterOnShutdown(p.desk.stop)
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(at) }()
	select {
	case err := <-failed:
		return fmt.Errorf("serving the page: %w", err)
	case <-ctx.Done():
	}
	stop, cancel := context.WithTimeout(context.Background(), 3*time.Second)
	defer cancel()
	_ = server.Shutdown(stop)
	fmt.Fprintln(e.stdout, "The demo has ended; nothing was kept.")
	return nil
}

// listenDemo opens the place asked for; without a wish the usual one, or any free
// port where that is taken.
func listenDemo(addr string) (net.Listener, error) {
	wished := addr
	if addr == "" {
		addr = demoAddr
	}
	at, err := net.Listen("tcp", addr)
	if err != nil && wished == "" {
		at, err = net.Listen("tcp", "127.0.0.1:0")
	}
	if err != nil {
		return nil, fmt.Errorf("the page can't be served at %s: %w", addr, err)
	}
	return at, nil
}

func newDemoPage(w *demoWorld) (*demoPage, error) {
	t, err := template.ParseFS(demoFiles, "demo/page.html")
	if err != nil {
		return nil, fmt.Errorf("reading the page: %w", err)
	}
	d, err := w.openDesk()
	if err != nil {
		return nil, fmt.Errorf("opening the practice's desk: %w", err)
	}
	return &demoPage{w: w, tmpl: t, desk: d, seen: w.written}, nil
}

func (p *demoPage) handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", p.show)
	mux.HandleFunc("POST /write", p.change(p.write))
	mux.HandleFunc("POST /tap", p.change(p.tap))
	mux.HandleFunc("POST /channel", p.change(p.channel))
	mux.HandleFunc("POST /clock", p.change(p.move))
	mux.HandleFunc("POST /plan", p.change(p.plan))
	for name, kind := range map[string]string{"demo.css": "text/css; charset=utf-8", "demo.js": "text/javascript; charset=utf-8"} {
		mux.HandleFunc("GET /"+name, func(w http.ResponseWriter, _ *http.Request) {
			data, err := demoFiles.ReadFile("demo/" + name)
			if err != nil {
				http.Error(w, "This file is missing.", http.StatusNotFound)
				return
			}
			w.Header().Set("Content-Type", kind)
			_, _ = w.Write(data)
		})
	}
	all := http.NewServeMux()
	all.Handle("/", secured(http.NewCrossOriginProtection().Handler(mux)))
	atDesk := p.desk.serve(&p.mu) // which protects itself
	all.Handle(desk.Prefix, atDesk)
	all.Handle(desk.Prefix+"/", atDesk)
	return all
}

// secured sets what a page of untrusted words needs.
func secured(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; script-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.Header().Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

// change lets a form change the world, and shows the page anew.
func (p *demoPage) change(do func(url.Values) (string, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, demoBody)
		if err := r.ParseForm(); err != nil {
			http.Error(w, "This form can't be read.", http.StatusBadRequest)
			return
		}
		p.mu.Lock()
		defer p.mu.Unlock()
		p.seen = p.w.written
		said, err := do(r.PostForm)
		if err == nil {
			err, p.w.trouble = p.w.trouble, nil
		}
		if err != nil {
			if p.w.ctx.Err() != nil {
				http.Error(w, "The demo is ending.", http.StatusServiceUnavailable)
				return
			}
			said = "That did not work: " + err.Error()
		}
		back := url.Values{"owner": {r.PostForm.Get("owner")}, "staff": {r.PostForm.Get("staff")}}
		if said != "" {
			back.Set("said", said)
		}
		http.Redirect(w, r, "/?"+back.Encode(), http.StatusSeeOther)
	}
}

// write lets a visitor write from a telephone, which is theirs from then on.
func (p *demoPage) write(form url.Values) (string, error) {
	phone := p.w.phones[form.Get("from")]
	text := strings.TrimSpace(form.Get("text"))
	switch {
	case phone == nil:
		return "There is no such telephone.", nil
	case text == "":
		return "There was nothing to send.", nil
	}
	phone.taken()
	if err := phone.write(text); err != nil {
		return "", err
	}
	return "", p.w.settle()
}

// move moves the clock on.
func (p *demoPage) move(form url.Values) (string, error) {
	w := p.w
	from := w.now()
	move := w.runToText
	switch form.Get("by") {
	case "hour":
		move = func() error { return w.runUntil(from.Add(time.Hour)) }
	case "day":
		move = func() error { return w.runUntil(from.AddDate(0, 0, 1)) }
	case "next":
	default:
		return "The clock can be moved by an hour, by a day, or to the next text.", nil
	}
	return "", p.desk.keepSignedIn(move)
}

// runToText moves the clock to the next text that anybody writes or gets.
func (w *demoWorld) runToText() error {
	before, end := w.written, w.now().AddDate(0, 0, 60)
	for w.written == before {
		at := w.next()
		if at.IsZero() || at.After(end) {
			return errors.New("nothing more happens for a long time")
		}
		if err := w.step(at); err != nil {
			return err
		}
	}
	return nil
}

// plan records what the vet decided about a held medicine.
func (p *demoPage) plan(form url.Values) (string, error) {
	phone := p.w.phones[form.Get("owner")]
	action := care.PlanAction(form.Get("action"))
	if phone == nil || phone.owner == nil || action != care.PlanStop && action != care.PlanRestart {
		return "There is nothing like that to record.", nil
	}
	err := p.w.planChange(phone, fmt.Sprintf("page-%d", p.step()), care.PlanChange{
		Dog: form.Get("dog"), What: form.Get("what"), Action: action, Reason: "decided on the demo's page",
	})
	if err != nil {
		return "", err
	}
	return "Recorded.", p.w.settle()
}

// show renders the page to a buffer first, so that nobody sees half of one.
func (p *demoPage) show(w http.ResponseWriter, r *http.Request) {
	p.mu.Lock()
	defer p.mu.Unlock()
	var page bytes.Buffer
	if err := p.tmpl.Execute(&page, p.view(r.URL.Query())); err != nil {
		http.Error(w, "The page can't be shown.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = io.Copy(w, &page)
}

// demoHeld is a medicine that waits for the vet.
type demoHeld struct{ Dog, What string }

// held lists the medicines of a household that are held.
func (p *demoPage) held(phone *demoPhone) []demoHeld {
	h, err := p.w.householdOf(phone)
	if err != nil || h == nil {
		return nil
	}
	var held []demoHeld
	for _, d := range h.Dogs {
		for _, e := range d.Plan {
			if e.Status == care.Held && d.Status == care.Followed {
				held = append(held, demoHeld{d.Name, e.What})
			}
		}
	}
	return held
}

// latest are the texts since the clock was last moved, the newest first.
func (p *demoPage) latest() []demoRecent {
	var all []demoRecent
	for _, phone := range p.w.phones {
		for _, t := range phone.texts {
			all = append(all, demoRecent{phone: phone, demoText: t})
		}
	}
	slices.SortStableFunc(all, func(a, b demoRecent) int { return b.order - a.order })
	n := min(p.w.written-p.seen, demoLatest, len(all))
	return all[:max(n, 0)]
}
