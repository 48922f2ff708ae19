//go:build train

// Command train rebuilds the data files of the signs package that are computed
// rather than written: the list of ordinary words that look like misspelt signs,
// and the weights of the statistical model.
//
// From the repository's root, after a change of the word lists or the corpus of
// the language LL (en where none is named):
//
//	go run -tags train ./internal/signs/train model --lang LL
//	go run -tags train ./internal/signs/train cv --lang LL
//	go run -tags train ./internal/signs/train thresholds --lang LL
//	go run -tags train ./internal/signs/train misses --lang LL
//	go run -tags train ./internal/signs/train lookalikes --lang LL DICTIONARY... > internal/signs/data/LL/lookalikes.txt
package main

import (
	"bufio"
	"flag"
	"fmt"
	"os"
	"sort"
	"strings"

	"gaitpost/internal/signs"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "train:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) == 0 {
		return fmt.Errorf("say what to do: %s", commands)
	}
	flags := flag.NewFlagSet(args[0], flag.ContinueOnError)
	lang := flags.String("lang", "en", "language of the lists and the corpus")
	if err := flags.Parse(args[1:]); err != nil {
		return err
	}
	l := language(*lang)
	if _, err := os.Stat(l.data("")); err != nil {
		return fmt.Errorf("language %s: %w", l, err)
	}
	switch args[0] {
	case "cv":
		return l.evaluate()
	case "misses":
		return l.misses()
	case "model":
		return l.writeModel()
	case "thresholds":
		return l.chooseThresholds()
	case "lookalikes":
		return l.lookalikes(flags.Args())
	}
	return fmt.Errorf("%q is not known: %s", args[0], commands)
}

const commands = "model, cv, thresholds, misses or lookalikes"

// language is the code of the language whose lists and corpus are at work.
type language string

// data is the path of one of its data files.
func (l language) data(file string) string { return "internal/signs/data/" + string(l) + "/" + file }

// lookalikes prints every dictionary word that would be corrected to a word of
// the lists, so that it can be told apart from a slip.
func (l language) lookalikes(paths []string) error {
	seen := map[string]bool{}
	for _, p := range paths {
		f, err := os.Open(p)
		if err != nil {
			return err
		}
		sc := bufio.NewScanner(f)
		for sc.Scan() {
			w := strings.ToLower(strings.ReplaceAll(sc.Text(), "'", ""))
			if signs.Corrected(string(l), w) != "" {
				seen[w] = true
			}
		}
		f.Close()
		if err := sc.Err(); err != nil {
			return err
		}
	}
	words := make([]string, 0, len(seen))
	for w := range seen {
		words = append(words, w)
	}
	sort.Strings(words)
	fmt.Println("# Ordinary words one slip away from a word of the lists. Made by the training tool")
	fmt.Println("# from", strings.Join(paths, ", ")+".")
	for i := 0; i < len(words); i += 12 {
		fmt.Println(strings.Join(words[i:min(i+12, len(words))], " "))
	}
	return nil
}
