package desk

import (
	"context"
	"crypto/rand"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"testing/fstest"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"

	"gaitpost/dialog"
	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
	"gaitpost/internal/store/redistest"
	"gaitpost/internal/store/storetest"
)

// Invented practices and people; numbers reserved for fiction.
const settingsOf = `
id: %[1]s
name: %[2]s
zone: Europe/London
region: GB
phone: 01632 960100
emergency: 01632 960999
person_number: 999
public_url: https://gaitpost.%[1]s.example
hours: {mon-fri: "08:30-18:30"}
practitioners:
  - {id: lee, name: Dr Lee, contacts: "sms: +44 7700 90010%[3]d"}
last_resort: "sms: +44 7700 90011%[3]d"
channels:
  - {name: text, kind: sms, account: AC0000000000000000000000000000000%[3]d, number: +44 7700 90015%[3]d, auth_token_env: TOKEN}
`

const password = "slow kettle amber fence"

var tuesday = time.Date(2026, 3, 3, 10, 0, 0, 0, time.UTC)

// bench is a desk of two clinics on a real server, with its own clock.
type bench struct {
	t       testing.TB
	store   *store.Store
	desk    *Desk
	server  *httptest.Server
	clinics map[string]*clinic.Clinic
	clock   atomic.Int64
	logged  *strings.Builder
}

func (b *bench) Clinic(id string) *clinic.Clinic { return b.clinics[id] }
func (b *bench) IDs() []string                   { return []string{"hillside", "valley"} }
func (b *bench) now() time.Time                  { return time.Unix(b.clock.Load(), 0).UTC() }
func (b *bench) pass(d time.Duration)            { b.clock.Add(int64(d.Seconds())) }

func source(t testing.TB) clinic.Source {
	lib, err := dialog.Builtin()
	require.NoError(t, err)
	return clinic.Source{Scripts: lib, Getenv: func(string) string { return "invented" }, Files: fstest.MapFS{
		"hillside.yaml": {Data: []byte(fmt.Sprintf(settingsOf, "hillside", "Hillside Vets", 1))},
		"valley.yaml":   {Data: []byte(fmt.Sprintf(settingsOf, "valley", "Valley Vets", 2))},
	}}
}

func newBench(t testing.TB, change func(*Options)) *bench {
	t.Helper()
	s, _ := storetest.Open(t)
	return benchOn(t, s, change)
}

func benchOn(t testing.TB, s *store.Store, change func(*Options)) *bench {
	t.Helper()
	b := &bench{t: t, store: s, clinics: map[string]*clinic.Clinic{}, logged: &strings.Builder{}}
	b.clock.Store(tuesday.Unix())
	list, problems := clinic.LoadFrom(source(t))
	require.False(t, clinic.AnyWrong(problems), problems)
	for _, c := range list {
		b.clinics[c.Rules.Clinic] = c
	}
	o := Options{Store: s, Clinics: b, Now: b.now, Insecure: true, Poll: 20 * time.Millisecond,
		Log: slog.New(slog.NewTextHandler(b.logged, nil))}
	if change != nil {
		change(&o)
	}
	d, err := New(o)
	require.NoError(t, err)
	b.desk = d
	e := echo.New()
	e.IPExtractor = echo.ExtractIPDirect()
	d.Register(e)
	b.server = httptest.NewServer(e)
	t.Cleanup(func() { d.Stop(); b.server.CloseClientConnections(); b.server.Close() })
	for i, r := range account.Roles {
		for _, c := range b.IDs() {
			b.account(c, string(r)+".one", r, i)
		}
	}
	return b
}

// hashed is one hash for every account of the tests: hashing is meant to be slow.
var hashed, _ = account.HashPassword(password, rand.Reader)

func (b *bench) account(clinicID, id string, r account.Role, _ int) {
	a := account.Account{ID: id, Clinic: clinicID, Name: "Sam " + capital(string(r)), Role: r, Hash: hashed, Created: b.clock.Load()}
	require.NoError(b.t, b.store.AddAccount(context.Background(), a))
}

// enrol adds a household and returns its id.
func (b *bench) enrol(clinicID string, n int, owner string, dogs ...care.EnrolledDog) contact.ID {
	b.t.Helper()
	a := contact.Address{Channel: contact.SMS, Value: fmt.Sprintf("+4477009%05d", n)}
	id := b.store.ID(clinicID, a)
	_, err := b.store.Do(context.Background(), b.clinics[clinicID].Rules, id, care.Event{Key: fmt.Sprint("enrol", n), At: b.now(),
		Practice: &care.Practice{By: "lee", Enrol: &care.Enrolment{Owner: care.Owner{Name: owner, Address: a, ID: id, Via: "text"}, Dogs: dogs}}})
	require.NoError(b.t, err)
	b.do(clinicID, id, care.Practice{Consent: &care.RecordConsent{State: care.Agreed, How: "at the practice"}})
	return id
}

var events atomic.Int64

func (b *bench) do(clinicID string, id contact.ID, p care.Practice) {
	b.t.Helper()
	p.By = "lee"
	res, err := b.store.Do(context.Background(), b.clinics[clinicID].Rules, id,
		care.Event{Key: fmt.Sprint("event", events.Add(1)), At: b.now(), Practice: &p})
	require.NoError(b.t, err)
	require.Equal(b.t, care.PracticeDone, res.Reason, res.Refusal)
}

// says lets the owner of a household write.
func (b *bench) says(clinicID string, id contact.ID, text string) {
	b.t.Helper()
	l, err := b.store.Load(context.Background(), clinicID, id)
	require.NoError(b.t, err)
	key := fmt.Sprint("in", events.Add(1))
	_, err = b.store.Do(context.Background(), b.clinics[clinicID].Rules, id, care.Event{Key: key, At: b.now(),
		Message: &care.MessageIn{From: l.Household.Contacts[0].Address, Via: "text", ID: key, Text: text}})
	require.NoError(b.t, err)
}

// checkIns enters weekly check-ins in which every item has the same level.
func (b *bench) checkIns(clinicID string, id contact.ID, levels ...clinical.Level) {
	b.t.Helper()
	for _, l := range levels {
		items := clinical.Items{l, l, l, l, l, l, clinical.NotApplicable, clinical.NotApplicable}
		b.do(clinicID, id, care.Practice{CheckIn: &care.EnteredCheckIn{Items: items, Doses: -1, Who: "Ruth"}})
		b.pass(7 * 24 * time.Hour)
	}
}

func (b *bench) household(clinicID string, id contact.ID) care.Household {
	b.t.Helper()
	l, err := b.store.Load(context.Background(), clinicID, id)
	require.NoError(b.t, err)
	return l.Household
}

// client is a browser: it keeps cookies and follows no redirect by itself.
type client struct {
	b      *bench
	cookie *http.Cookie
}

// signedIn is a client with a session that has just begun.
func (b *bench) signedIn(clinicID string, r account.Role) *client {
	b.t.Helper()
	a, err := b.store.Account(context.Background(), clinicID, string(r)+".one")
	require.NoError(b.t, err)
	ticket, err := account.NewTicket(a, rand.Reader)
	require.NoError(b.t, err)
	at := b.clock.Load()
	require.NoError(b.t, b.store.SaveSession(context.Background(), ticket,
		account.Session{Account: a.ID, Clinic: a.Clinic, Generation: a.Generation, Began: at, Seen: at}))
	return &client{b, &http.Cookie{Name: "desk", Value: ticket.String()}}
}

func (c *client) do(req *http.Request) *answer {
	c.b.t.Helper()
	if c.cookie != nil {
		req.AddCookie(c.cookie)
	}
	hc := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := hc.Do(req)
	require.NoError(c.b.t, err)
	defer res.Body.Close()
	for _, k := range res.Cookies() {
		if c.cookie = k; k.MaxAge < 0 {
			c.cookie = nil
		}
	}
	return readAnswer(c.b.t, res)
}

func (c *client) get(path string) *answer {
	c.b.t.Helper()
	req, err := http.NewRequest(http.MethodGet, c.b.server.URL+path, nil)
	require.NoError(c.b.t, err)
	return c.do(req)
}

// post sends a form as a page of the desk does.
func (c *client) post(path string, fields ...string) *answer {
	c.b.t.Helper()
	return c.do(c.form(path, fields...))
}

func (c *client) form(path string, fields ...string) *http.Request {
	c.b.t.Helper()
	form := url.Values{}
	for i := 0; i+1 < len(fields); i += 2 {
		form.Add(fields[i], fields[i+1])
	}
	if !form.Has("nonce") {
		nonce, err := account.NewSecret(rand.Reader)
		require.NoError(c.b.t, err)
		form.Set("nonce", nonce)
	}
	req, err := http.NewRequest(http.MethodPost, c.b.server.URL+path, strings.NewReader(form.Encode()))
	require.NoError(c.b.t, err)
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.Header.Set("Sec-Fetch-Site", "same-origin")
	return req
}

func openStore(t testing.TB) (*store.Store, *redistest.Server) { return storetest.Open(t) }
