package signs

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestPairs requires every message of the pairs (for each sign one just inside
// and one just outside, and what the plan changes) to be read as labelled.
func TestPairs(t *testing.T) {
	for _, lang := range Languages() {
		t.Run(lang, func(t *testing.T) {
			all := pairs(t, lang)
			least := 150
			if lang == mainLanguage {
				least = 250
			}
			require.Greater(t, len(all), least)
			for _, s := range all {
				f := Screen(s.text, s.ctx)
				if s.want == SameDay && f.Urgency == Emergency && f.Ask {
					t.Errorf("%q: asked as an emergency, labelled same-day: %+v", s.text, f)
				}
				require.Equal(t, s.want, f.Urgency, "%s: %q → %+v", s.about, s.text, f)
			}
		})
	}
}
