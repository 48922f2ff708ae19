package desk

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

func TestAnAlertIsWorkedToClosed(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	vet := b.signedIn("hillside", account.Vet)
	vet.get("/desk/today").ok().has(".empty.big", "Nobody needs you just now")

	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	b.says("hillside", id, "Bramble has collapsed and won't get up")
	page := vet.get("/desk/today").ok()
	page.has("article[data-urgency=Now] h3", "Bramble", "Emergency sign")
	page.has("#g-now .sentence")
	page.hasNot("form[method=get]")

	at := "/desk/h/" + string(id) + "/alerts/1"
	vet.post(at+"/ack", "note", "ringing her", "from", "/desk/today").done("acknowledged")
	page = vet.get("/desk/today").ok()
	page.has("article.taken", "Sam Vet", "ringing her")
	refused := vet.post(at+"/close", "note", "a long story")
	require.Equal(t, 422, refused.status)
	refused.has("textarea", "a long story")
	vet.post(at+"/close", "outcome", string(care.SentToEmergency), "note", "gone in").done("closed")
	vet.get("/desk/today").ok().hasNot("article")
	dog := vet.get("/desk/h/" + string(id) + "/dogs/0").ok()
	dog.has("#past", "Emergency sign", "Sent to emergency care", "gone in", "Sam Vet")
	dog.has("#talk .line.owner", "collapsed")
}

func TestPressingTwiceDoesNothingTwice(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	vet := b.signedIn("hillside", account.Vet)
	write := "/desk/h/" + string(id) + "/write"
	vet.post(write, "nonce", "aaaaaaaaaaaaaaaaaaaaaaaaa", "contact", "0", "text", "How is she?").done("sent")
	vet.post(write, "nonce", "aaaaaaaaaaaaaaaaaaaaaaaaa", "contact", "0", "text", "How is she?").done("already")
	// Another form of the same page, gone back to.
	vet.post(write, "nonce", "aaaaaaaaaaaaaaaaaaaaaaaaa", "contact", "0", "text", "And today?").done("sent")
	page := vet.get("/desk/h/" + string(id)).ok()
	require.Len(t, page.all(".line.staff"), 2)
	require.Equal(t, 422, vet.post(write, "nonce", "short", "text", "x").status)
}

func TestADogsPage(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	b.clock.Store(tuesday.AddDate(0, -5, 0).Unix())
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble", Grams: 32_000, BCS: 7, Loss: true,
		Own: [2]string{"the stile", ""}, Plan: []care.Entry{{Area: care.AreaPain, What: "invented tablets", Class: care.NSAID}}})
	b.checkIns("hillside", id, 1, 1, 1, 1, 1, 1, 1, 1, 1, 3, 3)
	vet := b.signedIn("hillside", account.Vet)
	page := vet.get("/desk/h/" + string(id) + "/dogs/0").ok()
	page.has("h1", "Bramble")
	page.has("#index .figures", "75.0", "25.0", "+50.0", "worse", "35.5", "mean of 8 settled check-ins")
	require.Len(t, page.all("#d-index tbody tr"), 11)
	page.has("#d-index", "answered by Ruth, entered by staff", "75.0")
	page.has("details#d-index[open]")
	page.has("table.grid", "The stile", "Usual", "1.0")
	page.has("#weight", "32.0 kg", "26.7 kg, worked out from the body condition score")
	page.has("#plan", "invented tablets", "Activity", "No paced exercise is on the plan")
	page.has("#settings", "Check-in:")
	page.has("footer", "not a validated instrument")
	page.has("article[data-reason=Index_has_risen]")
}

func TestMissedCheckInsAreGaps(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	b.checkIns("hillside", id, 1, 1)
	for range 12 * 24 { // a check-in falls due, is reminded and closed
		b.pass(time.Hour)
		_, err := b.store.Do(t.Context(), b.clinics["hillside"].Rules, id, care.Event{At: b.now(), Tick: &care.Tick{}})
		require.NoError(t, err)
	}
	page := b.signedIn("hillside", account.Vet).get("/desk/h/" + string(id) + "/dogs/0").ok()
	page.has("#d-index tr.gap", "not answered")
	page.has("#talk .line.desk", "Bramble")
}

func TestWhatAnOwnerWritesIsEscaped(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, `<i>Ruth`, care.EnrolledDog{Name: `<b>Bram`})
	b.says("hillside", id, `<b>bold</b> <script>alert(1)</script> can somebody ring me?`)
	vet := b.signedIn("hillside", account.Vet)
	for _, path := range []string{"/desk/today", "/desk/h/" + string(id), "/desk/h/" + string(id) + "/dogs/0", "/desk/dogs", "/desk/h/" + string(id) + "/dogs/0/checkin"} {
		page := vet.get(path).ok()
		for _, bad := range []string{"<b>", "<i>", "<script>alert", "onerror="} {
			require.NotContains(t, page.body, bad, path)
		}
	}
	vet.get("/desk/h/"+string(id)).has(".line.owner .said", "<b>bold</b> <script>alert(1)</script>")
}

func TestDeedsOnADog(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	vet := b.signedIn("hillside", account.Vet)
	at := "/desk/h/" + string(id) + "/dogs/0"
	vet.post(at+"/note", "note", "likes cheese").done("noted")
	vet.post(at+"/findings", "text", "left hip stiff", "bcs", "6", "muscle", "2").done("found")
	vet.post(at+"/weigh", "kg", "31,5", "scale", "clinic").done("weighed")
	vet.post(at+"/details", "own1", "the stairs", "target", "28").done("details")
	vet.post(at+"/plan", "action", "start", "area", "pain relief", "class", "nsaid", "what", "invented tablets", "comfort", "yes").done("planned")
	vet.post(at+"/plan", "action", "hold", "entry", "1", "reason", "vomited").done("planned")
	vet.post(at+"/quiet", "until", "2026-04-01").done("quieted")
	vet.post(at+"/quiet-sign", "sign", "diarrhoea", "until", "2026-04-01").done("quiet-sign")
	vet.post(at+"/checkin", "who", "Ruth, by telephone", "item-limping", "2", "item-soreness", "1", "item-night", "0",
		"item-rising", "2", "item-walking", "2", "item-steps", "x", "item-own1", "3", "sign", "vomiting").done("entered")
	page := vet.get(at).ok()
	page.has("#findings", "likes cheese", "left hip stiff", "body condition 6 of 9", "the stairs")
	page.has("#weight", "31.5 kg", "28.0 kg")
	page.has("#plan tr.held", "invented tablets", "vomited")
	page.has("#settings", "Quiet until 1 Apr 2026", "“diarrhoea” is quieted")
	page.has("#d-index", "answered by Ruth, by telephone")
	page.has("article[data-reason=Same-day_sign]", "vomiting")

	vet.post(at+"/farewell").has("h1", "This was not done")
	require.Equal(t, care.Followed, b.household("hillside", id).Dogs[0].Status)
	vet.post(at+"/farewell", "sure", "yes").done("farewell")
	require.Equal(t, care.Died, b.household("hillside", id).Dogs[0].Status)
	vet.get(at).has("h1 .tag", "died")
	vet.post(at + "/farewell/undo").done("undone")
	require.Equal(t, care.Followed, b.household("hillside", id).Dogs[0].Status)
}

func TestBadFormsAreRefusedWithASentence(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	vet := b.signedIn("hillside", account.Vet)
	at := "/desk/h/" + string(id) + "/dogs/0"
	before := b.household("hillside", id)
	for _, f := range [][]string{
		{"/weigh", "kg", "heavy"}, {"/weigh", "kg", "-1"}, {"/weigh", "kg", "NaN"}, {"/weigh", "kg", "2000"}, {"/weigh", "kg", "12", "bcs", "10"},
		{"/note", "note", " "}, {"/quiet", "until", "soon"}, {"/quiet", "until", "2020-01-01"}, {"/quiet", "until", "2029-01-01"}, {"/quiet"},
		{"/quiet-sign", "sign", "collapse", "until", "2026-04-01"}, {"/quiet-sign", "sign", "sadness", "until", "2026-04-01"},
		{"/plan", "action", "start", "area", "magic", "what", "x"}, {"/plan", "action", "start", "area", "home"}, {"/plan", "action", "stop"},
		{"/plan", "action", "start", "area", "home", "what", "rugs", "on", "2027-01-01"},
		{"/checkin", "who", "Ruth"}, {"/checkin", "item-limping", "2"}, {"/checkin", "who", "Ruth", "item-limping", "9"},
		{"/checkin", "who", "Ruth", "item-limping", "1", "sign", "sadness"},
	} {
		page := vet.post(at+f[0], f[1:]...)
		require.Equal(t, 422, page.status, f)
		require.NotEmpty(t, page.text(".sentence"), f)
	}
	require.Equal(t, before.Seq, seqWithoutRefusals(b, id), "nothing was changed")
}

// seqWithoutRefusals is the household's count of turns less those that were
// refused by the rules and kept as such.
func seqWithoutRefusals(b *bench, id contact.ID) uint64 {
	log, err := b.store.ReadLog(b.t.Context(), "hillside", id, 0, 1000)
	require.NoError(b.t, err)
	h := b.household("hillside", id)
	n := h.Seq
	for _, e := range log {
		if e.Reason == care.PracticeRefused {
			n--
		}
	}
	return n
}

func TestReceptionRingsWithoutClinicalNotes(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	b.says("hillside", id, "he has been sick three times and has diarrhoea")
	reception := b.signedIn("hillside", account.Reception)
	page := reception.get("/desk/today").ok()
	page.has("h1", "Who is to be rung")
	page.has("article", "Ring Ruth", "Bramble", "wrote of something to be seen to today")
	require.NotContains(t, page.text("article"), "sick three times")
	require.NotContains(t, page.text("article"), "diarrhoea")
	call := "/desk/h/" + string(id) + "/alerts/1/call"
	reception.post(call, "result", "couldn't reach").done("called")
	page = reception.get("/desk/today").ok()
	page.has("article .facts", "couldn’t be reached before")
	reception.post(call, "result", "called").done("called")
	reception.get("/desk/today").has("article.taken", "Sam Reception")
	reception.post(call, "result", "booked").done("called")
	reception.get("/desk/today").ok().hasNot("article")
	reception.get("/desk/h/"+string(id)+"/dogs/0/checkin").ok().has("legend", "Limping")
	reception.post("/desk/h/"+string(id)+"/dogs/0/checkin", "who", "Ruth", "item-limping", "1").done("entered")
}

func TestReceptionClosesNoEmergency(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	b.says("hillside", id, "Bramble has collapsed")
	reception := b.signedIn("hillside", account.Reception)
	reception.post("/desk/h/"+string(id)+"/alerts/1/call", "result", "booked").done("called")
	h := b.household("hillside", id)
	require.True(t, h.Alerts[0].IsOpen())
	require.Equal(t, care.Acknowledged, h.Alerts[0].State)
}
