package care_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

// One sender who writes without end gets no answers after a while. A danger sign
// among it is answered at once, the practice is told once, STOP counts, and a
// quiet hour later everything is as before.
func TestAFloodIsKeptAndNotAnswered(t *testing.T) {
	t.Parallel()
	for name, stranger := range map[string]bool{"an owner": false, "a stranger": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := newTalk(t)
			if stranger {
				k.house = care.NewStranger("hill", care.Owner{ID: "s1", Address: ownerAddress, Via: "text"})
			} else {
				k.play("dog Bramble male\nowner> hello there")
			}
			for range 200 {
				k.owner("could you ring me about the insurance form?")
			}
			require.LessOrEqual(t, len(k.sent), 2*k.rules.Limits.FloodBurst)
			sent, told := len(k.sent), len(k.told)
			require.Equal(t, care.Flooded, reasonOf(k, "could you ring me about the insurance form?"))
			require.Len(t, k.sent, sent)
			require.Len(t, k.told, told, "the practice is told of a flood once")
			a := k.open(care.Question)
			require.NotNil(t, a)
			said := false
			for i := range k.house.Alerts {
				said = said || strings.Contains(k.house.Alerts[i].Sentence, "more than 40 messages")
			}
			require.True(t, said)

			require.Equal(t, care.RedFlagRaised, reasonOf(k, "he has collapsed and can't get up"))
			if !stranger { // who was given the numbers with the first answer
				require.Len(t, k.sent, sent+1)
				require.Equal(t, care.ForSafety, k.sent[sent].Purpose)
			}
			require.NotNil(t, k.open(care.RedFlag))

			k.moveTo(k.now.Add(time.Hour))
			require.NotEqual(t, care.Flooded, reasonOf(k, "thank you"))
			k.owner("STOP")
			require.Equal(t, care.OptedOut, k.house.Contacts[0].Consent.State)
		})
	}
}

func TestStopCountsInAFlood(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	k.play("dog Bramble male\nowner> hello there")
	for range 100 {
		k.owner("x?")
	}
	k.owner("STOP")
	require.Equal(t, care.OptedOut, k.house.Contacts[0].Consent.State)
}

func TestWithoutALimitNothingIsAFlood(t *testing.T) {
	t.Parallel()
	k := newTalk(t)
	k.rules.Limits.FloodBurst = 0
	k.play("dog Bramble male\nowner> hello there")
	for range 100 {
		require.NotEqual(t, care.Flooded, reasonOf(k, "x?"))
	}
}

func reasonOf(k *talk, text string) care.Reason {
	return k.do(care.Event{Message: &care.MessageIn{From: ownerAddress, Via: "text", ID: fmt.Sprint("m", k.events), Text: text}}).Reason
}
