package signs

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestBareWords: what an owner says in the fewest and plainest words is read
// without fail, whatever the model makes of so short a message.
func TestBareWords(t *testing.T) {
	seen := map[Urgency]int{}
	for _, s := range readSamples(t, "testdata/corpus/bare.train.tsv") {
		f := Screen(s.text, s.ctx)
		require.Equal(t, s.want, f.Urgency, "%s: %q → %+v", s.about, s.text, f)
		seen[s.want]++
	}
	require.Greater(t, min(seen[Emergency], seen[SameDay], seen[None]), 70)
}
