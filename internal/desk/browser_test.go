package desk

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/websocket"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
)

// browser is one tab of a real headless Chromium, spoken to by its own
// debugging protocol (chromedevtools.github.io/devtools-protocol).
type browser struct {
	t       testing.TB
	conn    *websocket.Conn
	session string

	mu       sync.Mutex
	next     int
	replies  map[int]chan json.RawMessage
	problems []string // what the page's console and network complained of
}

// openBrowser starts a browser that ends with the test. Without one installed
// the test is passed by: .ci/test installs it.
func openBrowser(t testing.TB, width int) *browser {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("chromium is not installed")
	}
	// Not the test's own folder: the browser's children may still write to it for
	// a moment after it has ended, which must not fail the test.
	profile, err := os.MkdirTemp("", "desk-browser")
	require.NoError(t, err)
	cmd := exec.Command(path, "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
		"--disable-dev-shm-usage", "--remote-debugging-port=0", "--remote-allow-origins=*", "--user-data-dir="+profile, fmt.Sprintf("--window-size=%d,900", width), "about:blank")
	errs, err := cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait(); _ = os.RemoveAll(profile) })
	at := ""
	for lines := bufio.NewScanner(errs); at == "" && lines.Scan(); {
		if _, after, ok := strings.Cut(lines.Text(), "DevTools listening on "); ok {
			at = strings.TrimSpace(after)
		}
	}
	require.NotEmpty(t, at, "the browser did not say where it listens")
	go func() { // so that it never waits for somebody to read
		for lines := bufio.NewScanner(errs); lines.Scan(); {
		}
	}()
	conn, err := websocket.Dial(at, "", "http://127.0.0.1/")
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	x := &browser{t: t, conn: conn, replies: map[int]chan json.RawMessage{}}
	go x.listen()
	var target struct{ TargetID string }
	x.call("Target.createTarget", map[string]any{"url": "about:blank"}, &target)
	var attached struct{ SessionID string }
	x.call("Target.attachToTarget", map[string]any{"targetId": target.TargetID, "flatten": true}, &attached)
	x.session = attached.SessionID
	for _, domain := range []string{"Page", "Runtime", "Log", "Network"} {
		x.call(domain+".enable", nil, nil)
	}
	return x
}

func (x *browser) listen() {
	for {
		var m struct {
			ID     int
			Method string
			Result json.RawMessage
			Params json.RawMessage
		}
		if websocket.JSON.Receive(x.conn, &m) != nil {
			return
		}
		x.mu.Lock()
		switch {
		case m.ID != 0:
			x.replies[m.ID] <- m.Result
			delete(x.replies, m.ID)
		case m.Method == "Runtime.exceptionThrown", m.Method == "Log.entryAdded" && !strings.Contains(string(m.Params), "verbose"),
			m.Method == "Runtime.consoleAPICalled" && strings.Contains(string(m.Params), `"error"`):
			x.problems = append(x.problems, string(m.Params))
		}
		x.mu.Unlock()
	}
}

func (x *browser) call(method string, params any, into any) {
	x.t.Helper()
	reply := make(chan json.RawMessage, 1)
	x.mu.Lock()
	x.next++
	m := map[string]any{"id": x.next, "method": method}
	if params != nil {
		m["params"] = params
	}
	if x.session != "" {
		m["sessionId"] = x.session
	}
	x.replies[x.next] = reply
	err := websocket.JSON.Send(x.conn, m)
	x.mu.Unlock()
	require.NoError(x.t, err)
	select {
	case r := <-reply:
		if into != nil {
			require.NoError(x.t, json.Unmarshal(r, into), string(r))
		}
	case <-time.After(20 * time.Second):
		x.t.Fatalf("the browser did not answer %s", method)
	}
}

// eval runs an expression in the page and returns what it gives.
func (x *browser) eval(js string) any {
	x.t.Helper()
	var got struct {
		Result           struct{ Value any }
		ExceptionDetails any
	}
	x.call("Runtime.evaluate", map[string]any{"expression": js, "returnByValue": true}, &got)
	require.Nil(x.t, got.ExceptionDetails, js)
	return got.Result.Value
}

// until waits for an expression to become true.
func (x *browser) until(js string) {
	x.t.Helper()
	require.Eventually(x.t, func() bool {
		var got struct{ Result struct{ Value any } }
		x.call("Runtime.evaluate", map[string]any{"expression": "!!(" + js + ")", "returnByValue": true}, &got)
		return got.Result.Value == true
	}, 15*time.Second, 20*time.Millisecond, js)
}

func (x *browser) open(url string) {
	x.t.Helper()
	x.call("Page.navigate", map[string]any{"url": url}, nil)
	x.until("document.readyState === 'complete' && location.href !== 'about:blank'")
}

// press clicks what a selector finds and waits for the next page.
func (x *browser) press(selector string) {
	x.t.Helper()
	x.eval("window.before = true")
	x.eval(fmt.Sprintf("document.querySelector(%q).click()", selector))
	x.until("!window.before && document.readyState === 'complete'")
}

func (x *browser) fill(selector, value string) {
	x.t.Helper()
	x.eval(fmt.Sprintf("document.querySelector(%q).value = %q", selector, value))
}

func (x *browser) quiet() {
	x.t.Helper()
	x.mu.Lock()
	defer x.mu.Unlock()
	require.Empty(x.t, x.problems, "the console complained")
}

func TestADayAtTheDeskInABrowser(t *testing.T) {
	t.Parallel()
	x := openBrowser(t, 1280)
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})

	x.open(b.server.URL + "/desk/today")
	x.until("location.pathname === '/desk/sign-in'")
	x.fill("select[name=clinic]", "hillside")
	x.fill("input[name=account]", "vet.one")
	x.fill("input[name=password]", password)
	x.press("main form button")
	x.until("location.pathname === '/desk/today' && document.documentElement.classList.contains('live')")
	x.until("document.querySelector('main').dataset.seen")

	// An emergency shows by itself.
	b.says("hillside", id, "Bramble has collapsed")
	x.until("document.querySelector('article[data-urgency=Now]')")
	x.press("article form[action$='/ack'] button")
	x.until("document.querySelector('article.taken')")
	x.eval("document.querySelector('article details').open = true")
	x.fill("article select[name=outcome]", "phoned")
	x.press("article form[action$='/close'] button")
	x.until("document.querySelector('.empty.big')")

	// A message to the owner, and the answer arrives by itself; what is being
	// typed meanwhile stays.
	x.open(b.server.URL + "/desk/h/" + string(id) + "/dogs/0")
	x.fill("form.write textarea", "How is she now?")
	x.press("form.write button")
	x.until("document.querySelector('.line.staff') && document.querySelector('main').dataset.seen")
	b.says("hillside", id, "much brighter, thank you")
	x.until("[...document.querySelectorAll('.line.owner')].some(n => n.textContent.includes('much brighter'))")
	x.fill("form.write textarea", "half a sentence")
	b.says("hillside", id, "she has eaten too")
	x.until("document.getElementById('news').textContent.includes('Finish what you are typing')")
	require.Equal(t, "half a sentence", x.eval("document.querySelector('form.write textarea').value"))
	x.quiet()
}

// No page is wider than a telephone, and everything that can be pressed can be
// reached by the keyboard.
func TestPagesFitATelephone(t *testing.T) {
	t.Parallel()
	x := openBrowser(t, 390)
	x.call("Emulation.setDeviceMetricsOverride", map[string]any{"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": true}, nil)
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Sir Bartholomew Wigglesworth-Smythe-Featherstonehaugh III", Grams: 32_000, BCS: 7,
		Plan: []care.Entry{{Area: care.AreaPain, What: strings.Repeat("invented tablets ", 4), Class: care.NSAID}}})
	b.says("hillside", id, "collapsed "+strings.Repeat("x", 300)+" "+strings.Repeat("and so on ", 40))
	b.checkIns("hillside", id, 1, 1, 1, 3, 3)
	vet := b.signedIn("hillside", account.Vet)
	x.call("Network.setCookie", map[string]any{"name": "desk", "value": vet.cookie.Value, "url": b.server.URL, "httpOnly": true}, nil)
	for _, r := range routes {
		if r.method != "GET" || r.path == "/live" || r.path == "/" {
			continue
		}
		x.open(b.server.URL + at(r.path, id))
		x.until("document.querySelector('main h1')")
		x.eval("document.querySelectorAll('details').forEach(d => { d.open = true })")
		wide := x.eval("document.documentElement.scrollWidth")
		require.LessOrEqual(t, wide, 390.0, "%s is %v wide", r.path, wide)
		lost := x.eval(`[...document.querySelectorAll('[onclick], [tabindex="-1"]:not(main)')].length`)
		require.Equal(t, 0.0, lost, r.path)
		unnamed := x.eval(`[...document.querySelectorAll('input:not([type=hidden]):not([hidden]), select, textarea')].filter(f => !f.labels.length && !f.getAttribute('aria-label')).length`)
		require.Equal(t, 0.0, unnamed, "%s: a field has no label", r.path)
	}
	x.quiet()
}
