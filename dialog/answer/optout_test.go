package answer

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

type wordList struct {
	Source string
	Words  []string
}

func publishedWords(t testing.TB) map[string]wordList {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", "opt-out-words.json"))
	require.NoError(t, err)
	var lists map[string]wordList
	require.NoError(t, json.Unmarshal(data, &lists))
	return lists
}

// spellings are ways to send a word that must not change what it does:
// matching ignores case, space around, and punctuation at the end.
func spellings(w string) []string {
	title := strings.ToUpper(w[:1]) + strings.ToLower(w[1:])
	return []string{w, strings.ToLower(w), strings.ToUpper(w), title, " " + w + "  ", w + ".", w + "!!", w + "\n", "\"" + w + "\"", w + " please", w + " 🙏"}
}

// Source: 47 CFR 64.1200(a)(10) and the messaging provider's default list.
func TestOptOutWordsOfRegulationAndProvider(t *testing.T) {
	lists := publishedWords(t)
	for _, name := range []string{"regulation", "provider_default"} {
		require.NotEmpty(t, lists[name].Words)
		for _, w := range lists[name].Words {
			for _, text := range spellings(w) {
				c, why := English().Control(text)
				want := ControlOptOut
				if strings.EqualFold(w, "stopall") {
					want = ControlOptOutAll
				}
				require.Equal(t, want, c, "%q (%s)", text, why)
			}
		}
	}
}

// Source: the messaging provider's default list.
func TestOptInAndHelpWordsOfProvider(t *testing.T) {
	lists := publishedWords(t)
	for name, want := range map[string]Control{"provider_default_opt_in": ControlOptIn, "provider_default_help": ControlHelp} {
		require.NotEmpty(t, lists[name].Words)
		for _, w := range lists[name].Words {
			for _, text := range spellings(w) {
				c, why := English().Control(text)
				require.Equal(t, want, c, "%q (%s)", text, why)
			}
		}
	}
}

// The keywords are everyday words inside a sentence and revoke nothing there
// ("cancel", "end" and "quit" within an answer).
func TestOptOutWordsInsideASentenceRevokeNothing(t *testing.T) {
	for _, text := range []string{
		"I will cancel Tuesday", "limping by the end", "he quit halfway up the hill", "he won't stop licking",
		"at the end of the walk", "had to cancel hydro", "we stop at every gate", "his rear end sways",
	} {
		c, _ := English().Control(text)
		require.NotEqual(t, ControlOptOut, c, text)
		require.NotEqual(t, ControlOptOutAll, c, text)
	}
}
