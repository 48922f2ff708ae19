package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"gaitpost/dialog/answer"
)

// answerLine is one line of answer's output; the order of the fields is the
// order of the keys. Value is null where the text was not read.
type answerLine struct {
	Text   string          `json:"text"`
	Value  json.RawMessage `json:"value"`
	Reason answer.Reason   `json:"reason"`
}

// answerReader reads one text; its value is JSON.
type answerReader func(text string) (value string, why answer.Reason)

func newAnswerCmd(e env) *cobra.Command {
	var kind, unit, lang string
	cmd := &cobra.Command{
		Use:   "answer",
		Short: "Read one owner's answer a line and say what it means, as JSON",
		Long: "Answer reads one text a line from standard input and writes one JSON object\n" +
			"a line: the text, the value read (a level 0 to 4, true or false, or kilograms\n" +
			"with three decimals; null where it is not certain) and the reason.",
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			read, err := answerReaderIn(lang, kind, unit)
			if err != nil {
				return err
			}
			return answerAll(e.stdin, e.stdout, read)
		},
	}
	cmd.Flags().StringVar(&kind, "kind", "", "what was asked: scale, yesno or weight")
	cmd.Flags().StringVar(&lang, "lang", "en", "language of the owner: "+strings.Join(answer.Languages(), ", "))
	cmd.Flags().StringVar(&unit, "unit", "kg", "unit of a weight whose text names none: kg or lb")
	return cmd
}

// answerReaderIn picks the reader of a language.
func answerReaderIn(lang, kind, unit string) (answerReader, error) {
	if !slices.Contains(answer.Languages(), lang) {
		return nil, fmt.Errorf("--lang %q is not known: use one of %s", lang, strings.Join(answer.Languages(), ", "))
	}
	return answerReaderFor(answer.For(lang), kind, unit)
}

// answerReaderFor picks the reader that --kind and --unit name.
func answerReaderFor(l *answer.Lexicon, kind, unit string) (answerReader, error) {
	def := answer.Kilograms
	switch strings.ToLower(strings.TrimSpace(unit)) {
	case "kg":
	case "lb":
		def = answer.Pounds
	default:
		return nil, fmt.Errorf("--unit %q is not known: use kg or lb", unit)
	}
	switch strings.ToLower(strings.TrimSpace(kind)) {
	case "scale":
		return func(text string) (string, answer.Reason) {
			r := l.Scale(text, nil)
			return valueOr(r.OK, fmt.Sprint(r.Value)), r.Reason
		}, nil
	case "yesno":
		return func(text string) (string, answer.Reason) {
			r := l.YesNo(text)
			return valueOr(r.OK, fmt.Sprint(r.Value)), r.Reason
		}, nil
	case "weight":
		return func(text string) (string, answer.Reason) {
			r := l.Weight(text, def)
			return valueOr(r.OK, fmt.Sprintf("%d.%03d", r.Grams/1000, r.Grams%1000)), r.Reason
		}, nil
	case "":
		return nil, errors.New("say what was asked with --kind: scale, yesno or weight")
	}
	return nil, fmt.Errorf("--kind %q is not known: use scale, yesno or weight", kind)
}

func valueOr(ok bool, value string) string {
	if ok {
		return value
	}
	return "null"
}

// answerAll reads every line of r and writes one object a line to w.
func answerAll(r io.Reader, w io.Writer, read answerReader) error {
	return eachLine(r, w, func(text string) any {
		value, why := read(text)
		return answerLine{text, json.RawMessage(value), why}
	})
}
