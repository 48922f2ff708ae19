package desk

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
)

func TestPapersOfADog(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(o *Options) { o.Papers = StandardPapers() })
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble", Grams: 30_000,
		Plan: []care.Entry{{Area: care.AreaPain, What: "carprofen", Class: care.NSAID}}})
	b.checkIns("hillside", id, 1, 2, 1, 1)
	b.says("hillside", id, `sick again <script>alert("x")</script>`)
	vet := b.signedIn("hillside", account.Vet)
	dog := vet.get(at("/h/:id/dogs/:dog", id)).ok()
	links := dog.all("a.paper")
	require.Len(t, links, 7)
	for i, words := range []string{"not a validated instrument", "not watched round the clock", "Everything that the record holds", "makes no diagnosis", "Summary for physiotherapy or hydrotherapy"} {
		url, _ := attr(links[i], "href")
		page := vet.get(url).ok()
		page.has("main", words, "Bramble")
		page.hasNot("script")
		page.hasNot("style")
		require.Contains(t, page.body, `href="/desk/static/paper.css"`)
		require.Contains(t, page.header.Get("Content-Security-Policy"), "default-src 'none'")
		require.Equal(t, "no-store", page.header.Get("Cache-Control"))
	}
	style := vet.get("/desk/static/paper.css")
	require.Equal(t, http.StatusOK, style.status)
	require.True(t, strings.HasPrefix(style.header.Get("Content-Type"), "text/css"))
	trail := vet.get("/desk/trail").ok()
	for _, what := range []string{"the report", "the card", "the timeline", "the suspected-reaction sheet", "the referral summary"} {
		trail.has("main", what)
	}
	require.Equal(t, http.StatusNotFound, vet.get(at("/h/:id/dogs/7/report", id)).status)
}

func TestAReferralAsTextShowsNumbersOnlyWhereAskedFor(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	nurse := b.signedIn("hillside", account.Nurse)
	page := nurse.get(at("/h/:id/dogs/0/referral.txt", id))
	require.Equal(t, http.StatusOK, page.status)
	require.Equal(t, "text/plain; charset=utf-8", page.header.Get("Content-Type"))
	require.Contains(t, page.body, "Referral: Bramble")
	require.NotContains(t, page.body, "01632")
	require.Contains(t, nurse.get(at("/h/:id/dogs/0/referral.txt?numbers=yes", id)).body, "01632 960100")
	require.Equal(t, http.StatusForbidden, b.signedIn("hillside", account.Reception).get(at("/h/:id/dogs/0/referral", id)).status)
}
