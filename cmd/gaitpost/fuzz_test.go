package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/cadence"
)

func FuzzCadenceFlags(f *testing.F) {
	for _, s := range []string{"13d", "-1d", "99999999999999999999d", "d", "", "2026-03-01T08:00", "2026-03-29T01:30", "2026-03-01T08:00:00Z"} {
		f.Add(s)
	}
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, s string) {
		if days, err := parseGap(s); err == nil {
			require.True(t, days >= 0 && days <= cadence.MaxGapDays)
		}
		if at, err := parseFrom(s, zone, time.Now); err == nil {
			require.NotEmpty(t, at.String())
		}
	})
}
