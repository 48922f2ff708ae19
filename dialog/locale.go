package dialog

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/number"
)

// Locale writes dates, clock times and weights as people of a language in a
// country do.
type Locale struct {
	lang, region string
	words        *locale
}

// LocaleOf returns the locale of a language (ISO 639-1; English where it is not
// known) in a country (ISO 3166-1, "" where that is not known).
func LocaleOf(lang, region string) Locale {
	l, ok := locales[lang]
	if !ok {
		lang, l = english, locales[english]
	}
	return Locale{lang: lang, region: strings.ToUpper(region), words: l}
}

// EnglishName and OwnName are a language's name in English and in itself.
func (l Locale) EnglishName() string { return l.words.english }

// OwnName is the language's name in itself: "Deutsch".
func (l Locale) OwnName() string { return l.words.own }

// YourDog stands where a text is about no dog in particular.
func (l Locale) YourDog() string { return l.words.yourDog }

// EachDog stands where a text is about all dogs of a household.
func (l Locale) EachDog() string { return l.words.eachDog }

// Weekly is how often check-ins come.
func (l Locale) Weekly() string { return l.words.weekly }

// Someone is a person of the practice: "Dr Lee from Hill Vets".
func (l Locale) Someone(name, practice string) string {
	return fmt.Sprintf(l.words.from, name, practice)
}

// Channel is what owners call a way of writing to them; its own name where the
// language has no other word.
func (l Locale) Channel(name string) string {
	if name == "text" {
		return l.words.text
	}
	return name
}

// twelve are the countries whose people write clock times from 1 to 12, by
// language: the preferred hour cycles of Unicode CLDR 45, supplemental timeData
// (from memory).
var twelve = map[string][]string{
	english: {"US", "CA", "AU", "NZ", "IN", "PK", "PH", "MY", "SG", "HK"},
	"es":    {"US", "CO", "VE", "PA", "PR", "DO"},
}

// Clock is a time of day: "08:30", "8:30 AM", "8 h 30".
func (l Locale) Clock(t time.Time) string {
	switch {
	case slices.Contains(twelve[l.lang], l.region):
		return t.Format("3:04 PM")
	case l.lang == "fr":
		return strings.TrimSuffix(fmt.Sprintf("%dh%02d", t.Hour(), t.Minute()), "00")
	case l.lang == "es":
		return t.Format("15:04")
	}
	return t.Format("15:04")
}

// Date is a day of a year: "3 March", "March 3", "3 de marzo", "3 mars", "3. März".
func (l Locale) Date(t time.Time) string { return l.dayAndMonth(t, l.words.months[t.Month()-1]) }

func (l Locale) dayAndMonth(t time.Time, month string) string {
	switch {
	case l.lang == english && l.region == "US":
		return fmt.Sprintf("%s %d", month, t.Day())
	case l.lang == "fr" && t.Day() == 1:
		return "1er " + month
	}
	return fmt.Sprintf(l.words.date, t.Day(), month)
}

// DayDate is a day with its day of the week: "Tue 3 Mar", "mardi 3 mars".
func (l Locale) DayDate(t time.Time) string {
	if l.lang == english {
		return l.words.short[t.Weekday()] + " " + l.dayAndMonth(t, l.words.months[t.Month()-1][:3])
	}
	if l.lang == "fr" {
		return l.words.days[t.Weekday()] + " " + l.Date(t)
	}
	return l.words.short[t.Weekday()] + l.words.afterDay + l.Date(t)
}

// Opens is when a door opens: "Mon 08:30".
func (l Locale) Opens(t time.Time) string { return l.words.short[t.Weekday()] + " " + l.Clock(t) }

// Reads is when somebody reads something, days after today: "today", "on
// Tuesday", "on 3 March".
func (l Locale) Reads(days int, t time.Time) string {
	switch {
	case days == 0:
		return l.words.today
	case days == 1:
		return l.words.tomorrow
	case days < 0:
		return l.words.soon
	case days < 7:
		return l.words.onDay + l.words.days[t.Weekday()]
	case l.lang == "es":
		return l.words.onDate + l.dayAndMonth(t, l.words.months[t.Month()-1][:3])
	}
	return l.words.onDate + l.Date(t)
}

// Soon stands where it is not known when.
func (l Locale) Soon() string { return l.words.soon }

// Weight is a body weight of so many grams, in kilograms with one decimal or,
// where the country weighs in them, pounds: "31,4 kg", "69.2 lb".
func (l Locale) Weight(grams int64, pounds bool) string {
	tag, err := language.Parse(l.lang + "-" + l.region)
	if err != nil {
		tag = language.Make(l.lang)
	}
	value, unit := float64(grams)/1000, "kg"
	if pounds {
		const gramsInPound = 453.59237 // international pound, 1959
		value, unit = float64(grams)/gramsInPound, "lb"
	}
	return message.NewPrinter(tag).Sprint(number.Decimal(value, number.Scale(1))) + " " + unit
}
