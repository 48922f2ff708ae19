package care

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What says more than one plain word of a day is not judged.
func TestADayInWords(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]DayMark{
		"a good day": GoodDay, "It was a really good day": GoodDay, "pretty good today, thank you": GoodDay, "Bramble had a good one": GoodDay,
		"a very bad day": BadDay, "hard": BadDay, "an ok day": MixedDay,
		"not a good day": DayUnsaid, "good morning, bad afternoon": DayUnsaid, "what a day": DayUnsaid, "a quiet one": DayUnsaid, "": DayUnsaid,
	} {
		require.Equal(t, want, dayInWords(text, "Bramble"), text)
	}
}

// An own activity is cut at a word, without how people begin, and never to
// something a text message can't write.
func TestAnActivityOf(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"climbing onto the sofa in the evening": "climbing onto the sofa", "he loves swimming": "swimming", "To chase leaves!": "chase leaves",
		"1": "", "?!": "", "ok": "", "the stairs": "the stairs", "Supercalifragilisticexpialidocious": "Supercalifragilisticexpi",
	} {
		require.Equal(t, want, activityOf(text), text)
		require.LessOrEqual(t, len([]rune(activityOf(text))), 24)
	}
}
