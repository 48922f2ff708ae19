package contact_test

import (
	"bufio"
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// phoneLike finds E.164 numbers, also with single separators or form-encoded, and
// British mobile numbers in national form.
var phoneLike = regexp.MustCompile(`(?:^|[^0-9A-Za-z/+])((?:\+|%2B|00)[1-9](?:[ .()-]{0,2}[0-9])+|07[0-9]{3}[ -]?[0-9]{6}\b)`)

var notDigits = regexp.MustCompile(`[^0-9]`)

// asE164 returns the number in E.164 form, or "" when its length rules it out.
func asE164(match string) string {
	national := strings.HasPrefix(match, "07")
	match = strings.Replace(match, "(0)", "", 1) // the trunk zero of +44 (0)…
	digits := notDigits.ReplaceAllString(strings.TrimPrefix(match, "%2B"), "")
	switch {
	case national:
		digits = "44" + digits[1:]
	case strings.HasPrefix(match, "00"):
		digits = digits[2:]
	}
	// Shorter runs are offsets and signed figures; longer ones are no numbers.
	if len(digits) < 10 || len(digits) > 15 {
		return ""
	}
	return "+" + digits
}

type numberJudge struct {
	reserved []*regexp.Regexp
	allowed  map[string]bool
}

func newNumberJudge(t *testing.T) numberJudge {
	j := numberJudge{allowed: map[string]bool{}}
	for _, r := range fictionalRanges(t) {
		j.reserved = append(j.reserved, regexp.MustCompile(r.Pattern))
	}
	raw, err := os.ReadFile(filepath.Join("testdata", "allowed-numbers.txt"))
	require.NoError(t, err)
	for line := range strings.Lines(string(raw)) {
		if strings.HasPrefix(line, "#") || strings.TrimSpace(line) == "" {
			continue
		}
		number, source, _ := strings.Cut(strings.TrimSpace(line), " ")
		require.NotEmpty(t, source, "%s needs a source", number)
		j.allowed[number] = true
	}
	return j
}

// completed puts digits where a format string leaves room for them, so that a
// number which is made up in a test is looked at as the number it becomes.
var completed = strings.NewReplacer("%02d", "00", "%03d", "000", "%d", "0", "%[1]d", "0", "%[2]d", "0", "%[3]d", "0")

// strangers returns the phone-like numbers of a line that nobody reserved or published.
func (j numberJudge) strangers(line string) []string {
	var found []string
	line = completed.Replace(line)
	for _, m := range phoneLike.FindAllStringSubmatch(line, -1) {
		if n := asE164(m[1]); n != "" && !j.knows(n) {
			found = append(found, n)
		}
	}
	return found
}

func (j numberJudge) knows(number string) bool {
	if j.allowed[number] {
		return true
	}
	for _, r := range j.reserved {
		if r.MatchString(number) {
			return true
		}
	}
	return false
}

// The scanner itself must see numbers in the forms people write. The strangers
// are put together here so that this file holds none.
func TestNumberScannerSees(t *testing.T) {
	j := newNumberJudge(t)
	stranger := "7911" + "123456"
	for _, line := range []string{
		"to=+44" + stranger, "To=%2B44" + stranger + "&x=1", "ring +44 7911 " + "123456 now", `"+1 (415) 867-` + `5300"`, "0" + stranger, "0044" + stranger,
	} {
		require.NotEmpty(t, j.strangers(line), line)
	}
	for _, line := range []string{
		"+447700900123", "07700 900123", "+14158675309", "+1 202 555 0123", "2026-03-29T03:00:00+02:00", "+10:30", "x+12345678901", "0.0712345678",
	} {
		require.Empty(t, j.strangers(line), line)
	}
}

// A number of a real person must never enter the repository, not even by chance.
func TestRepositoryHoldsNoRealNumbers(t *testing.T) {
	root := filepath.Join("..", "..")
	j := newNumberJudge(t)
	scanned := 0
	for _, path := range trackedFiles(t, root) {
		raw, err := os.ReadFile(filepath.Join(root, path))
		if err != nil || bytes.IndexByte(raw[:min(len(raw), 8000)], 0) >= 0 {
			continue // removed meanwhile, or not text
		}
		scanned++
		lines := bufio.NewScanner(bytes.NewReader(raw))
		lines.Buffer(nil, 16<<20)
		for n := 1; lines.Scan(); n++ {
			for _, number := range j.strangers(lines.Text()) {
				t.Errorf("%s:%d: %s is not in a range reserved for fiction; use one from testdata/published/fictional-numbers.json, "+
					"or, if it is published test data, name it with its source in internal/contact/testdata/allowed-numbers.txt", path, n, number)
			}
		}
		require.NoError(t, lines.Err(), path)
	}
	require.Greater(t, scanned, 20)
}

// trackedFiles lists what git tracks, or every file where there is no git.
func trackedFiles(t *testing.T, root string) []string {
	out, err := exec.Command("git", "-C", root, "ls-files", "-z").Output()
	if err == nil && len(out) > 0 {
		return strings.Split(strings.TrimRight(string(out), "\x00"), "\x00")
	}
	var files []string
	require.NoError(t, filepath.WalkDir(root, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if d.Name() == ".git" {
				return filepath.SkipDir
			}
			return nil
		}
		rel, err := filepath.Rel(root, path)
		files = append(files, rel)
		return err
	}))
	return files
}
