package care_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
)

// ago is an instant so many days before the Monday of these tests.
func ago(days int) int64 { return monday.AddDate(0, 0, -days).Unix() }

// on is an active entry that began so many days ago.
func on(id uint16, area care.Area, what string, class care.MedicineClass, days int) care.Entry {
	return care.Entry{ID: id, Area: area, What: what, Class: class, Started: ago(days)}
}

// weekly adds one check-in a week up to the day before, every item answered alike.
func weekly(t *testing.T, d *care.Dog, levels ...clinical.Level) {
	t.Helper()
	for i, l := range levels {
		items := clinical.Items{l, l, l, l, l, l, clinical.NotApplicable, clinical.NotApplicable}
		_, err := d.Course.Add(clinical.DefaultThresholds(), clinical.Reading{At: ago(1 + 7*(len(levels)-1-i)), Items: items}, false)
		require.NoError(t, err)
	}
}

func repeat(l clinical.Level, n int) []clinical.Level { return slices.Repeat([]clinical.Level{l}, n) }

// full is a dog about which everything is known and covered: nothing is left to
// suggest.
func full() care.Dog {
	return care.Dog{Name: "Bramble", BCS: 5, BCSAt: ago(10), Muscle: 1, MuscleAt: ago(10),
		Found: &care.Found{Examined: ago(10), Tests: []care.Test{{Kind: care.TestBlood, On: ago(20)}}},
		Plan: []care.Entry{
			on(1, care.AreaPain, "invented tablets", care.NSAID, 60),
			on(2, care.AreaActivity, "paced walks", care.NotMedicine, 60),
			on(3, care.AreaHome, "rugs", care.NotMedicine, 60),
			on(4, care.AreaTherapy, "hydrotherapy", care.NotMedicine, 60),
			on(5, care.AreaSupplement, "fish oil", care.NotMedicine, 60),
		}}
}

// off takes an entry off the plan of a dog.
func off(d *care.Dog, id uint16) {
	d.Plan = slices.DeleteFunc(d.Plan, func(e care.Entry) bool { return e.ID == id })
}

func kinds(list []care.Suggestion) []care.SuggestionKind {
	var out []care.SuggestionKind
	for _, s := range list {
		out = append(out, s.Kind)
	}
	return out
}

// Each fact of the trade or published figure stands beside the case it decides.
func TestSuggestions(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name   string
		change func(*testing.T, *care.Dog)
		want   care.SuggestionKind // "": nothing at all
		reason string
		source string
	}{
		{"everything is covered", func(*testing.T, *care.Dog) {}, "", "", ""},
		// Owner assessments and stepwise treatment, the first step an anti-inflammatory or
		// anti-NGF beside weight and exercise: AAHA 2022 (the steps from memory).
		{"no pain relief", func(t *testing.T, d *care.Dog) { off(d, 1); weekly(t, d, 2, 2) }, care.SuggestPain,
			"No pain relief is on Bramble's plan; index 50.0, pain 50.0 and mobility 50.0 of 100 on 1 Mar 2026.", "2022;58:55-76"},
		{"no pain relief and nothing known", func(_ *testing.T, d *care.Dog) { off(d, 1) }, care.SuggestPain,
			"No pain relief is on Bramble's plan; no check-in has been scored yet.", "2022;58:55-76"},
		// Owners are told to stop on suspicion and call; the vet decides (US FDA leaflet).
		{"held", func(_ *testing.T, d *care.Dog) { d.Plan[0].Status, d.Plan[0].Reason = care.Held, "vomited" }, care.SuggestHeld,
			"Invented tablets is held (vomited)", "FDA leaflet"},
		// Not improving: switch or lengthen the course (BSAVA 2019).
		{"stays high", func(t *testing.T, d *care.Dog) { weekly(t, d, repeat(2, 13)...) }, care.SuggestPainAgain,
			"stayed at 50.0 or above on 13 check-ins over 12 weeks with invented tablets on the plan", "BSAVA"},
		{"twelve weeks are not over", func(t *testing.T, d *care.Dog) { weekly(t, d, repeat(2, 12)...) }, "", "", ""},
		// If not better after the second dose, consider other treatment (EU/UK summary of
		// product characteristics); doses are monthly, so 56 days.
		{"antibody without gain", func(t *testing.T, d *care.Dog) {
			d.Plan[0] = on(1, care.AreaPain, "invented injection", care.Antibody, 56)
			d.Plan[0].Comfort = true
			weekly(t, d, repeat(1, 13)...)
		}, care.SuggestInjection, "56 days after the first injection the mean index is 25.0, before it 25.0", "product characteristics"},
		{"antibody before its second dose has worked", func(t *testing.T, d *care.Dog) {
			d.Plan[0] = on(1, care.AreaPain, "invented injection", care.Antibody, 55)
			d.Plan[0].Comfort = true
			weekly(t, d, repeat(1, 13)...)
		}, "", "", ""},
		{"antibody with gain", func(t *testing.T, d *care.Dog) {
			d.Plan[0] = on(1, care.AreaPain, "invented injection", care.Antibody, 56)
			d.Plan[0].Comfort = true
			weekly(t, d, append(repeat(2, 8), repeat(1, 8)...)...)
		}, "", "", ""},
		// Long stable: common practice, no source.
		{"long stable", func(t *testing.T, d *care.Dog) {
			d.Plan[0].Started, d.Found.Tests[0].On = ago(182), ago(20)
			weekly(t, d, repeat(1, 20)...)
		}, care.SuggestDose, "26 weeks and the index is stable: 25.0 on average and at most 25.0 on 12 check-ins over 12 weeks, baseline 25.0", care.NoSource},
		{"stable, not for long", func(t *testing.T, d *care.Dog) {
			d.Plan[0].Started = ago(181)
			weekly(t, d, repeat(1, 20)...)
		}, "", "", ""},
		{"long, not stable", func(t *testing.T, d *care.Dog) {
			d.Plan[0].Started = ago(200)
			weekly(t, d, append(repeat(0, 15), repeat(1, 5)...)...)
		}, "", "", ""},
		// Baseline blood tests before, and periodic ones during, treatment (US FDA).
		{"no blood test at all", func(_ *testing.T, d *care.Dog) { d.Found.Tests = nil }, care.SuggestBlood,
			"Invented tablets began 60 days ago and no blood test is recorded", "FDA"},
		// A recheck 2 to 4 weeks after the start, then every 6 to 12 months (BSAVA 2019).
		{"baseline only, 29 days on", func(_ *testing.T, d *care.Dog) { d.Plan[0].Started, d.Found.Tests[0].On = ago(29), ago(40) },
			care.SuggestBlood, "was before invented tablets began 29 days ago", "BSAVA"},
		{"baseline only, 28 days on", func(_ *testing.T, d *care.Dog) { d.Plan[0].Started, d.Found.Tests[0].On = ago(28), ago(40) }, "", "", ""},
		{"blood test of half a year ago", func(_ *testing.T, d *care.Dog) { d.Plan[0].Started, d.Found.Tests[0].On = ago(300), ago(183) },
			care.SuggestBlood, "183 days ago", "BSAVA"},
		{"blood test within half a year", func(_ *testing.T, d *care.Dog) { d.Plan[0].Started, d.Found.Tests[0].On = ago(300), ago(182) }, "", "", ""},
		// At risk: every 2 to 4 months (AAHA/AAFP 2015, from memory).
		{"blood test with another disease", func(_ *testing.T, d *care.Dog) {
			d.Plan[0].Started, d.Found.Tests[0].On, d.Found.Diseases = ago(300), ago(121), []string{"kidney disease"}
		}, care.SuggestBlood, "with kidney disease beside it", "2015;51:67-84"},
		{"the vet's own date for the next", func(_ *testing.T, d *care.Dog) {
			d.Plan[0].Started, d.Found.Tests[0].On, d.Found.Tests[0].Next = ago(300), ago(250), monday.AddDate(0, 0, 9).Unix()
		}, "", "", ""},
		{"that date has passed", func(_ *testing.T, d *care.Dog) { d.Found.Tests[0].Next = ago(3) }, care.SuggestBlood, "due on 27 Feb 2026, 3 days ago", "BSAVA"},
		{"a test of urine is no blood test", func(_ *testing.T, d *care.Dog) { d.Found.Tests[0].Kind = care.TestUrine }, care.SuggestBlood, "no blood test", "FDA"},
		{"no anti-inflammatory, no blood test asked for", func(_ *testing.T, d *care.Dog) {
			d.Plan[0].Class, d.Found.Tests = care.OtherMed, nil
		}, "", "", ""},
		// 10 % over ideal for each point above 5, so 26 kg at 8 of 9 is 20 kg; lameness lower
		// from 6.10 % of weight lost: Marshall et al. 2010.
		{"plump", func(_ *testing.T, d *care.Dog) {
			d.BCS, d.Weights = 8, []clinical.WeighIn{{At: ago(5), Grams: 26_000, Scale: clinical.Clinic}}
		}, care.SuggestWeight, "Body condition 8 of 9 (20 Feb 2026); 26.0 kg is 6.0 kg above a worked-out target of 20.0 kg.", "Marshall"},
		{"a point above ideal", func(_ *testing.T, d *care.Dog) { d.BCS = 6 }, care.SuggestWeight, "Body condition 6 of 9", "Marshall"},
		// Ideal is 4 to 5 of 9 (Laflamme 1997, from memory).
		{"ideal", func(_ *testing.T, d *care.Dog) { d.BCS = 4 }, "", "", ""},
		{"thin", func(_ *testing.T, d *care.Dog) { d.BCS = 3 }, care.SuggestThin, "below ideal, which is 4 to 5", "Laflamme"},
		{"plump with weight loss on the plan", func(_ *testing.T, d *care.Dog) {
			d.BCS, d.Weights = 8, []clinical.WeighIn{{At: ago(28), Grams: 26_000}}
			d.Plan = append(d.Plan, on(6, care.AreaWeight, "weight loss", care.NotMedicine, 60))
		}, "", "", ""},
		// Every 2, later every 2 to 4 weeks (AAHA, from memory).
		{"not weighed for 29 days", func(_ *testing.T, d *care.Dog) {
			d.BCS, d.Weights = 8, []clinical.WeighIn{{At: ago(29), Grams: 26_000}}
			d.Plan = append(d.Plan, on(6, care.AreaWeight, "weight loss", care.NotMedicine, 60))
		}, care.SuggestWeigh, "29 days ago", "AAHA"},
		{"no activity", func(t *testing.T, d *care.Dog) { off(d, 2); weekly(t, d, 1) }, care.SuggestActivity,
			"the owner gave the usual walk 1 of 4 on 1 Mar 2026", "2022;58:55-76"},
		{"a reminded test was done", func(_ *testing.T, d *care.Dog) {
			d.Found.Tests, d.Plan[0].Reminders = nil, []care.Reminder{{ID: 1, Kind: care.RemindTest, Done: int32(ago(5) / 86400)}}
		}, "", "", ""},
		// Care with anything like an anti-inflammatory beside one: AAHA/AAFP 2015.
		{"bought extras", func(_ *testing.T, d *care.Dog) { d.Plan[4].Source = care.FromBought }, care.SuggestElsewhere,
			"Fish oil is given since 1 Jan 2026 and comes from elsewhere (bought extras)", "2015"},
		{"a borrowed ramp needs no vet", func(_ *testing.T, d *care.Dog) { d.Plan[2].Source = care.FromElsewhere }, "", "", ""},
		// From here on: common practice, no source.
		{"nothing at home", func(t *testing.T, d *care.Dog) { off(d, 3); weekly(t, d, 1) }, care.SuggestHome, "steps, car and sofa 1 of 4", care.NoSource},
		{"an awkward place", func(_ *testing.T, d *care.Dog) {
			off(d, 3)
			d.Awkward = &care.OwnerWords{Text: "the back step", At: ago(7)}
		}, care.SuggestHome, `named "the back step" as awkward on 23 Feb 2026`, care.NoSource},
		{"no therapy, comfortable", func(t *testing.T, d *care.Dog) { off(d, 4); weekly(t, d, 1, 1) }, care.SuggestTherapy, "pain 25.0 of 100", care.NoSource},
		{"no therapy, in pain", func(t *testing.T, d *care.Dog) { off(d, 4); weekly(t, d, 2, 2) }, "", "", ""},
		{"no therapy, comfort not known", func(_ *testing.T, d *care.Dog) { off(d, 4) }, "", "", ""},
		{"no supplement", func(_ *testing.T, d *care.Dog) { off(d, 5) }, care.SuggestSupplement, "No supplement is on the plan", care.NoSource},
		{"two supplements", func(_ *testing.T, d *care.Dog) {
			d.Plan = append(d.Plan, on(6, care.AreaSupplement, "mussel", care.NotMedicine, 30))
		}, care.SuggestOneSupplement, "2 supplements run at once (fish oil, mussel)", care.NoSource},
		{"a review that was due", func(_ *testing.T, d *care.Dog) { d.Plan[3].Review = ago(4) }, care.SuggestReview,
			"Hydrotherapy was to be reviewed on 26 Feb 2026, 4 days ago", care.NoSource},
		{"a review to come", func(_ *testing.T, d *care.Dog) { d.Plan[3].Review = ago(-4) }, "", "", ""},
		{"half a year without a review", func(_ *testing.T, d *care.Dog) { d.Plan[1].Started = ago(183) }, care.SuggestReview, "26 weeks", care.NoSource},
		{"body condition never scored", func(_ *testing.T, d *care.Dog) { d.BCS, d.OwnerBCS = 0, 8 }, care.SuggestCondition, "near 8 of 9", care.NoSource},
		{"body condition of half a year ago", func(_ *testing.T, d *care.Dog) { d.BCSAt = ago(183) }, care.SuggestCondition, "183 days ago", care.NoSource},
		{"body condition on a loss plan", func(_ *testing.T, d *care.Dog) {
			d.BCS, d.BCSAt, d.Weights = 7, ago(85), []clinical.WeighIn{{At: ago(3), Grams: 26_000}}
			d.Plan = append(d.Plan, on(6, care.AreaWeight, "weight loss", care.NotMedicine, 90))
		}, care.SuggestCondition, "85 days ago", care.NoSource},
		{"muscle of half a year ago", func(_ *testing.T, d *care.Dog) { d.MuscleAt = ago(183) }, care.SuggestMuscle, "normal, was recorded", care.NoSource},
		{"examined half a year ago", func(_ *testing.T, d *care.Dog) { d.Found.Examined = ago(183) }, care.SuggestExamine, "183 days ago", care.NoSource},
		{"a dog that has died", func(_ *testing.T, d *care.Dog) { d.Plan, d.Status = nil, care.Died }, "", "", ""},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			d := full()
			c.change(t, &d)
			list := care.Suggest(testRules(t), &d, monday.Unix())
			if c.want == "" {
				require.Empty(t, kinds(list))
				return
			}
			require.Contains(t, kinds(list), c.want)
			s := list[slices.Index(kinds(list), c.want)]
			require.Contains(t, s.Reason, c.reason)
			require.Contains(t, s.Source, c.source)
			require.Len(t, list, 1, "nothing else: %v", kinds(list))
			require.True(t, s.Open())
		})
	}
}

// Pain relief is always looked at first and only through the vet; no suggestion
// ever names a medicine to begin with.
func TestPainReliefIsFirst(t *testing.T) {
	t.Parallel()
	d := care.Dog{Name: "Bramble", BCS: 8}
	weekly(t, &d, 1, 1)
	list := care.Suggest(testRules(t), &d, monday.Unix())
	require.Equal(t, []care.SuggestionKind{care.SuggestPain, care.SuggestWeight, care.SuggestActivity, care.SuggestHome,
		care.SuggestSupplement, care.SuggestMuscle}, kinds(list), "therapy waits until pain relief has been looked at")
	require.Equal(t, care.VetDecides, list[0].Whose)
	require.Equal(t, &care.Draft{Area: care.AreaPain, Comfort: true, ReviewDays: 28}, list[0].Draft)
	for _, s := range list {
		require.NotEmpty(t, s.What)
		require.NotEmpty(t, s.Reason)
		require.NotEmpty(t, s.Source)
		require.NotEmpty(t, s.Basis)
	}
	d.Decisions = []care.Decision{{Kind: care.SuggestPain, Verdict: care.Rejected, Basis: list[0].Basis, Level: list[0].Level}}
	require.Contains(t, kinds(care.Suggest(testRules(t), &d, monday.Unix())), care.SuggestTherapy, "it was looked at and decided against")
}

// What is left over from somebody else is no pain relief that a vet has looked at.
func TestLeftoversAreNoPainRelief(t *testing.T) {
	t.Parallel()
	for source, want := range map[care.Source][]care.SuggestionKind{
		care.FromLeftovers:  {care.SuggestPain, care.SuggestElsewhere},
		care.FromBought:     {care.SuggestPain, care.SuggestElsewhere},
		care.FromOutOfHours: {care.SuggestElsewhere},
		care.FromHere:       nil,
	} {
		d := full()
		d.Plan[0].Source = source
		require.Equal(t, want, kinds(care.Suggest(testRules(t), &d, monday.Unix())), source)
	}
}

func TestTheDoseReviewIsForVetsAlone(t *testing.T) {
	t.Parallel()
	d := full()
	d.Plan[0].Started = ago(200)
	weekly(t, &d, repeat(0, 20)...)
	list := care.Suggest(testRules(t), &d, monday.Unix())
	require.Equal(t, []care.SuggestionKind{care.SuggestDose}, kinds(list))
	require.Equal(t, care.VetAlone, list[0].Whose)
	require.Nil(t, list[0].Draft)
}

// Two starts within two weeks can't be told apart: said before the second.
func TestASuggestionMayWait(t *testing.T) {
	t.Parallel()
	d := full()
	off(&d, 5)
	d.Plan[3].Started = ago(13)
	require.Contains(t, care.Suggest(testRules(t), &d, monday.Unix())[0].Wait, "hydrotherapy began 13 days ago")
	d.Plan[3].Started = ago(14)
	require.Empty(t, care.Suggest(testRules(t), &d, monday.Unix())[0].Wait)
}

// decided is a household with one dog without a supplement and a word on it.
func decided(t *testing.T, v care.Verdict, until int64) *talk {
	k := newTalk(t)
	k.dogs = []care.EnrolledDog{{Name: "Bramble", BCS: 5, Plan: full().Plan[:4]}}
	k.enrolled()
	k.do(care.Event{Practice: &care.Practice{By: "lee", Decide: &care.Decide{Kind: care.SuggestSupplement, Verdict: v, Why: "not yet", Until: until}}})
	return k
}

func (k *talk) suggestion(kind care.SuggestionKind) *care.Suggestion {
	list := care.Suggest(k.rules, &k.house.Dogs[0], k.now.Unix())
	if i := slices.Index(kinds(list), kind); i >= 0 {
		return &list[i]
	}
	return nil
}

func TestADeclinedSuggestionStaysAway(t *testing.T) {
	t.Parallel()
	k := decided(t, care.Rejected, 0)
	s := k.suggestion(care.SuggestSupplement)
	require.False(t, s.Open())
	require.Equal(t, "not yet", s.Answer.Why)
	require.Equal(t, "lee", s.Answer.By)
	k.moveTo(monday.AddDate(1, 0, 0))
	require.False(t, k.suggestion(care.SuggestSupplement).Open(), "until what it rests on changes")
	k.do(care.Event{Practice: &care.Practice{By: "lee", Plan: &care.PlanChange{Dog: "Bramble", Action: care.PlanStart, What: "fish oil", Area: care.AreaSupplement}}})
	require.Nil(t, k.suggestion(care.SuggestSupplement))
	k.do(care.Event{Practice: &care.Practice{By: "lee", Plan: &care.PlanChange{Dog: "Bramble", Action: care.PlanStop, What: "fish oil"}}})
	require.True(t, k.suggestion(care.SuggestSupplement).Open(), "one was tried meanwhile")
}

func TestADeclinedSuggestionComesBackOnItsDate(t *testing.T) {
	t.Parallel()
	until := monday.AddDate(0, 1, 0)
	k := decided(t, care.Rejected, until.Unix())
	k.moveTo(until.Add(-time.Minute))
	require.False(t, k.suggestion(care.SuggestSupplement).Open())
	k.moveTo(until)
	require.True(t, k.suggestion(care.SuggestSupplement).Open())
}

// Worse by the meaningful change of 10 points is a change of what it rests on.
func TestADeclinedSuggestionComesBackWhenItPresses(t *testing.T) {
	t.Parallel()
	d := full()
	off(&d, 1)
	weekly(t, &d, 1, 1)
	r := testRules(t)
	s := care.Suggest(r, &d, monday.Unix())[0]
	require.Equal(t, 25.0, s.Level)
	for level, open := range map[float64]bool{25: false, 15.1: false, 15: true, 0: true} {
		d.Decisions = []care.Decision{{Kind: s.Kind, Verdict: care.Rejected, Basis: s.Basis, Level: level}}
		require.Equal(t, open, care.Suggest(r, &d, monday.Unix())[0].Open(), level)
	}
}

func TestAnAcceptedSuggestionBeginsNothing(t *testing.T) {
	t.Parallel()
	k := decided(t, care.Accepted, 0)
	require.Len(t, k.house.Dogs[0].Plan, 4, "it begins nothing by itself")
	require.Equal(t, care.Accepted, k.suggestion(care.SuggestSupplement).Answer.Verdict)
	k.moveTo(monday.AddDate(0, 0, 8*7))
	require.True(t, k.suggestion(care.SuggestSupplement).Open(), "nothing came of it for eight weeks")
	require.NotContains(t, fmt.Sprint(k.sent), "supplement", "no owner is told")
}

func TestBadDecisionsAreRefused(t *testing.T) {
	t.Parallel()
	for want, c := range map[string]care.Decide{
		"no longer stands": {Kind: care.SuggestTherapy, Verdict: care.Rejected, Why: "x"},
		"accepted or":      {Kind: care.SuggestSupplement, Verdict: 7, Why: "x"},
		"say why":          {Kind: care.SuggestSupplement, Verdict: care.Accepted, Why: " "},
		"in the future":    {Kind: care.SuggestSupplement, Verdict: care.Rejected, Why: "x", Until: monday.Unix() - 1},
		"no such dog":      {Dog: 4, Kind: care.SuggestSupplement, Verdict: care.Rejected, Why: "x"},
	} {
		k := newTalk(t)
		k.dogs = []care.EnrolledDog{{Name: "Bramble", Plan: full().Plan[:4]}}
		k.enrolled()
		res := care.Turn(k.rules, k.house, care.Event{At: k.now, Practice: &care.Practice{By: "lee", Decide: &c}})
		require.Equal(t, care.PracticeRefused, res.Reason)
		require.Contains(t, res.Refusal, want)
		require.Empty(t, res.Household.Dogs[0].Decisions)
	}
}

func TestHowEachAreaStands(t *testing.T) {
	t.Parallel()
	d := care.Dog{Name: "Bramble", BCS: 5, BCSAt: ago(3), Plan: []care.Entry{
		on(1, care.AreaPain, "invented tablets", care.NSAID, 60), on(2, care.AreaActivity, "paced walks", care.NotMedicine, 60)}}
	d.Plan[0].Status, d.Plan[1].Review = care.Held, ago(1)
	weekly(t, &d, 3, 3)
	r := testRules(t)
	states := func() (out []care.CoverState) {
		for _, c := range care.PlanCover(r, &d, monday.Unix()) {
			out = append(out, c.State)
		}
		return out
	}
	require.Equal(t, []care.CoverState{care.CoverHeld, care.CoverIdle, care.CoverStale, care.CoverNone, care.CoverWaits, care.CoverNone}, states())
	require.Equal(t, []care.Area{care.AreaHome, care.AreaTherapy, care.AreaSupplement}, care.Uncovered(r, &d, monday.Unix()))
	require.Contains(t, care.PlanCover(r, &d, monday.Unix())[4].About, "Once comfort allows: pain is 75.0 of 100")

	for _, s := range care.Suggest(r, &d, monday.Unix()) {
		if s.Kind == care.SuggestHome {
			d.Decisions = append(d.Decisions, care.Decision{Kind: s.Kind, Verdict: care.Rejected, Basis: s.Basis, Level: s.Level, Why: "lives in a bungalow", At: ago(2)})
		}
	}
	require.Equal(t, care.CoverAside, states()[3])
	require.True(t, strings.HasSuffix(care.PlanCover(r, &d, monday.Unix())[3].About, "lives in a bungalow"))
	require.Equal(t, []care.Area{care.AreaTherapy, care.AreaSupplement}, care.Uncovered(r, &d, monday.Unix()))
	d.BCS = 0
	require.Contains(t, care.Uncovered(r, &d, monday.Unix()), care.AreaWeight, "nobody knows whether there is anything to lose")
}
