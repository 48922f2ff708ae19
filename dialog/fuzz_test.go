package dialog

import (
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"testing/fstest"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/sms"
)

// Whatever a file holds, the parser returns; what it takes without a problem
// can be played to its end.
func FuzzParseScript(f *testing.F) {
	for _, pattern := range []string{"scripts/*.yaml", "testdata/bad/*.yaml", "testdata/bad/override/*.yaml"} {
		files, err := filepath.Glob(pattern)
		require.NoError(f, err)
		for _, file := range files {
			data, err := os.ReadFile(file)
			require.NoError(f, err)
			f.Add(data)
		}
	}
	base := library(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		fsys := fstest.MapFS{"fuzz.yaml": {Data: data}}
		l, problems := Load(fsys)
		for _, p := range problems {
			require.NotEmpty(t, p.Code)
			require.NotEmpty(t, p.Message)
		}
		if len(problems) == 0 {
			playThrough(t, l, l.Scripts())
		}
		own, problems := base.Override(fsys)
		if len(problems) > 0 {
			require.Same(t, base, own)
			return
		}
		for _, id := range own.Scripts() {
			if own.scripts[id] != base.scripts[id] {
				playThrough(t, own, []string{id})
			}
		}
	})
}

// playThrough answers scripts of a library until they end. A script can't
// ask for ever: each reply leaves a step or counts against it.
func playThrough(t *testing.T, l *Library, ids []string) {
	for _, id := range ids {
		for _, form := range l.scripts[id].Forms() {
			s, lines, err := l.Begin(id, form, household())
			if err != nil {
				continue
			}
			for turns := 0; s.Open(); turns++ {
				require.Less(t, turns, 3*len(l.scripts[id].steps)+3, id)
				for _, line := range lines {
					l.Render(line, "en")
				}
				r := l.Reply(s, household(), "skip")
				s, lines = r.Session, r.Say
			}
		}
	}
}

// Whatever an owner writes, the engine answers, the same each time, in GSM-7,
// and stands at a step that exists or is done.
func FuzzReply(f *testing.F) {
	for _, text := range []string{"1", "x", "same", "back", "skip", "later", "no 0", "1 0 0 2 1 1", "limping 2, nights 0, rest fine",
		"sorry, 3 not 2", "31.2 kg", "can't weigh him", "away, the neighbour has them", "yes", "4", "\x00", "שלום", "🐶 2️⃣", "{phone}"} {
		for script := range 11 {
			f.Add(uint8(script), uint8(script), text, "2")
		}
	}
	l := library(f)
	ids := l.Scripts()
	f.Fuzz(func(t *testing.T, script, flags uint8, first, second string) {
		id := ids[int(script)%len(ids)]
		ctx := household()
		for i, fact := range FactNames {
			ctx.Facts[fact] = flags>>(i%8)&1 == 1
		}
		ctx.Before = map[string]int{"limping": 1, "rising": 0}
		ctx.CanCarry = flags&1 == 1
		ctx.Sign = flags&2 == 2
		s, lines, err := l.Begin(id, Form(flags>>7), ctx)
		if err != nil {
			return
		}
		for _, text := range []string{first, second, first} {
			r, again := l.Reply(s, ctx, text), l.Reply(s, ctx, text)
			require.True(t, reflect.DeepEqual(r, again), "the same reply gives the same result")
			checkResult(t, l, s, r)
			s, lines = r.Session, append(lines, r.Say...)
		}
		for _, line := range append(lines, l.Remind(s, ctx)...) {
			text := l.Render(line, "en")
			require.Equal(t, sms.GSM7, sms.Encode(text).Encoding, text)
		}
	})
}

func checkResult(t *testing.T, l *Library, before Session, r Result) {
	require.NotEmpty(t, r.Reason)
	require.Equal(t, !r.Session.Open(), r.Done)
	if r.Session.Open() {
		require.NotNil(t, l.scripts[r.Session.Script].step(r.Session.Step))
	}
	require.LessOrEqual(t, len(r.Session.Trail), len(l.scripts[before.Script].steps)+1)
	for _, a := range r.Recorded {
		require.NotEmpty(t, a.Item)
		require.LessOrEqual(t, utf8.RuneCountInString(a.Value.Text), maxKeptText)
		if a.Value.Kind == KindScale && !a.Value.NotApplicable {
			require.Contains(t, []float64{0, 1, 2, 3, 4}, a.Value.Number)
		}
	}
}
