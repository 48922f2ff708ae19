package care_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

func TestKeysAreKnownUntilTheyAreOldest(t *testing.T) {
	t.Parallel()
	var k care.Keys
	for i := range 60 {
		was := append(care.Keys(nil), k...)
		k2 := k.With(fmt.Sprint("sms/SM", i), 50)
		require.Equal(t, was, append(care.Keys(nil), k...), "the old keys stay as they were")
		k = k2
	}
	require.Len(t, k, 50*8)
	for i := range 60 {
		require.Equal(t, i >= 10, k.Has(fmt.Sprint("sms/SM", i)), i)
	}
	require.False(t, k.Has("sms/SM"))
	require.False(t, care.Keys(nil).Has("x"))
}
