package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
	"gaitpost/internal/store/redistest"
)

// A sender dies with messages under way, and the provider can't say which of
// them it has. What is about safety is sent again, no more than was under way,
// and each of those is counted; the rest is not sent twice.
func TestASenderDiesBetweenSendingAndRecording(t *testing.T) {
	t.Parallel()
	r := newRig(t, redistest.Start(t).URL())
	ctx := t.Context()
	const owners = 12
	for range owners {
		number, err := r.enrol(ctx, nil)
		require.NoError(t, err)
		a := contact.Address{Channel: contact.SMS, Value: number}
		_, err = r.store.Do(ctx, r.rules, r.store.ID("hillside", a), care.Event{
			Key: "says/" + number, At: r.now(), Message: &care.MessageIn{From: a, Via: "texts", ID: "SM" + number, Text: emergency},
		})
		require.NoError(t, err)
	}
	r.provider.Inject(smsprovider.Fault{Kind: smsprovider.ListFails, Times: 1 << 20})
	p := r.part("sender", "out/send after@8")
	r.seen(p, p.standing, "a message sent and not recorded")
	p.kill()
	under, err := r.store.Backlog(ctx, store.Messages(contact.SMS))
	require.NoError(t, err)
	require.Positive(t, under.Pending)

	died := time.Now()
	p = r.part("sender", "", "--takeover-after", takeover.String())
	r.eventually("another sender takes over", func() bool {
		b, err := r.store.Backlog(ctx, store.Messages(contact.SMS))
		return err == nil && b.Pending+b.Waiting == 0
	})
	require.Less(t, time.Since(died), time.Minute)
	r.settled()

	twice := 0
	texts := map[string]int{}
	for _, m := range r.provider.Sent() {
		if k := m.To + m.Body; m.To != drLee {
			if texts[k]++; texts[k] > 1 {
				twice++
				require.Contains(t, m.Body, "01632 960999", "only what is about safety")
			}
		}
	}
	again := r.sum(p, "resent_unknown_total")
	require.LessOrEqual(t, twice, under.Pending)
	require.GreaterOrEqual(t, again, float64(twice), "each is counted")
	require.Positive(t, again)
	for number, n := range r.received() {
		require.GreaterOrEqual(t, n, 1, number)
	}
	t.Logf("%d under way, %d twice, %.0f counted, taken over after %s", under.Pending, twice, again, time.Since(died).Round(time.Second))
}

// A message that fails for ever is set aside after its last try, with the
// reason, and holds up nobody; a crash on the way changes nothing.
func TestAMessageThatFailsForEverIsSetAside(t *testing.T) {
	t.Parallel()
	r := newRig(t, redistest.Start(t).URL())
	poisoned, err := r.enrol(t.Context(), func(number string) {
		r.provider.Inject(smsprovider.Fault{Kind: smsprovider.Answer503, Times: 1 << 20, To: number})
	})
	require.NoError(t, err)
	flags := []string{"--send-tries", "3", "--takeover-after", takeover.String()}
	p := r.part("sender", "out/aside before@1", flags...)
	r.eventually("the first try fails", func() bool {
		b, err := r.store.Backlog(t.Context(), store.Messages(contact.SMS))
		return err == nil && b.Retrying == 1
	})
	for range 20 {
		_, err := r.enrol(t.Context(), nil)
		require.NoError(t, err)
	}
	r.eventually("the others are not held up", func() bool { return len(r.received()) == 20 })
	r.seen(p, p.standing, "the last try")
	p.kill()
	r.part("sender", "", flags...)
	r.eventually("it is set aside", func() bool {
		b, err := r.store.Backlog(t.Context(), store.Messages(contact.SMS))
		return err == nil && b == store.Backlog{Aside: 1}
	})
	list, err := r.store.SetAsides(t.Context(), store.Messages(contact.SMS), 10)
	require.NoError(t, err)
	require.Len(t, list, 1)
	require.Equal(t, poisoned, list[0].Message.To.Value)
	require.NotEmpty(t, list[0].Why)
	require.Len(t, r.received(), 20)
}

// Two schedulers and two senders side by side, one of each kind of crash among
// them, and everybody is written to once.
func TestTwoSchedulersAndTwoSenders(t *testing.T) {
	t.Parallel()
	r := newRig(t, redistest.Start(t).URL())
	r.enrolAtNight(dueHouseholds)
	clock := func(after time.Duration) { r.environ["GAITPOST_TEST_CLOCK"] = (r.shift + after).String() }
	// Two live senders need it well above any pause of a busy machine.
	senders := []string{"--takeover-after", "15s"}
	r.part("sender", "", senders...)
	dying := r.part("sender", "out/send after@9", senders...)
	for i, point := range []string{"due/claim after@1", "due/commit before@1", "due/commit after@1"} {
		clock(time.Duration(i-3) * leased) // what the one before had claimed is free again
		p := r.part("scheduler", point)
		r.seen(p, p.standing, point)
		p.kill()
	}
	r.seen(dying, dying.standing, "a message sent and not recorded")
	dying.kill()
	clock(0)
	r.part("scheduler", "")
	r.part("scheduler", "")
	r.part("sender", "", senders...)
	require.Eventually(t, func() bool { return len(r.received()) == dueHouseholds },
		patience+dueHouseholds*15*time.Millisecond, 100*time.Millisecond, "everybody is written to")
	require.Zero(t, r.settled())
	for number, n := range r.received() {
		require.Equal(t, 1, n, number)
	}
	require.Empty(t, r.provider.Problems())
}

// leased is longer than a scheduler's claim holds.
const leased = 2 * time.Minute

// enrolAtNight enrols households whose invitation waits for the morning.
func (r *rig) enrolAtNight(n int) {
	r.t.Helper()
	night := r.now().Add(-9 * time.Hour)
	for from := 0; from < n; from += 500 {
		var jobs []store.Job
		for range min(500, n-from) {
			a := contact.Address{Channel: contact.SMS, Value: r.number()}
			id := r.store.ID("hillside", a)
			jobs = append(jobs, store.Job{Rules: r.rules, ID: id, Event: care.Event{
				Key: "enrol/" + a.Value, At: night, Practice: &care.Practice{By: "lee", Enrol: &care.Enrolment{
					Owner: care.Owner{Name: "Ruth", Address: a, ID: id, Via: "texts"},
					Dogs:  []care.EnrolledDog{{Name: "Bramble"}}, Invite: true,
				}},
			}})
		}
		for _, done := range r.store.DoAll(r.t.Context(), jobs) {
			require.NoError(r.t, done.Err)
		}
	}
	lag, err := r.store.DueLag(r.t.Context(), r.now())
	require.NoError(r.t, err)
	require.Equal(r.t, n, lag.Overdue, "all fell due in the morning")
}
