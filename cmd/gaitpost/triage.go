package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"gaitpost/internal/signs"
)

// triageLine is one line of triage's output; the order of the fields is the
// order of the keys.
type triageLine struct {
	Text    string       `json:"text"`
	Urgency string       `json:"urgency"`
	Ask     bool         `json:"ask"`
	Death   bool         `json:"death"`
	Signs   []signs.Sign `json:"signs"`
	Reason  string       `json:"reason"`
}

func newTriageCmd(e env) *cobra.Command {
	var on []string
	var lang string
	cmd := &cobra.Command{
		Use:   "triage",
		Short: "Read one owner's message a line and say how urgent it is, as JSON",
		Long: "Triage reads one message a line from standard input and writes one JSON\n" +
			"object a line: how urgent the message is, whether that is unsure, whether\n" +
			"the dog has died, the signs that decided and the words that did.\n" +
			"Languages: " + strings.Join(signs.Languages(), ", ") + ".",
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			ctx, err := triageContext(on, lang)
			if err != nil {
				return err
			}
			return triageAll(e.stdin, e.stdout, ctx)
		},
	}
	cmd.Flags().StringSliceVar(&on, "on", nil, "medicine on the dog's plan: nsaid, antibody (may be repeated)")
	cmd.Flags().StringVar(&lang, "lang", "en", "language the messages are written in: "+strings.Join(signs.Languages(), ", "))
	return cmd
}

// triageContext reads the --on and --lang values.
func triageContext(on []string, lang string) (signs.Context, error) {
	ctx := signs.Context{Lang: lang}
	if !signs.Reads(lang) {
		return ctx, fmt.Errorf("--lang %q has no safety screen: use %s", lang, strings.Join(signs.Languages(), ", "))
	}
	for _, v := range on {
		switch strings.ToLower(strings.TrimSpace(v)) {
		case "nsaid":
			ctx.NSAID = true
		case "antibody":
			ctx.Antibody = true
		default:
			return ctx, fmt.Errorf("--on %q is not known: use nsaid or antibody", v)
		}
	}
	return ctx, nil
}

// triageAll screens every line of r and writes one object a line to w.
func triageAll(r io.Reader, w io.Writer, ctx signs.Context) error {
	return eachLine(r, w, func(text string) any {
		f := signs.Screen(text, ctx)
		return triageLine{text, f.Urgency.String(), f.Ask, f.Death, f.Signs, f.Reason}
	})
}
