package desk

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// until lets hours pass until a script asks something.
func (b *bench) until(t *testing.T, clinic string, id contact.ID, kind care.PromptKind) {
	t.Helper()
	for range 24 * 7 {
		if o := b.household(clinic, id).Contacts[0].Talk.Open; o != nil && o.Kind == kind {
			return
		}
		b.hours(clinic, id, 1)
	}
	t.Fatalf("%s was never asked", kind)
}

// What is awkward at home is asked for, shown in the owner's words, solved, set
// aside and opened again on the dog's page.
func TestAwkwardPlacesOnThePage(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble", Own: [2]string{"the sofa"}})
	b.says("hillside", id, "yes")
	b.answersAll(id)
	nurse, reception := b.signedIn("hillside", account.Nurse), b.signedIn("hillside", account.Reception)
	page := at("/h/:id/dogs/:dog", id)
	nurse.get(page).has("#home", "None named", "the sofa")
	require.Equal(t, 403, reception.post(page+"/home/ask").status)
	nurse.post(page + "/home/ask").done("home-asked")
	nurse.get(page).has("#home", "about to be asked")
	require.Equal(t, 422, nurse.post(page+"/home/ask").status, "asked already")

	b.until(t, "hillside", id, care.PromptHouse)
	b.says("hillside", id, "floors and car")
	b.says("hillside", id, "slides by the <b>fridge</b>")
	nurse = b.signedIn("hillside", account.Nurse) // days have passed
	places := nurse.get(page)
	places.has("#home .places", "The floors", "slides by the <b>fridge</b>", "The car")
	require.Empty(t, places.all("#home b"), "an owner's words are text and nothing else")
	nurse.post(page+"/home", "task", "1", "to", "solved").done("home")
	nurse.get(page).has("#home .places", "solved", "by Sam Nurse")
	nurse.post(page+"/home", "task", "2", "to", "aside").done("home")
	nurse.post(page+"/home", "task", "1", "to", "open").done("home")
	require.Equal(t, care.TaskOpen, b.household("hillside", id).Dogs[0].House[0].State)
	for _, bad := range [][]string{{"task", "1", "to", "open"}, {"task", "9", "to", "solved"}, {"task", "1", "to", "gone"}, {"task", "1"}} {
		require.Equal(t, 422, nurse.post(page+"/home", bad...).status, strings.Join(bad, " "))
	}
	b.replays(t, "hillside", id)
}

// The note of good and bad days is suggested, shown as a row and a table, and
// ended on the dog's page.
func TestGoodAndBadDaysOnThePage(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble", Own: [2]string{"the sofa"}})
	b.says("hillside", id, "yes")
	b.answersAll(id)
	vet, reception := b.signedIn("hillside", account.Vet), b.signedIn("hillside", account.Reception)
	page := at("/h/:id/dogs/:dog", id)
	vet.get(page).has("#days", "No note is kept.")
	require.Equal(t, 403, reception.post(page+"/days", "weeks", "3").status)
	require.Equal(t, 422, vet.post(page+"/days", "weeks", "9").status)
	require.Equal(t, 422, vet.post(page+"/days", "end", "yes").status)
	vet.post(page+"/days", "weeks", "2").done("days")
	vet.get(page).has("#days", "asked each evening until", "Sam Vet", "No evening yet.")
	require.Equal(t, 422, vet.post(page+"/days", "weeks", "2").status, "it is kept already")

	b.until(t, "hillside", id, care.PromptGoodDay)
	b.says("hillside", id, "bad")
	b.hours("hillside", id, 20)
	b.until(t, "hillside", id, care.PromptGoodDay)
	b.says("hillside", id, "a quiet one, slept by the fire")
	vet = b.signedIn("hillside", account.Vet) // days have passed
	p := vet.get(page)
	p.has("#days .dayrow", "–", "·")
	p.has("#d-days", "bad", "not said", "slept by the fire")
	vet.post(page+"/days", "end", "yes").done("days-ended")
	vet.get(page).has("#days", "ended by the practice")
	b.replays(t, "hillside", id)
}
