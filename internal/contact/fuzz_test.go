package contact_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/contact"
)

// An id that is read is written the same; its partition exists, whatever it is.
func FuzzParseID(f *testing.F) {
	for _, s := range []string{"", "00112233445566778899aabbccddeeff", "00112233445566778899AABBCCDDEEFF", "zz", "\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		p := contact.ID(s).Partition()
		require.True(t, p >= 0 && p < contact.Partitions)
		id, err := contact.ParseID(s)
		if err != nil {
			require.ErrorIs(t, err, contact.ErrBadID)
			return
		}
		require.Equal(t, contact.ID(s), id)
	})
}
