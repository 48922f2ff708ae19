package sms_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/sms"
)

func published(t *testing.T, name string, into any) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", name))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, into))
}

type segmentRow struct {
	Runs     [][2]any `json:"runs"`
	Encoding string   `json:"encoding"`
	Units    int      `json:"units"`
	Segments int      `json:"segments"`
	Clusters bool     `json:"clusters"`
}

func (r segmentRow) text() string {
	var b strings.Builder
	for _, run := range r.Runs {
		b.WriteString(strings.Repeat(run[0].(string), int(run[1].(float64))))
	}
	return b.String()
}

func segmentRows(t *testing.T) []segmentRow {
	var file struct {
		Source string       `json:"source"`
		Rows   []segmentRow `json:"rows"`
	}
	published(t, "sms-segments.json", &file)
	require.Contains(t, file.Source, "sms-segments-calculator 1.3.0")
	require.GreaterOrEqual(t, len(file.Rows), 200)
	return file.Rows
}

// Source: npm package sms-segments-calculator 1.3.0, run over 300 texts.
func TestEncodeMatchesPublishedCalculator(t *testing.T) {
	seen := map[string]int{}
	for i, row := range segmentRows(t) {
		got := sms.Encode(row.text())
		require.Equal(t, row.Encoding, got.Encoding.String(), "row %d", i)
		require.Equal(t, row.Units, got.Units, "row %d", i)
		if row.Clusters {
			// The package also keeps joined emoji together at a seam; the standard doesn't ask for it.
			require.LessOrEqual(t, got.Segments, row.Segments, "row %d", i)
			continue
		}
		require.Equal(t, row.Segments, got.Segments, "row %d", i)
		require.True(t, sms.Fits(row.text(), row.Segments), "row %d", i)
		require.False(t, sms.Fits(row.text(), row.Segments-1), "row %d", i)
		seen[row.Encoding+" "+strconv.Itoa(row.Segments)]++
	}
	for _, want := range []string{"GSM-7 1", "GSM-7 2", "GSM-7 3", "UCS-2 1", "UCS-2 2", "UCS-2 3"} {
		require.Positive(t, seen[want], "no published text of kind %s", want)
	}
}

// The rows that dividing the length gets wrong: a pair at a seam leaves a unit unused.
func TestEncodeDiffersFromDividingTheLength(t *testing.T) {
	differ := 0
	for _, row := range segmentRows(t) {
		part := 153
		if row.Encoding == "UCS-2" {
			part = 67
		}
		if row.Segments > 1 && row.Segments != (row.Units+part-1)/part {
			differ++
		}
	}
	require.GreaterOrEqual(t, differ, 3, "the published texts must tell the right rule from the naive one")
}

// Source: Perl Encode::GSM0338 2.10, dump of the whole alphabet.
func TestAlphabetMatchesPublishedTable(t *testing.T) {
	var file struct {
		Characters []struct {
			Rune    string `json:"rune"`
			Septets int    `json:"septets"`
		} `json:"characters"`
	}
	published(t, "gsm0338.json", &file)
	require.Len(t, file.Characters, 137)
	cost := map[rune]int{}
	for _, c := range file.Characters {
		code, err := strconv.ParseInt(strings.TrimPrefix(c.Rune, "U+"), 16, 32)
		require.NoError(t, err)
		cost[rune(code)] = c.Septets
	}
	for r := rune(0); r <= 0xFFFF; r++ {
		if r >= 0xD800 && r <= 0xDFFF {
			continue
		}
		got := sms.Encode(string(r))
		if want, ok := cost[r]; ok {
			require.Equal(t, sms.Count{Encoding: sms.GSM7, Units: want, Segments: 1}, got, "%U", r)
		} else {
			require.Equal(t, sms.Count{Encoding: sms.UCS2, Units: 1, Segments: 1, Culprits: []rune{r}}, got, "%U", r)
		}
	}
}
