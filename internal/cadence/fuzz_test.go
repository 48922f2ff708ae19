package cadence_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/cadence"
)

// What is read as a date or a time of day reads back as what was written.
func FuzzParseDateAndTime(f *testing.F) {
	for _, s := range []string{"2026-03-01", "2026-02-30", "0000-01-01", "9999-12-31", "08:30", "24:00", "8:30", "", "2026-3-1", "٠٨:٣٠"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if d, err := cadence.ParseLocalDate(s); err == nil {
			require.Equal(t, s, d.String())
		} else {
			require.ErrorIs(t, err, cadence.ErrBadDate)
		}
		if m, err := cadence.ParseMinuteOfDay(s); err == nil {
			require.Equal(t, s, m.String())
			require.Less(t, m, cadence.EndOfDay)
		} else {
			require.ErrorIs(t, err, cadence.ErrBadTime)
		}
	})
}
