package desk

import (
	"encoding/json"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/contact"
)

// axeFile names the file that holds axe-core, a checker of accessible pages
// (github.com/dequelabs/axe-core). It is fetched by .ci/test and no part of this
// project.
const axeFile = "GAITPOST_AXE"

// axed is a tab in which every page has axe-core.
func axed(t *testing.T) *browser {
	t.Helper()
	name := os.Getenv(axeFile)
	if name == "" {
		require.Empty(t, os.Getenv("CI"), "%s is not set, and this has to run here: .ci/test fetches axe-core and sets it", axeFile)
		t.Skipf("%s does not name axe-core's file: .ci/test fetches it", axeFile)
	}
	if _, err := exec.LookPath("chromium"); err != nil {
		require.Empty(t, os.Getenv("CI"), "chromium is not installed, and this has to run here")
	}
	axe, err := os.ReadFile(name)
	require.NoError(t, err)
	x := openBrowser(t, 1280)
	x.call("Page.addScriptToEvaluateOnNewDocument", map[string]any{"source": string(axe)}, nil)
	return x
}

// finding is one rule that a page breaks.
type finding struct {
	ID, Impact string
	Nodes      []string
}

// findings are what axe-core calls serious or critical in the page as it is.
func (x *browser) findings() []finding {
	x.t.Helper()
	got := x.eval(`axe.run(document, {resultTypes: ['violations'], preload: false}).then(r => JSON.stringify({
		checked: r.passes.map(p => p.id),
		found: r.violations.filter(v => v.impact === 'serious' || v.impact === 'critical').map(v => ({
			id: v.id, impact: v.impact, nodes: v.nodes.map(n => n.target.join(' ') + '\n' + n.html + '\n' + n.failureSummary)}))}))`)
	text, ok := got.(string)
	require.True(x.t, ok, "axe-core did not answer")
	var answer struct {
		Checked []string
		Found   []finding
	}
	require.NoError(x.t, json.Unmarshal([]byte(text), &answer))
	require.Contains(x.t, answer.Checked, "color-contrast", "axe-core looked at nothing")
	require.Contains(x.t, answer.Checked, "document-title")
	return answer.Found
}

// accessible wants nothing serious in the page, in light and dark, on a desk and
// on a telephone, with all that opens open.
func (x *browser) accessible(name string) {
	x.t.Helper()
	x.until("document.querySelector('h1')")
	x.eval("document.querySelectorAll('details').forEach(d => { d.open = true })")
	for _, width := range []int{1280, phone} {
		x.size(width)
		if wide := x.eval("document.documentElement.scrollWidth"); width == phone && wide.(float64) > phone {
			x.t.Errorf("%s is %v wide on a telephone", name, wide)
		}
		for _, scheme := range []string{"light", "dark"} {
			x.scheme(scheme)
			for _, f := range x.findings() {
				x.t.Errorf("%s, %s, %d wide: %s (%s) in %d places:\n%s", name, scheme, width, f.ID, f.Impact, len(f.Nodes), strings.Join(f.Nodes[:min(4, len(f.Nodes))], "\n"))
			}
		}
	}
	x.size(1280)
}

// Every page there is, with everything on it that it can hold.
func TestEveryPageIsAccessible(t *testing.T) {
	t.Parallel()
	x := axed(t)
	b, id := lived(t)
	vet := b.signedIn("hillside", account.Vet)
	x.as(vet)
	for _, r := range routes {
		if !isPage(r) || r.needs == account.SeeAudit { // the trail is the manager's
			continue
		}
		url := at(r.path, id)
		if strings.HasSuffix(r.path, "/correct") {
			url += "?at=" + itoa(int(b.household("hillside", id).Dogs[0].Course.Readings()[11].At))
		}
		x.open(b.server.URL + url)
		if r.path == "/outcomes" {
			x.accessible("outcomes, while counted")
			x.until("document.querySelector('#o-alerts')")
		}
		require.Equal(t, url, x.eval("location.pathname + location.search"))
		x.accessible(r.path)
	}
	x.quiet()
	x.asOthers(b, id)
}

// What forms lead to, and what refuses.
func TestEveryAnswerToAFormIsAccessible(t *testing.T) {
	t.Parallel()
	x := axed(t)
	b, id := lived(t)
	x.as(b.signedIn("hillside", account.Vet))
	for _, c := range []struct {
		name, page string
		fill       []string // selector, value, …
		press, see string
	}{
		{"a rule’s trial", "/desk/rules?change=thresholds.index.level_at", []string{"form[action$='/try'] [name=value]", "55"}, "form[action$='/try'] button", ".trial .beforeafter"},
		{"a trial of a cadence", "/desk/rules?change=cadences.checkin.cron", []string{"form[action$='/try'] [name=value]", "0 11 * * wed"}, "form[action$='/try'] button", ".trial .times"},
		{"a trial out of range", "/desk/rules?change=thresholds.index.level_at", []string{"form[action$='/try'] [name=value]", "600"}, "form[action$='/try'] button", ".trial .wrong"},
		{"what is to be known before a change", at("/h/:id/dogs/:dog/plan", id), []string{"#f-new [name=what]", "other tablets", "#f-new [name=class]", "nsaid"}, "#f-new button", ".trial .advice"},
		{"a password refused", "/desk/account", []string{"[name=old]", "wrong"}, "form[action$='/password'] button", ".wrong"},
		{"a form refused, with what was typed", at("/h/:id/dogs/:dog", id), []string{"#f-note textarea", strings.Repeat("a long story ", 600)}, "#f-note button", ".typed"},
		{"a notice", "/desk/today?say=closed", nil, "", ".notice"},
		{"no such page", "/desk/nothing", nil, "", ".narrow .sentence"},
		{"no dog fits", "/desk/dogs?q=nobody+at+all", nil, "", ".empty.big"},
	} {
		x.open(b.server.URL + c.page)
		x.eval("document.querySelectorAll('form').forEach(f => { f.noValidate = true })")
		for i := 0; i+1 < len(c.fill); i += 2 {
			x.fill(c.fill[i], c.fill[i+1])
		}
		if c.press != "" {
			x.press(c.press)
		}
		require.Equal(t, true, x.eval("!!document.querySelector("+quoted(c.see)+")"), "%s: %v", c.name, x.eval("document.querySelector('main').innerText"))
		x.accessible(c.name)
	}
}

func quoted(s string) string {
	b, _ := json.Marshal(s)
	return string(b)
}

// asOthers looks at what other roles and the other clinic see, and whoever is
// not signed in.
func (x *browser) asOthers(b *bench, id contact.ID) {
	x.t.Helper()
	for _, c := range []struct {
		clinic string
		role   account.Role
		paths  []string
		status int // that the console is told of
	}{
		{"hillside", account.Reception, []string{"/today", "/undelivered", "/account"}, 0},
		{"hillside", account.Reception, []string{"/dogs"}, http.StatusForbidden},
		{"hillside", account.Manager, []string{"/trail", "/rules"}, 0},
		{"hillside", account.Nurse, []string{"/h/:id/dogs/:dog", "/h/:id/dogs/:dog/plan"}, 0},
		{"valley", account.Vet, []string{"/today", "/dogs", "/rules", "/undelivered", "/outcomes"}, 0},
		{"valley", account.Vet, []string{"/h/:id"}, http.StatusNotFound},
		{"valley", account.Manager, []string{"/trail"}, 0},
	} {
		x.as(b.signedIn(c.clinic, c.role))
		for _, path := range c.paths {
			x.open(b.server.URL + at(path, id))
			x.accessible(c.clinic + ", " + string(c.role) + ": " + path)
			if c.status != 0 {
				x.complained(c.status)
			}
		}
	}
	x.call("Network.clearBrowserCookies", nil, nil)
	for _, path := range []string{"/desk/sign-in", "/desk/sign-in?why=signed-out"} {
		x.open(b.server.URL + path)
		x.accessible(path)
	}
	x.quiet()
}

// A checker that found nothing in anything would look just like this.
func TestTheCheckerFindsWhatIsWrong(t *testing.T) {
	t.Parallel()
	x := axed(t)
	b := newBench(t, nil)
	x.open(b.server.URL + "/desk/sign-in")
	require.Empty(t, x.findings())
	x.eval("document.querySelector('h1').insertAdjacentHTML('afterend', '<img src=\"/desk/static/mark.svg\"><input name=x>')")
	x.eval("document.querySelector('.hint').style.color = '#ddd'")
	var found []string
	for _, f := range x.findings() {
		found = append(found, f.ID)
	}
	require.Subset(t, found, []string{"image-alt", "label", "color-contrast"})
}
