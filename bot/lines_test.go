package bot_test

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

// desk is the line loops with all that belongs to them.
type desk struct {
	gauges
	outbox *outbox
	turns  *turns
	lines  *bot.Lines
	now    time.Time
}

func newDesk(t testing.TB) *desk {
	d := &desk{gauges: newGauges(t), outbox: newOutbox(), turns: &turns{}, now: noon}
	var err error
	d.lines, err = bot.NewLines(bot.LinesOptions{
		Consumer: "one", Directory: directory(t, &provider{}), Outbox: d.outbox, Spans: [][]int{{0}},
		Turns: d.turns, Metrics: d.metrics, Log: d.log, Now: func() time.Time { return d.now },
	})
	require.NoError(t, err)
	return d
}

func (d *desk) drain(t testing.TB) {
	_, err := d.lines.Drain(t.Context())
	require.NoError(t, err)
}

func notice(key, to string) store.Entry {
	return store.Entry{Queue: store.Notices, Clinic: "harbour", Notice: &care.Notice{
		Key: key, To: to, At: noon, What: care.NoticeNew, Item: care.Item{Household: "0f", Alert: 1, Sentence: "MARKED words."},
	}}
}

func command(key string) store.Entry {
	return store.Entry{Queue: store.Commands, Clinic: "harbour", FromLine: true, Command: &care.Command{
		Household: "0f", Event: care.Event{Key: key, At: noon, Practice: &care.Practice{By: "lee", Ack: &care.AlertAction{Alert: 1, Note: "MARKED"}}},
	}}
}

func TestNoticesReachTheirLines(t *testing.T) {
	d := newDesk(t)
	d.outbox.put(notice("n1", "lee"), notice("n2", ""), notice("n1", "lee"))
	d.drain(t)
	got := d.turns.events()
	require.Len(t, got, 2, "a notice happens once")
	require.Equal(t, "lee", got[0].line)
	require.Equal(t, "n1", got[0].said.Key)
	require.Equal(t, "MARKED words.", got[0].said.Notice.Item.Sentence)
	require.Equal(t, "", got[1].line, "the last resort has a line too")
	require.Equal(t, []string{"n1", "n2", "n1"}, d.outbox.done())
	d.quiet(t, "MARKED")
}

func TestCommandsReachTheirHouseholds(t *testing.T) {
	d := newDesk(t)
	d.outbox.put(command("c1"), command("c1"))
	d.drain(t)
	got := d.turns.events()
	require.Len(t, got, 1)
	require.EqualValues(t, "0f", got[0].id)
	require.Equal(t, "lee", got[0].event.Practice.By)
	require.Equal(t, []string{"c1", "c1"}, d.outbox.done())
	require.Equal(t, 1, d.count(t, "line_events_total", "channel", "house", "reason", "repeated"))
	d.quiet(t, "MARKED")
}

func TestWhatALineCantDo(t *testing.T) {
	for name, c := range map[string]struct {
		entry   store.Entry
		fail    error
		deliver int
		reason  string
		aside   bool
		later   bool
		held    bool
	}{
		"no such clinic":      {entry: func() store.Entry { e := notice("x", "lee"); e.Clinic = "riverside"; return e }(), reason: "no-clinic", aside: true},
		"neither one":         {entry: store.Entry{Queue: store.Notices, Clinic: "harbour"}, reason: "damaged", aside: true},
		"household gone":      {entry: command("x"), fail: fmt.Errorf("loading: %w", store.ErrNotFound), reason: "no-household", aside: true},
		"store away":          {entry: command("x"), fail: fmt.Errorf("loading: %w", store.ErrUnavailable), reason: "left-for-later", held: true},
		"damaged":             {entry: notice("x", "lee"), fail: store.ErrDamaged, reason: "again-later", later: true},
		"damaged to the last": {entry: notice("x", "lee"), fail: errors.New("MARKED"), deliver: 10, reason: "gave-up", aside: true},
	} {
		t.Run(name, func(t *testing.T) {
			d := newDesk(t)
			d.turns.fail = func() error { return c.fail }
			c.entry.Deliveries = c.deliver
			d.outbox.put(c.entry)
			d.drain(t)
			require.Equal(t, 1, d.count(t, "line_events_total", "reason", c.reason))
			require.Equal(t, c.aside, len(d.outbox.aside) == 1)
			require.Equal(t, c.later, len(d.outbox.later) == 1)
			require.Equal(t, c.held, len(d.outbox.held) == 1)
			require.Empty(t, d.outbox.done())
		})
	}
}

func TestAPanicOfALineLeavesTheEntry(t *testing.T) {
	d := newDesk(t)
	d.turns.fail = func() error { panic("MARKED") }
	d.outbox.put(command("x"))
	d.drain(t)
	require.Len(t, d.outbox.held, 1)
	d.quiet(t, "MARKED")
}
