package care_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/tools/txtar"

	"gaitpost/internal/care"
	"gaitpost/internal/signs"
)

// Conversations are files a vet can read. One line is one thing:
//
//	dog NAME [sex=female] [own1=..] [nsaid=..] [antibody=..] [loss] [untreated]
//	at 2026-03-03 10:00        move the clock; whatever falls due on the way happens
//	after 30m                  the same, from now
//	owner> TEXT                the owner writes
//	bot> TEXT                  the next message to the owner; … stands for any words
//	practice> ACK 1 note       staff act on alert 1 (ACK, CLOSE n outcome, WRITE text, PLAN action what, UNDO dog,
//	                           HOLD dog date why, PAUSE date why, QUIET dog sign date, SET dog threshold value,
//	                           CADENCE dog kind gap cron); REFUSED at the end: it is refused
//	extras lesson=7 house=2    switch on what goes beyond monitoring (also summary, activities), in days
//	practice> HOUSE 0          staff wish the owner asked round the house; TASK dog n solved|aside|open;
//	                           DAYS dog weeks, or DAYS dog end: the note of good and bad days
//	practice> REMIND WHAT KIND [every=28] [on=2026-03-05,2026-03-12] [cron=0_9_*_*_1] [note=..]
//	practice> DONE WHAT [2026-03-05]
//	report> failed             the provider's word on the last message
//	expect alert REASON URGENCY [words of its sentence, … between]
//	expect no alert [REASON]
//	expect told WHO KIND       a notice went to a practitioner
//	expect consent STATE
//	expect kept CODE WORDS     the record has such a reminder fact since the last such line
//	expect nothing             no message is waiting to be read
//	skip                       messages waiting are not looked at
//	# comment
func TestConversations(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("../../testdata/conversations/care-*.txtar")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, f := range files {
		t.Run(strings.TrimSuffix(filepath.Base(f), ".txtar"), func(t *testing.T) {
			t.Parallel()
			data, err := os.ReadFile(f)
			require.NoError(t, err)
			for _, part := range txtar.Parse(data).Files {
				t.Run(part.Name, func(t *testing.T) {
					t.Parallel()
					newTalk(t).play(string(part.Data))
				})
			}
		})
	}
}

// talk is one household under test, with its clock and what it was sent.
type talk struct {
	t      *testing.T
	rules  *care.Rules
	house  care.Household
	now    time.Time
	dogs   []care.EnrolledDog
	sent   []care.Message // not yet looked at
	last   care.Message
	told   []care.Notice
	facts  []care.Fact
	events int
	next   time.Time
}

func newTalk(t *testing.T) *talk {
	return &talk{t: t, rules: testRules(t), now: monday}
}

func (k *talk) play(script string) {
	for i, line := range strings.Split(script, "\n") {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		where := fmt.Sprintf("line %d: %s", i+1, line)
		verb, rest, _ := strings.Cut(line, " ")
		switch verb {
		case "dog":
			k.dogs = append(k.dogs, parseDog(k.t, rest))
		case "at", "after":
			k.moveTo(k.clock(verb, rest))
		case "owner>":
			k.enrolled()
			k.owner(rest)
		case "bot>":
			k.enrolled()
			k.bot(rest, where)
		case "practice>":
			k.enrolled()
			k.practice(rest, where)
		case "report>":
			k.report(rest)
		case "extras":
			k.extras(rest)
		case "expect":
			k.enrolled()
			k.expect(rest, where)
		case "skip":
			k.enrolled()
			k.sent = nil
		default:
			k.t.Fatalf("%s: not understood", where)
		}
	}
}

func (k *talk) clock(verb, rest string) time.Time {
	if verb == "after" {
		d, err := time.ParseDuration(rest)
		require.NoError(k.t, err)
		return k.now.Add(d)
	}
	at, err := time.ParseInLocation("2006-01-02 15:04", rest, k.rules.Zone)
	require.NoError(k.t, err)
	return at
}

// enrolled enrols the household before the first line that needs it.
func (k *talk) enrolled() {
	if k.house.ID != "" {
		return
	}
	owner := care.Owner{Name: "Ruth", Address: ownerAddress, ID: "o1", Via: "text"}
	k.house = care.NewHousehold("hill", owner)
	k.do(care.Event{Practice: &care.Practice{By: "lee", Enrol: &care.Enrolment{Owner: owner, Dogs: k.dogs, Invite: true}}})
}

func (k *talk) do(e care.Event) care.Result {
	k.events++
	e.At = k.now
	if e.Key == "" && e.Tick == nil {
		e.Key = fmt.Sprintf("event-%d", k.events)
	}
	before := fmt.Sprintf("%+v", k.house)
	res := care.Turn(k.rules, k.house, e)
	require.Equal(k.t, before, fmt.Sprintf("%+v", k.house), "a turn must not change the household it was given")
	k.house, k.next = res.Household, res.Next
	k.sent = append(k.sent, res.Send...)
	if n := len(res.Send); n > 0 {
		k.last = res.Send[n-1]
	}
	k.told = append(k.told, res.Notices...)
	k.facts = append(k.facts, res.Facts...)
	return res
}

// moveTo lets everything happen that falls due until then.
func (k *talk) moveTo(to time.Time) {
	if k.house.ID == "" {
		k.now = to
		return
	}
	for steps := 0; !k.next.IsZero() && !k.next.After(to); steps++ {
		require.Less(k.t, steps, 2000, "the household never comes to rest")
		if k.next.After(k.now) {
			k.now = k.next
		}
		k.do(care.Event{Tick: &care.Tick{}})
		require.True(k.t, k.next.IsZero() || k.next.After(k.now), "looked at again at once: %s, %+v", k.next, k.house)
	}
	k.now = to
}

func (k *talk) owner(text string) {
	k.do(care.Event{Message: &care.MessageIn{From: ownerAddress, Via: "text", ID: fmt.Sprint("m", k.events), Text: text}})
}

func (k *talk) bot(want, where string) {
	require.NotEmpty(k.t, k.sent, "%s: nothing was sent", where)
	got := k.sent[0].Text
	k.sent = k.sent[1:]
	require.True(k.t, matches(got, want), "%s\n got: %s", where, got)
}

// matches compares a text with words between which … stands for anything.
func matches(got, want string) bool {
	got = strings.Join(strings.Fields(got), " ")
	for _, part := range strings.Split(want, "…") {
		part = strings.TrimSpace(part)
		i := strings.Index(got, part)
		if i < 0 {
			return false
		}
		got = got[i+len(part):]
	}
	return true
}

func (k *talk) report(what string) {
	r := &care.Report{Message: k.last.ID}
	switch what {
	case "failed":
		r.Fate = care.Failed
	case "dead":
		r.Fate, r.Dead = care.Failed, true
	case "delivered":
		r.Fate = care.Delivered
	case "opted-out":
		r.OptedOut = true
	}
	k.do(care.Event{Report: r})
}

func (k *talk) practice(what, where string) {
	f := strings.Fields(what)
	p := &care.Practice{By: "lee"}
	number := func(i int) uint16 {
		n, err := strconv.Atoi(f[i])
		require.NoError(k.t, err, where)
		return uint16(n)
	}
	refused := false
	if f[len(f)-1] == "REFUSED" {
		refused, f = true, f[:len(f)-1]
	}
	switch f[0] {
	case "ACK":
		p.Ack = &care.AlertAction{Alert: number(1), Note: strings.Join(f[2:], " ")}
	case "CLOSE":
		p.Close = &care.AlertAction{Alert: number(1), Outcome: care.Outcome(strings.Join(f[2:], " "))}
	case "WRITE":
		p.Write = &care.WriteOwner{Text: strings.Join(f[1:], " ")}
	case "PLAN":
		p.Plan = &care.PlanChange{Dog: k.house.Dogs[0].Name, Action: care.PlanAction(f[1]), What: f[2]}
		if len(f) > 3 {
			p.Plan.Class, p.Plan.Area, p.Plan.Comfort = care.MedicineClass(f[3]), care.AreaPain, true
		}
	case "PAUSE", "HOLD": // PAUSE 2026-03-20 why: the texts to the owner; HOLD dog date why: one dog
		k.pause(p, f, where)
	case "QUIET": // QUIET dog sign date; - ends it
		p.QuietSign = &care.QuietSign{Dog: int8(number(1)), Sign: signs.Sign(f[2]), Until: k.date(f[3], where)}
	case "SET": // SET dog threshold value; - clears it
		n := care.SetNumber{Key: f[2], Clear: f[3] == "-"}
		if !n.Clear {
			n.Value = float64(number(3))
		}
		p.Settings = &care.DogSettings{Dog: int8(number(1)), Numbers: []care.SetNumber{n}}
	case "CADENCE": // CADENCE dog kind gap cron…
		p.Settings = &care.DogSettings{Dog: int8(number(1)), Cadence: &care.SetDogsCadence{
			Kind: care.PromptKind(f[2]), Gap: int(number(3)), Cron: strings.Join(f[4:], " ")}}
	case "HOUSE", "TASK", "DAYS":
		k.extra(p, f)
	case "UNDO":
		p.Farewell = &care.Farewell{Dog: int8(number(1)), Undo: true}
	default:
		p.Plan = k.planChange(f, where)
	}
	res := k.do(care.Event{Practice: p})
	if refused {
		require.Equal(k.t, care.PracticeRefused, res.Reason, where)
		return
	}
	require.Equal(k.t, care.PracticeDone, res.Reason, "%s: %s", where, res.Refusal)
}

func (k *talk) extras(what string) {
	for _, set := range strings.Fields(what) {
		name, value, _ := strings.Cut(set, "=")
		n, err := strconv.Atoi(value)
		require.NoError(k.t, err, set)
		*map[string]*int{"lesson": &k.rules.Extras.Lesson, "summary": &k.rules.Extras.Summary,
			"activities": &k.rules.Extras.Activities, "house": &k.rules.Extras.House}[name] = n
	}
}

func (k *talk) extra(p *care.Practice, f []string) {
	n := func(i int) int { v, _ := strconv.Atoi(f[i]); return v }
	switch f[0] {
	case "HOUSE":
		p.House = &care.HouseAction{Dog: int8(n(1)), Ask: true}
	case "TASK":
		p.House = &care.HouseAction{Dog: int8(n(1)), Task: uint8(n(2)),
			To: map[string]care.TaskState{"open": care.TaskOpen, "solved": care.TaskSolved, "aside": care.TaskAside}[f[3]]}
	case "DAYS":
		p.Days = &care.OfferDays{Dog: int8(n(1)), End: f[2] == "end"}
		if !p.Days.End {
			p.Days.Weeks = uint8(n(2))
		}
	}
}

// date is midnight at the beginning of a date, 0 for "-".
func (k *talk) date(s, where string) int64 {
	if s == "-" {
		return 0
	}
	at, err := time.ParseInLocation("2006-01-02", s, k.rules.Zone)
	require.NoError(k.t, err, where)
	return at.Unix()
}

func (k *talk) pause(p *care.Practice, f []string, where string) {
	if f[0] == "PAUSE" {
		p.Pause = &care.PauseTexts{Until: k.date(f[1], where), Reason: strings.Join(f[2:], " ")}
		return
	}
	dog, err := strconv.Atoi(f[1])
	require.NoError(k.t, err, where)
	p.Hold = &care.HoldDog{Dog: int8(dog), Until: k.date(f[2], where), Reason: strings.Join(f[3:], " ")}
}

func (k *talk) expect(what, where string) {
	f := strings.Fields(what)
	switch {
	case what == "nothing":
		require.Empty(k.t, k.sent, where)
	case f[0] == "consent":
		require.Equal(k.t, strings.Join(f[1:], " "), k.house.Contacts[0].Consent.State.String(), where)
	case f[0] == "told":
		for i, n := range k.told {
			if n.To == f[1] && string(n.What) == f[2] || f[1] == "last-resort" && n.To == "" {
				k.told = k.told[i+1:]
				return
			}
		}
		k.t.Fatalf("%s: told only %+v", where, k.told)
	case f[0] == "no":
		for _, it := range k.house.OpenItems() {
			require.False(k.t, len(f) == 2 || string(it.Reason) == strings.Join(f[2:], " "), "%s: open: %+v", where, it)
		}
	case f[0] == "kept":
		k.expectKept(strings.TrimPrefix(what, "kept "), where)
	case f[0] == "alert":
		k.expectAlert(strings.TrimPrefix(what, "alert "), where)
	default:
		k.t.Fatalf("%s: not understood", where)
	}
}

func (k *talk) expectAlert(want, where string) {
	for _, it := range k.house.OpenItems() {
		head := fmt.Sprintf("%s %s", it.Reason, it.Urgency)
		if strings.HasPrefix(want, head) && matches(it.Sentence, strings.TrimSpace(strings.TrimPrefix(want, head))) {
			return
		}
	}
	k.t.Fatalf("%s\nopen: %+v", where, k.house.OpenItems())
}
