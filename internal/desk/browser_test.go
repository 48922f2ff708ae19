package desk

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
)

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
	x.eval("window.same = true")
	b.says("hillside", id, "much brighter, thank you")
	x.until("[...document.querySelectorAll('.line.owner')].some(n => n.textContent.includes('much brighter'))")
	x.fill("form.write textarea", "half a sentence")
	b.says("hillside", id, "she has eaten too")
	x.until("document.getElementById('news').textContent.includes('Finish what you are typing')")
	require.Equal(t, true, x.eval("window.same"), "the page was never loaded anew")
	require.Equal(t, "half a sentence", x.eval("document.querySelector('form.write textarea').value"))
	x.quiet()
}

// isPage reports whether a route answers with a page to look at: not with a
// stream, a file or the way to another.
func isPage(r route) bool {
	return r.method == http.MethodGet && r.path != "/live" && r.path != "/" && !strings.Contains(r.path, ".") && !strings.Contains(r.path, "/media/")
}

// No page is wider than a telephone, and everything that can be pressed can be
// reached by the keyboard.
func TestPagesFitATelephone(t *testing.T) {
	t.Parallel()
	x := openBrowser(t, phone)
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Sir Bartholomew Wigglesworth-Smythe-Featherstonehaugh III", Grams: 32_000, BCS: 7,
		Plan: []care.Entry{{Area: care.AreaPain, What: strings.Repeat("invented tablets ", 4), Class: care.NSAID}}})
	b.says("hillside", id, "collapsed "+strings.Repeat("x", 300)+" "+strings.Repeat("and so on ", 40))
	b.checkIns("hillside", id, 1, 1, 1, 3, 3)
	x.as(b.signedIn("hillside", account.Vet))
	for _, r := range routes {
		if !isPage(r) {
			continue
		}
		x.open(b.server.URL + at(r.path, id))
		x.until("document.querySelector('main h1')")
		x.eval("document.querySelectorAll('details').forEach(d => { d.open = true })")
		wide := x.eval("document.documentElement.scrollWidth")
		require.LessOrEqual(t, wide, 390.0, "%s is %v wide", r.path, wide)
		x.until("!document.querySelector('[data-again]')")
		narrow := x.eval("[...document.querySelectorAll('#o-alerts')].filter(t => t.offsetWidth < 500).length")
		require.Equal(t, 0.0, narrow, "%s: a table so narrow that its words break", r.path)
		lost := x.eval(`[...document.querySelectorAll('[onclick], [tabindex="-1"]:not(main)')].length`)
		require.Equal(t, 0.0, lost, r.path)
		unnamed := x.eval(`[...document.querySelectorAll('input:not([type=hidden]):not([hidden]), select, textarea')].filter(f => !f.labels.length && !f.getAttribute('aria-label')).length`)
		require.Equal(t, 0.0, unnamed, "%s: a field has no label", r.path)
	}
	x.quiet()
}
