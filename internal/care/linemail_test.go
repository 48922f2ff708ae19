package care_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

var (
	leeMail = contact.Address{Channel: contact.Email, Value: "lee@hill.example"}
	leeCall = contact.Address{Channel: contact.Voice, Value: "+441632960144"}
)

// mailed is a practitioner's line with a mailbox and a telephone that rings.
func mailed(t *testing.T) *line {
	k := newLine(t, "lee")
	k.rules.Channels = append(k.rules.Channels, care.Channel{Name: "mail", Kind: contact.Email}, care.Channel{Name: "calls", Kind: contact.Voice})
	for i := range k.rules.Practitioners {
		if p := &k.rules.Practitioners[i]; p.ID == "lee" {
			p.Contacts = append([]contact.Address{leeMail}, append(p.Contacts[:len(p.Contacts):len(p.Contacts)], leeCall)...)
		}
	}
	return k
}

func (k *line) digest(open ...care.Item) care.LineResult {
	return k.do(care.LineEvent{Digest: &care.Digest{Open: open}})
}

func TestTheDigestGoesByMailWhereThereIsAMailbox(t *testing.T) {
	t.Parallel()
	k := mailed(t)
	var items []care.Item
	for n := range 12 {
		it := item(uint16(n+1), "Bramble", care.ForDigest)
		it.At = monday.Unix()
		items = append(items, it)
	}
	res := k.digest(items...)
	require.Len(t, res.Send, 1, "no text beside it")
	m := res.Send[0]
	require.Equal(t, leeMail, m.To)
	require.Len(t, m.Mail.Lines, 12, "a mail has room for all")
	require.True(t, m.Mail.Digest)
	require.Equal(t, items[0].Household, m.Mail.Lines[0].Household, "a course that rises has its picture")
	require.Contains(t, m.Text, "12 ")

	res = k.text(" 3 OK ringing")
	require.Equal(t, leeAddress, res.Send[0].To, "the numbers of the mail work by text")
	require.Len(t, res.Commands, 1)

	require.Equal(t, care.LineActed, k.text("mail off").Reason)
	res = k.digest(items...)
	require.NotEqual(t, leeMail, res.Send[0].To)
	require.Empty(t, k.text("MAIL OFF").Send, "a second time says nothing: a mail program may ask twice")
	k.text("MAIL ON")
	require.Equal(t, leeMail, k.digest(items...).Send[0].To)
	require.Equal(t, care.LineUnclear, k.text("MAIL").Reason)
}

func TestAnAlertGoesByTextAndByMail(t *testing.T) {
	t.Parallel()
	k := mailed(t)
	res := k.notice(item(1, "Bramble", care.Today))
	require.Len(t, res.Send, 2)
	require.Equal(t, leeAddress, res.Send[0].To)
	require.Equal(t, leeMail, res.Send[1].To)
	require.Equal(t, "TODAY: Bramble, rise", res.Send[1].Mail.Subject)
	require.False(t, res.Send[1].Mail.Digest)

	for i := range k.rules.Practitioners {
		k.rules.Practitioners[i].Minimal = true
	}
	res = k.notice(item(2, "Bramble", care.Today))
	require.Equal(t, "TODAY: alert 2", res.Send[1].Mail.Subject)
	require.NotContains(t, res.Send[1].Text+res.Send[1].Mail.Lines[0].Text, "Bramble")
	require.Empty(t, res.Send[1].Mail.Lines[0].Household, "nor does a picture tell")
}

// What a colleague did not take on reaches the next in line in every way that
// they gave, in their order.
func TestAnUnansweredEmergencyGoesEveryWay(t *testing.T) {
	t.Parallel()
	k := mailed(t)
	res := k.do(care.LineEvent{Notice: &care.Notice{To: "lee", What: care.NoticeUnanswered, Item: item(1, "Bramble", care.Now)}})
	var to []contact.Address
	for _, m := range res.Send {
		to = append(to, m.To)
	}
	require.Equal(t, []contact.Address{leeAddress, leeCall, leeMail}, to)
}

func TestAReviewDateGoesToTheCalendar(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	k.play("dog Bramble\nowner> yes\nskip")
	set := func(review time.Time) care.Result {
		return k.staff(care.Practice{Plan: &care.PlanChange{Dog: "Bramble", Action: care.PlanStart, What: "short walks " + review.Format("2"), Area: care.AreaActivity, Review: review.Unix()}})
	}
	res := set(monday.AddDate(0, 0, 28))
	require.Len(t, res.Notices, 1)
	n := res.Notices[0]
	require.Equal(t, care.NoticeReview, n.What)
	require.Equal(t, k.rules.Lead, n.To)
	require.Empty(t, set(monday.AddDate(0, 0, -1)).Notices, "a date gone by is no appointment")

	l := mailed(t)
	sent := l.do(care.LineEvent{Notice: &n}).Send
	require.Len(t, sent, 1)
	require.Equal(t, leeMail, sent[0].To)
	require.Contains(t, sent[0].Mail.Review.What, "Bramble")
	require.Empty(t, newLine(t, "lee").do(care.LineEvent{Notice: &n}).Send, "without a mailbox there is no text about it")
}
