package care_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

// The advice before a change: two weeks apart, the cautions, the batch.
func TestPlanAdviceBeforeAChange(t *testing.T) {
	t.Parallel()
	r := testRules(t)
	ago := func(days int) int64 { return monday.AddDate(0, 0, -days).Unix() }
	entry := func(id uint16, what string, c care.MedicineClass, days int) care.Entry {
		return care.Entry{ID: id, What: what, Class: c, Started: ago(days)}
	}
	start := func(what string, c care.MedicineClass) care.PlanChange {
		return care.PlanChange{Dog: "Bramble", Action: care.PlanStart, What: what, Class: c}
	}
	declined := entry(1, "laser", care.NotMedicine, 3)
	declined.Status, declined.Ended, declined.Declined = care.Ended, declined.Started, true
	cases := []struct {
		name   string
		plan   []care.Entry
		change care.PlanChange
		want   []string
	}{
		{"nothing against it", nil, start("hydrotherapy", ""), nil},
		{"thirteen days apart", []care.Entry{entry(1, "hydrotherapy", "", 13)}, start("gabapentin", care.OtherMed),
			[]string{"hydrotherapy began on 17 February, less than two weeks from this: what either does can't be told apart."}},
		{"fourteen days apart", []care.Entry{entry(1, "hydrotherapy", "", 14)}, start("gabapentin", care.OtherMed), nil},
		{"one that was never begun", []care.Entry{declined}, start("gabapentin", care.OtherMed), nil},
		{"two anti-inflammatories", []care.Entry{entry(1, "carprofen", care.NSAID, 90)}, start("meloxicam", care.NSAID),
			[]string{"Two anti-inflammatories together: carprofen and meloxicam."}},
		{"an injection without batch beside an anti-inflammatory", []care.Entry{entry(1, "carprofen", care.NSAID, 90)}, start("the injection", care.Antibody),
			[]string{"An anti-inflammatory beside an antibody against nerve growth factor: carprofen and the injection. To know, no more.",
				"No batch number is given for the injection."}},
		{"leftovers", nil, care.PlanChange{Action: care.PlanStart, What: "carprofen", Class: care.NSAID, Source: care.FromLeftovers},
			[]string{"carprofen does not come from this practice (leftovers): since when it is given, and beside what, is the owner's word alone."}},
		{"a detail changed says nothing", []care.Entry{entry(1, "carprofen", care.NSAID, 3), entry(2, "physio", "", 2)},
			care.PlanChange{Action: care.PlanDetails, Entry: 1, Who: "Ruth"}, nil},
		{"what can't be done says nothing", nil, care.PlanChange{Action: care.PlanStop, What: "carprofen"}, nil},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			d := care.Dog{Name: "Bramble", Plan: c.plan}
			require.Equal(t, c.want, care.PlanAdvice(r, &d, c.change, monday))
		})
	}
}

// What was said before a change stands for as long as it holds, and the second
// of two changes sees the first.
func TestPlanNotesAfterAChange(t *testing.T) {
	t.Parallel()
	r := testRules(t)
	d := care.Dog{Name: "Bramble"}
	for _, what := range []string{"hydrotherapy", "rugs in the hall"} {
		after, refusal := d.WithPlanChange(r, care.PlanChange{Action: care.PlanStart, What: what, Area: care.AreaHome}, monday)
		require.Empty(t, refusal)
		require.Len(t, after.Plan, len(d.Plan)+1)
		d = after
	}
	require.Equal(t, []string{"hydrotherapy and rugs in the hall began within two weeks of each other: what either did can't be told apart."},
		care.PlanNotes(r, &d, monday))
	require.Empty(t, care.PlanNotes(r, &d, monday.Add(27*7*24*time.Hour)), "after half a year it is old news")
}
