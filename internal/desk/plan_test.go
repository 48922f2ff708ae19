package desk

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// goOn sends the form of a page that shows what is to be known before a change.
func (c *client) goOn(page *answer) *answer {
	c.b.t.Helper()
	page.ok().has("h1", "Before this is done")
	var fields []string
	for _, n := range page.all("section.trial input") {
		name, _ := attr(n, "name")
		value, _ := attr(n, "value")
		fields = append(fields, name, value)
	}
	form := page.all("section.trial form")
	require.Len(c.b.t, form, 1)
	to, _ := attr(form[0], "action")
	return c.post(to, fields...)
}

// start puts something on a plan, past whatever is to be known first.
func (c *client) start(plan string, fields ...string) *answer {
	c.b.t.Helper()
	page := c.post(plan, append([]string{"action", "start"}, fields...)...)
	if page.status == http.StatusOK {
		return c.goOn(page)
	}
	return page
}

// planned is a bench with one dog and somebody signed in; plan is the address.
func planned(t *testing.T, role account.Role, dog care.EnrolledDog) (b *bench, c *client, id contact.ID, plan string) {
	b = newBench(t, nil)
	dog.Name = "Bramble"
	id = b.enrol("hillside", 1, "Ruth", dog)
	return b, b.signedIn("hillside", role), id, at("/h/:id/dogs/:dog/plan", id)
}

func TestAPlanIsBuilt(t *testing.T) {
	t.Parallel()
	b, vet, id, plan := planned(t, account.Vet, care.EnrolledDog{})
	page := vet.get(plan).ok()
	page.has("h1", "Bramble’s plan")
	page.has("section.area[data-area=pain_relief] h3", "Pain relief", "not covered")
	vet.start(plan, "area", "pain relief", "class", "antibody", "what", "invented injection", "why", "stiff hips", "who", "the practice",
		"on", "2026-02-24", "review", "2026-04-21", "batch", "B-77", "comfort", "yes", "remind", "injection", "every", "28").done("planned")
	page = vet.get(plan).ok()
	page.has("#e-1 h4", "Invented injection", "active")
	page.has("#e-1 dl", "antibody injection", "24 Feb 2026", "stiff hips", "the practice", "entered by Sam Vet", "B-77", "21 Apr 2026", "expected to change it",
		"Repeat injection, every 28 days", "next 24 Mar 2026")
	page.has("section.area[data-area=pain_relief][data-state=covered]")

	vet.post(plan, "action", "reminders", "entry", "1", "remind", "test", "dates", "2026-03-20, 2026-06-20", "remark", "fasting").done("planned")
	vet.get(plan).has("#e-1 dl", "Blood or urine test, on 20 Mar 2026, 20 Jun 2026 (fasting)")
	vet.post(plan, "action", "reminders", "entry", "1", "drop", "2").done("planned")
	require.NotContains(t, vet.get(plan).text("#e-1 dl"), "Blood")
	vet.post(plan, "action", "done", "entry", "1", "reminder", "1", "batch", "B-78", "on", "2026-03-02").done("planned")
	vet.get(plan).has("#e-1 dl", "last 2 Mar 2026", "B-78")

	vet.post(plan, "action", "details", "entry", "1", "what", "invented injection", "why", "", "who", "Nurse Kay", "batch", "B-78", "comfort", "yes").done("planned")
	e := b.household("hillside", id).Dogs[0].Plan[0]
	require.Equal(t, "", e.Why, "what was emptied is empty")
	require.Equal(t, int64(0), e.Review)
	require.Equal(t, "Nurse Kay", e.Who)
	require.True(t, e.Comfort)

	vet.post(plan, "action", "hold", "entry", "1", "reason", "wobbly").done("planned")
	page = vet.get(plan).ok()
	page.has("article.entry.held", "waits for the vet’s decision", "wobbly", "not sent while held")
	page.has("#s-held-medicine-1", "Decide about invented injection")
	require.Equal(t, 422, vet.post(plan, "action", "stop", "entry", "1").status, "a stop says why")
	vet.post(plan, "action", "stop", "entry", "1", "reason", "wobbly on it").done("planned")
	vet.get(plan).has("#over #e-1", "ended", "wobbly on it")
	// A stop can be taken back.
	vet.goOn(vet.post(plan, "action", "restart", "entry", "1", "reason", "it was the floor")).done("planned")
	require.Equal(t, care.Active, b.household("hillside", id).Dogs[0].Plan[0].Status)
	vet.get(at("/h/:id/dogs/:dog", id)).has("#plan table", "invented injection", "pain relief", "it was the floor")
}

// What is to be known is shown before a change, and keeps nobody from it:
// two anti-inflammatories (Lascelles et al., Vet Ther 2005;6:237-251).
func TestCautionsComeBeforeAChange(t *testing.T) {
	t.Parallel()
	b, vet, id, plan := planned(t, account.Vet, care.EnrolledDog{Plan: []care.Entry{
		{Area: care.AreaPain, What: "invented tablets", Class: care.NSAID, Started: tuesday.AddDate(0, -3, 0).Unix()}}})
	form := []string{"action", "start", "area", "pain relief", "class", "nsaid", "what", "other <b>tablets", "from", plan}
	page := vet.post(plan, form...).ok()
	page.has(".advice li", "Two anti-inflammatories together: invented tablets and other <b>tablets")
	page.has("main", "nothing is blocked", "Nothing has been changed yet")
	require.NotContains(t, page.body, "<b>")
	require.Len(t, b.household("hillside", id).Dogs[0].Plan, 1, "nothing was done yet")
	require.Nil(t, openAlert(b.household("hillside", id), care.Caution))

	// A form that claims to have been told something else is told again.
	vet.post(plan, append(form, "told", "AAAAAAAAAAAA")...).ok().has("h1", "Before this is done")
	vet.goOn(page).done("planned")
	h := b.household("hillside", id)
	require.Len(t, h.Dogs[0].Plan, 2)
	require.NotNil(t, openAlert(h, care.Caution))
	vet.get(plan).has(".remark.note", "Two anti-inflammatories together")
	log := b.signedIn("hillside", account.Manager).get("/desk/trail").ok()
	log.has("main", "changed the plan", "start other <b>tablets")
}

func openAlert(h care.Household, r care.AlertReason) *care.Alert {
	for i := range h.Alerts {
		if h.Alerts[i].Reason == r && h.Alerts[i].IsOpen() {
			return &h.Alerts[i]
		}
	}
	return nil
}

func TestSuggestionsAreAcceptedAndDeclined(t *testing.T) {
	t.Parallel()
	b, vet, id, plan := planned(t, account.Vet, care.EnrolledDog{BCS: 7, Grams: 32_000})
	word := at("/h/:id/dogs/:dog/plan/suggestion", id)
	page := vet.get(plan).ok()
	first := page.all("article.suggestion")
	kind, _ := attr(first[0], "data-kind")
	require.Equal(t, "pain-relief", kind, "always looked at first")
	page.has("#s-body-weight-0", "Body condition 7 of 9", "32.0 kg is 5.3 kg above", "Marshall")
	vet.get(at("/h/:id/dogs/:dog", id)).has("#plan .next", "Talk about body weight")

	require.Equal(t, 422, vet.post(word, "kind", "activity", "verdict", "accept").status, "a word why")
	require.Equal(t, 422, vet.post(word, "kind", "therapy", "verdict", "accept", "why", "x").status, "it isn't suggested")
	require.Equal(t, 422, vet.post(word, "kind", "activity", "verdict", "decline", "why", "x", "until", "2020-01-01").status)

	vet.post(word, "kind", "home", "verdict", "decline", "why", "<i>bungalow", "from", plan).done("declined")
	page = vet.get(plan).ok()
	page.hasNot("#open #s-home-0")
	page.has("#aside #s-home-0", "Declined by Sam Vet", "<i>bungalow")
	page.has("section.area[data-area=home]", "decided against")
	require.NotContains(t, page.body, "<i>")

	accepted := vet.post(word, "kind", "body-weight", "verdict", "accept", "why", "talked it over")
	accepted.done("accepted")
	require.Contains(t, accepted.to(), "begin=body-weight")
	require.Empty(t, b.household("hillside", id).Dogs[0].Plan, "accepting begins nothing")
	page = vet.get(accepted.to()).ok()
	page.has("#f-new[open] option[selected]", "body weight")
	page.has("#new input[name=what][value=weight_loss]")
	page.has("#new input[name=why][value=talked_it_over]")
	page.has("#agreed #s-body-weight-0", "Accepted by Sam Vet")
	vet.start(plan, "area", "body weight", "what", "weight loss", "why", "talked it over").done("planned")
	vet.get(plan).ok().hasNot("#s-body-weight-0")

	// Pain relief begins with an empty name: which medicine, the vet says.
	accepted = vet.post(word, "kind", "pain-relief", "verdict", "accept", "why", "stiff")
	vet.get(accepted.to()).ok().has("#new input[name=what][value=]")
	b.signedIn("hillside", account.Manager).get("/desk/trail").has("main", "accepted the suggestion: Talk about body weight")
}

// What is a vet's to decide, a nurse sees and can't decide; what is said to
// vets alone she doesn't see.
func TestSuggestionsByRole(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	b.clock.Store(tuesday.AddDate(0, -8, 0).Unix())
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble", Plan: []care.Entry{
		{Area: care.AreaPain, What: "invented tablets", Class: care.NSAID, Started: b.clock.Load()}}})
	b.checkIns("hillside", id, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1)
	plan, word := at("/h/:id/dogs/:dog/plan", id), at("/h/:id/dogs/:dog/plan/suggestion", id)
	b.signedIn("hillside", account.Vet).get(plan).ok().has("#s-dose-review-1", "for vets alone", "index is stable")
	nurse := b.signedIn("hillside", account.Nurse)
	page := nurse.get(plan).ok()
	page.hasNot("#s-dose-review-1")
	require.NotContains(t, page.body, "dose-review")
	page.has("#s-blood-test-1", "For a vet to decide")
	page.hasNot("#s-blood-test-1 form")
	page.has("#s-activity-0 form button[value=accept]")
	page.hasNot("#ec-1")
	page.has("#er-1 form")
	for _, kind := range []string{"dose-review", "blood-test"} {
		require.Equal(t, http.StatusForbidden, nurse.post(word, "kind", kind, "entry", "1", "verdict", "decline", "why", "x").status, kind)
	}
	nurse.post(word, "kind", "activity", "verdict", "decline", "why", "x").done("declined")
	require.Equal(t, http.StatusForbidden, nurse.post(plan+"/withdraw", "entry", "1", "why", "x").status)
	// What was collected or given, a nurse may keep.
	nurse.post(plan, "action", "reminders", "entry", "1", "remind", "tablets", "every", "30").done("planned")
	nurse.post(plan, "action", "done", "entry", "1", "reminder", "1").done("planned")
	require.Equal(t, http.StatusForbidden, nurse.post(plan, "action", "details", "entry", "1", "what", "x").status)
}

func TestAnEntryIsWithdrawn(t *testing.T) {
	t.Parallel()
	b, vet, id, plan := planned(t, account.Vet, care.EnrolledDog{Plan: []care.Entry{{Area: care.AreaHome, What: "rugs"}}})
	require.Equal(t, 422, vet.post(plan+"/withdraw", "entry", "1").status)
	require.Equal(t, 404, vet.post(plan+"/withdraw", "entry", "7", "why", "x").status)
	vet.post(plan+"/withdraw", "entry", "1", "why", "Moss’s rugs").done("withdrawn")
	page := vet.get(plan).ok()
	page.hasNot("#e-1")
	page.has("#withdrawn li", "rugs", "Moss’s rugs")
	require.Empty(t, b.household("hillside", id).Dogs[0].Plan)
}

// What was entered in error did nothing: no effect is shown of it.
func TestAWithdrawnEntryHasNoEffect(t *testing.T) {
	t.Parallel()
	b, _, id, plan := planned(t, account.Vet, care.EnrolledDog{})
	b.checkIns("hillside", id, 2, 2, 2, 2)
	vet := b.signedIn("hillside", account.Vet)
	vet.start(plan, "area", "therapy", "what", "laser", "comfort", "yes").done("planned")
	b.checkIns("hillside", id, 1, 1, 1, 1, 1, 1, 1, 1)
	vet = b.signedIn("hillside", account.Vet)
	dog := at("/h/:id/dogs/:dog", id)
	vet.get(dog).has("#plan", "What changes did", "Start laser")
	vet.post(plan+"/withdraw", "entry", "1", "why", "never happened").done("withdrawn")
	require.NotContains(t, vet.get(dog).text("#plan"), "laser")
}

// Nothing that owners may be given tells what was suggested or decided about it.
func TestSuggestionsAreOnNoPaper(t *testing.T) {
	t.Parallel()
	b, vet, id, plan := planned(t, account.Vet, care.EnrolledDog{BCS: 8, Grams: 30_000})
	vet.post(plan+"/suggestion", "kind", "body-weight", "verdict", "decline", "why", "MARKEDWORD").done("declined")
	vet.get(plan).has("#aside", "MARKEDWORD")
	for _, paper := range []string{"report", "card", "timeline", "reaction"} {
		page := vet.get(at("/h/:id/dogs/:dog", id) + "/" + paper).ok()
		for _, word := range []string{"MARKEDWORD", "Talk about body weight", "Think of one supplement", "suggest"} {
			require.NotContains(t, page.body, word, paper)
		}
	}
	b.says("hillside", id, "hello")
	require.NotContains(t, vet.get(at("/h/:id", id)).body, "MARKEDWORD")
}

func TestFindingsStandOnThePlan(t *testing.T) {
	t.Parallel()
	_, vet, id, plan := planned(t, account.Vet, care.EnrolledDog{})
	found := at("/h/:id/dogs/:dog/findings", id)
	vet.get(plan).has("#found .empty", "None recorded")
	vet.post(found, "whole", "yes", "joint", "left hip", "joint", "both elbow", "joint", " back", "grade", "4", "leg", "left hind", "bcs", "6", "muscle", "2",
		"diseases", "heart murmur\n<b>lump", "examined", "2026-03-01", "text", "sore behind").done("found")
	vet.post(found, "test", "blood", "test-on", "2026-01-10", "test-next", "2026-02-10", "test-remark", "no change").done("found")
	page := vet.get(plan).ok()
	page.has("#found dl", "left hip, both sides: elbow, back", "lame at every step, weight on the leg, left hind", "6 of 9", "mild loss",
		"heart murmur, <b>lump", "1 Mar 2026", "Blood, 10 Jan 2026 : no change", "next due 10 Feb 2026")
	page.has("#found dl .trouble", "next due")
	require.NotContains(t, page.body, "<b>")
	page.has("#f-findings input[value=left_hip][checked]")
	page.has("#f-findings option[selected]", "lame at every step", "left hind")
	vet.get(at("/h/:id/dogs/:dog", id)).has("#findings", "left hip", "sore behind", "Joints: left hip", "Test: blood, 10 Jan 2026")
	vet.post(found, "test", "blood", "struck", itoa(int(stood(t, vet, plan)))).done("found")
	page = vet.get(plan).ok()
	require.NotContains(t, page.text("#found dl"), "Blood")
	page.has("#found dl", "left hip")
	for _, f := range [][]string{{}, {"test", "blood"}, {"test", "blood", "test-on", "2027-01-01"}, {"whole", "yes", "joint", "left tail"}, {"grade", "9"},
		{"test", "tea", "test-on", "2026-01-10"}, {"test", "blood", "test-on", "2026-01-10", "test-next", "2026-01-09"}, {"examined", "2027-01-01"}} {
		require.Equal(t, 422, vet.post(found, f...).status, f)
	}
}

// stood is the day of the only test, as the page's form holds it.
func stood(t *testing.T, c *client, plan string) (on int64) {
	t.Helper()
	for _, n := range c.get(plan).all("#f-strike input[name=struck]") {
		value, _ := attr(n, "value")
		for _, d := range value {
			on = on*10 + int64(d-'0')
		}
	}
	require.NotZero(t, on)
	return on
}

func TestMedicinesFromElsewhere(t *testing.T) {
	t.Parallel()
	b, vet, id, plan := planned(t, account.Vet, care.EnrolledDog{})
	page := vet.post(plan, "action", "start", "area", "pain relief", "class", "nsaid", "what", "old tablets", "source", "leftovers", "on", "2026-02-20").ok()
	page.has(".advice li", "does not come from this practice (leftovers)")
	vet.goOn(page).done("planned")
	page = vet.get(plan).ok()
	page.has("#e-1 dl", "Comes from", "leftovers at home")
	page.has("#s-from-elsewhere-1", "old tablets", "2015")
	page.has("#s-pain-relief-0", "No pain relief")
	require.Equal(t, care.FromLeftovers, b.household("hillside", id).Dogs[0].Plan[0].Source)
	require.Equal(t, 422, vet.post(plan, "action", "start", "area", "home", "what", "x", "source", "the moon").status)
}

func TestBadPlanFormsAreRefused(t *testing.T) {
	t.Parallel()
	b, vet, id, plan := planned(t, account.Vet, care.EnrolledDog{Plan: []care.Entry{{Area: care.AreaHome, What: "rugs"}}})
	before := b.household("hillside", id)
	for _, f := range [][]string{
		{"action", "start", "area", "home", "what", strings.Repeat("x", 61)}, {"action", "start", "area", "pain relief", "class", "nsaid", "what", "invented tablets 50 mg"}, {"action", "stop", "entry", "1"}, {"action", "hold", "entry", "1"},
		{"action", "start", "area", "home", "what", "ramp", "review", "soon"}, {"action", "start", "area", "home", "what", "ramp", "remind", "session"},
		{"action", "start", "area", "home", "what", "ramp", "remind", "horoscope"}, {"action", "reminders", "entry", "1", "remind", "tablets", "every", "9999"},
		{"action", "reminders", "entry", "1", "remind", "session", "dates", "next week"}, {"action", "reminders", "entry", "1"},
		{"action", "done", "entry", "1", "reminder", "3"}, {"action", "explode", "entry", "1"}, {"action", "details", "entry", "1", "review", "x"},
	} {
		page := vet.post(plan, f...)
		require.Equal(t, 422, page.status, f)
		require.NotEmpty(t, page.text(".sentence"), f)
	}
	require.Equal(t, 404, vet.post(plan, "action", "stop", "entry", "9", "reason", "x").status)
	require.Equal(t, before.Dogs[0].Plan, b.household("hillside", id).Dogs[0].Plan)
}

// The list of dogs and the page of the plan say the same of what is not covered.
func TestTheListAndThePlanAgree(t *testing.T) {
	t.Parallel()
	_, vet, id, plan := planned(t, account.Vet, care.EnrolledDog{BCS: 5, Plan: []care.Entry{{Area: care.AreaHome, What: "rugs"}}})
	list := func() string { return vet.get("/desk/dogs").text("td[data-name=Not_on_the_plan]") }
	require.Equal(t, "pain relief, activity, therapy, supplements", list())
	page := vet.get(plan).ok()
	page.has("section.area[data-area=body_weight][data-state=not_needed]", "nothing to lose")
	for _, area := range []string{"pain_relief", "activity", "supplements"} {
		page.has("section.area[data-area=" + area + "][data-state=not_covered]")
	}
	page.has("section.area[data-area=therapy][data-state=waits]", "Pain relief is looked at first")
	vet.post(at("/h/:id/dogs/:dog/plan/suggestion", id), "kind", "supplement", "verdict", "decline", "why", "no").done("declined")
	require.Equal(t, "pain relief, activity, therapy", list())
}
