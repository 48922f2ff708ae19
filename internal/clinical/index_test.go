package clinical_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/clinical"
)

const (
	missing = clinical.Missing
	na      = clinical.NotApplicable
)

var update = flag.Bool("update", false, "write the golden file of a new formula version")

func TestIndexOf(t *testing.T) {
	cases := []struct {
		name  string
		items clinical.Items
		want  clinical.Index
	}{
		{"no trouble", clinical.Items{}, clinical.Index{PainScored: true, MobilityScored: true, Scored: true}},
		{"worst", clinical.Items{4, 4, 4, 4, 4, 4, 4, 4},
			clinical.Index{Pain: 100, Mobility: 100, Total: 100, PainScored: true, MobilityScored: true, Scored: true}},
		{"halves weigh the same", clinical.Items{4, 4, 4, 0, 0, 0, 0, 0},
			clinical.Index{Pain: 100, Total: 50, PainScored: true, MobilityScored: true, Scored: true}},
		{"one of three pain items is too few", clinical.Items{2, missing, missing, 1, 1, 1, 1, 1},
			clinical.Index{Mobility: 25, MobilityScored: true}},
		{"two of three are enough", clinical.Items{2, missing, 1, 1, 1, 1, 1, 1},
			clinical.Index{Pain: 37.5, Mobility: 25, Total: 31.25, PainScored: true, MobilityScored: true, Scored: true}},
		{"what doesn't apply leaves the denominator: one of two is half", clinical.Items{2, missing, na, 1, 1, 1, 1, 1},
			clinical.Index{Pain: 50, Mobility: 25, Total: 37.5, PainScored: true, MobilityScored: true, Scored: true}},
		{"two of five mobility items are too few", clinical.Items{2, 2, 2, 1, 1, missing, missing, missing},
			clinical.Index{Pain: 50, PainScored: true}},
		{"two of four are half", clinical.Items{2, 2, 2, 1, 1, missing, missing, na},
			clinical.Index{Pain: 50, Mobility: 25, Total: 37.5, PainScored: true, MobilityScored: true, Scored: true}},
		{"a half of which nothing applies has no score", clinical.Items{na, na, na, 1, 1, 1, 1, 1},
			clinical.Index{Mobility: 25, MobilityScored: true}},
		{"nothing answered", clinical.NoAnswers(), clinical.Index{}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got, err := clinical.IndexOf(c.items)
			require.NoError(t, err)
			require.Equal(t, c.want, got)
		})
	}
}

func TestIndexOfRefusesAndNamesBadLevels(t *testing.T) {
	for _, bad := range []clinical.Level{5, -3, 127, -128} {
		items := clinical.Items{}
		items[clinical.Steps] = bad
		_, err := clinical.IndexOf(items)
		require.ErrorIs(t, err, clinical.ErrLevel)
		require.ErrorContains(t, err, "steps")
	}
}

// everyCheckIn calls f with a random sample of check-ins over all answer kinds.
func everyCheckIn(seed uint64, n int, f func(clinical.Items)) {
	rng := rand.New(rand.NewPCG(seed, 1))
	for range n {
		var items clinical.Items
		for i := range items {
			items[i] = clinical.Level(rng.IntN(7) - 2)
		}
		f(items)
	}
}

func TestIndexIsBoundedAndNeverNaN(t *testing.T) {
	everyCheckIn(1, 50_000, func(items clinical.Items) {
		x, err := clinical.IndexOf(items)
		require.NoError(t, err)
		for _, s := range []clinical.Score{x.Pain, x.Mobility, x.Total} {
			if math.IsNaN(float64(s)) || s < 0 || s > 100 {
				t.Fatalf("%v scores %v", items, x)
			}
		}
		require.Equal(t, x.PainScored && x.MobilityScored, x.Scored)
	})
}

func TestIndexIsMonotoneInEveryItem(t *testing.T) {
	everyCheckIn(2, 20_000, func(items clinical.Items) {
		x, _ := clinical.IndexOf(items)
		if !x.Scored {
			return
		}
		for i, l := range items {
			if !l.Answered() || l == clinical.MaxLevel {
				continue
			}
			worse := items
			worse[i]++
			y, _ := clinical.IndexOf(worse)
			if !(y.Total > x.Total) {
				t.Fatalf("%v → %v: %v is not above %v", items, worse, y.Total, x.Total)
			}
		}
	})
}

func TestIndexIgnoresItemOrderWithinAHalf(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	everyCheckIn(4, 20_000, func(items clinical.Items) {
		shuffled := items
		pain, mobility := shuffled[:clinical.Rising], shuffled[clinical.Rising:]
		rng.Shuffle(len(pain), func(i, k int) { pain[i], pain[k] = pain[k], pain[i] })
		rng.Shuffle(len(mobility), func(i, k int) { mobility[i], mobility[k] = mobility[k], mobility[i] })
		x, _ := clinical.IndexOf(items)
		y, _ := clinical.IndexOf(shuffled)
		require.Equal(t, x, y)
	})
}

func TestItemCodes(t *testing.T) {
	for i := range clinical.ItemCount {
		item := clinical.Item(i)
		back, ok := clinical.ItemByCode(item.String())
		require.True(t, ok)
		require.Equal(t, item, back)
		require.Equal(t, i <= int(clinical.Night), item.Half() == clinical.Pain)
	}
	_, ok := clinical.ItemByCode("tail")
	require.False(t, ok)
	require.Equal(t, "item(9)", clinical.Item(9).String())
}

// goldenCase is one check-in and what formula FormulaVersion makes of it.
type goldenCase struct {
	Items    clinical.Items
	Pain     *float64
	Mobility *float64
	Index    *float64
}

type golden struct {
	FormulaVersion int
	Note           string
	Cases          []goldenCase
}

// A changed result is a changed formula: it needs the next FormulaVersion and a
// golden file of its own, written once with -update. Old files are never rewritten.
func TestIndexGolden(t *testing.T) {
	path := filepath.Join("testdata", fmt.Sprintf("index_v%d.json", clinical.FormulaVersion))
	if _, err := os.Stat(path); *update && os.IsNotExist(err) {
		b, err := json.Marshal(goldenNow(t))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(path, b, 0o644))
	}
	b, err := os.ReadFile(path)
	require.NoError(t, err, "no golden file for formula version %d", clinical.FormulaVersion)
	var kept golden
	require.NoError(t, json.Unmarshal(b, &kept))
	require.Equal(t, clinical.FormulaVersion, kept.FormulaVersion)
	require.GreaterOrEqual(t, len(kept.Cases), 300)
	for _, c := range kept.Cases {
		require.Equal(t, c, goldenOf(t, c.Items),
			"the index changed but FormulaVersion is still %d", clinical.FormulaVersion)
	}
}

func goldenOf(t *testing.T, items clinical.Items) goldenCase {
	x, err := clinical.IndexOf(items)
	require.NoError(t, err)
	value := func(s clinical.Score, scored bool) *float64 {
		if !scored {
			return nil
		}
		f := float64(s)
		return &f
	}
	return goldenCase{
		Items: items, Pain: value(x.Pain, x.PainScored),
		Mobility: value(x.Mobility, x.MobilityScored), Index: value(x.Total, x.Scored),
	}
}

func goldenNow(t *testing.T) golden {
	g := golden{
		FormulaVersion: clinical.FormulaVersion,
		Note:           "Invented answers; -1 not answered, -2 does not apply; null is no score.",
	}
	everyCheckIn(5, 300, func(items clinical.Items) { g.Cases = append(g.Cases, goldenOf(t, items)) })
	return g
}
