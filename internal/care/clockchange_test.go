package care_test

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
)

// Clock changes of the tz database (tzdata): a daily prompt reaches the owner
// once for every local date that exists, none twice and none skipped, at times
// that a change hides, doubles, or takes away with the whole date.
func TestOnePromptPerLocalDateOverClockChanges(t *testing.T) {
	t.Parallel()
	cases := []struct{ zone, from, to, cron string }{
		{"America/New_York", "2026-03-05", "2026-03-12", "30 2 * * *"},
		{"America/New_York", "2026-10-29", "2026-11-04", "30 1 * * *"},
		{"Europe/London", "2026-03-26", "2026-04-01", "30 1 * * *"},
		{"Europe/London", "2026-10-22", "2026-10-28", "30 1 * * *"},
		{"America/Sao_Paulo", "2018-11-01", "2018-11-08", "0 0 * * *"},
		{"America/Sao_Paulo", "2018-02-14", "2018-02-21", "30 23 * * *"},
		{"Australia/Lord_Howe", "2026-10-01", "2026-10-08", "15 2 * * *"},
		{"Australia/Lord_Howe", "2026-04-02", "2026-04-08", "45 1 * * *"},
		{"Australia/Lord_Howe", "2026-10-01", "2026-10-08", "15 0 * * *"},
		{"Asia/Kathmandu", "2026-03-01", "2026-03-08", "0 10 * * *"},
		{"Pacific/Apia", "2011-12-26", "2012-01-03", "0 10 * * *"},
		{"America/Nuuk", "2024-03-27", "2024-04-02", "45 23 * * *"},
	}
	for _, c := range cases {
		t.Run(c.zone+" "+c.cron+" "+c.from, func(t *testing.T) {
			t.Parallel()
			zone, err := time.LoadLocation(c.zone)
			require.NoError(t, err)
			got := promptDates(t, zone, c.cron, c.from, c.to)
			want := localDates(t, zone, c.from, c.to)
			if beforeNoon(c.cron) {
				want = want[1:]
			} else {
				want = want[:len(want)-1]
			}
			require.Equal(t, want, got)
		})
	}
}

// promptDates plays a household under a daily check-in from noon of one date to
// noon of another and lists the dates whose prompt went out.
func promptDates(t *testing.T, zone *time.Location, cron, from, to string) []string {
	k := newTalk(t)
	k.rules.Zone, k.rules.Quiet = zone, cadence.Quiet{}
	k.rules.Cadences = care.Cadences{CheckIn: every(t, cron, 0), Digest: k.rules.Cadences.Digest}
	k.rules.Reminders = care.DefaultReminderRules()
	k.rules.Reminders.PerWeek = 7 // what is counted here is dates, not how many are too many
	k.dogs = []care.EnrolledDog{{Name: "Bramble"}}
	k.now = noon(t, zone, from)
	k.enrolled()
	k.do(care.Event{Practice: &care.Practice{By: "lee", Consent: &care.RecordConsent{State: care.Agreed, How: "in person"}}})
	k.facts, k.house.Opened = nil, nil
	k.moveTo(noon(t, zone, to))
	var dates []string
	for _, f := range k.facts {
		if f.Kind == care.FactPrompt && f.Code == "sent" {
			dates = append(dates, f.Text[strings.LastIndexByte(f.Text, '/')+1:])
		}
	}
	return dates
}

func noon(t *testing.T, zone *time.Location, date string) time.Time {
	at, err := time.ParseInLocation("2006-01-02 15:04", date+" 12:00", zone)
	require.NoError(t, err)
	return at
}

// beforeNoon reports whether a daily expression's time is in the morning: its
// first prompt after a noon is then the next date's.
func beforeNoon(cron string) bool {
	hour, err := strconv.Atoi(strings.Fields(cron)[1])
	return err == nil && hour < 12
}

// localDates are the dates between two noons, worked out by walking the clock
// minute by minute, without the cadence.
func localDates(t *testing.T, zone *time.Location, from, to string) []string {
	first, last := noon(t, zone, from), noon(t, zone, to)
	seen := map[string]bool{}
	var dates []string
	for at := first; at.Before(last); at = at.Add(time.Minute) {
		if d := at.In(zone).Format(time.DateOnly); !seen[d] {
			seen[d] = true
			dates = append(dates, d)
		}
	}
	return dates
}

func TestLateAndQuietPromptsAreSaid(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	k.rules.Cadences = care.Cadences{CheckIn: k.rules.Cadences.CheckIn, Digest: k.rules.Cadences.Digest}
	k.dogs = []care.EnrolledDog{{Name: "Bramble"}}
	k.enrolled()
	k.do(care.Event{Practice: &care.Practice{By: "lee", Consent: &care.RecordConsent{State: care.Agreed, How: "in person"}}})
	k.house.Contacts[0].Talk = care.Conversation{}
	k.sent = nil

	// The scheduler was down: an hour late is sent, a day late is not.
	k.now = time.Date(2026, 3, 10, 11, 0, 0, 0, k.rules.Zone)
	require.Equal(t, care.Prompted, k.do(care.Event{Tick: &care.Tick{}}).Reason)
	require.Len(t, k.sent, 1)
	k.house.Contacts[0].Talk = care.Conversation{}
	k.now = time.Date(2026, 3, 18, 9, 0, 0, 0, k.rules.Zone)
	require.Equal(t, care.SkippedLate, k.do(care.Event{Tick: &care.Tick{}}).Reason)
	require.Len(t, k.sent, 1)

	// A tick at night defers, whatever is due.
	for i := range k.house.Dogs[0].Due {
		k.house.Dogs[0].Due[i].At = time.Date(2026, 3, 24, 22, 0, 0, 0, k.rules.Zone).Unix()
	}
	k.now = time.Date(2026, 3, 24, 22, 0, 0, 0, k.rules.Zone)
	res := k.do(care.Event{Tick: &care.Tick{}})
	require.Equal(t, care.DeferredQuiet, res.Reason)
	require.Empty(t, res.Send)
	require.Equal(t, time.Date(2026, 3, 25, 8, 0, 0, 0, k.rules.Zone).Unix(), res.Next.Unix())
}

// Two replicas tick at once; the one whose commit comes second decides again on
// what the first has written, and sends nothing.
func TestASecondTickSendsNothing(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	k.dogs = []care.EnrolledDog{{Name: "Bramble"}, {Name: "Teazel"}}
	k.enrolled()
	k.do(care.Event{Practice: &care.Practice{By: "lee", Consent: &care.RecordConsent{State: care.Agreed, How: "in person"}}})
	k.house.Contacts[0].Talk = care.Conversation{}
	k.now = time.Date(2026, 3, 10, 10, 0, 0, 0, k.rules.Zone)
	require.Len(t, k.do(care.Event{Tick: &care.Tick{}}).Send, 1)
	again := k.do(care.Event{Tick: &care.Tick{}})
	require.Empty(t, again.Send)
	require.Equal(t, care.NothingDue, again.Reason)
}

func TestAnInvitationWaitsForTheMorning(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	k.now = time.Date(2026, 3, 2, 22, 30, 0, 0, k.rules.Zone)
	k.dogs = []care.EnrolledDog{{Name: "Bramble"}}
	k.enrolled()
	require.Empty(t, k.sent)
	require.Equal(t, time.Date(2026, 3, 3, 8, 0, 0, 0, k.rules.Zone).Unix(), k.next.Unix())
	k.moveTo(time.Date(2026, 3, 3, 8, 0, 0, 0, k.rules.Zone))
	require.Len(t, k.sent, 1)
	k.owner("yes")
	require.Equal(t, care.Agreed, k.house.Contacts[0].Consent.State)
}
