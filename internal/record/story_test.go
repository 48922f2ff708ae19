package record

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/dialog"
	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
)

// An invented practice and invented people; the numbers are from Ofcom's ranges
// for drama.
func testRules(t testing.TB) *care.Rules {
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	week := map[time.Weekday][]cadence.Span{}
	for d := time.Monday; d <= time.Friday; d++ {
		week[d] = []cadence.Span{{From: 8*60 + 30, To: 18 * 60}}
	}
	hours, err := cadence.NewHours(zone, week, nil)
	require.NoError(t, err)
	scripts, err := dialog.Builtin()
	require.NoError(t, err)
	every := func(cron string, gap int) cadence.Cadence {
		c, err := cadence.Parse(cron, gap)
		require.NoError(t, err)
		return c
	}
	return &care.Rules{
		Clinic: "hill", Name: "Hill Vets", Zone: zone, Region: "GB", Phone: "01632 960100", Emergency: "01632 960911", PersonNumber: "999",
		Hours: hours, Quiet: cadence.Quiet{From: 21 * 60, To: 8 * 60}, Lead: "lee",
		Practitioners: []care.Practitioner{{ID: "lee", Name: "Dr Lee", Contacts: []contact.Address{{Channel: contact.SMS, Value: "+447700900101"}}, Digest: true}},
		LastResort:    contact.Address{Channel: contact.SMS, Value: "+447700900109"},
		Cadences: care.Cadences{CheckIn: every("0 10 * * 2", 6), WeighIn: every("0 10 * * 4", 27), WeighInLoss: every("0 10 * * 4", 13),
			Reassessment: every("0 10 * * 3", 83), Digest: every("0 8 * * 1-5", 0)},
		Thresholds: clinical.DefaultThresholds(), Limits: care.DefaultLimits(), Scripts: scripts,
		Channels: []care.Channel{{Name: "text", Kind: "sms", Address: "+447700900300"}},
	}
}

var monday = time.Date(2026, 1, 5, 10, 0, 0, 0, time.UTC)

// story is one household, played turn by turn with a clock of its own.
type story struct {
	t     testing.TB
	rules *care.Rules
	house care.Household
	now   time.Time
	next  time.Time
	log   []Entry
	last  string // id of the last message sent
	n     int
}

var ruth = contact.Address{Channel: contact.SMS, Value: "+447700900401"}

func newStory(t testing.TB, dogs ...care.EnrolledDog) *story {
	s := &story{t: t, rules: testRules(t), now: monday}
	owner := care.Owner{Name: "Ruth", Address: ruth, ID: "feed", Via: "text"}
	s.house = care.NewHousehold("hill", owner)
	s.does(care.Practice{Enrol: &care.Enrolment{Owner: owner, Dogs: dogs, Invite: true}})
	s.says("YES")
	return s
}

func (s *story) turn(e care.Event) care.Result {
	s.n++
	e.Key, e.At = fmt.Sprint("event", s.n), s.now
	r := care.Turn(s.rules, s.house, e)
	s.house, s.next = r.Household, r.Next
	s.log = append(s.log, Entry{At: s.now, Event: e, Facts: r.Facts, Refusal: r.Refusal})
	if n := len(r.Send); n > 0 {
		s.last = r.Send[n-1].ID
	}
	return r
}

func (s *story) does(p care.Practice) {
	s.t.Helper()
	p.By = "lee"
	r := s.turn(care.Event{Practice: &p})
	require.Equal(s.t, care.PracticeDone, r.Reason, r.Refusal)
}

func (s *story) says(text string) {
	s.turn(care.Event{Message: &care.MessageIn{From: ruth, Via: "text", ID: fmt.Sprint("m", s.n), Text: text}})
}

func (s *story) report(f care.Fate) {
	s.turn(care.Event{Report: &care.Report{Message: s.last, Fate: f}})
}

// to moves the clock; whatever falls due on the way happens.
func (s *story) to(t time.Time) {
	for !s.next.IsZero() && !s.next.After(t) {
		s.now = s.next
		s.turn(care.Event{Tick: &care.Tick{}})
	}
	s.now = t
}

func (s *story) pass(d time.Duration) { s.to(s.now.Add(d)) }

// enter is a check-in that staff took by telephone, with one level for all items.
func (s *story) enter(dog int8, l clinical.Level) {
	items := clinical.Items{l, max(l-1, 0), l, l, l, max(l-1, 0), l, clinical.NotApplicable}
	s.does(care.Practice{CheckIn: &care.EnteredCheckIn{Dog: dog, Items: items, Doses: -1, Who: "Ruth's sister"}})
}

func (s *story) input() Input {
	return Input{Rules: s.rules, Household: &s.house, Entries: s.log, Now: s.now}
}

func bramble() care.EnrolledDog {
	return care.EnrolledDog{Name: "Bramble", Ref: "H-0117", Sex: care.Male, Own: [2]string{"into the car", ""}, BCS: 7, Muscle: 2, Grams: 32_500, Target: 27_100, Loss: true,
		Plan: []care.Entry{{Area: care.AreaPain, What: "carprofen", Class: care.NSAID, Started: monday.AddDate(0, -3, 0).Unix()}}}
}

const hostile = `<script>alert("x")</script> & he's "sore"`

// halfYear is half a year of an invented dog: settled weeks, missed ones, a sign,
// a change of plan that helped, findings, weights, all that a report can hold.
func halfYear(t testing.TB) *story {
	s := newStory(t, bramble(), care.EnrolledDog{Name: "Moss", Sex: care.Female, Entire: true})
	s.pass(3*24*time.Hour + time.Hour) // the day after the check-in is asked
	levels := []clinical.Level{2, 2, 1, 2, 2, 2, 1, 2, 3, 3, -1, -1, 2, 2, 1, 1, 0, 1, 1, 0, 1, 1}
	for i, l := range levels {
		s.pass(7 * 24 * time.Hour)
		if l >= 0 {
			s.enter(0, l)
		}
		if i%2 == 0 {
			s.does(care.Practice{Weigh: &care.EnteredWeight{Grams: int64(32_400 - 170*i), Scale: clinical.Clinic}})
		}
		switch i {
		case 4:
			s.says("Bramble was sick twice in the night and won't touch his breakfast")
			s.report(care.Delivered)
		case 6:
			s.closeAlerts()
			s.does(care.Practice{Findings: &care.Findings{Text: "Both stifles thickened, left worse; muscle over the left thigh thinner. " + hostile, BCS: 7}})
		case 12:
			s.does(care.Practice{Plan: &care.PlanChange{Dog: "Bramble", What: "hydrotherapy", Area: care.AreaTherapy, Action: care.PlanStart, Comfort: true, Reason: hostile}})
			s.does(care.Practice{Plan: &care.PlanChange{Dog: "Bramble", What: "antibody injection", Area: care.AreaPain, Class: care.Antibody,
				Action: care.PlanStart, Batch: "B-2231", On: s.now.Unix()}})
		case 14:
			s.says("lovely week, " + hostile)
			s.does(care.Practice{Write: &care.WriteOwner{Text: "Glad to hear it, Ruth. " + hostile}})
			s.report(care.Read)
			s.does(care.Practice{Resume: &care.Resume{}})
		case 16:
			s.does(care.Practice{Note: &care.Note{Text: "Sister may ring about the car ramp"}})
			s.closeReviews()
		case 20:
			s.says("Bramble has been sick again, third time since Sunday")
		}
	}
	return s
}

func (s *story) closeAlerts() {
	for _, e := range s.house.Dogs[0].Plan {
		if e.Status == care.Held {
			s.does(care.Practice{Plan: &care.PlanChange{Dog: s.house.Dogs[0].Name, Entry: e.ID, Action: care.PlanRestart, Reason: "bloods normal"}})
		}
	}
	for _, a := range s.house.Alerts {
		if a.IsOpen() {
			s.does(care.Practice{Close: &care.AlertAction{Alert: a.N, Outcome: care.SeenByVet, Note: "seen with Ruth; bloods taken"}})
		}
	}
}

// closeReviews closes what is overdue: nobody answers a reassessment here.
func (s *story) closeReviews() {
	for _, a := range s.house.Alerts {
		if a.IsOpen() && a.Reason == care.ReviewDue {
			s.does(care.Practice{Close: &care.AlertAction{Alert: a.N, Outcome: care.SeenByVet, Note: "seen with Ruth; bloods taken"}})
		}
	}
}

// crowded is a household about which more has happened than any page can hold.
func crowded(t testing.TB) *story {
	s := halfYear(t)
	d := &s.house.Dogs[0]
	d.Name = strings.Repeat("Bartholomew ", 4)
	d.Own = [2]string{"climbing into the very old car", "greeting people at the front door"}
	long := strings.Repeat("and then he lay down again for a long while ", 40)
	for i := range 40 {
		s.pass(26 * time.Hour)
		s.says("He is not himself today, " + long)
		s.does(care.Practice{Findings: &care.Findings{Text: long}})
		d := &s.house.Dogs[0]
		d.Plan = append(d.Plan, care.Entry{ID: uint16(100 + i), Area: care.AreaTherapy, What: long, Why: long, Batch: long[:60], Started: s.now.Unix(), Status: care.EntryStatus(i % 3), Ended: s.now.Unix(), Review: s.now.Unix(), Class: care.OtherMed})
		s.log = append(s.log, Entry{At: s.now, Event: care.Event{Practice: &care.Practice{Plan: &care.PlanChange{Comfort: true, Action: care.PlanStart}}},
			Facts: []care.Fact{{Kind: care.FactPlan, Dog: 1, Code: "start", Text: long, Number: float64(s.now.Unix())},
				{Kind: care.FactAlert, Dog: 1, Code: "opened", Text: long, Alert: uint16(500 + i), ID: "sign"}}})
		s.enter(0, clinical.Level(i%4))
	}
	return s
}
