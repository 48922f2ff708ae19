package dialog

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Dates, clock times and weights as each country writes them; decimal signs are
// those of the Unicode CLDR tables in golang.org/x/text, the rest is common
// practice without a source.
func TestLocalesWriteAsTheCountryDoes(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 3, 3, 15, 5, 0, 0, time.UTC) // a Tuesday
	for _, c := range []struct{ lang, region, date, day, clock, opens, weight string }{
		{"en", "GB", "3 March", "Tue 3 Mar", "15:05", "Tue 15:05", "31.4 kg"},
		{"en", "IE", "3 March", "Tue 3 Mar", "15:05", "Tue 15:05", "31.4 kg"},
		{"en", "US", "March 3", "Tue Mar 3", "3:05 PM", "Tue 3:05 PM", "31.4 kg"},
		{"en", "AU", "3 March", "Tue 3 Mar", "3:05 PM", "Tue 3:05 PM", "31.4 kg"},
		{"es", "ES", "3 de marzo", "mar 3 de marzo", "15:05", "mar 15:05", "31,4 kg"},
		{"es", "US", "3 de marzo", "mar 3 de marzo", "3:05 PM", "mar 3:05 PM", "31.4 kg"},
		{"es", "MX", "3 de marzo", "mar 3 de marzo", "15:05", "mar 15:05", "31.4 kg"},
		{"fr", "FR", "3 mars", "mardi 3 mars", "15h05", "mar. 15h05", "31,4 kg"},
		{"de", "DE", "3. März", "Di 3. März", "15:05", "Di 15:05", "31,4 kg"},
		{"de", "CH", "3. März", "Di 3. März", "15:05", "Di 15:05", "31.4 kg"},
		{"de", "", "3. März", "Di 3. März", "15:05", "Di 15:05", "31,4 kg"},
		{"xx", "GB", "3 March", "Tue 3 Mar", "15:05", "Tue 15:05", "31.4 kg"},
	} {
		l := LocaleOf(c.lang, c.region)
		name := c.lang + "-" + c.region
		require.Equal(t, c.date, l.Date(at), name)
		require.Equal(t, c.day, l.DayDate(at), name)
		require.Equal(t, c.clock, l.Clock(at), name)
		require.Equal(t, c.opens, l.Opens(at), name)
		require.Equal(t, c.weight, l.Weight(31_400, false), name)
	}
	require.Equal(t, "69.2 lb", LocaleOf("en", "US").Weight(31_400, true))
	require.Equal(t, "15h", LocaleOf("fr", "FR").Clock(at.Add(-5*time.Minute)))
	require.Equal(t, "1er mars", LocaleOf("fr", "FR").Date(at.AddDate(0, 0, -2)))
}

func TestReadsSaysWhen(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 9, 30, 8, 0, 0, 0, time.UTC) // a Wednesday
	for lang, want := range map[string][5]string{
		"en": {"soon", "today", "tomorrow", "on Wednesday", "on 30 September"},
		"es": {"en breve", "hoy", "mañana", "el miércoles", "el 30 de sep"},
		"fr": {"sous peu", "aujourd'hui", "demain", "mercredi", "le 30 septembre"},
		"de": {"bald", "heute", "morgen", "am Mittwoch", "am 30. September"},
	} {
		l := LocaleOf(lang, "GB")
		for i, days := range []int{-1, 0, 1, 3, 9} {
			require.Equal(t, want[i], l.Reads(days, at), lang)
		}
	}
}

// The longest values fit the room that the checker allows for them.
func TestLocaleValuesFitTheirPlaceholders(t *testing.T) {
	t.Parallel()
	fits := func(name, lang, v string) {
		t.Helper()
		longest := placeholderByName[name].Longest
		if n, ok := longestDate[lang]; ok && name == "date" {
			longest = n
		}
		require.LessOrEqual(t, len([]rune(v)), longest, "%s in %s: %q", name, lang, v)
	}
	for _, lang := range Languages {
		for _, region := range []string{"", "US", "GB", "ES", "FR", "DE"} {
			l := LocaleOf(lang, region)
			fits("frequency", lang, l.Weekly())
			for day := time.Date(2026, 1, 1, 22, 45, 0, 0, time.UTC); day.Year() == 2026; day = day.AddDate(0, 0, 1) {
				fits("opens", lang, l.Opens(day))
				fits("date", lang, l.DayDate(day))
				for _, n := range []int{-1, 0, 1, 3, 9} {
					fits("reads", lang, l.Reads(n, day))
				}
			}
		}
	}
}
