package desk

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/dialog"
	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// tick lets whatever is due for a household happen.
func (b *bench) tick(clinicID string, id contact.ID) {
	b.t.Helper()
	_, err := b.store.Do(b.t.Context(), b.clinics[clinicID].Rules, id, care.Event{At: b.now(), Tick: &care.Tick{}})
	require.NoError(b.t, err)
}

// hours lets so many hours pass, and what falls due in them happen.
func (b *bench) hours(clinicID string, id contact.ID, n int) {
	b.t.Helper()
	for range n {
		b.pass(time.Hour)
		b.tick(clinicID, id)
	}
}

// report says what became of the household's last message.
func (b *bench) report(clinicID string, id contact.ID, f care.Fate, code string) string {
	b.t.Helper()
	h := b.household(clinicID, id)
	m := h.MessageID(h.Sent[len(h.Sent)-1])
	_, err := b.store.Do(b.t.Context(), b.clinics[clinicID].Rules, id, care.Event{Key: fmt.Sprint("fate", events.Add(1)), At: b.now(),
		Report: &care.Report{Message: m, Fate: f, Code: code}})
	require.NoError(b.t, err)
	return m
}

// counted loads the outcomes until they are there.
func (c *client) counted(weeks int) *answer {
	c.b.t.Helper()
	var page *answer
	require.Eventually(c.b.t, func() bool {
		page = c.get("/desk/outcomes?weeks=" + itoa(weeks)).ok()
		return len(page.all("progress")) == 0 && !strings.Contains(page.body, "Counting:")
	}, 10*time.Second, 10*time.Millisecond)
	return page
}

// answerOne answers a check-in that is asked one by one.
func (b *bench) answerOne(clinicID string, id contact.ID) {
	b.t.Helper()
	for range 12 {
		o := b.household(clinicID, id).Contacts[0].Talk.Open
		if o == nil || o.Kind != care.PromptCheckIn {
			return
		}
		text := "1"
		if o.Session.Step == "signs" {
			text = "no"
		}
		b.says(clinicID, id, text)
	}
	b.t.Fatalf("the check-in did not end: %+v", b.household(clinicID, id).Contacts[0].Talk.Open)
}

func TestOutcomesOfAnEmptyClinic(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	page := b.signedIn("hillside", account.Vet).counted(12)
	page.has(".empty", "No household is enrolled yet")
	page.hasNot("dl")
	require.NotContains(t, page.body, "NaN")

	b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	b.pass(2 * time.Hour)
	page = b.signedIn("hillside", account.Vet).counted(12)
	page.has(".lead", ": 1 household, 1 dog, 1 of them followed now")
	page.has("#o-answered", "– (0 of 0)", "1 still waits")
	page.has("#o-reply", "none yet")
	page.has("#o-ideal", "– (0 of 0)", "0 of 1 followed dog has one")
	page.has("#o-minutes", "not known", "Of 0 alerts closed")
	page.has("#o-cost", "not set")
	page.has(".empty", "No alert opened in this period")
	require.NotContains(t, page.body, "NaN")
}

func TestWhatACheckInTakesInEitherForm(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	price := 0.05
	b.clinics["hillside"].Rules.Costs = care.Costs{Currency: "GBP", Sent: &price}
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	for done := uint16(0); done < 3 && b.now().Before(tuesday.AddDate(0, 0, 28)); done = b.household("hillside", id).Dogs[0].Done {
		b.hours("hillside", id, 3)
		if o := b.household("hillside", id).Contacts[0].Talk.Open; o != nil && o.Kind == care.PromptCheckIn && o.Session.Form == dialog.AllAtOnce {
			b.says("hillside", id, "1 1 0 1 1 1")
		}
		b.answerOne("hillside", id) // the first two go one by one
	}
	require.Equal(t, uint16(3), b.household("hillside", id).Dogs[0].Done)

	page := b.signedIn("hillside", account.Vet).counted(4)
	rows := page.all("#o-forms tbody tr")
	require.Len(t, rows, 2)
	require.Regexp(t, `^One by one 2 `, textOf(rows[0]))
	require.Regexp(t, `^All at once 1 `, textOf(rows[1]))
	page.has("#o-cost", "GBP", "0.05 GBP a segment sent; none set for segments received")
	page.has("#o-answered", "100 % (3 of 3)")

	h := b.household("hillside", id)
	log, err := b.store.ReadLog(t.Context(), "hillside", id, 0, 1000)
	require.NoError(t, err)
	f := newFigures(b.clinics["hillside"].Rules, tuesday.AddDate(0, 0, -1), b.now())
	f.household(&h, log)
	one, all := f.Spend.Forms[dialog.OneByOne], f.Spend.Forms[dialog.AllAtOnce]
	require.Greater(t, float64(one.In)/float64(one.Completed), float64(all.In)/float64(all.Completed), "a reply for each question is dearer")
	require.LessOrEqual(t, all.Out, 6, "two for the list, one for the signs, one to close")
	require.InDelta(t, 0.05*float64(f.Spend.SegmentsOut), f.Spend.cost(f.Spend.SegmentsOut, f.Spend.SegmentsIn), 1e-9)
	require.Equal(t, 3, f.Reply.N())
}

func TestStaffMinutes(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	b.clinics["hillside"].Rules.Costs.Minutes = map[care.Outcome]int{care.Booked: 5, care.CouldNotReach: 2}
	vet := b.signedIn("hillside", account.Vet)
	var at []string
	for i := range 4 {
		id := b.enrol("hillside", i+1, "Ruth", care.EnrolledDog{Name: "Bramble"})
		b.says("hillside", id, "Bramble has collapsed")
		at = append(at, "/desk/h/"+string(id)+"/alerts/1")
	}
	b.pass(10 * time.Minute)
	vet.get("/desk/today").ok().has("article form input[name=minutes]")
	vet.post(at[0]+"/close", "outcome", "phoned", "minutes", "12").done("closed")
	vet.post(at[1] + "/ack").done("acknowledged")
	vet.post(at[1]+"/close", "outcome", "couldn't reach").done("again")
	vet.post(at[1]+"/close", "outcome", "booked").done("closed")
	vet.post(at[2]+"/close", "outcome", "false alarm").done("closed")
	for _, bad := range []string{"-1", "481", "long", "1.5"} {
		require.Equal(t, 422, vet.post(at[3]+"/close", "outcome", "phoned", "minutes", bad).status, bad)
	}
	page := vet.counted(4)
	page.has("#o-minutes", "19 min", "Of 3 alerts closed in the period, 1 has minutes that somebody wrote down (12), 1 the clinic’s usual ones for their outcome (7), 1 has none")
	page.has("#o-acks", "10 minutes", "not minutes worked")
	page.has("#o-deeds", "3 alerts closed", "1 alert taken on", "1 call that reached nobody")
	page.has("#o-alerts", "Emergency sign 4 3 67 % (2 of 3)")
	vet.get("/desk"+strings.TrimPrefix(strings.TrimSuffix(at[0], "/alerts/1"), "/desk")+"/dogs/0").ok().has("#past", "12 minutes")
}

func TestWaits(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		seconds           []int64
		median, quartiles string
	}{
		{nil, "none yet", ""},
		{[]int64{30}, "under a minute", ""},
		{[]int64{600, 60, 120}, "2 minutes", ""},
		{[]int64{3600, 7200, 10800, 14400}, "2.5 hours", "105 minutes to 3.2 hours"},
		{[]int64{-5, 86400 * 3, 86400 * 3, 86400 * 3}, "3.0 days", "2.2 days to 3.0 days"},
	} {
		var w waits
		for _, s := range c.seconds {
			w.add(s)
		}
		require.Equal(t, c.median, w.Median(), c.seconds)
		require.Equal(t, c.quartiles, w.Quartiles(), c.seconds)
		require.Equal(t, len(c.seconds), w.N())
	}
}

// What costs nothing, or goes another way, is not priced by segments.
func TestSegmentsThatAreCounted(t *testing.T) {
	t.Parallel()
	rules := newBench(t, nil).clinics["hillside"].Rules
	h := care.Household{ID: "feed", Contacts: []care.Contact{{Address: contact.Address{Channel: contact.SMS}}, {Address: contact.Address{Channel: contact.Telegram}}}}
	fact := func(f care.Fact) store.LogEntry { return store.LogEntry{Seq: 1, At: tuesday, Facts: []care.Fact{f}} }
	wrote := func(id, text string, person int8) store.LogEntry {
		return fact(care.Fact{Kind: care.FactWrote, ID: id, Text: text, Contact: person})
	}
	failed := func(id, code string) store.LogEntry {
		return fact(care.Fact{Kind: care.FactFate, ID: id, Code: "failed", Text: code})
	}
	f := newFigures(rules, tuesday.Add(-time.Hour), tuesday.Add(time.Hour))
	f.household(&h, []store.LogEntry{
		wrote("a", strings.Repeat("x", 161), 1), // two segments
		wrote("b", "jó napot ő", 1),             // one, in UCS-2
		wrote("c", "too late", 1), failed("c", care.CodeLate),
		wrote("d", "not there", 1), failed("d", "30003"), // the provider bills it
		wrote("e", "by another way", 2),
		fact(care.Fact{Kind: care.FactWords, Text: "thanks", Contact: 1}),
		{Seq: 2, At: tuesday.AddDate(0, -6, 0), Facts: []care.Fact{{Kind: care.FactWords, Text: "long ago", Contact: 1}}},
	})
	s := f.Spend
	require.Equal(t, []int{5, 4, 1, 1, 1, 5, 1, 1, 1}, []int{s.Out, s.SegmentsOut, s.SegmentsIn, s.Wide, s.Elsewhere, s.Staff, s.In, s.Failed, s.Late})
	require.Equal(t, "not set", s.EachCost(s.Forms[0]))
	require.Equal(t, "–", s.PerDog(0, 4))
}

func TestMessagesNotDelivered(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	vet, reception := b.signedIn("hillside", account.Vet), b.signedIn("hillside", account.Reception)
	vet.get("/desk/undelivered").ok().has(".empty.big", "Everything that was sent has arrived")

	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	b.says("hillside", id, "Bramble has collapsed")
	safety := b.report("hillside", id, care.Failed, "30003")
	vet.post("/desk/h/"+string(id)+"/write", "contact", "0", "text", "Is she up? Ő").done("sent")
	written := b.report("hillside", id, care.Failed, care.CodeLate)
	b.pass(time.Minute)

	page := vet.get("/desk/undelivered").ok()
	require.Len(t, page.all("#g-owners article"), 2)
	first, _ := attr(page.all("#g-owners article")[0], "data-message")
	require.Equal(t, safety, first, "what is most urgent comes first")
	page.has("#g-owners", "A safety reply", "could not be reached: switched off or without a signal", "Ring now", "+447700900001",
		"Dropped by us", "Ring and say it")
	talk := vet.get("/desk/h/" + string(id)).ok()
	talk.has(".fate.trouble", "Not delivered: the telephone could not be reached", "Dropped by us")
	talk.has(".line.staff .hint", "“Ő” is not in the text-message alphabet")
	vet.get("/desk/today").ok().has("#g-undelivered a[href=/desk/undelivered]")
	reception.get("/desk/undelivered").ok().has("#g-owners", "Ruth")
	reception.get("/desk/undelivered").hasNot("#g-owners h3 a")

	rung := "/desk/h/" + string(id) + "/messages/" + safety + "/rung"
	reception.post(rung, "note", "rang; she is at the emergency vet").done("rung")
	require.Equal(t, 422, reception.post(rung, "note", "again").status, "once")
	require.Equal(t, 404, vet.post("/desk/h/"+string(id)+"/messages/other-1-0/rung").status)
	vet.post("/desk/h/" + string(id) + "/messages/" + written + "/rung").done("rung")
	vet.get("/desk/undelivered").ok().has(".empty.big")
	talk = vet.get("/desk/h/" + string(id)).ok()
	talk.has(".fate", "seen to by Sam Reception: rang; she is at the emergency vet")
	talk.hasNot(".fate.trouble")
	b.signedIn("hillside", account.Manager).get("/desk/trail").ok().has("main", "saw to a message not delivered")
}

// A message that nobody ever took out of the queue shows after half a day.
func TestAMessageThatIsStuckIsListed(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	vet := b.signedIn("hillside", account.Vet)
	vet.post("/desk/h/"+string(id)+"/write", "contact", "0", "text", "How is she?").done("sent")
	vet.get("/desk/undelivered").ok().hasNot("#g-owners")
	b.pass(13 * time.Hour)
	b.signedIn("hillside", account.Vet).get("/desk/undelivered").ok().has("#g-owners", "Still waiting to be sent", "tell whoever runs the server")
}

func TestWhatWasGivenUpIsListedAndSeenTo(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	ctx := t.Context()
	for _, c := range b.IDs() {
		id := b.enrol(c, 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
		b.says(c, id, "Bramble has collapsed")
	}
	given := 0
	for _, span := range b.store.Spans() {
		list, err := b.store.Read(ctx, store.Take{Queue: store.Notices, Partitions: span, Consumer: "test", Max: 50})
		require.NoError(t, err)
		for _, e := range list {
			require.NoError(t, b.store.SetAside(ctx, e, "it was tried too often"))
			given++
		}
	}
	require.Equal(t, 2, given)
	vet := b.signedIn("hillside", account.Vet)
	page := vet.get("/desk/undelivered").ok()
	require.Len(t, page.all("#g-asides article"), 1, "one clinic never sees another's")
	page.has("#g-asides", "Word of an alert", "to Dr Lee", "It was tried too often")
	form := []string{"note", "told her in person"}
	for _, in := range page.all("#g-asides form input") {
		name, _ := attr(in, "name")
		value, _ := attr(in, "value")
		if name == "queue" || name == "partition" || name == "stream" {
			form = append(form, name, value)
		}
	}
	require.Equal(t, 422, vet.post("/desk/undelivered/seen", form[2:]...).status, "what was done is asked")
	require.Equal(t, 422, b.signedIn("valley", account.Vet).post("/desk/undelivered/seen", form...).status, "another clinic's stays")
	vet.post("/desk/undelivered/seen", form...).done("rung")
	vet.get("/desk/undelivered").ok().has(".empty.big")
	require.Equal(t, 422, vet.post("/desk/undelivered/seen", form...).status, "once")
	require.Len(t, b.signedIn("valley", account.Vet).get("/desk/undelivered").all("#g-asides article"), 1)
}

func TestWhatToDoAboutEachMessage(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		l    lost
		want string
	}{
		{lost{purpose: care.ForSafety, fate: care.Unknown}, "Ring now"},
		{lost{purpose: care.ForPrompt, fate: care.Failed, code: care.CodeLate}, "Nothing: the next"},
		{lost{purpose: care.FromPractice, fate: care.Failed, code: care.CodeLate}, "Ring and say it"},
		{lost{purpose: care.ForPrompt, fate: care.Failed, code: "30005"}, "whether the number is still right"},
		{lost{purpose: care.ForReply, fate: care.Unknown}, "Ring if it mattered"},
		{lost{purpose: care.ForOptOut, fate: care.Failed}, "texts have stopped"},
		{lost{purpose: care.ForReply, fate: care.Queued}, "whoever runs the server"},
	} {
		require.Contains(t, undeliveredOf(c.l).ToDo, c.want)
		require.NotEmpty(t, undeliveredOf(c.l).Fate)
	}
}

func TestTheTableOfADog(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "=Brämble & Söhne/..", Grams: 30_000})
	b.checkIns("hillside", id, 1, 2)
	b.says("hillside", id, "Bramble has collapsed")
	vet := b.signedIn("hillside", account.Vet)
	page := vet.get(at("/h/:id/dogs/:dog/record.csv", id)).ok()
	require.Equal(t, "text/csv; charset=utf-8", page.header.Get("Content-Type"))
	require.Equal(t, "attachment; filename=bramble---sohne.csv", page.header.Get("Content-Disposition"))
	require.Equal(t, "no-store", page.header.Get("Cache-Control"))
	lines := strings.Split(strings.TrimSpace(page.body), "\n")
	require.Len(t, lines, 1+2+1+1, "two check-ins, a weight, an alert")
	require.True(t, strings.HasPrefix(lines[0], "kind,at,dog,reference,index"))
	require.Contains(t, page.body, "'=Brämble", "no spreadsheet takes it for a formula")
	require.Contains(t, page.body, "red flag")
	require.Equal(t, 403, b.signedIn("hillside", account.Reception).get(at("/h/:id/dogs/:dog/record.csv", id)).status)
	for name, want := range map[string]string{"": "dog", "..": "dog", "őő": "dog", "Moss": "moss", strings.Repeat("a", 99): strings.Repeat("a", 40)} {
		require.Equal(t, want, fileName(name))
	}
}

// One dog with one reading, and an owner who writes at great length: pages and
// papers hold both.
func TestVeryLittleAndVeryMuch(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(o *Options) { o.Papers = StandardPapers() })
	little := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Pip"})
	b.checkIns("hillside", little, clinical.Level(1))
	much := b.enrol("hillside", 2, strings.Repeat("Bartholomew ", 8), care.EnrolledDog{Name: strings.Repeat("Wigglesworth", 4)})
	for range 30 {
		b.says("hillside", much, "she is lame again "+strings.Repeat("and so on ", 150))
		b.pass(time.Hour)
	}
	vet := b.signedIn("hillside", account.Vet)
	for _, id := range []contact.ID{little, much} {
		for _, paper := range []string{"", "/report", "/card", "/timeline", "/reaction", "/record.csv"} {
			page := vet.get(at("/h/:id/dogs/:dog"+paper, id)).ok()
			require.NotContains(t, page.body, "NaN", paper)
			require.NotContains(t, page.body, "ZgotmplZ", paper)
		}
	}
	vet.counted(4).has("#o-answered")
}

// A name with a letter outside the text-message alphabet makes no text dearer;
// the desk says how texts write it, and refuses what they can't.
func TestNamesThatTextsWriteOtherwise(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bodő"})
	vet := b.signedIn("hillside", account.Vet)
	vet.get(at("/h/:id/dogs/:dog", id)).ok().has("#in-texts", "“Bodő” is written “Bodo”")
	require.Equal(t, 422, vet.post(at("/h/:id/dogs/:dog/details", id), "own1", "the Жук").status)
	vet.post(at("/h/:id/dogs/:dog/details", id), "own1", "the Łódź stairs").done("details")
	vet.get(at("/h/:id/dogs/:dog", id)).ok().has("#in-texts", "“the Lodz stairs”")
	other := b.enrol("hillside", 2, "Ian", care.EnrolledDog{Name: "Moss"})
	vet.get(at("/h/:id/dogs/:dog", other)).ok().hasNot("#in-texts")
}
