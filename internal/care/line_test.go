package care_test

import (
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

func item(n uint16, dog string, u care.Urgency) care.Item {
	return care.Item{Household: "h1", Alert: n, Reason: care.Rise, Urgency: u, Dog: dog, Owner: "Ruth",
		Phone: "+447700900101", Sentence: "index 62.5, mean of last two 60.2, 22.1 above usual 38.1", At: monday.Unix()}
}

// line is one practitioner's line under test.
type line struct {
	t     *testing.T
	rules *care.Rules
	l     care.Line
	n     int
	later time.Duration // than monday
}

func newLine(t *testing.T, who string) *line {
	return &line{t: t, rules: testRules(t), l: care.Line{Clinic: "hill", Practitioner: who}}
}

func (k *line) do(e care.LineEvent) care.LineResult {
	k.n++
	e.At = monday.Add(k.later)
	if e.Key == "" {
		e.Key = fmt.Sprint("e", k.n)
	}
	res := care.LineTurn(k.rules, k.l, e)
	k.l = res.Line
	return res
}

func (k *line) notice(it care.Item) care.LineResult {
	return k.do(care.LineEvent{Notice: &care.Notice{To: k.l.Practitioner, What: care.NoticeNew, Item: it}})
}

func (k *line) text(s string, open ...care.Item) care.LineResult {
	return k.do(care.LineEvent{Text: &care.LineText{From: leeAddress, Text: s, Open: open}})
}

func TestAnAlertIsOneReadableText(t *testing.T) {
	t.Parallel()
	k := newLine(t, "lee")
	res := k.notice(item(1, "Bramble", care.Today))
	require.Len(t, res.Send, 1)
	text := res.Send[0].Text
	require.Equal(t, "TODAY: Bramble (Ruth, +447700900101), rise: index 62.5, mean of last two 60.2, 22.1 above usual 38.1. Reply 1 OK to take it on.", text)
	require.Equal(t, leeAddress, res.Send[0].To)

	long := item(2, "Bramble", care.Now)
	long.Sentence = strings.Repeat("black tarry stool ", 40)
	text = k.notice(long).Send[0].Text
	require.LessOrEqual(t, utf8.RuneCountInString(text), 306, "two segments")
	require.True(t, strings.HasSuffix(text, "Reply 2 OK to take it on."))
}

func TestMinimalDetailNamesNobody(t *testing.T) {
	t.Parallel()
	k := newLine(t, "oka")
	text := k.notice(item(1, "Bramble", care.Now)).Send[0].Text
	require.Equal(t, "NOW: alert 1. Reply 1 OK to take it on.", text)
	text = k.text("1 ok").Send[0].Text
	require.NotContains(t, text, "Bramble")
}

func TestAnAlertKeepsItsNumber(t *testing.T) {
	t.Parallel()
	k := newLine(t, "lee")
	k.notice(item(1, "Bramble", care.Now))
	k.notice(item(2, "Teazel", care.Now))
	res := k.notice(item(1, "Bramble", care.Now))
	require.Contains(t, res.Send[0].Text, "Reply 1 OK")
}

func TestPractitionerActsByText(t *testing.T) {
	t.Parallel()
	ack := func(p *care.Practice) any { return p.Ack }
	closed := func(p *care.Practice) any { return p.Close }
	quiet := func(p *care.Practice) any { return p.Quiet }
	cases := []struct {
		text string
		get  func(*care.Practice) any
		want any
	}{
		{"1 OK ringing them now", ack, &care.AlertAction{Alert: 1, Note: "ringing them now"}},
		{"ok", ack, &care.AlertAction{Alert: 1}},
		{"OK will do", ack, &care.AlertAction{Alert: 1, Note: "will do"}},
		{"1 close phoned stiff after a long walk", closed, &care.AlertAction{Alert: 1, Outcome: care.Phoned, Note: "stiff after a long walk"}},
		{"1 CLOSE sent to emergency care", closed, &care.AlertAction{Alert: 1, Outcome: care.SentToEmergency}},
		{"1 close reaction", closed, &care.AlertAction{Alert: 1, Outcome: care.SuspectedReaction}},
		{"1 close no action needed", closed, &care.AlertAction{Alert: 1, Outcome: care.NoAction}},
		{"1 noreply", closed, &care.AlertAction{Alert: 1, Outcome: care.CouldNotReach}},
		{"1 quiet 14", quiet, &care.QuietDog{Dog: 0, Until: monday.AddDate(0, 0, 14).Unix()}},
		{"1 quiet 14 days", quiet, &care.QuietDog{Dog: 0, Until: monday.AddDate(0, 0, 14).Unix()}},
	}
	for _, c := range cases {
		t.Run(c.text, func(t *testing.T) {
			t.Parallel()
			k := newLine(t, "lee")
			k.notice(item(1, "Bramble", care.Today))
			res := k.confirmed(c.text)
			require.Equal(t, care.LineActed, res.Reason)
			require.Len(t, res.Commands, 1)
			require.Equal(t, "lee", res.Commands[0].Event.Practice.By)
			require.Equal(t, c.want, c.get(res.Commands[0].Event.Practice))
			require.NotEmpty(t, res.Commands[0].Event.Key)
		})
	}
}

func TestWhatIsNotUnderstoodDoesNothing(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"", "hello", "7 ok", "1 frobnicate", "1 close", "1 close somehow", "1 quiet", "1 quiet 0", "1 quiet 400", "\U0001F44D", "1 quiet -3"} {
		k := newLine(t, "lee")
		k.notice(item(1, "Bramble", care.Today))
		res := k.text(text)
		require.Empty(t, res.Commands, text)
		require.Equal(t, care.LineUnclear, res.Reason, text)
		require.Len(t, res.Send, 1, text)
	}
}

func TestListShowsTheMostUrgentFirstAndTheRestOnMore(t *testing.T) {
	t.Parallel()
	k := newLine(t, "lee")
	var open []care.Item
	for i := range 20 {
		open = append(open, item(uint16(i+1), fmt.Sprintf("Dog%02d", i+1), care.Today))
	}
	res := k.text("LIST", open...)
	require.Equal(t, care.LineListed, res.Reason)
	require.Len(t, res.Send, 3)
	seen := ""
	for range 10 {
		for _, m := range res.Send {
			require.LessOrEqual(t, utf8.RuneCountInString(m.Text), 306)
			seen += m.Text + "\n"
		}
		if res = k.text("more"); res.Reason == care.LineEmpty {
			break
		}
	}
	for i := range 20 {
		require.Equal(t, 1, strings.Count(seen, fmt.Sprintf("Dog%02d", i+1)), seen)
	}
	require.Less(t, strings.Index(seen, "Dog01"), strings.Index(seen, "Dog20"))
	require.True(t, care.LineNeedsOpen("list "))
	require.False(t, care.LineNeedsOpen("1 ok"))
}

func TestDigestSaysWhatIsNewOnce(t *testing.T) {
	t.Parallel()
	k := newLine(t, "lee")
	require.Equal(t, care.LineEmpty, k.do(care.LineEvent{Digest: &care.Digest{Slot: "a"}}).Reason)
	it := item(1, "Bramble", care.ForDigest)
	it.At = monday.Unix() + 1
	res := k.do(care.LineEvent{Digest: &care.Digest{Slot: "b", Open: []care.Item{it}}})
	require.Contains(t, res.Send[0].Text, "1 new alert")
	require.Contains(t, res.Send[0].Text, "1 digest Bramble, rise:")
	k.l.LastDigest = monday.Add(time.Hour).Unix()
	res = k.do(care.LineEvent{Digest: &care.Digest{Slot: "c", Open: []care.Item{it}}})
	require.Contains(t, res.Send[0].Text, "nothing new, 1 alert still open")
}

func TestALineEventHappensOnce(t *testing.T) {
	t.Parallel()
	k := newLine(t, "lee")
	k.notice(item(1, "Bramble", care.Today))
	e := care.LineEvent{Key: "sms/SM1", Text: &care.LineText{Text: "1 ok"}}
	require.Len(t, k.do(e).Commands, 1)
	again := k.do(e)
	require.Equal(t, care.Repeated, again.Reason)
	require.Empty(t, again.Commands)
	require.Empty(t, again.Send)
}

func TestTheLastResortIsTexted(t *testing.T) {
	t.Parallel()
	k := newLine(t, "")
	res := k.notice(item(1, "Bramble", care.Now))
	require.Equal(t, lastAddress, res.Send[0].To)
}

func TestARefusedCommandIsExplained(t *testing.T) {
	t.Parallel()
	k := newLine(t, "lee")
	k.notice(item(1, "Bramble", care.Today))
	res := k.do(care.LineEvent{Refused: &care.Refused{Household: "h1", Alert: 1, Sentence: "This alert holds a medicine (carprofen)."}})
	require.Equal(t, "1 Bramble, not done: This alert holds a medicine (carprofen).", res.Send[0].Text)
}
