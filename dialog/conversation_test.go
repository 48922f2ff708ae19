package dialog

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/tools/txtar"
)

// The conversations are files that a vet can read; dialog-checkin.txtar says
// how they are written.
func TestConversations(t *testing.T) {
	files, err := filepath.Glob("../testdata/conversations/dialog-*.txtar")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	l := library(t)
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, part := range txtar.Parse(data).Files {
			t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar")+"/"+part.Name, func(t *testing.T) {
				p := player{t: t, l: l}
				for i, line := range strings.Split(string(part.Data), "\n") {
					p.where = fmt.Sprintf("line %d: %s", i+1, line)
					p.line(strings.TrimSpace(line))
				}
			})
		}
	}
}

type player struct {
	t     *testing.T
	l     *Library
	ctx   Context
	s     Session
	res   Result
	said  []Line
	where string
}

func (p *player) line(line string) {
	word, rest, _ := strings.Cut(line, " ")
	switch {
	case line == "":
	case word == "play":
		p.play(rest)
	case strings.HasPrefix(line, "owner, sign> "):
		p.reply(strings.TrimPrefix(line, "owner, sign> "), true)
	case word == "owner>":
		p.reply(rest, false)
	case word == "bot>":
		p.bot(rest)
	case word == "expect":
		require.Equal(p.t, Reason(rest), p.res.Reason, p.where)
	case word == "unsettled":
		require.Equal(p.t, strings.Split(rest, ", "), p.res.Unsettled, p.where)
	case word == "recorded" && rest == "nothing or weight":
	case word == "recorded" && rest == "nothing":
		require.Empty(p.t, p.res.Recorded, p.where)
	case word == "recorded":
		require.ElementsMatch(p.t, strings.Split(rest, ", "), written(p.res.Recorded), p.where)
	case word == "in" && strings.HasPrefix(rest, "all "):
		require.ElementsMatch(p.t, strings.Split(rest[4:], ", "), written(p.s.Answers), p.where)
	default:
		require.Fail(p.t, "not understood", p.where)
	}
}

// play begins a dialog: "checkin all | medicine | before rising=1".
func (p *player) play(rest string) {
	parts := strings.Split(rest, " | ")
	script, form, _ := strings.Cut(parts[0], " ")
	p.ctx = household()
	for _, part := range parts[1:] {
		name, value, given := strings.Cut(part, "=")
		switch before, ok := strings.CutPrefix(part, "before "); {
		case ok:
			p.before(before)
		case part == "carry":
			p.ctx.CanCarry = true
		case given:
			p.ctx.Vars[name], p.ctx.Facts[name] = value, true
		default:
			require.Contains(p.t, FactNames, part, p.where)
			p.ctx.Facts[part] = true
		}
	}
	f := OneByOne
	if form == "all" {
		f = AllAtOnce
	}
	var err error
	p.s, p.said, err = p.l.Begin(script, f, p.ctx)
	require.NoError(p.t, err, p.where)
}

func (p *player) before(list string) {
	for _, pair := range strings.Fields(list) {
		item, level, _ := strings.Cut(pair, "=")
		if n, err := strconv.Atoi(level); err == nil {
			p.ctx.Before[item] = n
		}
	}
}

func (p *player) reply(text string, sign bool) {
	require.True(p.t, p.s.Open(), "the dialog is over: %s", p.where)
	before := fmt.Sprintf("%#v", p.s)
	p.ctx.Sign = sign
	old := p.s
	p.res = p.l.Reply(p.s, p.ctx, text)
	require.Equal(p.t, before, fmt.Sprintf("%#v", old), "the session handed in stays as it was: %s", p.where)
	p.s, p.said = p.res.Session, p.res.Say
	require.Equal(p.t, !p.s.Open(), p.res.Done, p.where)
}

func (p *player) bot(want string) {
	require.NotEmpty(p.t, p.said, "nothing more is said: %s (%s)", p.where, p.res.Reason)
	text := p.l.Render(p.said[0], "en")
	p.said = p.said[1:]
	var quoted []string
	for _, piece := range strings.Split(want, "…") {
		quoted = append(quoted, regexp.QuoteMeta(piece))
	}
	require.Regexp(p.t, "^"+strings.Join(quoted, ".*")+"$", text, p.where)
}

// written gives answers as the conversations write them: "limping 2 same",
// "steps x", "signs yes (his words)", "scale clinic".
func written(answers []Answer) []string {
	out := []string{}
	for _, a := range answers {
		out = append(out, strings.TrimSpace(a.Item+" "+writtenValue(a.Value)))
	}
	slices.Sort(out)
	return out
}

func writtenValue(v Value) string {
	var s string
	switch {
	case v.NotApplicable:
		return "x"
	case v.Kind == KindYesNo:
		s = map[bool]string{true: "yes", false: "no"}[v.Yes]
	case v.Kind == KindChoice:
		return v.Text
	case v.Kind != KindText:
		s = strconv.FormatFloat(v.Number, 'f', -1, 64)
	}
	if v.Text != "" {
		s += " (" + v.Text + ")"
	}
	if v.Carried {
		s += " same"
	}
	return strings.TrimSpace(s)
}
