package dialog

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A tap must mean what the same words typed would: every choice offered by every
// question of every script is read as an answer, and each as another one.
func TestEveryChoiceIsReadAsAnAnswerOfItsOwn(t *testing.T) {
	l, err := Builtin()
	require.NoError(t, err)
	ctx := Context{Vars: map[string]string{"dog": "Bramble", "own1": "the stile", "own2": "the stairs"}, Facts: map[string]bool{}}
	offered := 0
	for _, id := range l.Scripts() {
		s, _ := l.Script(id)
		for _, st := range s.steps {
			line := s.line(st, PartAsk, &ctx, nil)
			seen := map[Value]string{}
			for _, c := range l.Choices(line, "en") {
				offered++
				at := id + "/" + st.id + ": " + c.Label
				r := l.Reply(Session{Script: id, Version: s.version, Step: st.id}, ctx, c.Reply)
				require.NotEmpty(t, r.Recorded, at)
				v := r.Recorded[0].Value
				require.Empty(t, seen[v], at)
				seen[v] = c.Label
			}
		}
	}
	require.Greater(t, offered, 40)
}

func TestWhatHasNoChoices(t *testing.T) {
	l, err := Builtin()
	require.NoError(t, err)
	ctx := Context{Vars: map[string]string{"dog": "Bramble"}}
	_, lines, err := l.Begin("checkin", AllAtOnce, ctx)
	require.NoError(t, err)
	require.Empty(t, l.Choices(lines[0], "en"), "seven answers are no single tap")
	require.Empty(t, l.Choices(Line{Script: "gone", Step: "x"}, "en"))
	require.Empty(t, l.Choices(Line{Script: "checkin", Step: "gone"}, "en"))
	require.Empty(t, l.Choices(l.Say("help", "help", ctx), "en"))
}
