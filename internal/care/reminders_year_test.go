package care_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
)

// year plays a household with random plans for a year under an owner who
// answers most things and not others, and looks at every turn from outside.
type year struct {
	*talk
	rng    *rand.Rand
	end    time.Time   // of the day being lived
	opened map[int]int // local day: conversations we opened
	spoken map[string]bool
	log    []care.Event
}

// Over a simulated year with random plans: never more than one conversation
// opened by us in a local day and four in seven, nothing about a medicine that
// is held, and every date of every reminder is spoken of, dropped with a
// reason, or overdue to the practice.
func TestAYearOfRandomPlans(t *testing.T) {
	t.Parallel()
	const years = 8 // with one dog and with two
	for seed := range years {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			y := newYear(t, uint64(seed))
			for range 365 {
				y.oneDay()
			}
			y.judge()
			y.replay()
		})
	}
}

func newYear(t *testing.T, seed uint64) *year {
	y := &year{talk: newTalk(t), rng: rand.New(rand.NewPCG(seed, 5)),
		opened: map[int]int{}, spoken: map[string]bool{}}
	y.dogs = []care.EnrolledDog{{Name: "Bramble", Plan: y.plan("B")}}
	if seed%2 == 1 {
		y.dogs = append(y.dogs, care.EnrolledDog{Name: "Moss", Plan: y.plan("M")})
	}
	y.enrolled()
	y.turn(care.Event{Message: y.text("yes")})
	y.end = y.now
	return y
}

func (y *year) text(s string) *care.MessageIn {
	return &care.MessageIn{From: ownerAddress, Via: "text", ID: fmt.Sprint("m", y.events), Text: s}
}

// plan is a handful of entries with reminders of every kind and every way of
// saying when.
func (y *year) plan(mark string) []care.Entry {
	var list []care.Entry
	for i := range 2 + y.rng.IntN(4) {
		e := care.Entry{Area: care.AreaPain, What: fmt.Sprintf("%s-thing-%d", mark, i), Started: monday.AddDate(0, 0, -y.rng.IntN(100)).Unix()}
		if i%2 == 0 {
			e.Class = []care.MedicineClass{care.OtherMed, care.Antibody, care.NSAID}[y.rng.IntN(3)]
		}
		for range 1 + y.rng.IntN(2) {
			e.Reminders = append(e.Reminders, y.reminder())
		}
		list = append(list, e)
	}
	return list
}

func (y *year) reminder() care.Reminder {
	m := care.Reminder{Kind: care.ReminderKinds[y.rng.IntN(len(care.ReminderKinds))], Note: "as agreed"}
	today := int32(cadence.Date(1970, 1, 1).DaysUntil(cadence.DateIn(y.now, y.rules.Zone)))
	switch y.rng.IntN(3) {
	case 0:
		m.Every = int16(1 + y.rng.IntN(40))
	case 1:
		m.Cron, m.Gap = fmt.Sprintf("%d %d * * %d", y.rng.IntN(60), y.rng.IntN(24), y.rng.IntN(7)), int16(y.rng.IntN(20))
	default:
		for range 1 + y.rng.IntN(6) {
			m.On = append(m.On, today+int32(y.rng.IntN(200)))
		}
	}
	return m
}

// oneDay lets a day pass in which owner and practice do this and that.
func (y *year) oneDay() {
	y.end = y.end.AddDate(0, 0, 1)
	busy := y.end.Add(-time.Duration(1+y.rng.IntN(1000)) * time.Minute) // when the practice is at it
	for _, until := range []time.Time{busy, y.end} {
		for !y.next.IsZero() && !y.next.After(until) {
			if y.next.After(y.now) {
				y.now = y.next
			}
			y.turn(care.Event{Tick: &care.Tick{}})
			if y.rng.IntN(10) < 6 {
				y.answer()
			}
		}
		if until == busy && busy.After(y.now) {
			y.now = busy
			y.practiceDoes()
		}
	}
}

// answer replies to what is open, a few minutes later.
func (y *year) answer() {
	for range 12 {
		o := y.house.Contacts[0].Talk.Open
		if o == nil || y.rng.IntN(12) == 0 {
			return
		}
		y.now = y.now.Add(time.Minute)
		words := []string{"1", "0", "no", "yes", "not yet"}
		switch {
		case o.Kind == care.PromptWeighIn:
			words = []string{"31.2 kg", "1"}
		case strings.HasPrefix(string(o.Kind), "reminder"):
			words = []string{"yes", "no", "not yet", "1"}
		}
		y.turn(care.Event{Message: y.text(words[y.rng.IntN(len(words))])})
	}
}

// practiceDoes now and then changes a plan.
func (y *year) practiceDoes() {
	if y.rng.IntN(12) != 0 {
		return
	}
	d := y.house.Dogs[y.rng.IntN(len(y.house.Dogs))]
	e := d.Plan[y.rng.IntN(len(d.Plan))]
	p := &care.PlanChange{Dog: d.Name, Entry: e.ID, What: e.What, Reason: "as seen"}
	switch y.rng.IntN(5) {
	case 0:
		p.Action = care.PlanHold
	case 1, 2:
		p.Action = care.PlanRestart
	case 3:
		p.Action = care.PlanReminders
		p.Reminders = append(e.Reminders[:len(e.Reminders):len(e.Reminders)], y.reminder())
	default:
		p.Action = care.PlanDone
		p.Reminder = 1
	}
	y.turn(care.Event{Practice: &care.Practice{By: "lee", Plan: p}})
}

// turn takes one event and looks at what came of it.
func (y *year) turn(e care.Event) {
	before := y.house
	e.Key = fmt.Sprint("k", y.events)
	if e.Tick != nil {
		e.Key = ""
	}
	e.At = y.now
	y.log = append(y.log, e)
	facts := len(y.facts)
	y.events++
	res := care.Turn(y.rules, y.house, e)
	y.house, y.next, y.facts = res.Household, res.Next, append(y.facts, res.Facts...)
	require.True(y.t, y.next.IsZero() || y.next.After(y.now), "looked at again at once")
	kept := y.facts[facts:]
	opened, nudged := false, false
	for _, f := range kept {
		switch {
		case f.Kind == care.FactPrompt && f.Code == "reminded":
			nudged = true
		case f.Kind == care.FactPrompt && f.Code == "sent":
			opened = true
		case f.Kind == care.FactReminder:
			y.heard(before, f)
		}
	}
	prompts := 0
	for _, m := range res.Send {
		if m.Purpose == care.ForPrompt {
			prompts++
		}
	}
	if e.Message == nil && prompts > 0 && (opened || !nudged) {
		y.opened[y.day(y.now)]++
	}
	require.LessOrEqual(y.t, prompts, 1, "one message opens a conversation: %+v", res.Send)
}

func (y *year) day(t time.Time) int {
	return cadence.Date(1970, 1, 1).DaysUntil(cadence.DateIn(t, y.rules.Zone))
}

// heard keeps what became of a reminder, and wants nothing said of what is held.
func (y *year) heard(before care.Household, f care.Fact) {
	d := before.Dogs[f.Dog-1]
	name := f.Text[strings.Index(f.Text, ": ")+2:]
	name, _, _ = strings.Cut(name, ": ")
	key := fmt.Sprintf("%s/%s/%d", d.Name, strings.SplitN(f.Text, ": ", 3)[:2], y.day(time.Unix(int64(f.Number), 0)))
	y.spoken[key] = true
	for _, e := range d.Plan {
		if e.What == name && (f.Code == "said" || f.Code == "asked") {
			require.Equal(y.t, care.Active, e.Status, "%s of what is not active: %s", f.Code, f.Text)
		}
	}
}

func (y *year) judge() {
	total := 0
	for day, n := range y.opened {
		require.LessOrEqual(y.t, n, 1, "conversations on %s", cadence.Date(1970, 1, 1).AddDays(day))
		week := 0
		for k := range 7 {
			week += y.opened[day-k]
		}
		require.LessOrEqual(y.t, week, 4, "in the seven days to %s", cadence.Date(1970, 1, 1).AddDays(day))
		total += n
	}
	require.Greater(y.t, total, 80, "a year in which nothing is opened would pass")
	require.NotEmpty(y.t, y.spoken)
	crowded := 0 // what nothing else may crowd out, but a week of itself
	for _, f := range y.facts {
		if f.Kind == care.FactPrompt && f.Code == "skipped" && strings.HasSuffix(f.Text, "no free day") &&
			(strings.HasPrefix(f.Text, "checkin/") || strings.HasPrefix(f.Text, "signsonly/")) {
			crowded++
		}
	}
	require.LessOrEqual(y.t, crowded, 2, "check-ins and questions about signs that found no day")
	today := y.day(y.now)
	for _, d := range y.house.Dogs {
		for _, e := range d.Plan {
			for _, m := range e.Reminders {
				if e.Status != care.Active || m.Next == 0 || m.Missed == m.Next {
					continue
				}
				// 14: the longest a thing may lie, asked, asked again, and overdue
				require.GreaterOrEqual(y.t, int(m.Next)+14, today, "%s of %s lies forgotten: %+v", m.Kind, e.What, m)
			}
		}
	}
}

// replay decides the whole year again: the same log, the same household.
func (y *year) replay() {
	owner := care.Owner{Name: "Ruth", Address: ownerAddress, ID: "o1", Via: "text"}
	again := care.NewHousehold("hill", owner)
	first := care.Event{Key: "event-1", At: monday, Practice: &care.Practice{By: "lee", Enrol: &care.Enrolment{Owner: owner, Dogs: y.dogs, Invite: true}}}
	for _, e := range append([]care.Event{first}, y.log...) {
		again = care.Turn(y.rules, again, e).Household
	}
	for i, d := range y.house.Dogs {
		require.Equal(y.t, d.Plan, again.Dogs[i].Plan)
		require.Equal(y.t, d.Due, again.Dogs[i].Due)
		require.Equal(y.t, d.Weights, again.Dogs[i].Weights)
	}
	require.Equal(y.t, y.house.Alerts, again.Alerts)
	require.Equal(y.t, y.house.Opened, again.Opened)
}
