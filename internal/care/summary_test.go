package care_test

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

// summaries are the texts of the summaries among what was sent.
func (k *talk) summaries() []string {
	var list []string
	for _, m := range k.sent {
		if strings.Contains(m.Text, "these last weeks with") {
			list = append(list, m.Text)
		}
	}
	return list
}

// course answers the check-in by one level for some weeks, then by another.
func course(k *talk, first, then string, weeks int) {
	level := first
	reply := func(kind care.PromptKind, step string) string {
		if kind == care.PromptCheckIn && easy(kind, step) != "no" {
			if step == "list" {
				return strings.TrimSpace(strings.Repeat(level+" ", 7))
			}
			return level
		}
		return easy(kind, step)
	}
	k.days(7*weeks, reply)
	level = then
	k.sent = nil
	k.days(7*9, reply)
}

// A summary says by name what is easier and what is harder than usual, or that
// all is about as usual, and no figure.
func TestASummaryInPlainWords(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, first, then string
		has, not          []string
	}{
		{"easier", "3", "1", []string{"Easier than before: ", "Dr Lee reads every answer"}, []string{"Harder", "About as usual"}},
		{"as usual", "1", "1", []string{"About as usual on the whole."}, []string{"Easier", "Harder"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := extraTalk(t, care.Extras{Summary: 28}, care.EnrolledDog{Name: "Bramble", Own: [2]string{"the sofa"}})
			course(k, c.first, c.then, 6)
			list := k.summaries()
			require.NotEmpty(t, list)
			last := list[len(list)-1]
			for _, s := range c.has {
				require.Contains(t, last, s)
			}
			for _, s := range c.not {
				require.NotContains(t, last, s)
			}
			require.NotRegexp(t, regexp.MustCompile(`[0-9]`), last, "no figures")
		})
	}
}

// Summaries come four weeks apart, and never without check-ins to speak of.
func TestWhenSummariesCome(t *testing.T) {
	t.Parallel()
	k := extraTalk(t, care.Extras{Summary: 28}, care.EnrolledDog{Name: "Bramble"})
	k.days(27, easy)
	require.Empty(t, k.summaries())
	k.days(150, easy)
	n := len(k.summaries())
	require.GreaterOrEqual(t, n, 4)
	require.LessOrEqual(t, n, 6)

	silent := extraTalk(t, care.Extras{Summary: 28}, care.EnrolledDog{Name: "Bramble"})
	silent.days(120, func(care.PromptKind, string) string { return "" })
	require.Empty(t, silent.summaries())
}

// A review that names an awkward place has the owner asked where it is; one
// that names none does not.
func TestAReviewLeadsRoundTheHouse(t *testing.T) {
	t.Parallel()
	for words, asked := range map[string]bool{"the kitchen floor is slippery": true, "none": false} {
		k := extraTalk(t, care.Extras{House: 2}, care.EnrolledDog{Name: "Bramble"})
		k.days(7*16, func(kind care.PromptKind, step string) string {
			if kind == care.PromptReassessment && step == "awkward" {
				return words
			}
			if kind == care.PromptHouse && step == "places" {
				return "floors"
			}
			return easy(kind, step)
		})
		require.Equal(t, asked, len(k.house.Dogs[0].House) == 1, words)
	}
}

// What matters is asked once, whatever comes of it.
func TestWhatMattersIsAskedOnce(t *testing.T) {
	t.Parallel()
	for _, reply := range []string{"none", ""} {
		k := extraTalk(t, care.DefaultExtras(), care.EnrolledDog{Name: "Bramble"})
		k.days(60, func(kind care.PromptKind, step string) string {
			if kind == care.PromptActivities {
				return reply
			}
			return easy(kind, step)
		})
		opened := 0
		for _, f := range k.facts {
			if f.Kind == care.FactPrompt && f.Code == "sent" && strings.HasPrefix(f.Text, "activities/") {
				opened++
			}
		}
		require.Equal(t, 1, opened, reply)
	}
}

// An evening's question that nobody answers holds up no check-in.
func TestAnEveningHoldsUpNoCheckIn(t *testing.T) {
	t.Parallel()
	k := extraTalk(t, care.Extras{}, care.EnrolledDog{Name: "Bramble"})
	k.days(6, easy)
	k.do(care.Event{Practice: &care.Practice{By: "lee", Days: &care.OfferDays{Weeks: 3}}})
	done := k.house.Dogs[0].Done
	k.days(21, func(kind care.PromptKind, step string) string {
		if kind == care.PromptGoodDay {
			return ""
		}
		return easy(kind, step)
	})
	require.EqualValues(t, done+3, k.house.Dogs[0].Done)
}

// While good and bad days are noted nothing praises, and exercises are not
// called for; a check-in still comes.
func TestNothingCheerfulWhileDaysAreNoted(t *testing.T) {
	t.Parallel()
	dog := care.EnrolledDog{Name: "Bramble", Plan: []care.Entry{{Area: care.AreaTherapy, What: "leg lifts",
		Reminders: []care.Reminder{{Kind: care.RemindExercises, Every: 4}}}}}
	k := extraTalk(t, care.DefaultExtras(), dog)
	k.days(14, easy)
	require.Contains(t, texts(k.sent), "time for the exercises")
	k.do(care.Event{Practice: &care.Practice{By: "lee", Days: &care.OfferDays{Weeks: 3}}})
	k.moveTo(time.Date(2026, 3, 16, 19, 0, 0, 0, k.rules.Zone))
	k.owner("1")
	k.sent, k.facts = nil, nil
	k.days(20, func(kind care.PromptKind, step string) string {
		if kind == care.PromptGoodDay {
			return "1"
		}
		return easy(kind, step)
	})
	said := texts(k.sent)
	require.NotContains(t, said, "exercises")
	require.NotContains(t, said, "these last weeks")
	require.Empty(t, lessonsIn(k.facts))
	require.Contains(t, said, "limping")
	require.Equal(t, 20, strings.Count(said, "a good day or a bad day for Bramble?"), "each evening after the first")
	require.False(t, k.house.Dogs[0].Days.Running())
	require.Equal(t, 21, k.house.Dogs[0].Days.Count(care.GoodDay))
}

func texts(list []care.Message) string {
	var b strings.Builder
	for _, m := range list {
		b.WriteString(m.Text + "\n")
	}
	return b.String()
}
