package dialog

import (
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/sms"
)

// An invented script in Hebrew, which runs from right to left; it is not shipped
// and says no more than the test needs.
var hebrew = fstest.MapFS{
	"walk.yaml": {Data: []byte(`script: walk
languages: [en]
steps:
  - id: limping
    kind: scale
    item: limping
    ask: {en: "{dog}: limping? {levels}"}
    anchors: {en: {0: a, 1: b, 2: c, 3: d, 4: e, x: f}}
  - id: done
    kind: end
texts:
  - id: ring
    segments: 2
    say: {en: "{dog}: ring {phone}."}
`)},
	"he/walk.yaml": {Data: []byte(`script: walk
language: he
unicode: true
words:
  limping:
    ask: "{dog} צליעה {levels}"
    anchors: {0: א, 1: ב, 2: ג, 3: ד, 4: ה, x: ו}
  ring:
    say: "{dog}: נא להתקשר אל {phone}."
`)},
}

// The checker allows a right-to-left language, and names and numbers in it stand
// in isolates of Unicode Standard Annex 9: LRI U+2066 or FSI U+2068 up to PDI
// U+2069. Segments are counted with them, 70 UTF-16 units each (3GPP TS 23.038).
func TestValuesStandApartInARightToLeftText(t *testing.T) {
	t.Parallel()
	l, problems := Load(hebrew)
	require.Empty(t, problems)
	ctx := household()
	ctx.Lang = "he"
	ring := l.Say("walk", "ring", ctx)
	require.Equal(t, "\u2066Bramble\u2069: נא להתקשר אל \u206601632 960100\u2069.", l.Render(ring, ""))
	ctx.Vars["dog"] = "שלומי"
	require.Equal(t, "\u2068שלומי\u2069: נא להתקשר אל \u206601632 960100\u2069.", l.Render(l.Say("walk", "ring", ctx), ""))
	ctx.Vars["dog"] = "Re\u202ex\u2069"
	require.Equal(t, "\u2066Rex\u2069: נא להתקשר אל \u206601632 960100\u2069.", l.Render(l.Say("walk", "ring", ctx), ""), "a name can't reach out of its isolate")

	_, lines, err := l.Begin("walk", OneByOne, ctx)
	require.NoError(t, err)
	text := l.Render(lines[0], "")
	require.Contains(t, text, "\u20660\u2069 א, \u20661\u2069 ב")
	require.Contains(t, text, "\u2066X\u2069 ו")

	s := l.scripts["walk"]
	n := s.size(s.anyStep("ring"), PartSay, "he")
	require.Equal(t, sms.Encode("\u2066WWWWWWWWWWWWWWWWWWWW\u2069: נא להתקשר אל \u2066WWWWWWWWWWWWWWW\u2069.").Units, n.Units)
	require.Equal(t, sms.UCS2, sms.Encode(text).Encoding)
	require.Equal(t, 1, n.Segments)
}

// Languages that run from left to right hold no isolate, and neither does
// anything that fits the text-message alphabet.
func TestOnlyWideRightToLeftTextsHoldIsolates(t *testing.T) {
	t.Parallel()
	for lang, want := range map[string]bool{"he": true, "ar": true, "fa": true, "ur": true, "es": false, "de": false, "ru": false, "en": false} {
		require.Equal(t, want, isolated(lang, true).isolate, lang)
		require.False(t, isolated(lang, false).isolate, lang)
	}
	require.Equal(t, "Rex", isolated("es", true).apart("Rex"))
	require.Empty(t, isolated("he", true).apart(""))
}
