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
)

// chromium is the one headless Chromium of all tests of this package, spoken to
// by its own debugging protocol (chromedevtools.github.io/devtools-protocol).
type chromium struct {
	conn    *websocket.Conn
	cmd     *exec.Cmd
	profile string

	mu      sync.Mutex
	next    int
	replies map[int]chan reply
	tabs    map[string]*browser // by session
}

type reply struct {
	Result json.RawMessage
	Error  json.RawMessage
}

// theChromium starts it for the first test that wants it.
var theChromium = sync.OnceValues(startChromium)

var started *chromium // for TestMain to end

func TestMain(m *testing.M) {
	code := m.Run()
	if started != nil {
		_ = started.cmd.Process.Kill()
		_ = started.cmd.Wait()
		_ = os.RemoveAll(started.profile)
	}
	os.Exit(code)
}

func startChromium() (*chromium, error) {
	path, err := exec.LookPath("chromium")
	if err != nil {
		return nil, err
	}
	profile, err := os.MkdirTemp("", "desk-browser")
	if err != nil {
		return nil, err
	}
	cmd := exec.Command(path, "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
		"--disable-dev-shm-usage", "--remote-debugging-port=0", "--remote-allow-origins=*", "--user-data-dir="+profile, "about:blank")
	errs, err := cmd.StderrPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	c := &chromium{cmd: cmd, profile: profile, replies: map[int]chan reply{}, tabs: map[string]*browser{}}
	started = c
	at := ""
	lines := bufio.NewScanner(errs)
	for at == "" && lines.Scan() {
		_, at, _ = strings.Cut(lines.Text(), "DevTools listening on ")
	}
	go func() { // so that it never waits for somebody to read
		for lines.Scan() {
		}
	}()
	if at == "" {
		return nil, fmt.Errorf("the browser did not say where it listens")
	}
	c.conn, err = websocket.Dial(strings.TrimSpace(at), "", "http://127.0.0.1/")
	if err == nil {
		c.conn.MaxPayloadBytes = 256 << 20 // a screenshot is one message
		go c.listen()
	}
	return c, err
}

func (c *chromium) listen() {
	for {
		var m struct {
			ID        int
			Method    string
			SessionID string
			Params    json.RawMessage
			reply
		}
		if websocket.JSON.Receive(c.conn, &m) != nil {
			return
		}
		c.mu.Lock()
		if m.ID != 0 {
			c.replies[m.ID] <- m.reply
			delete(c.replies, m.ID)
		} else if tab := c.tabs[m.SessionID]; tab != nil {
			tab.heard(m.Method, string(m.Params))
		}
		c.mu.Unlock()
	}
}

// browser is one tab, with cookies of its own.
type browser struct {
	t        testing.TB
	chromium *chromium
	session  string
	problems []string // what the page's console and network complained of
}

// openBrowser opens a tab that closes with the test. Without a browser installed
// the test is passed by: .ci/test installs it.
func openBrowser(t testing.TB, width int) *browser {
	t.Helper()
	if _, err := exec.LookPath("chromium"); err != nil {
		t.Skip("chromium is not installed")
	}
	c, err := theChromium()
	require.NoError(t, err)
	x := &browser{t: t, chromium: c}
	var context struct{ BrowserContextID string }
	x.call("Target.createBrowserContext", map[string]any{}, &context)
	t.Cleanup(func() {
		x.session = ""
		x.call("Target.disposeBrowserContext", map[string]any{"browserContextId": context.BrowserContextID}, nil)
	})
	var target struct{ TargetID string }
	x.call("Target.createTarget", map[string]any{"url": "about:blank", "browserContextId": context.BrowserContextID}, &target)
	var attached struct{ SessionID string }
	x.call("Target.attachToTarget", map[string]any{"targetId": target.TargetID, "flatten": true}, &attached)
	c.mu.Lock()
	x.session = attached.SessionID
	c.tabs[x.session] = x
	c.mu.Unlock()
	for _, domain := range []string{"Page", "Runtime", "Log", "Network"} {
		x.call(domain+".enable", nil, nil)
	}
	// A tab behind others is looked at all the same.
	x.call("Emulation.setFocusEmulationEnabled", map[string]any{"enabled": true}, nil)
	x.size(width)
	return x
}

// phone is the width of a small telephone, in CSS pixels.
const phone = 390

// size makes the window so wide, and a telephone of it where it is that narrow.
func (x *browser) size(width int) {
	x.t.Helper()
	x.call("Emulation.setDeviceMetricsOverride", map[string]any{"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width <= phone}, nil)
}

// scheme is light or dark, as a reader's system would say.
func (x *browser) scheme(name string) {
	x.t.Helper()
	x.call("Emulation.setEmulatedMedia", map[string]any{"features": []map[string]any{{"name": "prefers-color-scheme", "value": name}}}, nil)
}

// heard keeps what was complained of; called with the lock held.
func (x *browser) heard(method, params string) {
	switch {
	case method == "Runtime.exceptionThrown", method == "Log.entryAdded" && !strings.Contains(params, "verbose"),
		method == "Runtime.consoleAPICalled" && strings.Contains(params, `"error"`):
		x.problems = append(x.problems, params)
	}
}

func (x *browser) call(method string, params any, into any) {
	x.t.Helper()
	r := x.ask(method, params)
	require.Empty(x.t, string(r.Error), method)
	if into != nil {
		require.NoError(x.t, json.Unmarshal(r.Result, into), string(r.Result))
	}
}

func (x *browser) ask(method string, params any) reply {
	x.t.Helper()
	c := x.chromium
	answered := make(chan reply, 1)
	c.mu.Lock()
	c.next++
	m := map[string]any{"id": c.next, "method": method}
	if params != nil {
		m["params"] = params
	}
	if x.session != "" {
		m["sessionId"] = x.session
	}
	c.replies[c.next] = answered
	err := websocket.JSON.Send(c.conn, m)
	c.mu.Unlock()
	require.NoError(x.t, err)
	select {
	case r := <-answered:
		return r
	case <-time.After(60 * time.Second):
		x.t.Fatalf("the browser did not answer %s", method)
		return reply{}
	}
}

// eval runs an expression in the page and returns what it gives, or what it
// promised.
func (x *browser) eval(js string) any {
	x.t.Helper()
	var got struct {
		Result           struct{ Value any }
		ExceptionDetails any
	}
	x.call("Runtime.evaluate", map[string]any{"expression": js, "returnByValue": true, "awaitPromise": true}, &got)
	require.Nil(x.t, got.ExceptionDetails, js)
	return got.Result.Value
}

// until waits for an expression to become true. In a page that is being left
// nothing is.
func (x *browser) until(js string) {
	x.t.Helper()
	require.Eventually(x.t, func() bool {
		r := x.ask("Runtime.evaluate", map[string]any{"expression": "!!(" + js + ")", "returnByValue": true})
		var got struct{ Result struct{ Value any } }
		return json.Unmarshal(r.Result, &got) == nil && got.Result.Value == true
	}, 30*time.Second, 20*time.Millisecond, js)
}

// open goes to a page and waits until all of it is there.
func (x *browser) open(url string) {
	x.t.Helper()
	x.leave(func() { x.call("Page.navigate", map[string]any{"url": url}, nil) })
}

// press clicks what a selector finds and waits for the next page.
func (x *browser) press(selector string) {
	x.t.Helper()
	x.leave(func() { x.eval(fmt.Sprintf("document.querySelector(%q).click()", selector)) })
}

// leave does something that leads to another page, and waits for that.
func (x *browser) leave(how func()) {
	x.t.Helper()
	x.eval("window.before = true")
	how()
	x.until("!window.before && document.readyState === 'complete' && location.href !== 'about:blank'")
}

func (x *browser) fill(selector, value string) {
	x.t.Helper()
	x.eval(fmt.Sprintf("document.querySelector(%q).value = %q", selector, value))
}

// as signs the tab in with somebody's cookie.
func (x *browser) as(c *client) {
	x.t.Helper()
	x.call("Network.setCookie", map[string]any{"name": "desk", "value": c.cookie.Value, "url": c.b.server.URL, "httpOnly": true}, nil)
}

// quiet wants no complaint in the console up to now.
func (x *browser) quiet() {
	x.t.Helper()
	x.chromium.mu.Lock()
	defer x.chromium.mu.Unlock()
	require.Empty(x.t, x.problems, "the console complained")
}

// complained wants exactly one complaint, that a page was answered with a
// status, and forgets it.
func (x *browser) complained(status int) {
	x.t.Helper()
	x.chromium.mu.Lock()
	defer x.chromium.mu.Unlock()
	require.Len(x.t, x.problems, 1)
	require.Contains(x.t, x.problems[0], fmt.Sprintf("status of %d", status))
	x.problems = nil
}
