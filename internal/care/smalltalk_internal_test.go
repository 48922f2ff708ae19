package care

import (
	"strings"
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

func TestQuotedWordsFitATextMessage(t *testing.T) {
	t.Parallel()
	require.Equal(t, `"he's not himself - off his 'food' ... since Tuesday"`,
		quote("he\u2019s not himself \u2013 off his \u201cfood\u201d \u2026 since\nTuesday \U0001F622\uFE0F"))
	require.LessOrEqual(t, len([]rune(quote(strings.Repeat("sick ", 80)))), 142)
}
