package desk

import (
	"context"
	"encoding/json"
	"net/http"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// Everything that is set for one dog is set, shown and taken back on its page,
// and the log decided again gives the same household.
func TestADogsSettingsOnItsPage(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble", Grams: 30_000})
	b.says("hillside", id, "yes")
	vet := b.signedIn("hillside", account.Vet)
	page := at("/h/:id/dogs/:dog", id)
	dog := func() *care.Dog { return &b.household("hillside", id).Dogs[0] }

	vet.get(page).has("#settings", "The clinic’s thresholds hold for Bramble.")
	vet.post(page+"/thresholds", "n-level_at", "60", "n-rise_mean", "12,5").done("dog-set")
	require.Len(t, dog().OwnNumbers, 2)
	vet.get(page).has("#settings .own-number", "High index, on two check-ins running: 60 points in place of 50; Sam Vet")
	vet.post(page+"/thresholds", "n-level_at", "60").done("dog-set") // the other goes back
	require.Len(t, dog().OwnNumbers, 1)
	for _, bad := range [][]string{{"n-level_at", "200"}, {"n-level_at", "much"}, {"n-rise_single", "NaN"}, {"n-level_at", "60"}} {
		require.Equal(t, 422, vet.post(page+"/thresholds", bad...).status, bad)
	}

	vet.post(page+"/cadence", "kind", "checkin", "cron", "30 9 * * fri", "gap", "13").done("dog-set")
	vet.get(page).has("#settings", "30 9 * * fri", "at least 13 days apart", "set by Sam Vet", "Fri")
	vet.post(page+"/cadence", "kind", "checkin", "cron", "30 99 * * fri", "gap", "13").has("main", "the hour \"99\" should be")
	require.Equal(t, 422, vet.post(page+"/cadence", "kind", "checkin", "cron", "", "gap", "13").status)
	vet.post(page+"/cadence", "kind", "checkin", "clear", "yes").done("dog-set")
	require.Empty(t, dog().OwnCadences)

	vet.post(page+"/hold", "until", "2026-04-01", "why", "after an operation").done("held")
	require.Equal(t, care.OnHold, dog().Status)
	vet.get(page).has("#settings", "Paused since", "after an operation", "1 Apr 2026")
	require.Equal(t, 422, vet.post(page+"/hold", "until", "2026-04-01").status, "no reason")
	require.Equal(t, 422, vet.post(page+"/hold", "why", "no date").status)
	vet.post(page+"/hold", "end", "yes").done("goes-on")
	require.Equal(t, care.Followed, dog().Status)

	vet.post(page+"/quiet-sign", "sign", "diarrhoea", "until", "2026-04-01").done("quiet-sign")
	vet.get(page).has("#settings", "is quieted until 1 Apr 2026")
	vet.post(page+"/quiet-sign", "sign", "diarrhoea", "end", "yes").done("sign-heard")
	require.Empty(t, dog().Quieted)

	b.replays(t, "hillside", id)
}

// replays decides the household's log again and wants the same household.
func (b *bench) replays(t *testing.T, clinic string, id contact.ID) {
	t.Helper()
	log, err := b.store.ReadLog(context.Background(), clinic, id, 0, 1000)
	require.NoError(t, err)
	again, err := store.Replay(b.clinics[clinic].Rules, id, log)
	require.NoError(t, err)
	stored, err := json.Marshal(b.household(clinic, id).Dogs)
	require.NoError(t, err)
	decided, err := json.Marshal(again.Dogs)
	require.NoError(t, err)
	empty := strings.NewReplacer("[]", "null") // nothing is nothing
	require.JSONEq(t, empty.Replace(string(stored)), empty.Replace(string(decided)))
}

func TestTextsArePausedOnThePage(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	nurse := b.signedIn("hillside", account.Nurse)
	pause := at("/h/:id/pause", id)
	nurse.post(pause, "contact", "0", "until", "2026-04-01", "why", "moving house").done("texts-paused")
	nurse.get(at("/h/:id", id)).has("main", "Texts to Ruth are paused until 1 Apr 2026", "moving house.")
	nurse.post(pause, "contact", "0", "end", "yes").done("resumed")
	require.Equal(t, 422, nurse.post(pause, "contact", "0", "end", "yes").status)
	require.Equal(t, 422, nurse.post(pause, "contact", "7", "end", "yes").status)
}

func TestACheckInIsCorrectedOnThePage(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble", Grams: 30_000})
	nurse := b.signedIn("hillside", account.Nurse)
	page := at("/h/:id/dogs/:dog", id)
	yesterday := b.now().AddDate(0, 0, -1).Format(time.DateOnly)
	items := func(level string) []string {
		var f []string
		for _, i := range []string{"limping", "soreness", "night", "rising", "walking", "steps"} {
			f = append(f, "item-"+i, level)
		}
		return f
	}
	nurse.post(page+"/checkin", append(items("1"), "who", "Ruth")...).done("entered")
	nurse.post(page+"/checkin", append(items("4"), "who", "Ruth on paper", "on", yesterday)...).done("entered")
	require.Equal(t, 422, nurse.post(page+"/checkin", append(items("4"), "who", "Ruth", "on", b.now().AddDate(0, 0, -20).Format(time.DateOnly))...).status)
	readings := b.household("hillside", id).Dogs[0].Course.Readings()
	require.Len(t, readings, 2)
	require.EqualValues(t, 100, readings[0].Index.Total)

	old := strconv.FormatInt(readings[0].At, 10)
	nurse.get(page).has("#index", "correct")
	form := nurse.get(page + "/correct?at=" + old)
	form.ok()
	require.Len(t, form.all("input[checked]"), 8, "what was kept stands in the form")
	require.Equal(t, http.StatusNotFound, nurse.get(page+"/correct?at=5").status)
	nurse.post(page+"/correct", append(items("2"), "at", old, "why", "read for the wrong week")...).done("corrected")
	nurse.get(page).has("#d-corrected", "read for the wrong week")
	require.EqualValues(t, 50, b.household("hillside", id).Dogs[0].Course.Readings()[0].Index.Total)
	nurse.post(page+"/correct", "at", old, "withdraw", "yes", "why", "another dog").done("corrected")
	require.Len(t, b.household("hillside", id).Dogs[0].Course.Readings(), 1)
	require.Equal(t, 422, nurse.post(page+"/correct", "at", old, "withdraw", "yes", "why", "again").status)
	require.Equal(t, 422, nurse.post(page+"/correct", "at", old, "withdraw", "yes").status, "no reason")

	w := strconv.FormatInt(b.household("hillside", id).Dogs[0].Weights[0].At, 10)
	nurse.post(page+"/correct", "weight", "yes", "at", w, "kg", "29.5", "why", "misread").done("corrected")
	nurse.get(page).has("#d-weight", "29.5 kg")
	nurse.post(page+"/weigh", "kg", "31", "on", yesterday).done("weighed")
	require.EqualValues(t, 31_000, b.household("hillside", id).Dogs[0].Weights[0].Grams)
	b.replays(t, "hillside", id)
}
