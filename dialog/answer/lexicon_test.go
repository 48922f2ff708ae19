package answer

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestLexiconNamesTheLineThatIsWrong(t *testing.T) {
	for text, want := range map[string]string{
		"[words nonsense]\na b":              `line 2: word class "nonsense" is not known`,
		"[phrases nonsense]\na b":            `line 2: phrase set "nonsense" is not known`,
		"[numbers]\ntwo":                     `line 2: "two": want words and then a whole number`,
		"[numbers]\ntwo zwei":                `line 2: "two zwei": want words and then a whole number`,
		"[merge]\ndo not":                    `line 2: "do not": want two words = one word`,
		"[spelling]\nu you":                  `line 2: "u you": want words = word`,
		"stray words":                        `line 1: section "" is not known`,
		"[phrases yes]\n\n# x\n<nothing> so": `line 4: class in "<nothing>" is not known`,
	} {
		_, err := parseLexicon(text)
		require.EqualError(t, err, want)
	}
}

func TestLexiconOfAnUnknownLanguage(t *testing.T) {
	_, err := load("xx")
	require.ErrorContains(t, err, `no lexicon for language "xx"`)
}

func TestDetailIsTheOwnersOwnWords(t *testing.T) {
	for text, want := range map[string]string{
		"Yes - he was sick TWICE on Tuesday.": "he was sick TWICE on Tuesday",
		"yes":                                 "",
		"No, just the usual":                  "just the usual",
		"Yep! Café au lait coloured poo":      "Café au lait coloured poo",
	} {
		require.Equal(t, want, English().YesNo(text).Detail, text)
	}
}

func TestControlNames(t *testing.T) {
	require.Equal(t, "opt-out-doubtful", ControlOptOutDoubtful.String())
	require.Equal(t, "prescription", ControlPrescription.String())
	require.Equal(t, "unknown", Control(200).String())
}
