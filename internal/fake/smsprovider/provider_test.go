package smsprovider

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// An invented customer; the numbers are from Ofcom's ranges for drama.
const (
	account = "AC00000000000000000000000000000001"
	token   = "an-invented-token"
	ours    = "+441632960000"
	ruth    = "+447700900101"
	appURL  = "https://texts.example/hook"
)

var noon = time.Date(2026, 3, 3, 12, 0, 0, 0, time.UTC)

// town is a provider and the application that it posts to.
type town struct {
	*Provider
	t   *testing.T
	now time.Time
	// posts are what the application was posted, answer what it says.
	posts  []url.Values
	urls   []string
	answer func(n int) (status int, kind, body string)
}

func (w *town) RoundTrip(r *http.Request) (*http.Response, error) {
	body, err := io.ReadAll(r.Body)
	require.NoError(w.t, err)
	form, err := url.ParseQuery(string(body))
	require.NoError(w.t, err)
	require.Equal(w.t, Sign(token, r.URL.String(), form), r.Header.Get("X-Twilio-Signature"))
	w.posts, w.urls = append(w.posts, form), append(w.urls, r.URL.String())
	status, kind, text := 200, "text/xml", "<Response/>"
	if w.answer != nil {
		status, kind, text = w.answer(len(w.posts))
	}
	if status == 0 {
		return nil, fmt.Errorf("connection refused")
	}
	return &http.Response{StatusCode: status, Header: http.Header{"Content-Type": {kind}}, Body: io.NopCloser(strings.NewReader(text))}, nil
}

func setup(t *testing.T, change func(*Options)) *town {
	w := &town{t: t, now: noon}
	o := Options{
		Accounts: []Account{{SID: account, Token: token, Numbers: []Number{{E164: ours, Hook: appURL, Retries: 1}}}},
		Client:   &http.Client{Transport: w}, Now: func() time.Time { return w.now },
	}
	if change != nil {
		change(&o)
	}
	var err error
	w.Provider, err = New(o)
	require.NoError(t, err)
	return w
}

func message(changes ...string) url.Values {
	f := url.Values{"To": {ruth}, "From": {ours}, "Body": {"Hello"}, "StatusCallback": {appURL + "/status?m=1"}}
	for i := 0; i < len(changes); i += 2 {
		if f.Set(changes[i], changes[i+1]); changes[i+1] == "-" {
			f.Del(changes[i])
		}
	}
	return f
}

func (w *town) asks(f url.Values) (int, map[string]any) {
	r := httptest.NewRequest("POST", "/2010-04-01/Accounts/"+account+"/Messages.json", strings.NewReader(f.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.SetBasicAuth(account, token)
	return w.ask(r)
}

func (w *town) ask(r *http.Request) (int, map[string]any) {
	rec := httptest.NewRecorder()
	w.ServeHTTP(rec, r)
	var body map[string]any
	require.NoError(w.t, json.Unmarshal(rec.Body.Bytes(), &body))
	return rec.Code, body
}

// Codes from Twilio's error dictionary.
func TestWhatIsRefused(t *testing.T) {
	for name, c := range map[string]struct {
		form url.Values
		code int
	}{
		"no recipient":           {message("To", "-"), 21604},
		"recipient not E.164":    {message("To", "07700 900101"), 21211},
		"no sender":              {message("From", "-"), 21603},
		"sender not a number":    {message("From", "HARBOUR"), 21212},
		"another's number":       {message("From", "+441632960001"), 21606},
		"no text":                {message("Body", "-"), 21602},
		"1,601 characters":       {message("Body", strings.Repeat("é", 1601)), 21617},
		"no time":                {message("ValidityPeriod", "0"), 20001},
		"too much time":          {message("ValidityPeriod", "36001"), 20001},
		"callback no URL":        {message("StatusCallback", "nowhere"), 21609},
		"callback, underscore":   {message("StatusCallback", "https://my_host.example/x"), 21609},
		"an unregistered sender": {message("From", "-", "MessagingServiceSid", "MG0"), 21705},
	} {
		t.Run(name, func(t *testing.T) {
			w := setup(t, nil)
			status, body := w.asks(c.form)
			require.Equal(t, 400, status)
			require.EqualValues(t, c.code, body["code"])
			require.EqualValues(t, 400, body["status"])
			require.NotEmpty(t, body["message"])
			require.NotEmpty(t, body["more_info"])
			require.Empty(t, w.Ledger())
		})
	}
	w := setup(t, nil)
	status, body := w.asks(message("Body", strings.Repeat("é", 1600), "ValidityPeriod", "36000"))
	require.Equal(t, 201, status)
	require.Equal(t, "queued", body["status"])
	require.Equal(t, "11", body["num_segments"], "a string; 1,600 septets in parts of 153")
	require.Nil(t, body["date_sent"])
}

func TestWhoMayAsk(t *testing.T) {
	w := setup(t, nil)
	for name, change := range map[string]func(r *http.Request){
		"nobody":          func(r *http.Request) { r.Header.Del("Authorization") },
		"another token":   func(r *http.Request) { r.SetBasicAuth(account, "guess") },
		"another account": func(r *http.Request) { r.SetBasicAuth("AC00000000000000000000000000000002", token) },
	} {
		r := httptest.NewRequest("POST", "/2010-04-01/Accounts/"+account+"/Messages.json", strings.NewReader(message().Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.SetBasicAuth(account, token)
		change(r)
		status, body := w.ask(r)
		require.Equal(t, 401, status, name)
		require.EqualValues(t, 20003, body["code"])
	}
	r := httptest.NewRequest("GET", "/2010-04-01/Accounts/"+account+"/Calls.json", nil)
	status, _ := w.ask(r)
	require.Equal(t, 404, status)
}

func TestAMessageMovesOnAndReportsIt(t *testing.T) {
	w := setup(t, func(o *Options) { o.Interim = true })
	w.asks(message())
	require.Zero(t, w.Advance(t.Context(), noon), "nothing happens by itself")
	require.Equal(t, 2, w.Advance(t.Context(), noon.Add(time.Second)))
	require.Equal(t, "sent", w.Sent()[0].Status)
	require.Equal(t, 1, w.Advance(t.Context(), noon.Add(time.Minute)))
	require.Zero(t, w.Advance(t.Context(), noon.Add(time.Hour)))
	var states []string
	for i, f := range w.posts {
		states = append(states, f.Get("MessageStatus"))
		require.Equal(t, appURL+"/status?m=1", w.urls[i])
		require.Equal(t, ruth, f.Get("To"))
	}
	require.Equal(t, []string{"sending", "sent", "delivered"}, states, "queued, the first, is never posted")
}

func TestReportsInDisorderAndTwice(t *testing.T) {
	w := setup(t, func(o *Options) { o.Disorder, o.Twice = true, true })
	w.asks(message())
	require.Equal(t, 4, w.Advance(t.Context(), noon.Add(time.Hour)))
	var states []string
	for _, f := range w.posts {
		states = append(states, f.Get("MessageStatus"))
	}
	require.Equal(t, []string{"delivered", "delivered", "sent", "sent"}, states)
}

// Codes from Twilio's error dictionary.
func TestHandsets(t *testing.T) {
	for kind, code := range map[Handset]string{SwitchedOff: "30003", NoSuch: "30005", LandlineTo: "30006", Filtered: "30007"} {
		w := setup(t, nil)
		w.SetHandset(ruth, kind)
		w.asks(message())
		w.Advance(t.Context(), noon.Add(time.Hour))
		require.Equal(t, "undelivered", w.posts[1].Get("MessageStatus"))
		require.Equal(t, code, w.posts[1].Get("ErrorCode"))
		require.Empty(t, w.posts[0].Get("ErrorCode"))
	}
	w := setup(t, nil)
	w.SetHandset(ruth, Landline)
	_, body := w.asks(message())
	require.EqualValues(t, 21614, body["code"])
}

func TestAMessageIsGivenUpAtItsEnd(t *testing.T) {
	w := setup(t, func(o *Options) { o.Accounts[0].Numbers[0].SegmentsPerSecond = 0.1 })
	w.asks(message())
	w.asks(message("ValidityPeriod", "11"))
	w.asks(message("ValidityPeriod", "20"))
	w.Advance(t.Context(), noon.Add(time.Hour))
	var states []string
	for _, m := range w.Sent() {
		states = append(states, m.Status)
	}
	require.Equal(t, []string{"delivered", "delivered", "failed"}, states)
}

func TestTooFastIsRefused(t *testing.T) {
	w := setup(t, func(o *Options) { o.Accounts[0].Numbers[0].Burst = 2 })
	for i, want := range []int{201, 201, 429, 429} {
		status, _ := w.asks(message())
		require.Equal(t, want, status, i)
	}
	w.now = noon.Add(time.Second)
	status, _ := w.asks(message())
	require.Equal(t, 201, status)
	require.Len(t, w.Sent(), 3)
}

// The words are those Twilio documents as its defaults.
func TestTheProviderHeedsOptOuts(t *testing.T) {
	for _, word := range []string{"STOP", " stop ", "Unsubscribe", "END", "quit", "stopall", "revoke", "optout", "cancel"} {
		w := setup(t, nil)
		d, err := w.From(t.Context(), Text{From: ruth, To: ours, Body: word})
		require.NoError(t, err)
		require.True(t, d.Taken, "it is posted all the same")
		require.Empty(t, w.posts[0].Get("OptOutType"))
		_, body := w.asks(message())
		require.EqualValues(t, 21610, body["code"], word)
		require.Len(t, w.Ledger(), 2, "hers, and the provider's own reply")
		_, err = w.From(t.Context(), Text{From: ruth, To: ours, Body: "start"})
		require.NoError(t, err)
		status, _ := w.asks(message())
		require.Equal(t, 201, status)
	}
	w := setup(t, func(o *Options) { o.Accounts[0].Numbers[0].AdvancedOptOut = true })
	for _, c := range [][2]string{{"YES", ""}, {"please stop", ""}, {"stop", "STOP"}, {"yes", "START"}, {"info", "HELP"}} {
		_, err := w.From(t.Context(), Text{From: ruth, To: ours, Body: c[0]})
		require.NoError(t, err)
		require.Equal(t, c[1], w.posts[len(w.posts)-1].Get("OptOutType"), c[0])
	}
}

func TestWhatIsNotTakenIsPostedAgain(t *testing.T) {
	for name, c := range map[string]struct {
		status   int
		attempts int
	}{"connection refused": {0, 2}, "away": {503, 2}, "refused": {403, 1}} {
		w := setup(t, nil)
		w.answer = func(int) (int, string, string) { return c.status, "", "" }
		d, err := w.From(t.Context(), Text{From: ruth, To: ours, Body: "2"})
		require.NoError(t, err)
		require.Equal(t, Delivery{SID: d.SID, Status: c.status, Attempts: c.attempts}, d, name)
		require.Equal(t, 1, w.Redeliver(t.Context()))
		w.answer = nil
		require.Zero(t, w.Redeliver(t.Context()))
		require.Equal(t, d.SID, w.posts[len(w.posts)-1].Get("MessageSid"), "the same message")
		require.True(t, w.Ledger()[0].Taken)
	}
}

// Plain text in an answer goes to whoever wrote (Twilio, TwiML for messages).
func TestAnswersAreHeeded(t *testing.T) {
	for name, c := range map[string]struct {
		kind, body string
		sent       []string
		problems   int
	}{
		"empty document": {"text/xml; charset=utf-8", `<?xml version="1.0" encoding="UTF-8"?><Response/>`, nil, 0},
		"nothing":        {"", "", nil, 0},
		"messages":       {"application/xml", "<Response><Message>a</Message><Message>b</Message></Response>", []string{"a", "b"}, 0},
		"plain text":     {"text/plain", "ok", []string{"ok"}, 1},
		"broken":         {"text/xml", "<Response>", nil, 1},
		"wrong element":  {"text/xml", "<response/>", nil, 1},
		"JSON":           {"application/json", "{}", nil, 1},
	} {
		w := setup(t, nil)
		w.answer = func(int) (int, string, string) { return 200, c.kind, c.body }
		_, err := w.From(t.Context(), Text{From: ruth, To: ours, Body: "2"})
		require.NoError(t, err)
		var sent []string
		for _, m := range w.Since(1) {
			sent = append(sent, m.Body)
		}
		require.Equal(t, c.sent, sent, name)
		require.Len(t, w.Problems(), c.problems, name)
	}
}

func TestWhatComesWithAMessage(t *testing.T) {
	w := setup(t, nil)
	d, err := w.From(t.Context(), Text{From: ruth, To: ours, Media: []string{"image/jpeg", "video/3gpp"}})
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(d.SID, "MM"))
	require.Equal(t, "2", w.posts[0].Get("NumMedia"))
	require.Equal(t, "video/3gpp", w.posts[0].Get("MediaContentType1"))
	require.NotEmpty(t, w.posts[0].Get("MediaUrl1"))
}

func TestTheListAndItsFilters(t *testing.T) {
	w := setup(t, nil)
	list := func(q url.Values) []string {
		r := httptest.NewRequest("GET", "/2010-04-01/Accounts/"+account+"/Messages.json?"+q.Encode(), nil)
		r.SetBasicAuth(account, token)
		status, body := w.ask(r)
		require.Equal(t, 200, status)
		var texts []string
		for _, m := range body["messages"].([]any) {
			texts = append(texts, m.(map[string]any)["body"].(string))
		}
		return texts
	}
	w.asks(message("Body", "first"))
	w.Advance(t.Context(), noon.Add(time.Minute))
	w.now = noon.Add(24 * time.Hour)
	w.asks(message("Body", "second"))
	w.asks(message("Body", "other", "To", "+447700900102"))
	require.Equal(t, []string{"second", "first"}, list(url.Values{"To": {ruth}}), "newest first")
	require.Equal(t, []string{"other"}, list(url.Values{"PageSize": {"1"}}))
	require.Equal(t, []string{"second"}, list(url.Values{"PageSize": {"1"}, "Page": {"1"}}))
	require.Equal(t, []string{"first"}, list(url.Values{"DateSent": {"2026-03-03"}}))
	require.Equal(t, []string{"first"}, list(url.Values{"DateSent>": {"2026-03-03"}}), "what is queued has no date of sending")
	require.Empty(t, list(url.Values{"DateSent<": {"2026-03-02"}}))
	r := httptest.NewRequest("GET", "/2010-04-01/Accounts/"+account+"/Messages.json?DateSent=yesterday", nil)
	r.SetBasicAuth(account, token)
	status, _ := w.ask(r)
	require.Equal(t, 400, status)
}

func TestTheSameCallsGiveTheSameLedger(t *testing.T) {
	run := func() []Message {
		w := setup(t, nil)
		for i := range 20 {
			w.asks(message("Body", fmt.Sprint(i)))
			_, _ = w.From(context.Background(), Text{From: ruth, To: ours, Body: "2"})
			w.now = w.now.Add(time.Second)
			w.Advance(t.Context(), w.now)
		}
		return w.Ledger()
	}
	require.Equal(t, run(), run())
}

func TestAnotherProcessCanWorkIt(t *testing.T) {
	w := setup(t, nil)
	h := w.Control()
	call := func(method, path string, body any) *httptest.ResponseRecorder {
		raw, err := json.Marshal(body)
		require.NoError(t, err)
		rec := httptest.NewRecorder()
		h.ServeHTTP(rec, httptest.NewRequest(method, path, bytes.NewReader(raw)))
		return rec
	}
	require.Equal(t, 200, call("POST", "/from", Text{From: ruth, To: ours, Body: "2"}).Code)
	require.Equal(t, 400, call("POST", "/from", Text{To: "nobody"}).Code)
	require.Equal(t, 200, call("POST", "/fault", Fault{Kind: Answer503, Times: 1}).Code)
	status, _ := w.asks(message())
	require.Equal(t, 503, status)
	w.asks(message())
	require.Equal(t, "2\n", call("POST", "/advance", map[string]any{"Now": noon.Add(time.Hour)}).Body.String())
	require.Equal(t, "0\n", call("POST", "/redeliver", nil).Body.String())
	var ledger []Message
	require.NoError(t, json.Unmarshal(call("GET", "/ledger", nil).Body.Bytes(), &ledger))
	require.Len(t, ledger, 2)
	require.Equal(t, "null\n", call("GET", "/problems", nil).Body.String())
}

func TestAccountsMustBeWhatTheySay(t *testing.T) {
	clock := func() time.Time { return noon }
	for name, o := range map[string]Options{
		"no clock":     {},
		"bad id":       {Now: clock, Accounts: []Account{{SID: "AC1", Token: "t"}}},
		"no token":     {Now: clock, Accounts: []Account{{SID: account}}},
		"twice":        {Now: clock, Accounts: []Account{{SID: account, Token: "t"}, {SID: account, Token: "t"}}},
		"bad number":   {Now: clock, Accounts: []Account{{SID: account, Token: "t", Numbers: []Number{{E164: "01632"}}}}},
		"number twice": {Now: clock, Accounts: []Account{{SID: account, Token: "t", Numbers: []Number{{E164: ours}, {E164: ours}}}}},
	} {
		_, err := New(o)
		require.Error(t, err, name)
	}
}
