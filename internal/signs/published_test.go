package signs

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestPublishedSignLists holds the screen against the lists of signs that the
// US FDA, the AVMA and the University of Missouri give owners. Sources are
// named in testdata/published/owner-sign-lists.json.
func TestPublishedSignLists(t *testing.T) {
	var doc struct {
		Lists []struct {
			Source, Plan string
			Signs        []struct {
				Sign, Least string
				Owner       []string
			}
		}
		Not struct{ Owner []string }
	}
	b, err := os.ReadFile("../../testdata/published/owner-sign-lists.json")
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(b, &doc))
	require.Len(t, doc.Lists, 4)
	for _, l := range doc.Lists {
		for _, s := range l.Signs {
			least, err := ParseUrgency(s.Least)
			require.NoError(t, err)
			for _, text := range s.Owner {
				f := Screen(text, planOf(l.Plan))
				require.GreaterOrEqual(t, f.Urgency, least, "%s (%s): %q → %+v", s.Sign, l.Source, text, f)
			}
		}
	}
	for _, text := range doc.Not.Owner {
		f := Screen(text, Context{NSAID: true})
		require.Equal(t, None, f.Urgency, "%q → %+v", text, f)
	}
}
