package synth_test

import (
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/dialog"
	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/synth"
)

var practice = map[string]string{
	"practice": "Larkfield Vets", "vet": "Dr Lee", "phone": "01632 960140", "emergency": "01632 960149",
	"person_number": "999", "frequency": "once a week",
}

func TestLatentRunsStraightBetweenItsKnots(t *testing.T) {
	t.Parallel()
	l := synth.Level(20).Then(10, 20).Then(20, 40)
	for day, want := range map[float64]float64{-5: 20, 0: 20, 10: 20, 15: 30, 20: 40, 400: 40} {
		require.InDelta(t, want, l.At(day), 1e-9, "day %v", day)
	}
	require.Zero(t, synth.Latent{}.At(3))
}

// The index that drawn answers give scatters as wanted about the index they were
// drawn from, in the middle of the scale, where nothing is cut off.
func TestAnswersScatterAboutTheLatentIndex(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	profile := synth.NewProfile(rng, 0.4)
	var sum, squares float64
	const n = 4000
	for range n {
		items := synth.Answers(rng, 50, synth.Asked{Noise: synth.QuietNoise(), Profile: profile})
		x, err := clinical.IndexOf(items)
		require.NoError(t, err)
		sum += float64(x.Total)
		squares += float64(x.Total) * float64(x.Total)
	}
	mean := sum / n
	require.InDelta(t, 50, mean, 0.6)
	require.InDelta(t, 7.7, math.Sqrt(squares/n-mean*mean), 0.6)
}

func TestAnswersStayInRangeAndLeaveOutWhatDoesNotApply(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 4))
	for _, index := range []float64{-20, 0, 35, 100, 140} {
		items := synth.Answers(rng, index, synth.Asked{Noise: synth.QuietNoise(),
			Missing: map[clinical.Item]clinical.Level{clinical.Own2: clinical.NotApplicable}})
		for i, l := range items {
			if clinical.Item(i) == clinical.Own2 {
				require.Equal(t, clinical.NotApplicable, l)
				continue
			}
			require.True(t, l.Answered(), "index %v: %s is %d", index, clinical.Item(i), l)
		}
	}
}

func TestCohortHasEveryCourseAndInventedNumbersOnly(t *testing.T) {
	t.Parallel()
	for seed := range uint64(5) {
		c := synth.NewCohort(synth.CohortOptions{Seed: seed, Weeks: 26})
		require.Len(t, c.Owners, 34)
		require.Equal(t, 40, c.Dogs())
		seen := map[synth.Course]bool{}
		names, numbers := map[string]bool{}, map[string]bool{}
		for _, o := range c.Owners {
			require.Regexp(t, `^\+447700900[2-9]\d\d$`, o.Address.Value) // Ofcom: kept for drama
			require.False(t, numbers[o.Address.Value])
			numbers[o.Address.Value] = true
			for _, d := range o.Dogs {
				seen[d.Course] = true
				require.False(t, names[d.Enrolled.Name], "two dogs are called %s", d.Enrolled.Name)
				names[d.Enrolled.Name] = true
				for _, own := range d.Enrolled.Own {
					require.LessOrEqual(t, len(own), dialog.MaxOwnActivity)
				}
			}
		}
		for _, course := range synth.Courses {
			require.True(t, seen[course], "no dog is %s", course)
		}
	}
}

func TestSameSeedSameCohort(t *testing.T) {
	t.Parallel()
	cohort := func(seed uint64) synth.Cohort { return synth.NewCohort(synth.CohortOptions{Seed: seed, Weeks: 26}) }
	require.True(t, reflect.DeepEqual(cohort(7), cohort(7)), "one seed gave two cohorts")
	require.False(t, reflect.DeepEqual(cohort(7), cohort(8)), "two seeds gave one cohort")
}

// Every question of every script, as the library says it for a dog, is answered
// by its owner: nothing goes unheard.
func TestOwnersHearEveryQuestion(t *testing.T) {
	t.Parallel()
	lib, err := dialog.Builtin()
	require.NoError(t, err)
	o := owner()
	at := time.Date(2026, 3, 3, 10, 0, 0, 0, time.UTC)
	for _, id := range lib.Scripts() {
		script, _ := lib.Script(id)
		for _, form := range script.Forms() {
			for _, q := range script.Questions() {
				for _, part := range q.Parts {
					p := synth.NewPlayer(&o, synth.Setting{Scripts: lib, Practice: practice, Midnight: at.Add(-10 * time.Hour), Seed: 1})
					text := lib.Render(dialog.Line{Script: id, Step: q.Step, Part: part, Vars: vars(&o, q)}, "")
					r, ok := p.Hear("Thank you.\n"+text, at)
					require.True(t, ok, "%s %s %s (%s): %q is left unanswered", id, q.Step, part, form, text)
					require.NotEmpty(t, r.Text)
					require.True(t, r.At.After(at))
				}
			}
		}
	}
}

func TestOwnersLeaveAloneWhatAsksNothing(t *testing.T) {
	t.Parallel()
	lib, err := dialog.Builtin()
	require.NoError(t, err)
	o := owner()
	at := time.Date(2026, 3, 3, 10, 0, 0, 0, time.UTC)
	p := synth.NewPlayer(&o, synth.Setting{Scripts: lib, Practice: practice, Midnight: at, Seed: 1})
	for _, text := range []string{"", "Your parcel is at the post office.", "Digby about as usual. Dr Lee sees this tomorrow."} {
		_, ok := p.Hear(text, at)
		require.False(t, ok, text)
	}
}

func TestOwnersSleepAtNight(t *testing.T) {
	t.Parallel()
	lib, err := dialog.Builtin()
	require.NoError(t, err)
	o := owner()
	at := time.Date(2026, 3, 3, 22, 58, 0, 0, time.UTC)
	p := synth.NewPlayer(&o, synth.Setting{Scripts: lib, Practice: practice, Midnight: at, Seed: 1})
	r, ok := p.Hear(lib.Render(dialog.Line{Script: "checkin", Step: "limping", Part: dialog.PartAsk, Vars: map[string]string{"dog": "Digby"}}, ""), at)
	require.True(t, ok)
	require.GreaterOrEqual(t, r.At.Hour(), 7)
	require.Equal(t, 4, r.At.Day())
}

// owner never misses a prompt, so that each question has an answer.
func owner() synth.Owner {
	dog := synth.Dog{Latent: synth.Level(30), Weight: synth.Level(24)}
	dog.Enrolled = care.EnrolledDog{Name: "Digby", Sex: care.Male, Own: [2]string{"jumping into the car", "fetching the ball"}}
	return synth.Owner{Name: "Gareth", Dogs: []synth.Dog{dog}, Style: synth.Style{Delay: 30}}
}

func vars(o *synth.Owner, q dialog.Question) map[string]string {
	v := map[string]string{"owner": o.Name, "dog": "Digby", "he": "he", "him": "him", "his": "his",
		"own1": "jumping into the car", "own2": "fetching the ball", "medicine": "tablets", "reads": "tomorrow",
		"opens": "Mon 08:30", "dogs": "1 Digby, 2 Meg", "items": strings.Join(q.Items, " ")}
	for k, value := range practice {
		v[k] = value
	}
	return v
}
