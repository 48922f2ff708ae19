package cadence

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// The next time of day is the one that looking at every minute finds.
func TestTimeFromIsTheNextMatchingMinute(t *testing.T) {
	for _, expr := range []string{"0 18 * * *", "* * * * *", "59 23 * * *", "0 0 * * *", "*/20 7-9,21 * * *", "5,40 * * * *"} {
		c, err := Parse(expr, 0)
		require.NoError(t, err)
		want := EndOfDay
		for m := EndOfDay; m >= 0; m-- {
			if m < EndOfDay && c.matchesTime(m) {
				want = m
			}
			require.Equal(t, want, c.timeFrom(m), "%s from %d", expr, m)
		}
	}
}
