package signs

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestBareWords: what an owner says in the fewest and plainest words is read
// without fail, whatever the model makes of so short a message.
func TestBareWords(t *testing.T) {
	for _, lang := range Languages() {
		t.Run(lang, func(t *testing.T) {
			seen := map[Urgency]int{}
			for _, s := range readSamples(t, lang, "testdata/corpus/"+lang+"/bare.train.tsv") {
				f := Screen(s.text, s.ctx)
				require.Equal(t, s.want, f.Urgency, "%s: %q → %+v", s.about, s.text, f)
				seen[s.want]++
			}
			least := 30
			if lang == mainLanguage {
				least = 70
			}
			require.Greater(t, min(seen[Emergency], seen[SameDay], seen[None]), least)
		})
	}
}
