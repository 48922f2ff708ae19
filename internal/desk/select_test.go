package desk

import (
	"io"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
)

// answer is what the desk answered, read as a page.
type answer struct {
	t      testing.TB
	status int
	header http.Header
	body   string
	root   *html.Node
}

func readAnswer(t testing.TB, res *http.Response) *answer {
	t.Helper()
	body, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	root, err := html.Parse(strings.NewReader(string(body)))
	require.NoError(t, err)
	return &answer{t, res.StatusCode, res.Header, string(body), root}
}

func (a *answer) ok() *answer {
	a.t.Helper()
	require.Equal(a.t, http.StatusOK, a.status, a.text("main"))
	return a
}

func (a *answer) to() string { return a.header.Get("Location") }

// done wants the answer of a form that was accepted, with a notice's code.
func (a *answer) done(say string) *answer {
	a.t.Helper()
	require.Equal(a.t, http.StatusSeeOther, a.status, a.text("main"))
	require.Contains(a.t, a.to(), "say="+say)
	return a
}

// all returns the elements a selector finds: names, #ids, .classes and
// [attributes], with spaces for "within".
func (a *answer) all(selector string) []*html.Node {
	found := []*html.Node{a.root}
	for _, part := range strings.Fields(selector) {
		var next []*html.Node
		seen := map[*html.Node]bool{}
		for _, n := range found {
			for d := range n.Descendants() {
				if d.Type == html.ElementNode && matches(d, part) && !seen[d] {
					seen[d] = true
					next = append(next, d)
				}
			}
		}
		found = next
	}
	return found
}

func (a *answer) has(selector string, words ...string) {
	a.t.Helper()
	found := a.all(selector)
	require.NotEmpty(a.t, found, "there is no %s on the page: %s", selector, a.text("main"))
	var texts []string
	for _, n := range found {
		texts = append(texts, textOf(n))
	}
	for _, w := range words {
		require.Contains(a.t, strings.Join(texts, "\n"), w, selector)
	}
}

func (a *answer) hasNot(selector string) {
	a.t.Helper()
	require.Empty(a.t, a.all(selector), "%s is on the page", selector)
}

func (a *answer) text(selector string) string {
	var all []string
	for _, n := range a.all(selector) {
		all = append(all, textOf(n))
	}
	return strings.Join(all, "\n")
}

func attr(n *html.Node, name string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val, true
		}
	}
	return "", false
}

func textOf(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
			b.WriteByte(' ')
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// matches tests one element against name, #id, .class and [attribute=value].
func matches(n *html.Node, sel string) bool {
	for sel != "" {
		kind := sel[0]
		rest := sel
		if kind == '#' || kind == '.' || kind == '[' {
			rest = sel[1:]
		}
		end := strings.IndexAny(rest, "#.[")
		if kind == '[' {
			end = strings.IndexByte(rest, ']')
		}
		word := rest
		if end >= 0 {
			word = rest[:end]
		}
		sel = strings.TrimPrefix(rest[len(word):], "]")
		if !matchesOne(n, kind, word) {
			return false
		}
	}
	return true
}

func matchesOne(n *html.Node, kind byte, word string) bool {
	switch kind {
	case '#':
		id, _ := attr(n, "id")
		return id == word
	case '.':
		class, _ := attr(n, "class")
		return strings.Contains(" "+class+" ", " "+word+" ")
	case '[':
		name, want, given := strings.Cut(word, "=")
		value, ok := attr(n, name)
		return ok && (!given || value == strings.ReplaceAll(want, "_", " "))
	default:
		return n.Data == word
	}
}
