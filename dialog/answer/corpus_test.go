package answer

import (
	"bufio"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// tales gives the invented messages that the safety screen is measured on, with
// their urgency. They tell of dogs and answer no question, so a reader that
// takes one for an answer has most likely read wrongly.
func tales(t *testing.T) (urgency, text []string) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "internal", "signs", "testdata", "corpus", "en", "*.tsv"))
	require.NoError(t, err)
	for _, name := range files {
		f, err := os.Open(name)
		require.NoError(t, err)
		sc := bufio.NewScanner(f)
		for sc.Scan() {
			cut := strings.Split(sc.Text(), "\t")
			if strings.HasPrefix(sc.Text(), "#") || len(cut) < 3 {
				continue
			}
			urgency, text = append(urgency, cut[0]), append(text, cut[len(cut)-1])
		}
		require.NoError(t, sc.Err())
		require.NoError(t, f.Close())
	}
	require.Greater(t, len(text), 1500, "the safety corpus was not found")
	return urgency, text
}

func TestUrgentTalesAreNotTakenForAnswers(t *testing.T) {
	urgency, text := tales(t)
	urgent, no, weights := 0, 0, 0
	for i := range text {
		if urgency[i] != "emergency" && urgency[i] != "same-day" {
			continue
		}
		urgent++
		if r := English().YesNo(text[i]); r.OK && !r.Value {
			no++
		}
		if r := English().Weight(text[i], Kilograms); r.OK && r.Reason == DefaultUnit {
			weights++
		}
	}
	t.Logf("of %d urgent messages %d were read as no, %d as a weight without a unit", urgent, no, weights)
	require.LessOrEqual(t, no*200, urgent, "at most 0.5 %% of urgent messages may read as no")
	require.LessOrEqual(t, weights*200, urgent, "at most 0.5 %% of urgent messages may read as a bare weight")
}

func TestTalesAreNotOptOuts(t *testing.T) {
	_, text := tales(t)
	for _, s := range text {
		c, why := English().Control(s)
		if c != ControlOptOut && c != ControlOptOutAll {
			continue
		}
		low := strings.ToLower(s)
		if !strings.Contains(low, "stop") && !strings.Contains(low, "text") && !strings.Contains(low, "messag") {
			t.Errorf("%q: %s (%s)", s, c, why)
		}
	}
}
