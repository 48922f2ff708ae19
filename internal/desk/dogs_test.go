package desk

import (
	"context"
	"fmt"
	"net"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
	"gaitpost/internal/store/redistest"
	"gaitpost/internal/store/storetest"
)

// names of the dogs on a page, in order.
func (a *answer) dogs() []string {
	var names []string
	for _, n := range a.all("table.caseload tbody th a") {
		names = append(names, textOf(n))
	}
	return names
}

func TestTheCaseloadIsSearchedFilteredAndSorted(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	vet := b.signedIn("hillside", account.Vet)
	vet.get("/desk/dogs").ok().has(".empty", "No dogs are enrolled yet")

	b.clock.Store(tuesday.AddDate(0, -4, 0).Unix())
	start := b.clock.Load()
	worse := b.enrol("hillside", 1, "Zoë O’Hara", care.EnrolledDog{Name: "Bramble", Grams: 30_000, Target: 25_000})
	b.checkIns("hillside", worse, 1, 1, 1, 1, 1, 1, 1, 1, 3)
	b.clock.Store(start)
	better := b.enrol("hillside", 2, "Ruth", care.EnrolledDog{Name: "Moss", Ref: "H-77", Plan: []care.Entry{{Area: care.AreaHome, What: "rugs"}}})
	b.checkIns("hillside", better, 2, 2, 2, 2, 2, 2, 2, 2, 1)
	b.enrol("hillside", 3, "Ann", care.EnrolledDog{Name: "Éclair"}, care.EnrolledDog{Name: "Pip"})
	gone := b.enrol("hillside", 4, "Ian", care.EnrolledDog{Name: "Old Tom"})
	b.do("hillside", gone, care.Practice{Farewell: &care.Farewell{}})
	b.clock.Store(tuesday.Add(time.Minute).Unix())
	vet = b.signedIn("hillside", account.Vet)

	for query, want := range map[string][]string{
		"?sort=name":                      {"Bramble", "Éclair", "Moss", "Pip"},
		"?sort=change":                    {"Bramble", "Moss", "Éclair", "Pip"},
		"?sort=better":                    {"Moss", "Bramble", "Éclair", "Pip"},
		"?sort=need":                      {"Bramble", "Moss", "Éclair", "Pip"},
		"?sort=owner":                     {"Éclair", "Pip", "Moss", "Bramble"},
		"?sort=weight&show=over":          {"Bramble"},
		"?show=worse":                     {"Bramble"},
		"?show=better":                    {"Moss"},
		"?show=open":                      {"Bramble"},
		"?show=ended":                     {"Old Tom"},
		"?sort=name&show=all":             {"Bramble", "Éclair", "Moss", "Old Tom", "Pip"},
		"?q=zoe+o%27hara":                 {"Bramble"},
		"?q=ECLAIR":                       {"Éclair"},
		"?q=h-77":                         {"Moss"},
		"?q=07700900003&sort=name":        {"Éclair", "Pip"},
		"?q=ann+pip":                      {"Pip"},
		"?area=home&sort=name":            {"Bramble", "Éclair", "Pip"},
		"?sort=nonsense&show=x&page=-3":   {"Bramble", "Moss", "Éclair", "Pip"},
		"?page=99&q=moss":                 {"Moss"},
		"?q=nobody+of+that+name":          nil,
		"?q=" + strings.Repeat("x", 5000): nil,
	} {
		require.Equal(t, want, vet.get("/desk/dogs"+query).ok().dogs(), query)
	}
	page := vet.get("/desk/dogs?sort=change").ok()
	page.has("tbody tr", "75.0", "+50.0", "worse", "30.0 kg", "target 25.0 kg, 20 % above", "−")
	page.has("td[data-name=Last_check-ins]", "25 → 25 → 25 → 25 → 25 → 25 → 25 → 75")
}

func TestTheCaseloadKeepsUpWithChanges(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	vet := b.signedIn("hillside", account.Vet)
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble"})
	require.Equal(t, []string{"Bramble"}, vet.get("/desk/dogs").dogs())
	// Changed elsewhere: the row on the page is read anew; a search finds the new
	// name once the roster is brought up to date.
	l := b.household("hillside", id)
	b.do("hillside", id, care.Practice{Enrol: &care.Enrolment{Owner: care.Owner{Name: "Ruth", Address: l.Contacts[0].Address, ID: id, Via: "text"},
		Dogs: []care.EnrolledDog{{Name: "Bramble", Ref: "NEW-1"}}}})
	require.Contains(t, vet.get("/desk/dogs").text("tbody th"), "NEW-1")
	b.pass(rosterAge)
	require.Equal(t, []string{"Bramble"}, vet.get("/desk/dogs?q=new-1").dogs())
	// Changed at this desk: found at once.
	vet.post("/desk/h/"+string(id)+"/dogs/0/details", "ref", "OWN-2").done("details")
	require.Equal(t, []string{"Bramble"}, vet.get("/desk/dogs?q=own-2").dogs())
}

// counted counts round trips to Redis.
type counted struct{ trips atomic.Int64 }

func (c *counted) DialHook(next redis.DialHook) redis.DialHook {
	return func(ctx context.Context, network, addr string) (net.Conn, error) { return next(ctx, network, addr) }
}

func (c *counted) ProcessHook(next redis.ProcessHook) redis.ProcessHook {
	return func(ctx context.Context, cmd redis.Cmder) error { c.trips.Add(1); return next(ctx, cmd) }
}

func (c *counted) ProcessPipelineHook(next redis.ProcessPipelineHook) redis.ProcessPipelineHook {
	return func(ctx context.Context, cmds []redis.Cmder) error { c.trips.Add(1); return next(ctx, cmds) }
}

// A page of a caseload of 10,000 dogs costs a handful of round trips, however
// it is sorted or searched.
func TestTenThousandDogs(t *testing.T) {
	t.Parallel()
	const n = 10_000
	rdb := redistest.Start(t).Client(t)
	hook := &counted{}
	rdb.AddHook(hook)
	s := storetest.On(t, rdb)
	b := benchOn(t, s, nil)
	fill(b, n)
	vet := b.signedIn("hillside", account.Vet)
	trips := func(path string) (*answer, int) {
		before := hook.trips.Load()
		page := vet.get(path).ok()
		return page, int(hook.trips.Load() - before)
	}
	page, first := trips("/desk/dogs?sort=change")
	require.Len(t, page.dogs(), 50)
	page.has(".lead", "1 to 50 of 10000")
	page.has("nav.pages", "Page 1 of 200")
	page.has("nav.pages a[rel=next]")
	page.hasNot("a[rel=prev]")
	require.Less(t, first, 30, "the first page brings the roster up to date, some hundred households at a time")

	page, again := trips("/desk/dogs?sort=change")
	require.Equal(t, 3, again, "the session, the page’s households, the trail")
	changes := page.text("tbody td[data-name=Change]")
	require.Contains(t, changes, "worse")
	page, other := trips("/desk/dogs?sort=name&show=all&page=200")
	require.Len(t, page.dogs(), 50)
	page.hasNot("a[rel=next]")
	require.Equal(t, 3, other)
	_, search := trips("/desk/dogs?q=dog+4711")
	require.Equal(t, 3, search)

	seen := map[string]bool{}
	for i := 1; i <= 4; i++ {
		page, _ := trips("/desk/dogs?sort=index&page=" + itoa(i))
		for _, name := range page.dogs() {
			require.False(t, seen[name], "pages overlap at %s", name)
			seen[name] = true
		}
	}
	b.pass(rosterAge)
	_, refreshed := trips("/desk/dogs?sort=change")
	require.LessOrEqual(t, refreshed, 8, "caseload, versions of all in two, and the page")
}

// fill enrols n dogs, each with three check-ins, by the store's batches.
func fill(b *bench, n int) {
	rules := b.clinics["hillside"].Rules
	for from := 0; from < n; from += 500 {
		var jobs []store.Job
		for i := from; i < min(from+500, n); i++ {
			a := contact.Address{Channel: contact.SMS, Value: fmt.Sprintf("+4477%08d", i)}
			id := b.store.ID("hillside", a)
			items := clinical.Items{1, 1, 1, 1, 1, 1, clinical.NotApplicable, clinical.NotApplicable}
			jobs = append(jobs, store.Job{Rules: rules, ID: id, Event: care.Event{Key: fmt.Sprint("e", i), At: b.now(),
				Practice: &care.Practice{By: "lee", Enrol: &care.Enrolment{Owner: care.Owner{Name: "Owner", Address: a, ID: id, Via: "text"},
					Dogs: []care.EnrolledDog{{Name: fmt.Sprintf("Dog %05d", i), Grams: 20_000, Before: &items}}}}}})
		}
		check(b, b.store.DoAll(context.Background(), jobs))
		for k := range jobs {
			i := from + k
			items := clinical.Items{clinical.Level(i % 5), 1, clinical.Level(i / 5 % 5), 1, 2, clinical.Level(i / 25 % 5), clinical.NotApplicable, clinical.NotApplicable}
			jobs[k].Event = care.Event{Key: fmt.Sprint("c", i), At: b.now().Add(24 * time.Hour),
				Practice: &care.Practice{By: "lee", CheckIn: &care.EnteredCheckIn{Items: items, Doses: -1, Who: "Owner"}}}
		}
		check(b, b.store.DoAll(context.Background(), jobs))
	}
	b.pass(48 * time.Hour)
}

func check(b *bench, done []store.Done) {
	b.t.Helper()
	for _, d := range done {
		require.NoError(b.t, d.Err)
		require.Equal(b.t, care.PracticeDone, d.Result.Reason, d.Result.Refusal)
	}
}

func TestFiguresHaveTheirDenominators(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	b.clock.Store(tuesday.AddDate(0, 0, -7*16).Unix())
	start := b.clock.Load()
	better := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble", BCS: 5})
	b.checkIns("hillside", better, 3, 3, 3, 3, 2, 2, 2, 2, 2, 2, 1, 1, 1, 1, 1)
	b.clock.Store(start)
	same := b.enrol("hillside", 2, "Ian", care.EnrolledDog{Name: "Moss", BCS: 7})
	b.checkIns("hillside", same, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1)
	b.clock.Store(tuesday.Unix())
	b.says("hillside", same, "Moss has collapsed")
	vet := b.signedIn("hillside", account.Vet)
	vet.post("/desk/h/"+string(same)+"/alerts/1/close", "outcome", "false alarm")
	page := vet.get("/desk/outcomes?weeks=26").ok()
	require.Eventually(t, func() bool {
		page = vet.get("/desk/outcomes?weeks=26")
		return len(page.all("dl.outcomes")) > 0
	}, 10*time.Second, 10*time.Millisecond)
	page.has("dl.outcomes", "50 % (1 of 2)", "Staff entered 30 in all", "Meaningfully better at 12 weeks")
	require.Regexp(t, regexp.MustCompile(`Meaningfully better at 12 weeks 50 % \(1 of 2\)`), page.text("dl.outcomes"))
	require.Regexp(t, regexp.MustCompile(`Ideal condition 50 % \(1 of 2\)`), page.text("dl.outcomes"))
	page.has("tbody", "Emergency sign", "0 % (0 of 1)", "false alarm 1")
	b.signedIn("valley", account.Vet).get("/desk/outcomes?weeks=26").ok()
}

// Once warm, a desk's first page asks for no household but those it shows, and
// what changed meanwhile is on it.
func TestAWarmDeskHasItsFirstPageReady(t *testing.T) {
	t.Parallel()
	rdb := redistest.Start(t).Client(t)
	hook := &counted{}
	rdb.AddHook(hook)
	b := benchOn(t, storetest.On(t, rdb), nil)
	fill(b, 1200)
	vet := b.signedIn("hillside", account.Vet)
	b.desk.Warm(t.Context())
	before := hook.trips.Load()
	page := vet.get("/desk/dogs?sort=change").ok()
	require.Len(t, page.dogs(), 50)
	page.has(".lead", "1 to 50 of 1200")
	require.EqualValues(t, 3, hook.trips.Load()-before, "the session, the page’s households, the trail")
}

// A list that can't be made beforehand is left to the page, and said.
func TestWarmingFailsQuietly(t *testing.T) {
	t.Parallel()
	server := redistest.Start(t)
	b := benchOn(t, storetest.On(t, server.Client(t)), nil)
	server.Kill()
	b.desk.Warm(t.Context())
	require.Contains(t, b.logged.String(), "could not be made beforehand")
}
