package desk

import (
	"encoding/base64"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
)

// A report is printed from the page it is on: two sheets of A4 at most, with
// what the consultation needs on them.
func TestAReportIsPrinted(t *testing.T) {
	t.Parallel()
	for _, program := range []string{"pdfinfo", "pdftotext"} {
		if _, err := exec.LookPath(program); err != nil {
			t.Skip(program + " is not installed")
		}
	}
	x := openBrowser(t, 1280)
	b, id := lived(t)
	x.as(b.signedIn("hillside", account.Vet))
	x.open(b.server.URL + at("/h/:id/dogs/:dog", id))
	x.press("a.paper[href$='/report']")
	require.Equal(t, at("/h/:id/dogs/:dog/report", id), x.eval("location.pathname"))
	var printed struct{ Data string }
	x.call("Page.printToPDF", map[string]any{"preferCSSPageSize": true, "printBackground": false}, &printed)
	pdf, err := base64.StdEncoding.DecodeString(printed.Data)
	require.NoError(t, err)
	name := filepath.Join(t.TempDir(), "report.pdf")
	require.NoError(t, os.WriteFile(name, pdf, 0o600))
	about, err := exec.Command("pdfinfo", name).Output()
	require.NoError(t, err)
	require.Regexp(t, `(?m)^Pages:\s+[12]$`, string(about))
	require.Regexp(t, `(?m)^Page size:.*A4`, string(about))
	out, err := exec.Command("pdftotext", "-layout", name, "-").Output()
	require.NoError(t, err)
	text := strings.Join(strings.Fields(string(out)), " ")
	for _, words := range []string{"Bramble", "Ruth", "Hillside Vets", "not a validated instrument", "invented injection", "has collapsed"} {
		require.Contains(t, text, words)
	}
	require.NotContains(t, text, "Sign out", "the desk's own furniture stays off paper")
	x.quiet()
}

// key presses and lets go of one key, as a keyboard does.
func (x *browser) key(name string) {
	x.t.Helper()
	codes := map[string]int{"Tab": 9, "Enter": 13, " ": 32, "ArrowDown": 40}
	texts := map[string]string{"Enter": "\r", " ": " "}
	m := map[string]any{"type": "keyDown", "key": name, "code": strings.Replace(name, " ", "Space", 1), "windowsVirtualKeyCode": codes[name]}
	if text := texts[name]; text != "" {
		m["text"] = text
	}
	x.call("Input.dispatchKeyEvent", m, nil)
	delete(m, "text")
	m["type"] = "keyUp"
	x.call("Input.dispatchKeyEvent", m, nil)
}

// tabTo goes on with the tabulator until what a selector finds has the focus.
// Each stop on the way shows that it has it.
func (x *browser) tabTo(selector string) {
	x.t.Helper()
	for range 80 {
		x.key("Tab")
		seen := x.eval(fmt.Sprintf(`(() => { const f = document.activeElement, s = getComputedStyle(f);
			if (f === document.body) { return 'nowhere'; }
			const lined = s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2;
			const box = f.getBoundingClientRect();
			if (!lined || box.width === 0) { return 'unseen: ' + f.outerHTML; }
			return f.matches(%q) ? 'there' : 'on'; })()`, selector))
		if seen == "there" {
			return
		}
		require.Contains(x.t, []any{"on", "nowhere"}, seen)
	}
	x.t.Fatalf("the keyboard does not reach %s", selector)
}

func (x *browser) types(text string) {
	x.t.Helper()
	x.call("Input.insertText", map[string]any{"text": text}, nil)
}

// Somebody without a mouse signs in, takes an emergency on, closes it and is
// told so.
func TestTodayByKeyboardAlone(t *testing.T) {
	t.Parallel()
	x := openBrowser(t, 1280)
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	b.says("hillside", id, "Bramble has collapsed")
	x.open(b.server.URL + "/desk/today")
	x.tabTo("select[name=clinic]")
	x.types("H") // a list goes to what begins so
	x.key("ArrowDown")
	x.tabTo("input[name=account]")
	x.types("vet.one")
	x.tabTo("input[name=password]")
	x.types(password)
	require.Equal(t, "hillside", x.eval("document.querySelector('[name=clinic]').value"))
	x.leave(func() { x.key("Enter") })
	require.Equal(t, "/desk/today", x.eval("location.pathname"))

	x.tabTo(".skip")
	x.key("Enter")
	x.tabTo("article h3 a")
	require.Equal(t, true, x.eval("document.querySelector('main').contains(document.activeElement)"), "past the head of the page")
	x.tabTo("article form[action$='/ack'] button")
	x.leave(func() { x.key("Enter") })
	x.until("document.querySelector('article.taken') && document.querySelector('.notice[role=status]')")

	x.tabTo("article details[id^=c-] summary")
	x.key(" ")
	require.Equal(t, true, x.eval("document.activeElement.parentNode.open"))
	x.tabTo("select[name=outcome]")
	x.key("ArrowDown")
	require.Equal(t, "phoned", x.eval("document.activeElement.value"))
	x.tabTo("textarea[name=note]")
	x.types("rang her")
	x.tabTo("form[action$='/close'] .row button")
	x.leave(func() { x.key(" ") })
	x.until("document.querySelector('.empty.big')")
	b.signedIn("hillside", account.Vet).get(at("/h/:id/dogs/:dog", id)).ok().has("#past", "Phoned", "rang her", "Sam Vet")
	x.quiet()
}

// The count of outcomes comes by itself, in the page that asked for it.
func TestOutcomesArriveByThemselves(t *testing.T) {
	t.Parallel()
	x := openBrowser(t, 1280)
	b := newBench(t, nil)
	b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	x.as(b.signedIn("hillside", account.Vet))
	x.open(b.server.URL + "/desk/outcomes")
	x.eval("window.same = true")
	x.until("document.querySelector('#o-answered')")
	require.Equal(t, true, x.eval("window.same && !document.querySelector('[data-again]')"), "without loading the page anew")
	x.quiet()
}
