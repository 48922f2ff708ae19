package bot_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

func refusal(c bot.Class, code string) error { return &bot.SendError{Class: c, Code: code} }

func TestAMessageIsSentOnceAndTakenOut(t *testing.T) {
	p := newPost(t)
	p.outbox.put(message("0f-1-0", care.ForReply))
	require.Equal(t, 1, p.drain(t))
	require.Equal(t, []bot.Outgoing{{
		Ref: "0f-1-0", To: ruth, Text: "Text of 0f-1-0", Valid: 6*time.Hour - 10*time.Second, Since: noon,
	}}, p.sent)
	require.Equal(t, []string{"0f-1-0"}, p.outbox.done())
	require.Zero(t, p.looked, "a first delivery is not looked up")
	require.Empty(t, p.reports(), "the provider's own report tells")
	require.Equal(t, 1, p.count(t, "outgoing_total", "clinic", "harbour", "channel", "texts", "reason", "sent"))
	require.Zero(t, p.drain(t))
	p.quiet(t, "Text of", ruth.Value[1:])
}

// Where a provider reports nothing, the household is told that its message went,
// and the practitioner's line, which has no household, is not.
func TestWhereNoReportComesTheSenderSaysThatItWasSent(t *testing.T) {
	p := newPost(t)
	p.noReports = true
	p.outbox.put(message("0f-1-0", care.ForReply))
	require.Equal(t, 1, p.drain(t))
	require.Equal(t, []care.Report{{Message: "0f-1-0", Fate: care.SentOut}}, p.reports())
	require.Equal(t, []string{"0f-1-0"}, p.outbox.done())
}

// What a refusal means to the household and to the outbox.
func TestRefusalsForGood(t *testing.T) {
	for class, want := range map[bot.Class]care.Report{
		bot.Permanent: {Message: "0f-1-0", Fate: care.Failed, Code: "21617"},
		bot.OptedOut:  {Message: "0f-1-0", Fate: care.Failed, Code: "21617", OptedOut: true},
		bot.Dead:      {Message: "0f-1-0", Fate: care.Failed, Code: "21617", Dead: true},
	} {
		p := newPost(t)
		p.answers = []error{refusal(class, "21617")}
		p.outbox.put(message("0f-1-0", care.ForPrompt))
		p.drain(t)
		require.Equal(t, []care.Report{want}, p.reports())
		require.Equal(t, []string{"0f-1-0"}, p.outbox.done())
		require.Equal(t, 1, p.count(t, "outgoing_total", "reason", string(class)))
		require.Equal(t, 1, p.count(t, "provider_codes_total", "code", "21617"))
	}
}

func TestAFailureThatPassesIsTriedAgainLaterAndLater(t *testing.T) {
	p := newPost(t)
	for range 3 {
		p.answers = append(p.answers, refusal(bot.Retry, "20503"))
	}
	p.outbox.put(message("0f-1-0", care.ForReply))
	var waits []time.Duration
	for range 3 {
		p.drain(t)
		w := p.outbox.later["0f-1-0"]
		waits = append(waits, w.at.Sub(p.now))
		p.now = w.at
	}
	require.Equal(t, []time.Duration{2 * time.Second, 4 * time.Second, 8 * time.Second}, waits)
	p.drain(t)
	require.Equal(t, []string{"0f-1-0"}, p.outbox.done())
	require.Len(t, p.sent, 4)
	require.Equal(t, 3, p.looked, "each later try is looked up first")
	require.Empty(t, p.reports())
}

func TestAfterTheLastTryItIsKeptForPeople(t *testing.T) {
	for _, class := range []bot.Class{bot.Retry, bot.UnknownResult} {
		p := newPost(t)
		for range 30 {
			p.answers = append(p.answers, refusal(class, ""))
		}
		e := message("0f-1-0", care.ForSafety)
		e.Message.NotAfter = noon.Add(48 * time.Hour)
		p.outbox.put(e)
		for range 40 {
			p.drain(t)
			p.now = p.now.Add(10 * time.Minute)
		}
		require.Len(t, p.sent, 10, class)
		require.NotEmpty(t, p.outbox.aside["0f-1-0"])
		require.Equal(t, []care.Report{{Message: "0f-1-0", Fate: care.Failed, Code: "gave-up"}}, p.reports())
		require.Empty(t, p.outbox.done())
	}
}

// 429 was never looked at (Twilio's error 20429): it costs no try, and what
// was not tried need not be looked up. So with an account at fault, until
// somebody mends it.
func TestWhatWasNotLookedAtIsNoTry(t *testing.T) {
	for _, class := range []bot.Class{bot.Throttled, bot.Misconfigured} {
		p := newPost(t)
		for range 50 {
			p.answers = append(p.answers, refusal(class, ""))
		}
		p.outbox.put(message("0f-1-0", care.ForReply))
		for range 51 {
			p.drain(t)
			p.now = p.now.Add(2 * time.Minute)
		}
		require.Equal(t, []string{"0f-1-0"}, p.outbox.done(), class)
		require.Len(t, p.sent, 51)
		require.Zero(t, p.looked)
		require.Empty(t, p.reports())
	}
}

func TestTheProvidersOwnWaitIsKept(t *testing.T) {
	p := newPost(t)
	p.answers = []error{&bot.SendError{Class: bot.Throttled, RetryAfter: 90 * time.Second}}
	p.outbox.put(message("0f-1-0", care.ForReply))
	p.drain(t)
	require.Equal(t, noon.Add(90*time.Second), p.outbox.later["0f-1-0"].at)
}

// Where nobody knows whether a message went out, the provider is asked.
func TestUnknownOutcomes(t *testing.T) {
	away := errors.New("the provider is away")
	for name, c := range map[string]struct {
		purpose care.Purpose
		has     []any
		sent    int
		reports []care.Report
	}{
		"it has it":                   {care.ForReply, []any{bot.Present}, 1, nil},
		"it has it not":               {care.ForReply, []any{bot.Absent}, 2, nil},
		"it answers later":            {care.ForReply, []any{away, away, bot.Present}, 1, nil},
		"it can't tell":               {care.ForReply, []any{away, away, away, away, away}, 1, []care.Report{{Message: "0f-1-0", Fate: care.Unknown}}},
		"it can't tell, safety":       {care.ForSafety, []any{away}, 2, nil},
		"it can't tell, opt-out":      {care.ForOptOut, []any{away, away, away, away, away}, 1, []care.Report{{Message: "0f-1-0", Fate: care.Unknown}}},
		"it says so without an error": {care.ForPrompt, []any{bot.CantTell, bot.CantTell, bot.CantTell, bot.CantTell, bot.CantTell}, 1, []care.Report{{Message: "0f-1-0", Fate: care.Unknown}}},
	} {
		t.Run(name, func(t *testing.T) {
			p := newPost(t)
			p.answers, p.has = []error{refusal(bot.UnknownResult, "")}, c.has
			p.outbox.put(message("0f-1-0", c.purpose))
			for range 8 {
				p.drain(t)
				p.now = p.now.Add(time.Minute)
			}
			require.Len(t, p.sent, c.sent)
			require.Equal(t, []string{"0f-1-0"}, p.outbox.done())
			require.Equal(t, c.reports, p.reports())
		})
	}
}

// A sender that dies between sending and taking out leaves an entry behind; the
// next one looks it up.
func TestWhatADeadSenderLeftIsLookedUpFirst(t *testing.T) {
	for _, has := range []bot.Presence{bot.Present, bot.Absent} {
		p := newPost(t)
		p.outbox.put(message("0f-1-0", care.ForReply))
		p.outbox.fail = fmt.Errorf("%w: gone", store.ErrUnavailable)
		p.drain(t)
		require.Len(t, p.sent, 1)
		require.Empty(t, p.outbox.done())
		require.Equal(t, 1, p.count(t, "outgoing_total", "reason", "left-for-later"))
		p.outbox.fail = nil
		p.outbox.crash()
		p.has = []any{has}
		p.drain(t)
		require.Equal(t, 1, p.looked)
		require.Len(t, p.sent, map[bot.Presence]int{bot.Present: 1, bot.Absent: 2}[has])
		require.Equal(t, []string{"0f-1-0"}, p.outbox.done())
	}
}

// A household is told before the entry goes: a crash between repeats both, and
// the event's key lets it happen once.
func TestAHouseholdIsToldBeforeTheEntryGoes(t *testing.T) {
	p := newPost(t)
	p.answers = []error{refusal(bot.Dead, "21211"), refusal(bot.Dead, "21211")}
	p.turns.fail = func() error { return store.ErrUnavailable }
	p.outbox.put(message("0f-1-0", care.ForReply))
	p.drain(t)
	require.Empty(t, p.outbox.done())
	p.turns.fail = nil
	p.outbox.crash()
	p.drain(t)
	require.Equal(t, []care.Report{{Message: "0f-1-0", Fate: care.Failed, Code: "21211", Dead: true}}, p.reports())
	require.Equal(t, []string{"0f-1-0"}, p.outbox.done())
}

func TestALateMessageIsDroppedAndSaidSo(t *testing.T) {
	p := newPost(t)
	e := message("0f-1-0", care.ForOptOut)
	e.Message.NotAfter = noon.Add(5 * time.Minute)
	p.outbox.put(e)
	p.now = noon.Add(5 * time.Minute)
	p.drain(t)
	require.Empty(t, p.sent)
	require.Equal(t, []care.Report{{Message: "0f-1-0", Fate: care.Failed, Code: "late"}}, p.reports())
	require.Equal(t, []string{"0f-1-0"}, p.outbox.done())
}

func TestALateMessageThatMayHaveGoneIsLookedUpFirst(t *testing.T) {
	p := newPost(t)
	e := message("0f-1-0", care.ForOptOut)
	e.Message.NotAfter, e.Deliveries = noon, 1
	p.has = []any{bot.Present}
	p.outbox.put(e)
	p.drain(t)
	require.Empty(t, p.reports())
	require.Equal(t, []string{"0f-1-0"}, p.outbox.done())
}

// However late it is handed over, the request and what the provider may hold it
// for end before the message has lost its sense.
func TestAMessageNeverRunsPastItsEnd(t *testing.T) {
	for left, want := range map[time.Duration]time.Duration{
		24 * time.Hour:          24*time.Hour - 10*time.Second,
		60 * time.Second:        50 * time.Second,
		12 * time.Second:        6 * time.Second,
		3 * time.Second:         time.Second,
		1900 * time.Millisecond: 0, // dropped
	} {
		p := newPost(t)
		e := message("0f-1-0", care.ForPrompt)
		e.Message.NotAfter = noon.Add(left)
		p.outbox.put(e)
		p.drain(t)
		if want == 0 {
			require.Empty(t, p.sent)
			require.Len(t, p.reports(), 1)
			continue
		}
		require.Equal(t, want, p.sent[0].Valid, left)
	}
}

func TestMessagesToStaffBelongToNoHousehold(t *testing.T) {
	p := newPost(t)
	p.answers = []error{refusal(bot.Dead, "30005")}
	e := message("line-harbour-lee-1-0", care.ForStaff)
	e.FromLine, e.Household, e.Practitioner, e.Message.To = true, "", "lee", lee
	p.outbox.put(e)
	p.drain(t)
	require.Equal(t, []string{"~line-harbour-lee-1-0"}, p.refs())
	require.Empty(t, p.turns.events())
	require.Equal(t, []string{"line-harbour-lee-1-0"}, p.outbox.done())
	require.Contains(t, p.lines.String(), "a message to a practitioner did not go out")
}

func TestMessagesWithoutAWayOut(t *testing.T) {
	p := newPost(t)
	renamed, gone, other, empty := message("a-1", care.ForReply), message("a-2", care.ForReply), message("a-3", care.ForReply), message("", 0)
	renamed.Message.Via = "the old name"
	gone.Clinic = "riverside"
	other.Message.To.Channel = "pigeon"
	empty.Message = nil
	p.outbox.put(renamed, gone, other, empty)
	p.drain(t)
	require.Equal(t, []string{"a-1"}, p.outbox.done(), "another channel of its kind serves")
	require.Len(t, p.outbox.aside, 3)
	require.Equal(t, []care.Report{{Message: "a-3", Fate: care.Failed, Code: "no-channel"}}, p.reports())
}

func TestAPanicLeavesTheEntryForLater(t *testing.T) {
	p := newPost(t)
	p.during = func(bot.Outgoing) { panic("MARKED words") }
	p.outbox.put(message("0f-1-0", care.ForReply))
	p.drain(t)
	require.Empty(t, p.outbox.done())
	require.Len(t, p.outbox.held, 1)
	p.quiet(t, "MARKED", "Text of")
}

func TestDrainPutsOffWhatHasToWaitForItsNumber(t *testing.T) {
	p := newPost(t)
	p.bucket.wait = 1500 * time.Millisecond
	p.outbox.put(message("a", care.ForPrompt), message("bb", care.ForReply), message("ccc", care.ForSafety))
	p.drain(t)
	require.Equal(t, []string{"ccc"}, p.refs(), "safety goes first")
	require.Equal(t, noon.Add(2*time.Second), p.outbox.later["a"].at, "whole seconds, never early")
	for range 3 {
		p.now = p.now.Add(2 * time.Second)
		p.drain(t)
	}
	require.ElementsMatch(t, []string{"ccc", "bb", "a"}, p.outbox.done())
	require.Zero(t, p.looked, "waiting is no try")
}

func TestWithoutTokensNothingIsSent(t *testing.T) {
	p := newPost(t)
	p.bucket.fail = store.ErrUnavailable
	p.outbox.put(message("0f-1-0", care.ForSafety))
	p.drain(t)
	require.Empty(t, p.sent)
	require.Len(t, p.outbox.held, 1, "it comes back")
}

// running runs a sender on the clock of a synctest bubble: sleeping there moves
// the clock and takes no time.
func running(t *testing.T, f func(p *post, stop func())) {
	synctest.Test(t, func(t *testing.T) {
		p := newPost(t)
		begin := time.Now()
		p.sender = p.open(t, func() time.Time { return noon.Add(time.Since(begin)) })
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() { p.sender.Run(ctx); close(ended) }()
		stop := func() { cancel(); <-ended }
		defer stop()
		f(p, stop)
	})
}

func TestASafetyMessageOvertakesThePromptsOfItsNumber(t *testing.T) {
	running(t, func(p *post, _ func()) {
		p.bucket.wait = 100 * time.Millisecond // 10 a second, as the outlet's rate
		for i := range 100 {
			e := message(fmt.Sprintf("p%03d", i), care.ForPrompt)
			e.Message.To = phone(fmt.Sprintf("+4477009001%02d", i))
			p.outbox.put(e)
		}
		simulated(time.Second)
		p.outbox.put(message("safety", care.ForSafety))
		at := len(p.refs())
		simulated(250 * time.Millisecond)
		require.Contains(t, p.refs()[at:], "safety", "among the next three, of a hundred")
		simulated(30 * time.Second)
		require.Len(t, p.outbox.done(), 101)
		require.Len(t, p.refs(), 101, "each once")
		require.Zero(t, p.looked)
	})
}

func TestMoreThanANumberManagesGoesBackAndComesInTurn(t *testing.T) {
	running(t, func(p *post, _ func()) {
		p.bucket.wait = 100 * time.Millisecond
		const n = 1000 // 100 seconds' worth
		for i := range n {
			e := message(fmt.Sprintf("p%04d", i), care.ForPrompt)
			e.Message.To = phone(fmt.Sprintf("+44770090%04d", i))
			p.outbox.put(e)
		}
		simulated(10 * time.Second)
		require.NotZero(t, p.outbox.putOff(), "they do not all wait in this process")
		simulated(3 * time.Minute)
		require.Len(t, p.outbox.done(), n)
		require.Len(t, p.refs(), n, "each once")
	})
}

func TestMessagesToOnePersonGoInOrder(t *testing.T) {
	running(t, func(p *post, _ func()) {
		p.during = func(bot.Outgoing) { simulated(time.Second) }
		var want []string
		for i := range 20 {
			id := fmt.Sprintf("m%02d", i)
			want = append(want, id)
			p.outbox.put(message(id, care.ForReply))
		}
		simulated(25 * time.Second)
		require.Equal(t, want, p.refs())
	})
}

func TestStoppingFinishesWhatIsUnderWayAndPutsTheRestBack(t *testing.T) {
	running(t, func(p *post, stop func()) {
		p.during = func(bot.Outgoing) { simulated(3 * time.Second) }
		for i := range 5 {
			p.outbox.put(message(fmt.Sprintf("m%d", i), care.ForReply))
		}
		simulated(time.Second)
		stop()
		require.Equal(t, []string{"m0"}, p.outbox.done(), "the request under way was not cut short")
		require.Len(t, p.outbox.later, 4)
		for _, w := range p.outbox.later {
			require.Zero(t, w.Deliveries, "the next sender need not look them up")
		}
		require.Empty(t, p.outbox.held)
	})
}

func TestRunTriesAgainByItself(t *testing.T) {
	running(t, func(p *post, _ func()) {
		p.answers = []error{refusal(bot.Retry, ""), refusal(bot.UnknownResult, ""), refusal(bot.Throttled, "20429")}
		p.outbox.put(message("0f-1-0", care.ForReply))
		simulated(time.Minute)
		require.Equal(t, []string{"0f-1-0"}, p.outbox.done())
		require.Len(t, p.refs(), 4)
	})
}

// simulated lets the bubble's own clock move on; nobody waits for it.
func simulated(d time.Duration) { <-time.After(d) }
