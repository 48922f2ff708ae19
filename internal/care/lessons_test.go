package care_test

import (
	"regexp"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/dialog"
	"gaitpost/internal/care"
)

// The lines never crossed, as far as patterns can see them: an amount of a
// medicine, and telling an owner to start, stop or change one. A lesson of each
// kind has to be caught, so that the patterns are known to work.
var (
	anAmount  = regexp.MustCompile(`(?i)\b\d+([.,]\d+)?\s*(mg|ml|g|grams?|mcg|drops?|tablets?|capsules?|pills?|scoops?)\b|\b(half|quarter|double|one|two|three|twice) (a |an |the |of )?(tablets?|dose|capsules?|pills?)\b|\bmg/kg\b`)
	aChange   = regexp.MustCompile(`(?i)\b(start|begin|stop|restart|increase|reduce|lower|raise|skip|double|halve|change|swap|switch|give)\b[^.:]{0,30}\b(medicines?|tablets?|painkillers?|doses?|injections?|anti-inflammator\w+|supplements?|aspirin|ibuprofen|paracetamol)\b`)
	aPromise  = regexp.MustCompile(`(?i)\b(will (cure|heal|fix|get better)|guarantee\w*|cures?|always works)\b`)
	diagnosis = regexp.MustCompile(`(?i)\b(has|have|suffers?) (from )?(arthritis|dysplasia|cancer|a (tumou?r|rupture))\b`)
)

func TestThePatternsCatchWhatNoLessonMaySay(t *testing.T) {
	t.Parallel()
	for text, re := range map[string]*regexp.Regexp{
		"Half a tablet in the evening is plenty.": anAmount, "Give 5 ml with food.": anAmount, "20 mg/kg is usual.": anAmount,
		"On good days skip the tablets.": aChange, "Start a supplement now.": aChange, "Give your dog the painkiller early.": aChange,
		"Swimming cures stiffness.": aPromise, "Bramble has arthritis of the hip.": diagnosis,
	} {
		require.Regexp(t, re, text)
	}
}

// careTexts are the texts that the patterns are let loose on.
var careTexts = []string{"lesson", "house", "house_again", "activities", "summary", "gooddays"}

func TestNoLessonCrossesTheLines(t *testing.T) {
	t.Parallel()
	lib, err := dialog.Builtin()
	require.NoError(t, err)
	ctx := dialog.Context{Vars: map[string]string{"dog": "Bramble", "owner": "Ruth", "phone": "01632 960100", "emergency": "01632 960911"}}
	seen := 0
	for _, s := range lib.Sizes() {
		if !slices.Contains(careTexts, s.Script) {
			continue
		}
		seen++
		require.LessOrEqual(t, s.Segments, 2, "%s/%s", s.Script, s.Step)
		text := lib.Render(lib.Say(s.Script, s.Step, ctx), "en")
		for _, re := range []*regexp.Regexp{anAmount, aPromise, diagnosis} {
			require.NotRegexp(t, re, text, "%s/%s", s.Script, s.Step)
		}
		// "Never give any" says what not to do; it is the one lesson of its kind.
		if s.Step != "people_painkillers" {
			require.NotRegexp(t, aChange, text, "%s/%s", s.Script, s.Step)
		}
	}
	require.Greater(t, seen, 50)
}

// Every lesson has a text and every text is a lesson, none twice.
func TestLessonsAndTheirTexts(t *testing.T) {
	t.Parallel()
	lib, err := dialog.Builtin()
	require.NoError(t, err)
	var texts []string
	for _, s := range lib.Sizes() {
		if s.Script == string(care.PromptLesson) {
			texts = append(texts, s.Step)
		}
	}
	require.ElementsMatch(t, care.Lessons(), texts)
	require.GreaterOrEqual(t, len(texts), 30)
	require.LessOrEqual(t, len(texts), 40)
}

// extraTalk is a household that has agreed, with what goes beyond monitoring on.
func extraTalk(t *testing.T, e care.Extras, dogs ...care.EnrolledDog) *talk {
	k := newTalk(t)
	k.rules.Extras = e
	k.dogs = dogs
	k.enrolled()
	k.owner("yes")
	return k
}

// answers plays days: the owner answers every open question by the given reply.
func (k *talk) days(n int, reply func(care.PromptKind, string) string) {
	for range n {
		k.moveTo(k.now.AddDate(0, 0, 1))
		for steps := 0; k.house.Contacts[0].Talk.Open != nil && steps < 20; steps++ {
			o := k.house.Contacts[0].Talk.Open
			text := reply(o.Kind, o.Session.Step)
			if text == "" {
				break
			}
			k.now = k.now.Add(time.Minute)
			k.owner(text)
		}
	}
}

// easy answers everything without trouble.
func easy(kind care.PromptKind, step string) string {
	switch {
	case kind == care.PromptWeighIn && step == "weight":
		return "30 kg"
	case kind == care.PromptWeighIn:
		return "1"
	case step == "signs", step == "signs_doses", step == "signs_all":
		return "no"
	case step == "doses":
		return "0"
	case step == "list":
		return "1 1 1 1 1 1"
	case kind == care.PromptCheckIn:
		return "1"
	case kind == care.PromptReassessment && step != "shape" && step != "interest" && step != "mood":
		return "none"
	case kind == care.PromptReassessment:
		return "2"
	case kind == care.PromptHouseAgain:
		return "2"
	}
	return "none"
}

// lessonsIn are the lessons said among facts, with the day.
func lessonsIn(facts []care.Fact) []string {
	var list []string
	for _, f := range facts {
		if f.Kind == care.FactSaid && f.Line != nil && f.Line.Script == "lesson" {
			list = append(list, f.Line.Step)
		}
	}
	return list
}

// Over a year a household has no lesson twice and never two within a week, with
// one dog and with two, and the first fits any dog.
func TestLessonsOverAYear(t *testing.T) {
	t.Parallel()
	for name, dogs := range map[string][]care.EnrolledDog{
		"one":  {{Name: "Bramble", BCS: 7, Loss: true, Grams: 30_000}},
		"both": {{Name: "Bramble"}, {Name: "Moss", BCS: 7}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := extraTalk(t, care.Extras{Lesson: 1}, dogs...)
			k.days(364, easy)
			given := k.house.Lessons
			require.Greater(t, len(given), 8)
			require.Equal(t, "people_painkillers", given[0].ID)
			ids := map[string]bool{}
			for i, g := range given {
				require.False(t, ids[g.ID], "%s was given twice", g.ID)
				ids[g.ID] = true
				if i > 0 {
					require.GreaterOrEqual(t, g.At-given[i-1].At, int64(7*24*3600-3700), "less than a week after the last")
				}
			}
			require.Equal(t, len(given), len(lessonsIn(k.facts)))
			if name == "one" {
				require.True(t, ids["weight_why"] && ids["treats"], "the plan asks for them")
			}
			require.False(t, ids["hydrotherapy"] || ids["growling"], "nothing gives cause for them")
		})
	}
}

// What the dog's plan and its owner's answers show decides which lesson comes.
func TestWhichLessonFits(t *testing.T) {
	t.Parallel()
	sore := func(kind care.PromptKind, step string) string {
		if kind == care.PromptCheckIn && step == "soreness" {
			return "3"
		}
		return easy(kind, step)
	}
	for _, c := range []struct {
		name  string
		dog   care.EnrolledDog
		reply func(care.PromptKind, string) string
		want  string
		not   string
	}{
		{"a medicine at home", care.EnrolledDog{Name: "Bramble", Plan: []care.Entry{{Area: care.AreaPain, What: "tablets", Class: care.NSAID}}}, easy, "out_of_reach", "growling"},
		{"no medicine", care.EnrolledDog{Name: "Bramble"}, easy, "warm_up", "out_of_reach"},
		{"sore when touched", care.EnrolledDog{Name: "Bramble"}, sore, "growling", "treats"},
		{"in the water", care.EnrolledDog{Name: "Bramble", Plan: []care.Entry{{Area: care.AreaTherapy, What: "Hydrotherapy"}}}, easy, "hydrotherapy", "treats"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := extraTalk(t, care.Extras{Lesson: 7}, c.dog)
			k.days(42, c.reply)
			said := lessonsIn(k.facts)
			require.Contains(t, said, c.want)
			require.NotContains(t, said, c.not)
		})
	}
}

// Nothing of the kind is sent in hard times, and it comes back after them.
func TestLessonsAreSilentInHardTimes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		hard func(*talk)
	}{
		{"an emergency is open", func(k *talk) { k.owner("he has collapsed") }},
		{"despair", func(k *talk) { k.owner("I think it is time to put him to sleep") }},
		{"the practice paused the texts", func(k *talk) {
			k.do(care.Event{Practice: &care.Practice{By: "lee", Pause: &care.PauseTexts{Until: k.now.AddDate(0, 0, 60).Unix(), Reason: "away"}}})
		}},
		{"both dogs are quieted", func(k *talk) {
			for i := range int8(2) {
				k.do(care.Event{Practice: &care.Practice{By: "lee", Quiet: &care.QuietDog{Dog: i, Until: k.now.AddDate(0, 0, 60).Unix()}}})
			}
		}},
		{"good and bad days are noted", func(k *talk) {
			k.do(care.Event{Practice: &care.Practice{By: "lee", Days: &care.OfferDays{Weeks: 8}}})
		}},
		{"the other dog has died", func(k *talk) {
			k.do(care.Event{Practice: &care.Practice{By: "lee", Farewell: &care.Farewell{Dog: 1}}})
		}},
		{"staff have the conversation", func(k *talk) {
			k.house.Contacts[0].Talk.Handover = k.now.AddDate(0, 0, 60).Unix()
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := extraTalk(t, care.Extras{Lesson: 7, Summary: 28, House: 2}, care.EnrolledDog{Name: "Bramble"}, care.EnrolledDog{Name: "Moss"})
			k.days(6, easy)
			require.Empty(t, lessonsIn(k.facts))
			c.hard(k)
			k.facts = nil
			k.days(34, easy)
			require.Empty(t, lessonsIn(k.facts))
			for _, f := range k.facts {
				require.False(t, f.Kind == care.FactSaid && f.Line.Script == "summary", "a summary came")
			}
		})
	}
	k := extraTalk(t, care.Extras{Lesson: 7}, care.EnrolledDog{Name: "Bramble"})
	k.days(10, easy)
	require.NotEmpty(t, lessonsIn(k.facts), "without hard times it comes")
}
