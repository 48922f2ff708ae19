package care_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// A telephone that was cut off gets nothing and does nothing; another one of the
// same practitioner, and the same one when it is back, does everything.
func TestALostTelephoneIsCutOff(t *testing.T) {
	t.Parallel()
	k := newLine(t, "lee")
	k.notice(item(1, "Bramble", care.Now))
	k.text("1 close phoned") // waits for its code
	code := k.l.Pending.Code
	require.Equal(t, care.LineCut, k.do(care.LineEvent{Lost: &care.Lost{Address: leeAddress}}).Reason)
	for _, text := range []string{"1 OK", "YES " + code, "LIST", "HELP", "1"} {
		res := k.text(text)
		require.Equal(t, care.LineCut, res.Reason, text)
		require.Empty(t, res.Send, text)
		require.Empty(t, res.Commands, text)
	}
	for i := range k.rules.Practitioners {
		if p := &k.rules.Practitioners[i]; p.ID == "lee" {
			p.Contacts = []contact.Address{leeAddress}
		}
	}
	res := k.notice(item(2, "Teazel", care.Now))
	require.Equal(t, care.LineNobody, res.Reason, "the next in line is told as when nobody answers")
	require.Empty(t, res.Send)

	second := contact.Address{Channel: contact.SMS, Value: "+447700900188"}
	for i := range k.rules.Practitioners {
		if p := &k.rules.Practitioners[i]; p.ID == "lee" {
			p.Contacts = append(p.Contacts, second)
		}
	}
	res = k.notice(item(3, "Moss", care.Now))
	require.Equal(t, second, res.Send[0].To)
	require.Len(t, k.do(care.LineEvent{Text: &care.LineText{From: second, Text: "3 OK"}}).Commands, 1)

	require.Equal(t, care.LineRestored, k.do(care.LineEvent{Lost: &care.Lost{Address: leeAddress, Back: true}}).Reason)
	require.Len(t, k.text("3 OK").Commands, 1)
	require.Empty(t, k.text("YES "+code).Commands, "what waited was dropped")
}
