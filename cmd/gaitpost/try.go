package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"gaitpost/dialog"
	"gaitpost/dialog/answer"
	"gaitpost/internal/clinical"
	"gaitpost/internal/signs"
)

// tryOptions are the flags of try as typed.
type tryOptions struct {
	form, lang string
	dogs       []string
	medicine   bool
	own1, own2 string
	before     map[string]string
	facts      []string
}

func newTryCmd(e env) *cobra.Command {
	var o tryOptions
	cmd := &cobra.Command{
		Use:   "try SCRIPT",
		Short: "Play a script in the terminal, or piped: one line is one reply",
		Long: "Try plays one script with an invented owner and dog. Each line of standard input\n" +
			"is one reply. The last line of standard output is what was recorded, as one JSON\n" +
			"object. Nothing is stored and nothing is sent.",
		Example: "  gaitpost try checkin --medicine\n" +
			"  printf '1 0 0 2 1 1\\nno\\n' | gaitpost try checkin --form all",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return errors.New("give the name of one script, like gaitpost try checkin")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error { return runTry(e, args[0], o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.form, "form", "one", "one question a message (one), or the list form (all)")
	f.StringSliceVar(&o.dogs, "dog", []string{"Bramble"}, "the dog's name (may be repeated for the farewell of one of several)")
	f.StringVar(&o.lang, "lang", "en", "language of the owner: "+strings.Join(dialog.Languages, ", "))
	f.BoolVar(&o.medicine, "medicine", false, "a medicine is on the plan")
	f.StringVar(&o.own1, "own1", "", "first activity of the owner's own choosing")
	f.StringVar(&o.own2, "own2", "", "second activity")
	f.StringToStringVar(&o.before, "before", nil, "last answered levels, like limping=1,rising=0")
	f.StringSliceVar(&o.facts, "fact", nil, "a fact that scripts ask about: "+strings.Join(dialog.FactNames, ", "))
	return cmd
}

// tried is the last line of try: what was recorded.
type tried struct {
	Script    string         `json:"script"`
	Form      string         `json:"form"`
	Recorded  map[string]any `json:"recorded"`
	Carried   []string       `json:"carried,omitempty"`   // items taken over by SAME
	Unsettled []string       `json:"unsettled,omitempty"` // safety questions left without an answer
	Reason    string         `json:"reason"`              // finished, incomplete, away or stopped
}

func runTry(e env, script string, o tryOptions) error {
	library, err := dialog.Builtin()
	if err != nil {
		return fmt.Errorf("the built-in scripts: %w", err)
	}
	s, ok := library.Script(script)
	if !ok {
		return fmt.Errorf("there is no script %q; there are %s", script, strings.Join(library.Scripts(), ", "))
	}
	ctx, err := o.context()
	if err != nil {
		return err
	}
	form, err := o.asForm(s)
	if err != nil {
		return err
	}
	session, lines, err := library.Begin(script, form, ctx)
	if errors.Is(err, dialog.ErrNoScript) {
		return fmt.Errorf("%s has single texts alone and asks nothing; try one of the others", script)
	} else if err != nil {
		return err
	}
	p := player{library: library, ctx: ctx, session: session, out: e.stdout,
		done: tried{Script: script, Form: form.String(), Recorded: map[string]any{}, Reason: "incomplete"}}
	return p.play(e.stdin, lines)
}

func (o tryOptions) asForm(s *dialog.Script) (dialog.Form, error) {
	for _, f := range s.Forms() {
		if f.String() == o.form {
			return f, nil
		}
	}
	if o.form == "one" || o.form == "all" {
		return 0, fmt.Errorf("%s is not asked in the form %q", s.ID(), o.form)
	}
	return 0, fmt.Errorf("--form %q is not known: use one or all", o.form)
}

// context is an invented household. Names and numbers are made up; the numbers
// are from a range reserved for fiction.
func (o tryOptions) context() (dialog.Context, error) {
	if !slices.Contains(dialog.Languages, o.lang) {
		return dialog.Context{}, fmt.Errorf("--lang %q is not known: use one of %s", o.lang, strings.Join(dialog.Languages, ", "))
	}
	local := dialog.LocaleOf(o.lang, "GB")
	ctx := dialog.Context{
		Lang: o.lang,
		Vars: map[string]string{
			"owner": "Ruth", "practice": "Hill Vets", "vet": "Dr Lee",
			"phone": "01632 960100", "emergency": "01632 960911", "person_number": "999",
			"frequency": local.Weekly(), "reads": local.Reads(3, aTuesday), "opens": local.Opens(aTuesday.AddDate(0, 0, -1)), "who": "Dr Lee",
			"he": "he", "him": "him", "his": "his", "own1": o.own1, "own2": o.own2,
		},
		Facts:    map[string]bool{"medicine": o.medicine, "own1": o.own1 != "", "own2": o.own2 != "", "two_dogs": len(o.dogs) > 1},
		Before:   map[string]int{},
		CanCarry: len(o.before) > 0,
	}
	if o.medicine {
		ctx.Vars["medicine"] = "the tablets"
	}
	for i, name := range o.dogs {
		ctx.Vars["dog"+strconv.Itoa(i+1)] = name
	}
	if len(o.dogs) > 0 {
		ctx.Vars["dog"] = o.dogs[0]
	}
	for _, f := range o.facts {
		ctx.Facts[f] = true
	}
	for item, level := range o.before {
		n, err := strconv.Atoi(level)
		if _, known := clinical.ItemByCode(item); !known || err != nil || n < 0 || n > 4 {
			return ctx, fmt.Errorf("--before %s=%s: give an item and a level from 0 to 4, like limping=1", item, level)
		}
		ctx.Before[item] = n
	}
	return ctx, nil
}

// aTuesday is when the invented practice next reads.
var aTuesday = time.Date(2026, 3, 3, 8, 30, 0, 0, time.UTC)

// player walks one session along the replies of a reader.
type player struct {
	library *dialog.Library
	ctx     dialog.Context
	session dialog.Session
	out     io.Writer
	done    tried
}

// maxTryLine is the longest reply read, in bytes.
const maxTryLine = 64 * 1024

func (p *player) play(in io.Reader, lines []dialog.Line) error {
	p.say(lines)
	sc := bufio.NewScanner(in)
	sc.Buffer(make([]byte, 0, 4096), maxTryLine)
	for p.session.Open() && sc.Scan() {
		if !p.reply(strings.TrimSpace(sc.Text())) {
			break
		}
	}
	if err := sc.Err(); err != nil {
		return fmt.Errorf("a reply could not be read: %w", err)
	}
	p.record()
	enc := json.NewEncoder(p.out)
	enc.SetEscapeHTML(false)
	return enc.Encode(p.done)
}

// reply takes one line as the service would: STOP and HELP first, then the
// screen's finding beside the dialog. It reports whether to go on.
func (p *player) reply(text string) bool {
	switch c, _ := answer.For(p.ctx.Lang).Control(text); c {
	case answer.ControlOptOut, answer.ControlOptOutAll:
		p.say([]dialog.Line{p.library.Say("help", "stop_confirmed", p.ctx)})
		p.done.Reason = "stopped"
		return false
	case answer.ControlHelp:
		p.say([]dialog.Line{p.library.Say("help", "help", p.ctx)})
		return true
	}
	p.screen(text)
	res := p.library.Reply(p.session, p.ctx, text)
	p.session = res.Session
	p.done.Unsettled = append(p.done.Unsettled, res.Unsettled...)
	p.say(res.Say)
	if res.Done {
		p.done.Reason = "finished"
	}
	if res.Reason == dialog.Away {
		p.done.Reason = "away"
	}
	return true
}

// screen says what the service would say to a sign.
func (p *player) screen(text string) {
	f := signs.Screen(text, signs.Context{DogNames: []string{p.ctx.Vars["dog"]}, Lang: p.ctx.Lang})
	p.ctx.Sign = f.Urgency != signs.None
	switch f.Urgency {
	case signs.Emergency:
		p.say([]dialog.Line{p.library.Say("safety", "emergency_open", p.ctx)})
	case signs.SameDay:
		p.say([]dialog.Line{p.library.Say("safety", "sameday_open", p.ctx)})
	}
}

func (p *player) say(lines []dialog.Line) {
	for _, l := range lines {
		fmt.Fprintln(p.out, "> "+p.library.Render(l, p.ctx.Lang))
	}
}

func (p *player) record() {
	for _, a := range p.session.Answers {
		p.done.Recorded[a.Item] = plainAnswer(a.Value)
		if a.Value.Carried {
			p.done.Carried = append(p.done.Carried, a.Item)
		}
	}
}

// plainAnswer is a value as JSON: a number (a weight in kg), true or false, an
// option's name, the owner's words, or "x" for what doesn't apply.
func plainAnswer(v dialog.Value) any {
	switch {
	case v.NotApplicable:
		return "x"
	case v.Kind == dialog.KindYesNo && v.Yes && v.Text != "":
		return v.Text
	case v.Kind == dialog.KindYesNo:
		return v.Yes
	case v.Kind == dialog.KindWeight:
		return math.Round(v.Number) / 1000
	case v.Kind == dialog.KindChoice || v.Kind == dialog.KindText:
		return v.Text
	}
	return v.Number
}
