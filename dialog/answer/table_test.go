package answer

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// row is one line of a table in testdata: a text and what it must be read as.
type row struct {
	file string
	line int
	text string
	want []string
}

// rows reads a table: fields between tabs, # starts a comment line, \n in a
// text is a line break.
func rows(t testing.TB, name string, fields int) []row {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name))
	require.NoError(t, err)
	defer f.Close()
	var out []row
	sc := bufio.NewScanner(f)
	for n := 1; sc.Scan(); n++ {
		if strings.HasPrefix(sc.Text(), "# ") || sc.Text() == "" {
			continue
		}
		cut := strings.Split(sc.Text(), "\t")
		require.Len(t, cut, fields, "%s:%d", name, n)
		out = append(out, row{name, n, strings.ReplaceAll(cut[0], `\n`, "\n"), cut[1:]})
	}
	require.NoError(t, sc.Err())
	return out
}

// check compares a reading with a row; a reason of * allows any.
func (r row) check(t *testing.T, got string, reason Reason) {
	t.Helper()
	want, why := r.want[len(r.want)-2], r.want[len(r.want)-1]
	if got != want || why != "*" && why != string(reason) {
		t.Errorf("%s:%d %q: got %s (%s), want %s (%s)", r.file, r.line, r.text, got, reason, want, why)
	}
}

func sayScale(r ScaleReading) string {
	switch {
	case r.OK:
		return strconv.Itoa(r.Value)
	case r.NotApplicable:
		return "x"
	case r.Same:
		return "same"
	}
	return "-"
}

func TestScaleTable(t *testing.T) {
	for _, r := range slices.Concat(rows(t, "scale.tsv", 3), rows(t, "scale_more.tsv", 3), rows(t, "scale_third.tsv", 3)) {
		got := English().Scale(r.text, nil)
		r.check(t, sayScale(got), got.Reason)
	}
}

func sayYesNo(r YesNoReading) string {
	switch {
	case !r.OK:
		return "-"
	case r.Value:
		return "yes"
	}
	return "no"
}

func TestYesNoTable(t *testing.T) {
	for _, r := range slices.Concat(rows(t, "yesno.tsv", 3), rows(t, "yesno_more.tsv", 3), rows(t, "yesno_third.tsv", 3)) {
		got := English().YesNo(r.text)
		r.check(t, sayYesNo(got), got.Reason)
	}
}

func sayWeight(r WeightReading) string {
	switch {
	case r.CannotWeigh:
		return "cannot"
	case !r.OK:
		return "-"
	}
	return fmt.Sprintf("%d.%03d", r.Grams/1000, r.Grams%1000)
}

func TestWeightTable(t *testing.T) {
	for _, r := range slices.Concat(rows(t, "weight.tsv", 4), rows(t, "weight_more.tsv", 4), rows(t, "weight_third.tsv", 4)) {
		unit := Kilograms
		if r.want[0] == "lb" {
			unit = Pounds
		}
		got := English().Weight(r.text, unit)
		r.check(t, sayWeight(got), got.Reason)
	}
}

func TestNumberTable(t *testing.T) {
	for _, r := range rows(t, "number.tsv", 3) {
		got := English().Number(r.text, 0, 14)
		said := "-"
		if got.OK {
			said = strconv.Itoa(got.Value)
		}
		r.check(t, said, got.Reason)
	}
}

func TestControlTable(t *testing.T) {
	for _, r := range append(rows(t, "control.tsv", 3), rows(t, "control_more.tsv", 3)...) {
		got, why := English().Control(r.text)
		r.check(t, got.String(), why)
	}
}
