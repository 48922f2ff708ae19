package record

import (
	"bytes"
	"context"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

// On paper a report has two pages at most and a card two sides, whatever has
// happened. Chromium prints, pdfinfo counts. PAPER_OUT keeps what was printed.
func TestPagesOnPaper(t *testing.T) {
	t.Parallel()
	chromium := needed(t, "chromium", "chromium-browser", "google-chrome")
	pdfinfo := needed(t, "pdfinfo")
	halfYear, crowded, empty := halfYear(t), crowded(t), newStory(t, care.EnrolledDog{Name: "Pip"})
	one := newStory(t, care.EnrolledDog{Name: "Moss"})
	one.pass(time.Hour)
	one.enter(0, 2)
	for _, c := range []struct {
		name  string
		make  func(io.Writer, Input) error
		story *story
		most  int
	}{
		{"report", Report, halfYear, 2}, {"report-crowded", Report, crowded, 2}, {"report-empty", Report, empty, 2}, {"report-one", Report, one, 2},
		{"card", Card, halfYear, 2}, {"card-crowded", Card, crowded, 2}, {"card-empty", Card, empty, 2},
		{"reaction", ReactionSheet, halfYear, 2}, {"reaction-empty", ReactionSheet, empty, 2}, {"timeline", Timeline, halfYear, 60},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			if keep := os.Getenv("PAPER_OUT"); keep != "" {
				dir = keep
			}
			page, pdf := filepath.Join(dir, c.name+".html"), filepath.Join(dir, c.name+".pdf")
			var b bytes.Buffer
			require.NoError(t, c.make(&b, c.story.input()))
			require.NoError(t, os.WriteFile(page, b.Bytes(), 0o600))
			run(t, chromium, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", "--user-data-dir="+t.TempDir(),
				"--print-to-pdf="+pdf, "file://"+page)
			out := run(t, pdfinfo, pdf)
			pages, err := strconv.Atoi(regexp.MustCompile(`Pages:\s+(\d+)`).FindStringSubmatch(out)[1])
			require.NoError(t, err)
			require.LessOrEqual(t, pages, c.most, c.name)
			require.Contains(t, out, "A4", c.name)
			if strings.HasPrefix(c.name, "card") {
				require.Equal(t, 2, pages, "two sides")
				cardOnPaper(t, pdf, c.story)
			}
		})
	}
}

// fontSize is one font of pdftohtml's list, in points times the zoom of 1.
var fontSize = regexp.MustCompile(`<fontspec id="(\d+)" size="(\d+)"`)

// textOf is one line of pdftohtml's.
var textOnPaper = regexp.MustCompile(`<text [^>]*font="(\d+)"[^>]*>(.*?)</text>`)

// cardOnPaper reads a printed card back: large print on both sides, both numbers
// on both, the danger signs on the front and the questions on the back.
func cardOnPaper(t *testing.T, pdf string, s *story) {
	t.Helper()
	needed(t, "pdftohtml")
	needed(t, "pdftotext")
	xml := run(t, "pdftohtml", "-xml", "-stdout", "-zoom", "1", "-i", pdf)
	sizes := map[string]int{}
	for _, m := range fontSize.FindAllStringSubmatch(xml, -1) {
		sizes[m[1]], _ = strconv.Atoi(m[2])
	}
	small := 0
	for _, m := range textOnPaper.FindAllStringSubmatch(xml, -1) {
		if sizes[m[1]] < 16 {
			small++
			require.Regexp(t, `Made|invented|not a validated|watched`, m[2], "%d points", sizes[m[1]])
		}
	}
	require.NotEmpty(t, sizes)
	require.LessOrEqual(t, small, 2, "only the line that says when it was made")
	front := strings.Join(strings.Fields(run(t, "pdftotext", "-f", "1", "-l", "1", pdf, "-")), " ")
	back := strings.Join(strings.Fields(run(t, "pdftotext", "-f", "2", "-l", "2", pdf, "-")), " ")
	for _, side := range []string{front, back} {
		require.Contains(t, side, s.rules.Phone)
		require.Contains(t, side, s.rules.Emergency)
	}
	require.Contains(t, front, "A vet now, at any hour")
	require.Contains(t, front, "Ring us the same day")
	require.Contains(t, front, "next dose")
	for _, words := range []string{"limping", "won't use the leg", "getting up", "not watched round the clock"} {
		require.Contains(t, strings.ToLower(strings.ReplaceAll(back, "’", "'")), words)
	}
}

func needed(t *testing.T, names ...string) string {
	t.Helper()
	for _, n := range names {
		if path, err := exec.LookPath(n); err == nil {
			return path
		}
	}
	t.Skipf("%v is not installed here, so that pages can't be counted", names)
	return ""
}

func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	ctx, stop := context.WithTimeout(context.Background(), time.Minute)
	defer stop()
	out, err := exec.CommandContext(ctx, name, args...).CombinedOutput()
	require.NoError(t, err, string(out))
	return string(out)
}
