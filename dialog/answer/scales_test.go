package answer

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// weekly are items named as a check-in might name them; the anchors are
// invented for these tests.
func weekly() []Item {
	return []Item{
		{"limping", []string{"limping", "limp"}, []string{"never", "a few steps", "some of each walk", "most steps", "won't use the leg"}},
		{"soreness", []string{"soreness", "sore"}, []string{"never", "once or twice", "most days", "every day", "all the time"}},
		{"night", []string{"nights", "night"}, []string{"settled every night", "one unsettled night", "two or three", "most nights", "every night"}},
		{"rising", []string{"getting up", "rising"}, []string{"springs up", "a little slow", "slow and stiff", "needs several tries", "needs lifting"}},
		{"walking", []string{"walks", "walking"}, nil},
		{"steps", []string{"steps", "stairs", "car"}, nil},
		{"own1", []string{"sofa"}, nil},
	}
}

func sayScales(r ScalesReading, items []Item) string {
	if r.SameAll {
		return "same-all"
	}
	var b []string
	for _, it := range items {
		v, ok := r.ByItem[it.Code]
		if !ok {
			b = append(b, ".")
			continue
		}
		s := sayScale(v)
		if s == "same" {
			s = "s"
		}
		b = append(b, s)
	}
	return strings.Join(b, "")
}

// The table's second field is one sign per item: a level, x, s (as last time)
// or . (not read).
func TestScalesTable(t *testing.T) {
	items := weekly()
	for _, r := range rows(t, "scales.tsv", 3) {
		got := English().Scales(r.text, items)
		r.check(t, sayScales(got, items), got.Reason)
		require.Equal(t, got.OK, got.SameAll || len(got.ByItem) > 0)
		if !got.SameAll {
			require.Len(t, got.Missing, len(items)-len(got.ByItem), r.text)
		}
	}
}

func TestScalesOfOneItemReadsALevel(t *testing.T) {
	r := English().Scales("about a 2", weekly()[:1])
	require.True(t, r.OK)
	require.Equal(t, 2, r.ByItem["limping"].Value)
}

func TestScalesOfFiveItemsWithX(t *testing.T) {
	items := weekly()[:5]
	require.Equal(t, "100x2", sayScales(English().Scales("1,0,0,X,2", items), items))
	require.Equal(t, "100x2", sayScales(English().Scales("100x2", items), items))
}

func TestScalesOfTwoItems(t *testing.T) {
	items := weekly()[:2]
	for text, want := range map[string]string{
		"2 1": "21", "2, 1": "21", "2,1": "21", "2 and 1": "21", "21": "..", "1-2": "..", "1/2": "..", "1.2": "..",
	} {
		require.Equal(t, want, sayScales(English().Scales(text, items), items), text)
	}
}

func TestScalesCodesMissingKeepTheirOrder(t *testing.T) {
	r := English().Scales("nights 0, steps 2", weekly())
	require.Equal(t, []string{"limping", "soreness", "rising", "walking", "own1"}, r.Missing)
}

func TestScaleReadsAnchors(t *testing.T) {
	items := weekly()
	for _, tt := range []struct {
		item int
		text string
		want string
	}{
		{0, "never", "0"}, {0, "a few steps", "1"}, {0, "few steps", "1"}, {0, "most steps", "3"}, {0, "Most of the steps", "3"},
		{0, "he limps most steps", "-"}, {0, "most steps were fine", "-"}, {0, "steps", "-"}, {0, "not most steps", "-"},
		{0, "won't use the leg", "4"}, {0, "wont use his leg", "4"}, {0, "some of each walk", "2"}, {0, "each walk", "-"},
		{0, "a few steps or most steps?", "-"}, {0, "2", "2"}, {0, "some of each walk today", "2"},
		{1, "every day", "3"}, {1, "most days", "2"}, {1, "days", "-"}, {1, "once or twice", "1"}, {1, "all the time", "4"},
		{2, "two or three", "2"}, {2, "every night", "4"}, {2, "settled every night", "0"}, {2, "one unsettled night", "1"},
		{3, "a little slow", "1"}, {3, "slow", "-"}, {3, "needs lifting", "4"}, {3, "needs several tries", "3"}, {3, "slow and stiff", "2"},
	} {
		got := English().Scale(tt.text, items[tt.item].Anchors)
		require.Equal(t, tt.want, sayScale(got), fmt.Sprintf("%s: %q (%s)", items[tt.item].Code, tt.text, got.Reason))
	}
}
