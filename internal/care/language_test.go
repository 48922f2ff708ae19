package care_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

// everyLanguage lets the safety screen read every language.
func everyLanguage(string) bool { return true }

// asked is a talk in the middle of its first check-in.
func asked(t *testing.T) *talk {
	t.Helper()
	k := newTalk(t)
	k.play("dog Bramble\nskip\nowner> yes\nskip")
	return k
}

// An owner who names a language is written to in it from then on: one line that
// says so, and the open question again. What was said before stays as it was.
func TestAnOwnerChoosesALanguage(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]struct{ lang, says, asks string }{
		"auf Deutsch bitte":       {"de", "Ab jetzt schreiben wir Ihnen auf Deutsch, Ruth.", "Lahmheit"},
		"ESPAÑOL":                 {"es", "Desde ahora le escribimos en ESPAÑOL, Ruth.", "cojea"},
		"francais":                {"fr", "Nous vous écrivons maintenant en FRANÇAIS, Ruth.", "boiterie"},
		"in English please":       {"en", "From now on we write to you in English, Ruth.", "limping"},
		"Sprechen Sie Deutsch?":   {"de", "Ab jetzt schreiben wir Ihnen auf Deutsch, Ruth.", "Lahmheit"},
		"en français, svp, merci": {"fr", "Nous vous écrivons maintenant en FRANÇAIS, Ruth.", "boiterie"},
	} {
		k := asked(t)
		k.rules.WithScreen(everyLanguage)
		k.owner(text)
		require.Equal(t, want.lang, k.house.Contacts[0].Lang, text)
		require.Len(t, k.sent, 1, text)
		require.Contains(t, k.sent[0].Text, want.says)
		require.Contains(t, k.sent[0].Text, want.asks)
		require.True(t, kept(k, want.lang), text)
	}
}

func kept(k *talk, code string) bool {
	for _, f := range k.facts {
		if f.Kind == care.FactLanguage && f.Code == code {
			return true
		}
	}
	return false
}

// A whole conversation in German: asked and answered in words, stopped with its
// own word.
func TestAConversationInGerman(t *testing.T) {
	t.Parallel()
	k := asked(t)
	k.rules.WithScreen(everyLanguage)
	k.owner("Deutsch")
	for _, text := range []string{"zwei", "nie", "keine", "1", "0", "2"} {
		k.owner(text)
	}
	require.Contains(t, k.sent[len(k.sent)-1].Text, "Neues oder Besorgliches")
	k.owner("nein, nichts Neues")
	require.Contains(t, k.sent[len(k.sent)-1].Text, "Danke, Ruth.")
	k.owner("STOPP bitte")
	require.Equal(t, care.OptedOut, k.house.Contacts[0].Consent.State)
	require.Contains(t, k.sent[len(k.sent)-1].Text, "Sie bekommen keine SMS mehr")
	k.owner("English")
	require.Equal(t, "de", k.house.Contacts[0].Lang, "whoever opted out gets no line about languages")
}

// A language that the safety screen doesn't read is not taken: a sign told in it
// would be missed. Nor is one that the practice doesn't read, or nobody here.
func TestALanguageWithoutItsScreenIsNotTaken(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		text   string
		screen func(string) bool
		langs  []string
	}{
		"no screen":        {"Deutsch", func(lang string) bool { return lang == "en" }, nil},
		"not the clinic's": {"Deutsch", everyLanguage, []string{"en", "es"}},
		"none of ours":     {"polski", everyLanguage, nil},
	} {
		k := asked(t)
		k.rules.WithScreen(c.screen)
		k.rules.Languages = c.langs
		k.owner(c.text)
		require.NotEqual(t, "de", k.house.Contacts[0].Lang, name)
		require.Contains(t, k.sent[len(k.sent)-1].Text, "we can't write in that language yet", name)
		require.Contains(t, k.sent[len(k.sent)-1].Text, "limping", name)
		require.True(t, kept(k, "not spoken here"), name)
	}
}

// STOP holds in every language, and a sentence about a dog is no choice.
func TestEnglishStopHoldsInEveryLanguage(t *testing.T) {
	t.Parallel()
	for lang, words := range map[string][]string{
		"es": {"STOP", "BAJA", "no quiero más mensajes"},
		"fr": {"STOP", "ARRÊT", "arrêtez de m'écrire"},
		"de": {"STOP", "STOPP", "keine Nachrichten mehr"},
	} {
		for _, w := range words {
			k := asked(t)
			k.rules.WithScreen(everyLanguage)
			k.house.Contacts[0].Lang = lang
			k.owner(w)
			require.Equal(t, care.OptedOut, k.house.Contacts[0].Consent.State, "%s %s", lang, w)
		}
	}
	k := asked(t)
	k.rules.WithScreen(everyLanguage)
	k.owner("German shepherd next door barked at him")
	require.NotEqual(t, "de", k.house.Contacts[0].Lang)
}

func TestSpokenFollowsScreenAndClinic(t *testing.T) {
	t.Parallel()
	r := testRules(t)
	r.WithScreen(func(lang string) bool { return lang != "fr" })
	require.Equal(t, []string{"en", "es", "de"}, r.Spoken())
	require.True(t, r.Speaks("es-MX"))
	require.True(t, r.Speaks(""))
	require.False(t, r.Speaks("fr"))
	r.Languages = []string{"de"}
	require.Equal(t, []string{"en", "de"}, r.Spoken())
}
