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
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

// On paper a report has two pages at most and a card has one, whatever has
// happened. Chromium prints, pdfinfo counts. PAPER_OUT keeps what was printed.
func TestPagesOnPaper(t *testing.T) {
	t.Parallel()
	chromium := needed(t, "chromium", "chromium-browser", "google-chrome")
	pdfinfo := needed(t, "pdfinfo")
	halfYear, crowded, empty := halfYear(t), crowded(t), newStory(t, care.EnrolledDog{Name: "Pip"})
	for _, c := range []struct {
		name  string
		make  func(io.Writer, Input) error
		story *story
		most  int
	}{
		{"report", Report, halfYear, 2}, {"report-crowded", Report, crowded, 2}, {"report-empty", Report, empty, 2},
		{"card", Card, halfYear, 1}, {"card-crowded", Card, crowded, 1}, {"card-empty", Card, empty, 1},
		{"reaction", ReactionSheet, halfYear, 2}, {"timeline", Timeline, halfYear, 60},
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
		})
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
