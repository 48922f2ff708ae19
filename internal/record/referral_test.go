package record

import (
	"bytes"
	"io"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

func referred(t *testing.T) *story {
	s := halfYear(t)
	s.does(care.Practice{Findings: &care.Findings{Text: "ready for water", Joints: []care.Joint{{Side: care.LeftSide, Name: "hip"}},
		Diseases: []string{"heart murmur"}, Lameness: care.Lameness{Grade: care.LameAtTimes}, Whole: true}})
	return s
}

func TestReferralTellsATherapistWhatMatters(t *testing.T) {
	t.Parallel()
	s := referred(t)
	d := made(t, Referral, s.input())
	d.has("header", "Bramble", "Ruth", "reference H-0117", "Hill Vets")
	d.has("#not-validated", "not a validated instrument")
	d.has("#careful", "carprofen", "Also has: heart murmur", "Open at the practice since", "Medicines are changed by the vet alone")
	d.has("#aims", "Into the car: usually ", "last answered ", "0 no trouble to 4 worst")
	d.has("#found", "Joints affected: left hip", "Lameness: lame now and then at a walk", "ready for water", "Dr Lee", hostile)
	d.has("#plan", "Hydrotherapy (therapy), since ", "can't be told apart")
	d.has("#course", "Index ", "Start hydrotherapy", "Mean index before")
	d.has("#weight", "Target 27.10 kg")
	require.Len(t, d.find("#course svg"), 1)
	require.NotContains(t, d.raw, "sick twice in the night", "what the owner wrote stays at the practice")
}

func TestReferralShowsNumbersOnlyWhereChosen(t *testing.T) {
	t.Parallel()
	s := referred(t)
	for _, write := range []func(io.Writer, Input) error{Referral, ReferralText} {
		in := s.input()
		var b bytes.Buffer
		require.NoError(t, write(&b, in))
		require.NotContains(t, b.String(), ruth.Value)
		require.NotContains(t, b.String(), s.rules.Phone)
		require.NotContains(t, b.String(), s.rules.Emergency)
		b.Reset()
		in.Numbers = true
		require.NoError(t, write(&b, in))
		require.Contains(t, b.String(), strings.TrimPrefix(ruth.Value, "+"))
		require.Contains(t, b.String(), s.rules.Phone)
	}
}

func TestReferralAsPlainText(t *testing.T) {
	t.Parallel()
	s := referred(t)
	var b bytes.Buffer
	require.NoError(t, ReferralText(&b, s.input()))
	text := b.String()
	for _, part := range []string{"Referral: Bramble\n=================\n", "Owner: Ruth", "Reference: H-0117", "To be careful of\n----------------",
		"The plan\n--------", "left hip", "not a validated instrument"} {
		require.Contains(t, strings.ReplaceAll(text, "\n  ", " "), part)
	}
	for _, line := range strings.Split(text, "\n") {
		require.LessOrEqual(t, utf8.RuneCountInString(line), 76, line)
	}
	require.Error(t, ReferralText(&b, Input{Rules: s.rules, Household: &s.house, Dog: 7, Now: s.now}))

	empty := newStory(t, care.EnrolledDog{Name: "Pip"})
	b.Reset()
	require.NoError(t, ReferralText(&b, empty.input()))
	require.Contains(t, b.String(), "Nothing is recorded on the plan.")
	require.Contains(t, b.String(), "No check-in has been scored yet.")
}
