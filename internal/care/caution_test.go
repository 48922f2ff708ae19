package care_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

// The gaps are published: 5 days between anti-inflammatories (Lascelles,
// McFarland and Swann, Vet Ther 2005;6:237-251), 7 days after aspirin and
// never beside a steroid (KuKanich, dvm360; AAHA/AAFP 2015).
func TestCautionsOfAPlan(t *testing.T) {
	t.Parallel()
	at := func(days int) int64 { return monday.AddDate(0, 0, days).Unix() }
	entry := func(id uint16, what string, c care.MedicineClass, from, to int) care.Entry {
		e := care.Entry{ID: id, What: what, Class: c, Area: care.AreaPain, Started: at(from)}
		if to != 0 {
			e.Status, e.Ended = care.Ended, at(to)
		}
		return e
	}
	cases := []struct {
		name string
		plan []care.Entry
		want string
	}{
		{"one alone", []care.Entry{entry(1, "carprofen", care.NSAID, -60, 0)}, ""},
		{"two together", []care.Entry{entry(1, "carprofen", care.NSAID, -60, 0), entry(2, "meloxicam", care.NSAID, 0, 0)}, "two anti-inflammatories together"},
		{"four days between", []care.Entry{entry(1, "carprofen", care.NSAID, -60, -4), entry(2, "meloxicam", care.NSAID, 0, 0)}, "less than 5 days after carprofen"},
		{"five days between", []care.Entry{entry(1, "carprofen", care.NSAID, -60, -5), entry(2, "meloxicam", care.NSAID, 0, 0)}, ""},
		{"with a steroid", []care.Entry{entry(1, "carprofen", care.NSAID, -60, 0), entry(2, "prednisolone", care.Steroid, 0, 0)}, "with a steroid"},
		{"six days after aspirin", []care.Entry{entry(1, "aspirin", care.Aspirin, -60, -6), entry(2, "carprofen", care.NSAID, 0, 0)}, "within 7 days of aspirin"},
		{"seven days after aspirin", []care.Entry{entry(1, "aspirin", care.Aspirin, -60, -7), entry(2, "carprofen", care.NSAID, 0, 0)}, ""},
		{"with an antibody is a notice, not an alert", []care.Entry{entry(1, "carprofen", care.NSAID, -60, 0), entry(2, "the injection", care.Antibody, 0, 0)}, ""},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := newTalk(t)
			k.dogs = []care.EnrolledDog{{Name: "Bramble", Plan: c.plan}}
			k.enrolled()
			if c.want == "" {
				k.expect("no alert caution", c.name)
				return
			}
			k.expect("alert caution today …"+c.want, c.name)
		})
	}
}

func TestAHeldMedicineIsNotStartedAgainByItself(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	k.dogs = []care.EnrolledDog{{Name: "Bramble", Plan: []care.Entry{{What: "carprofen", Class: care.NSAID, Area: care.AreaPain}}}}
	k.enrolled()
	k.owner("yes")
	k.owner("he has been sick twice and there is blood in it")
	require.Equal(t, care.Held, k.house.Dogs[0].Plan[0].Status)
	k.do(care.Event{Practice: &care.Practice{By: "lee", Plan: &care.PlanChange{Dog: "Bramble", Action: care.PlanRestart, What: "carprofen"}}})
	require.Equal(t, care.Active, k.house.Dogs[0].Plan[0].Status)
}
