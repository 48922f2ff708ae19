package clinical_test

import (
	"testing"

	"github.com/fxamacker/cbor/v2"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/clinical"
)

const (
	week  = int64(7 * 24 * 60 * 60)
	day   = int64(24 * 60 * 60)
	start = int64(1_772_409_600) // 2026-03-02T00:00:00Z, a Monday
)

func TestCourseSurvivesStorage(t *testing.T) {
	th := clinical.DefaultThresholds()
	var c clinical.Course
	c.BeginStretch(start, false)
	for i := range int64(40) {
		if i == 20 {
			c.BeginStretch(start+i*week, true)
			c.ChangeOwnActivity(clinical.Own2, start+i*week)
		}
		items := clinical.Items{1, 2, clinical.Level(i % 4), 1, clinical.Missing, 2, clinical.NotApplicable, 3}
		_, err := c.Add(th, clinical.Reading{At: start + i*week + 3600, Items: items, Carried: i%9 == 8}, i%11 == 10)
		require.NoError(t, err)

		stored, err := cbor.Marshal(c)
		require.NoError(t, err)
		var back clinical.Course
		require.NoError(t, cbor.Unmarshal(stored, &back))
		require.Equal(t, c, back, "week %d", i)
		// It travels with every message of the household.
		require.LessOrEqual(t, len(stored), 700)
		if i == 39 {
			t.Logf("a full course takes %d bytes", len(stored))
		}
	}
}

func TestStoredPastRefusesDamage(t *testing.T) {
	var p clinical.Past
	require.NoError(t, p.UnmarshalBinary(nil))
	for _, b := range [][]byte{{2}, {1, 0x80}, {1, 2, 2}, {1, 2, 2, 0xff, 0xff, 0xff, 0xff, 0}, {1, 2, 2, 1}} {
		require.ErrorIs(t, p.UnmarshalBinary(b), clinical.ErrStoredPast)
	}
}

func FuzzStoredPast(f *testing.F) {
	f.Add([]byte{1, 2, 2, 0x22, 0x22, 0x22, 0x22, 0})
	f.Add([]byte{1})
	f.Fuzz(func(t *testing.T, b []byte) {
		var p clinical.Past
		if p.UnmarshalBinary(b) != nil {
			return
		}
		again, err := p.MarshalBinary()
		require.NoError(t, err)
		var q clinical.Past
		require.NoError(t, q.UnmarshalBinary(again))
		require.Equal(t, p, q)
	})
}
