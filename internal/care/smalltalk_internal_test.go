package care

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestCourtesiesAskNothing(t *testing.T) {
	t.Parallel()
	for _, s := range []string{"thanks", "ta x", "Ok, thank you very much!", "\U0001F44D", "cheers, will do", "lovely, thanks again xx", "Good night", ""} {
		require.True(t, smallTalk(s), s)
	}
	for _, s := range []string{"thanks, he is limping", "ok?", "can you ring", "good morning, how long does it take", "2", "no he is not"} {
		require.False(t, smallTalk(s), s)
	}
}
