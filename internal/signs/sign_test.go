package signs

import (
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestEverySignHasPatternsAndALabel(t *testing.T) {
	have := map[Sign]bool{Unclear: true, VomitingRepeated: true, SingleVomit: true} // found by counting, or by the model
	for _, tg := range english.words().targets {
		have[tg.sign] = true
	}
	id := regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)
	for _, s := range All() {
		require.True(t, have[s], "no pattern speaks for %s", s)
		require.Regexp(t, id, string(s))
		require.NotEmpty(t, s.Label())
		require.NotEqual(t, string(s), "")
	}
	require.Equal(t, "nonsense", Sign("nonsense").Label())
	require.False(t, Sign("nonsense").Known())
	require.Equal(t, None, Sign("nonsense").Urgency(Context{NSAID: true}))
}

// TestTickedSigns: what a plan changes when a sign is ticked in a closed list.
func TestTickedSigns(t *testing.T) {
	nothing, nsaid, antibody := Context{}, Context{NSAID: true}, Context{Antibody: true}
	for _, c := range []struct {
		sign                     Sign
		nothing, nsaid, antibody Urgency
	}{
		{Collapse, Emergency, Emergency, Emergency},
		{StoolBlack, Emergency, Emergency, Emergency},
		{VomitingRepeated, SameDay, Emergency, SameDay},
		{GumsYellow, SameDay, Emergency, SameDay},
		{EyesYellow, SameDay, Emergency, SameDay},
		{StoolBlood, SameDay, Emergency, SameDay},
		{UrineBlood, SameDay, SameDay, SameDay},
		{Wobbliness, SameDay, SameDay, Emergency},
		{Weakness, SameDay, SameDay, Emergency},
		{Knuckling, SameDay, SameDay, Emergency},
		{HeadTilt, SameDay, SameDay, Emergency},
		{Incontinence, SameDay, SameDay, SameDay},
		{SingleVomit, None, SameDay, None},
		{SkinChange, None, SameDay, None},
		{BehaviourChange, None, SameDay, None},
	} {
		require.Equal(t, c.nothing, c.sign.Urgency(nothing), c.sign)
		require.Equal(t, c.nsaid, c.sign.Urgency(nsaid), c.sign)
		require.Equal(t, c.antibody, c.sign.Urgency(antibody), c.sign)
	}
}

// TestBelongs: which signs hold which medicine, and which cannot wait for a
// late opening. Sources: US FDA CVM leaflet for owners of dogs on
// anti-inflammatories; US FDA CVM letter on the antibody, December 2024.
func TestBelongs(t *testing.T) {
	for _, s := range []Sign{Vomiting, VomitingRepeated, SingleVomit, Diarrhoea, StoolBlack, StoolBlood, OffFood, Lethargy, GumsYellow, EyesYellow, SkinChange, BehaviourChange, DrinkingMore, WeeingMore, Seizure} {
		require.True(t, s.BelongsToNSAID(), s)
	}
	for _, s := range []Sign{Wobbliness, Weakness, Seizure, Incontinence, DrinkingMore, WeeingMore, CannotStand} {
		require.True(t, s.BelongsToAntibody(), s)
	}
	for _, s := range []Sign{LegCar, Wound, EyeInjury, Chocolate, SnakeBite} {
		require.False(t, s.BelongsToNSAID() || s.BelongsToAntibody(), s)
	}
	for _, s := range All() {
		night := s == GumsYellow || s == EyesYellow || s == LegHeldUp || s == VomitingRepeated
		require.Equal(t, night, s.CannotWaitOvernight(), s)
	}
}
