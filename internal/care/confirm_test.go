package care_test

import (
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

var codeAsked = regexp.MustCompile(`reply (YES \d{4}) to do it`)

// confirmed is an instruction, with its code where one is asked for.
func (k *line) confirmed(text string) care.LineResult {
	res := k.text(text)
	if res.Reason != care.LineConfirm {
		return res
	}
	require.Empty(k.t, res.Commands, "nothing happens before the code")
	m := codeAsked.FindStringSubmatch(res.Send[0].Text)
	require.NotNil(k.t, m, res.Send[0].Text)
	return k.text(m[1])
}

// What could do harm from a forger's hand waits for the code that goes to the
// true telephone; what must be quick at night does not.
func TestWhatCouldDoHarmWaitsForItsCode(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		urgency care.Urgency
		text    string
		waits   bool
	}{
		{care.Now, "1 close phoned", true},
		{care.Today, "1 close booked for Friday", true},
		{care.ForDigest, "1 close phoned", false},
		{care.ForDigest, "1 close died", true},
		{care.ForDigest, "1 quiet 14", true},
		{care.Now, "1 ok", false},
		{care.Now, "ok", false},
		{care.Now, "1 noreply", false},
		{care.Now, "1", false},
	} {
		k := newLine(t, "lee")
		k.notice(item(1, "Bramble", c.urgency))
		res := k.text(c.text)
		require.Equal(t, c.waits, res.Reason == care.LineConfirm, c.text)
		require.LessOrEqual(t, len(res.Send[0].Text), 306)
	}
}

func TestCodesAreNotGuessedAndRunOut(t *testing.T) {
	t.Parallel()
	asks := func(t *testing.T) (*line, string) {
		k := newLine(t, "lee")
		k.notice(item(1, "Bramble", care.Now))
		return k, codeAsked.FindStringSubmatch(k.text("1 close phoned").Send[0].Text)[1]
	}
	other := func(code string) string {
		if code == "YES 0000" {
			return "YES 0001"
		}
		return "YES 0000"
	}
	k, code := asks(t)
	for range 3 {
		require.Empty(t, k.text(other(code)).Commands)
	}
	require.Empty(t, k.text(code).Commands, "after three wrong ones the right one is worth nothing")

	k, code = asks(t)
	k.text(other(code))
	require.Len(t, k.text(code).Commands, 1, "one slip does no harm")
	require.Empty(t, k.text(code).Commands, "once")

	k, code = asks(t)
	k.later = 16 * time.Minute
	require.Empty(t, k.text(code).Commands)
	require.Empty(t, k.text("yes").Commands)

	// Each asking has a code of its own.
	k, first := asks(t)
	seen := map[string]bool{first: true}
	for range 20 {
		seen[codeAsked.FindStringSubmatch(k.text("1 close phoned").Send[0].Text)[1]] = true
	}
	require.Greater(t, len(seen), 15)
}

// Whatever a text from a practitioner's number says, her line answers it or says
// that it can't, and asks for nothing that does not exist.
func FuzzLineText(f *testing.F) {
	for _, text := range []string{"", "LIST", "1 OK note", "1 close phoned", "1 quiet 14", "YES 0000", "999999999999 ok", "1 quiet -9223372036854775808", "\x00\xff", "ok", "1 noreply", "#1: close died"} {
		f.Add(text)
	}
	rules := testRules(f)
	f.Fuzz(func(t *testing.T, text string) {
		k := &line{rules: rules, l: care.Line{Clinic: "hill", Practitioner: "lee"}}
		k.notice(item(1, "Bramble", care.Now))
		for range 2 {
			res := k.text(text)
			require.LessOrEqual(t, len(res.Commands), 1)
			for _, c := range res.Commands {
				require.Equal(t, care.Item{Household: "h1"}.Household, c.Household)
			}
			require.Len(t, res.Send, 1)
		}
	})
}
