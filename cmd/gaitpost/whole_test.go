package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

const ruthAndBramble = `households:
  - owner: Ruth
    phone: 07700 900401
    dogs:
      - dog: Bramble
        weight_kg: 32.5
        bcs: 7
        medicines: nsaid:carprofen since 2026-01-02
`

// answersAll answers a check-in one question at a time until it ends.
func (w *world) answersAll(number string) (closing string) {
	w.t.Helper()
	for range 12 {
		texts := w.got()
		require.NotEmpty(w.t, texts)
		switch q := texts[len(texts)-1]; {
		case strings.Contains(q, "Thank you"):
			return q
		case strings.Contains(q, "anything new"):
			w.says(number, "no")
		case strings.Contains(q, "doses"):
			w.says(number, "0")
		default:
			w.says(number, "1")
		}
	}
	w.t.Fatal("the check-in did not end")
	return ""
}

// agreed enrols Ruth and lets her agree and answer the first check-in.
func (w *world) agreed() {
	w.t.Helper()
	w.enrol(ruthAndBramble)
	w.settle()
	w.hears(ruthsPhone, "Hillside Vets", "YES", "STOP")
	w.says(ruthsPhone, "YES")
}

func TestFromEnrolmentToTheFirstReading(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	require.Contains(t, w.answersAll(ruthsPhone), "Thank you")
	var reasons []care.Reason
	readings := 0
	for _, e := range w.log(ruthsPhone) {
		reasons = append(reasons, e.Reason)
		for _, f := range e.Facts {
			if f.Kind == care.FactReading {
				readings++
				require.InDelta(t, 25, f.Number, 0.001, "every item at 1 of 4")
			}
		}
		require.Regexp(t, `^[0-9]+-[0-9a-f]{8}$`, e.Versions.Rules)
		require.NotEmpty(t, e.Versions.Scripts)
		require.NotEmpty(t, e.Versions.Lexicon)
	}
	require.Equal(t, 1, readings)
	require.Contains(t, reasons, care.ConsentGiven)
	require.Contains(t, reasons, care.Finished)
	require.Equal(t, care.Agreed, w.household(ruthsPhone).Household.Contacts[0].Consent.State)
	require.Empty(t, w.provider.Problems())

	// The next one comes by itself, the week after.
	w.goTo("2026-03-10 10:00")
	require.NotEmpty(t, w.got())
	require.Empty(t, w.provider.Problems())
}

func TestAnEmergencyReachesThePractitionerAndIsAcknowledged(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.answersAll(ruthsPhone)
	w.says(ruthsPhone, "he's collapsed and his gums are white")
	texts := w.got()
	require.Len(t, texts, 2)
	var toOwner, toLee string
	for _, m := range texts {
		if strings.HasPrefix(m, drLee) {
			toLee = m
		} else {
			toOwner = m
		}
	}
	w.isText(toOwner, ruthsPhone, "01632 960100", "01632 960999")
	w.isText(toLee, drLee, "Bramble")
	w.says(drLee, "OK rang her")
	alerts := w.household(ruthsPhone).Household.Alerts
	require.Len(t, alerts, 1)
	require.Equal(t, care.RedFlag, alerts[0].Reason)
	require.Equal(t, care.Acknowledged, alerts[0].State)
	require.Equal(t, "lee", alerts[0].By)
	require.Equal(t, "rang her", alerts[0].Note)
}

func TestTheDigestTellsWhatIsOpenAndOnlyOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.answersAll(ruthsPhone)
	w.says(ruthsPhone, "could I move the next appointment to Friday?")
	w.got()
	w.goTo("2026-03-03 07:45")
	w.got()
	w.newApp(w.client) // a second process, and the tick after it
	w.goTo("2026-03-03 08:30")
	digests := 0
	for _, m := range w.got() {
		if strings.HasPrefix(m, drLee) {
			digests++
			require.Contains(t, m, "Bramble")
		}
	}
	require.Equal(t, 1, digests)
}

func TestStopEndsEverythingAutomatic(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.got()
	w.says(ruthsPhone, "please take me off this list")
	texts := w.got()
	require.Equal(t, care.OptedOut, w.household(ruthsPhone).Household.Contacts[0].Consent.State)
	for _, m := range texts {
		if strings.HasPrefix(m, ruthsPhone) {
			require.NotContains(t, m, "0-4")
		}
	}
	w.goTo("2026-03-10 12:00")
	for _, m := range w.got() {
		require.False(t, strings.HasPrefix(m, ruthsPhone), m)
	}
}

func TestPlanChangeReachesTheHousehold(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agreed()
	w.answersAll(ruthsPhone)
	w.command("plan-change", "--phone", "07700 900401", "--dog", "Bramble", "--hold", "carprofen", "--reason", "sick")
	require.Equal(t, care.Held, w.household(ruthsPhone).Household.Dogs[0].Plan[0].Status)
}
