package bot_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
)

const sid = "SM00000000000000000000000000000042"

func TestAMessageBecomesAnEventBeforeItIsAnswered(t *testing.T) {
	h := newHouse(t)
	w := h.ask(request(t, "", messageForm(ruth, sid, "2\u202e 1\r\n0\x00 ")))
	require.Equal(t, 200, w.Code)
	require.Equal(t, "text/xml; charset=utf-8", w.Header().Get("Content-Type"))
	require.Contains(t, w.Body.String(), "<Response/>")
	require.Equal(t, []turn{{id: "harbour/" + "+447700900101", event: care.Event{
		Key: "sms/" + sid, At: noon,
		Message: &care.MessageIn{From: ruth, Via: "texts", ID: sid, Text: "2 1\n0 "},
	}}}, h.turns.events())
	require.Equal(t, 1, h.count(t, "webhook_requests_total", "clinic", "harbour", "channel", "texts", "reason", "answered"))
}

func TestARepeatedMessageIsAnsweredAndChangesNothing(t *testing.T) {
	h := newHouse(t)
	for range 3 {
		require.Equal(t, 200, h.ask(request(t, "", messageForm(ruth, sid, "2"))).Code)
	}
	require.Len(t, h.turns.events(), 1)
	require.Equal(t, 2, h.count(t, "webhook_requests_total", "reason", "repeated"))
}

// What a request can be that is refused, and how it is answered: nothing of it
// happens, and nothing of it goes back.
func TestRequestsThatAreRefused(t *testing.T) {
	const marked = "MARKED-secret-words"
	good := func(t *testing.T) *http.Request { return request(t, "", messageForm(ruth, sid, marked)) }
	for name, c := range map[string]struct {
		request func(t *testing.T) *http.Request
		status  int
		reason  string
	}{
		"no signature": {func(t *testing.T) *http.Request {
			r := good(t)
			r.Header.Del("X-Twilio-Signature")
			return r
		}, 403, "no-signature"},
		"signed with another token": {func(t *testing.T) *http.Request {
			r := good(t)
			r.Header.Set("X-Twilio-Signature", smsprovider.Sign("another", hookURL, messageForm(ruth, sid, marked)))
			return r
		}, 403, "bad-signature"},
		"signed for the address asked for": {func(t *testing.T) *http.Request {
			r := good(t)
			r.Header.Set("X-Twilio-Signature", smsprovider.Sign(token, "http://10.0.0.7:8080/hook/harbour/texts", messageForm(ruth, sid, marked)))
			return r
		}, 403, "bad-signature"},
		"a field changed": {func(t *testing.T) *http.Request {
			r := good(t)
			body := messageForm(owen, sid, marked).Encode()
			r.Body, r.ContentLength = io.NopCloser(strings.NewReader(body)), int64(len(body))
			return r
		}, 403, "bad-signature"},
		"a query added": {func(t *testing.T) *http.Request {
			r := good(t)
			r.URL.RawQuery = "m=1"
			return r
		}, 403, "bad-signature"},
		"message posted as status": {func(t *testing.T) *http.Request {
			r := good(t)
			r.URL.Path += "/status"
			return r
		}, 403, "bad-signature"},
		"another algorithm": {func(t *testing.T) *http.Request {
			r := good(t)
			r.Header.Set("X-Twilio-Webhooks-Signature-Settings", "key=K1,algorithm=HMAC_SHA256")
			return r
		}, 403, "unknown-algorithm"},
		"another account": {func(t *testing.T) *http.Request {
			f := messageForm(ruth, sid, marked)
			f.Set("AccountSid", "AC00000000000000000000000000000002")
			return request(t, "", f)
		}, 403, "other-account"},
		"another number": {func(t *testing.T) *http.Request {
			f := messageForm(ruth, sid, marked)
			f.Set("To", "+441632960001")
			return request(t, "", f)
		}, 403, "other-number"},
		"broken form": {func(t *testing.T) *http.Request {
			return httptest.NewRequest("POST", "/hook/harbour/texts", strings.NewReader("Body="+marked+"%zz"))
		}, 400, "broken"},
		"said to be too large": {func(t *testing.T) *http.Request {
			return request(t, "", messageForm(ruth, sid, strings.Repeat(marked, 4000)))
		}, 413, "oversize"},
		"too large, unsaid": {func(t *testing.T) *http.Request {
			r := request(t, "", messageForm(ruth, sid, strings.Repeat(marked, 4000)))
			r.ContentLength = -1
			return r
		}, 413, "oversize"},
		"cut off": {func(t *testing.T) *http.Request {
			r := good(t)
			r.Body = io.NopCloser(io.MultiReader(strings.NewReader("Body="+marked), brokenReader{}))
			return r
		}, 400, "cut-off"},
		"no such clinic": {func(t *testing.T) *http.Request {
			r := good(t)
			r.URL.Path = "/hook/riverside/texts"
			return r
		}, 404, "unknown-hook"},
		"no such channel": {func(t *testing.T) *http.Request {
			r := good(t)
			r.URL.Path = "/hook/harbour/" + marked
			return r
		}, 404, "unknown-hook"},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t)
			w := h.ask(c.request(t))
			require.Equal(t, c.status, w.Code)
			require.Empty(t, w.Body.String())
			require.Empty(t, h.turns.events())
			require.Equal(t, 1, h.count(t, "webhook_requests_total", "reason", c.reason))
			require.Contains(t, h.lines.String(), c.reason)
			h.quiet(t, marked, ruth.Value[1:], token)
		})
	}
}

type brokenReader struct{}

func (brokenReader) Read([]byte) (int, error) { return 0, errors.New("connection reset") }

// quiet wants none of the marked words in what was logged and counted.
func (g gauges) quiet(t *testing.T, marked ...string) {
	t.Helper()
	for _, m := range marked {
		require.NotContains(t, g.lines.String(), m, "the log")
		require.NotContains(t, g.text(t), m, "the metrics")
	}
}

// Bad input that is genuine: all of it is kept and answered.
func TestOddMessagesAreKept(t *testing.T) {
	media := messageForm(ruth, sid, "")
	media.Set("NumMedia", "1")
	media.Set("MediaContentType0", "image/jpeg")
	media.Set("MediaUrl0", "https://media.example/MARKED")
	repeated := messageForm(ruth, sid, "first")
	repeated.Add("Body", "second")
	for name, c := range map[string]struct {
		form      map[string][]string
		wantText  string
		wantMedia []string
	}{
		"empty":              {messageForm(ruth, sid, ""), "", nil},
		"media only":         {media, "", []string{"image/jpeg"}},
		"1,600 characters":   {messageForm(ruth, sid, strings.Repeat("é", 1600)), strings.Repeat("é", 1600), nil},
		"1,601 characters":   {messageForm(ruth, sid, strings.Repeat("é", 1601)), strings.Repeat("é", 1600), nil},
		"emoji":              {messageForm(ruth, sid, "3️⃣ 🐶👍🏽"), "3️⃣ 🐶👍🏽", nil},
		"right to left":      {messageForm(ruth, sid, "שלום \u202e2\u202c"), "שלום 2", nil},
		"control characters": {messageForm(ruth, sid, "2\x00\x1b[31m\x07\x7f"), "2[31m", nil},
		"broken UTF-8":       {messageForm(ruth, sid, "ok \xff\xfe"), "ok \uFFFD", nil},
		"markup":             {messageForm(ruth, sid, "<Message>hi</Message>"), "<Message>hi</Message>", nil},
		"repeated field":     {repeated, "first", nil},
		"unknown fields":     {with(messageForm(ruth, sid, "2"), "Brand New", "", "", "nameless"), "2", nil},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t)
			w := h.ask(request(t, "", c.form))
			require.Equal(t, 200, w.Code)
			require.Contains(t, w.Body.String(), "<Response/>")
			got := h.turns.events()
			require.Len(t, got, 1)
			require.Equal(t, c.wantText, got[0].event.Message.Text)
			require.Equal(t, c.wantMedia, got[0].event.Message.Media)
			h.quiet(t, ruth.Value[1:], "MARKED")
		})
	}
}

func with(f map[string][]string, pairs ...string) map[string][]string {
	for i := 0; i < len(pairs); i += 2 {
		f[pairs[i]] = append(f[pairs[i]], pairs[i+1])
	}
	return f
}

func TestWhatGoesWrongBehindTheServer(t *testing.T) {
	for name, c := range map[string]struct {
		fail   func() error
		status int
		reason string
	}{
		"store away":     {func() error { return fmt.Errorf("loading: %w: refused", store.ErrUnavailable) }, 503, "store-away"},
		"store too busy": {func() error { return fmt.Errorf("changing: %w", store.ErrConflict) }, 503, "store-away"},
		"deadline":       {func() error { return fmt.Errorf("loading: %w", context.DeadlineExceeded) }, 503, "store-away"},
		"record damaged": {func() error { return store.ErrDamaged }, 500, "internal"},
		"panic":          {func() error { panic("MARKED words of somebody") }, 500, "internal"},
		"runtime panic":  {func() error { var none []int; _ = none[len(none)]; return nil }, 500, "internal"},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t)
			h.turns.fail = c.fail
			w := h.ask(request(t, "", messageForm(ruth, sid, "MARKED")))
			require.Equal(t, c.status, w.Code)
			require.Empty(t, w.Body.String())
			require.Equal(t, 1, h.count(t, "webhook_requests_total", "reason", c.reason))
			h.quiet(t, "MARKED", ruth.Value[1:])
			h.turns.fail = nil
			require.Equal(t, 200, h.ask(request(t, "", messageForm(ruth, sid, "MARKED"))).Code, "the provider's next attempt")
			require.Len(t, h.turns.events(), 1)
		})
	}
}

// A store that answers nothing at all must not keep the provider waiting.
func TestTheDeadlineIsKept(t *testing.T) {
	h := newHouse(t)
	s, err := bot.NewServer(bot.ServerOptions{
		Directory: h.dir, Turns: stuck{h.turns}, Metrics: h.metrics, Log: h.log,
		Now: func() time.Time { return noon }, Deadline: 10 * time.Millisecond,
	})
	require.NoError(t, err)
	w := httptest.NewRecorder()
	s.ServeHTTP(w, request(t, "", messageForm(ruth, sid, "2")))
	require.Equal(t, 503, w.Code)
}

// stuck waits until it is told to stop.
type stuck struct{ *turns }

func (stuck) Do(ctx context.Context, _ *care.Rules, _ contact.ID, _ care.Event) (care.Result, error) {
	<-ctx.Done()
	return care.Result{}, ctx.Err()
}

// A provider that hangs up does not undo what is being kept.
func TestAProviderThatHangsUp(t *testing.T) {
	h := newHouse(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.Equal(t, 200, h.ask(request(t, "", messageForm(ruth, sid, "2")).WithContext(ctx)).Code)
	require.Len(t, h.turns.events(), 1)
}

func TestOnlyARegisteredContactReachesALine(t *testing.T) {
	h := newHouse(t)
	h.turns.open = []care.Item{{Sentence: "An invented sentence."}}
	require.Equal(t, 200, h.ask(request(t, "", messageForm(lee, "SM1", "3 OK rang her"))).Code)
	require.Zero(t, h.turns.asked, "what is open is read only where it is needed")
	require.Equal(t, 200, h.ask(request(t, "", messageForm(lee, "SM2", "list"))).Code)
	require.Equal(t, 200, h.ask(request(t, "", messageForm(last, "SM3", "1 ok"))).Code)
	require.Equal(t, 200, h.ask(request(t, "", messageForm(ruth, "SM4", "3 OK rang her"))).Code)
	got := h.turns.events()
	require.Len(t, got, 4)
	require.Equal(t, "lee", got[0].line)
	require.Equal(t, care.LineEvent{Key: "sms/SM1", At: noon, Text: &care.LineText{From: lee, Via: "texts", ID: "SM1", Text: "3 OK rang her"}}, got[0].said)
	require.Equal(t, h.turns.open, got[1].said.Text.Open)
	require.Equal(t, "", got[2].line)
	require.NotNil(t, got[2].said.Text, "the last resort has a line of its own")
	require.Nil(t, got[3].said.Text)
	require.Equal(t, "3 OK rang her", got[3].event.Message.Text, "an owner's words stay an owner's")
}

func TestReports(t *testing.T) {
	h := newHouse(t)
	status := func(ref, s string) int {
		return h.ask(request(t, "/status?m="+ref, statusForm(ruth, sid, s))).Code
	}
	for _, s := range []string{"queued", "sending", "accepted", "scheduled"} {
		require.Equal(t, 200, status("0f-1a-0", s))
	}
	require.Empty(t, h.turns.events(), "states between cost nothing")
	require.Equal(t, 200, status("0f-1a-0", "delivered"))
	require.Equal(t, 200, status("0f-1a-0", "sent"), "out of order")
	require.Equal(t, 200, status("0f-1a-0", "delivered"), "repeated")
	got := h.turns.events()
	require.Len(t, got, 2)
	require.Equal(t, care.Event{
		Key: "sms/" + sid + "/delivered", At: noon, Report: &care.Report{Message: "0f-1a-0", Fate: care.Delivered},
	}, got[0].event)
	require.EqualValues(t, "harbour/+447700900101", got[0].id)
}

func TestReportsThatConcernNoHousehold(t *testing.T) {
	h := newHouse(t)
	failed := statusForm(lee, sid, "undelivered")
	failed.Set("ErrorCode", "30003")
	require.Equal(t, 200, h.ask(request(t, "/status?m=~line-harbour-lee-1-0", failed)).Code)
	require.Empty(t, h.turns.events())
	require.Equal(t, 1, h.count(t, "webhook_requests_total", "reason", "line-report"))
	require.Equal(t, 1, h.count(t, "provider_codes_total", "code", "30003"))
	require.Contains(t, h.lines.String(), "not delivered")

	require.Equal(t, 200, h.ask(request(t, "/status", failed)).Code, "not a message of ours")
	h.turns.refuse = true
	require.Equal(t, 200, h.ask(request(t, "/status?m=0f-1a-0", statusForm(ruth, sid, "sent"))).Code, "its household is gone")
	require.Equal(t, 1, h.count(t, "webhook_requests_total", "reason", "unknown-message"))
	h.quiet(t, "lee-1", ruth.Value[1:], lee.Value[1:])
}

func TestAddressesThatAreNone(t *testing.T) {
	h := newHouse(t)
	for path, want := range map[string]int{"/": 404, "/hook/harbour": 404, "/hook/harbour/texts/other": 404} {
		w := h.ask(httptest.NewRequest("POST", path, nil))
		require.Equal(t, want, w.Code, path)
		require.Empty(t, w.Body.String())
	}
	require.Equal(t, 405, h.ask(httptest.NewRequest("GET", "/hook/harbour/texts", nil)).Code)
}

// asked is a channel whose provider asks for the address first.
type asked struct{ provider }

func (*asked) Handshake(query string) (bot.Answer, error) {
	if query != "word=right" {
		return bot.Answer{}, bot.ErrBadSignature
	}
	return bot.Answer{ContentType: "text/plain", Body: []byte("1158201444")}, nil
}

func TestAProviderMayAskForTheAddressFirst(t *testing.T) {
	rules := &care.Rules{Clinic: "harbour"}
	outlet := func(name string, c bot.Channel) bot.Outlet {
		return bot.Outlet{Name: name, Channel: c, Number: contact.Address{Channel: "x", Value: name}, Rate: store.Rate{PerSecond: 1, Burst: 1}}
	}
	d, err := bot.NewDirectory(bot.Clinic{Rules: rules, Outlets: []bot.Outlet{outlet("asks", &asked{}), outlet("texts", &provider{})}})
	require.NoError(t, err)
	g := newGauges(t)
	s, err := bot.NewServer(bot.ServerOptions{Directory: d, Turns: &turns{}, Metrics: g.metrics, Log: g.log, Now: time.Now})
	require.NoError(t, err)
	for path, want := range map[string]int{
		"/hook/harbour/asks?word=right": 200, "/hook/harbour/asks?word=wrong": 403, "/hook/harbour/texts": 405, "/hook/hill/asks?word=right": 404,
	} {
		w := httptest.NewRecorder()
		s.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
		require.Equal(t, want, w.Code, path)
		require.Equal(t, want == 200, w.Body.String() == "1158201444", path)
	}
}

func TestPartsThatAreMissingAreTold(t *testing.T) {
	_, err := bot.NewServer(bot.ServerOptions{})
	require.Error(t, err)
	_, err = bot.NewSender(bot.SenderOptions{})
	require.Error(t, err)
	_, err = bot.NewLines(bot.LinesOptions{})
	require.Error(t, err)
}

func TestADirectoryWantsEachThingOnce(t *testing.T) {
	r := harbour()
	ok := bot.Outlet{Name: "texts", Channel: newChannel(t), Number: phone(ourNumber), Rate: store.Rate{PerSecond: 1, Burst: 1}}
	slow, nameless := ok, ok
	slow.Rate = store.Rate{}
	nameless.Name = ""
	for name, clinics := range map[string][]bot.Clinic{
		"no rules":      {{}},
		"clinic twice":  {{Rules: r}, {Rules: r}},
		"channel twice": {{Rules: r, Outlets: []bot.Outlet{ok, ok}}},
		"no rate":       {{Rules: r, Outlets: []bot.Outlet{slow}}},
		"no name":       {{Rules: r, Outlets: []bot.Outlet{nameless}}},
	} {
		_, err := bot.NewDirectory(clinics...)
		require.Error(t, err, name)
	}
	d, err := bot.NewDirectory(bot.Clinic{Rules: r, Outlets: []bot.Outlet{ok}})
	require.NoError(t, err)
	require.Error(t, d.Replace(bot.Clinic{}))
	h := newHouse(t)
	require.NoError(t, h.dir.Replace())
	require.Equal(t, 404, h.ask(request(t, "", messageForm(ruth, sid, "2"))).Code, "the clinic has left")
}
