package clinic

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A screen that misses more is the clinic's to choose, with its eyes open.
func TestLanguagesOtherThanEnglishAreTheClinicsChoice(t *testing.T) {
	c, problems := load(t, plain(t))
	require.Empty(t, problems)
	require.True(t, c.Rules.Speaks("en"))
	require.False(t, c.Rules.Speaks("es"), "not unless it is named")

	c, problems = load(t, plain(t)+"languages: [en, es]\n")
	require.Len(t, problems, 1)
	require.Equal(t, Doubtful, problems[0].Severity)
	require.Contains(t, problems[0].Message, "misses more")
	require.True(t, c.Rules.Speaks("es"))
	require.False(t, c.Rules.Speaks("fr"))

	for _, bad := range []string{"de", "klingon", "es-MX"} {
		c, problems = load(t, plain(t)+"languages: ["+bad+"]\n")
		require.Nil(t, c, bad)
		require.Contains(t, problems[0].Message, "can't be written to")
	}
}
