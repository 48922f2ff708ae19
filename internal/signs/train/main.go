//go:build train

// Command train rebuilds the data files of the signs package that are computed
// rather than written: the list of ordinary words that look like misspelt signs,
// and the weights of the statistical model.
//
// From the repository's root, after a change of the word lists or the corpus:
//
//	go run -tags train ./internal/signs/train model
//	go run -tags train ./internal/signs/train cv
//	go run -tags train ./internal/signs/train misses
//	go run -tags train ./internal/signs/train lookalikes DICTIONARY... > internal/signs/data/lookalikes.txt
package main

import (
	"bufio"
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
		return fmt.Errorf("say what to do: lookalikes, cv, misses or model")
	}
	switch args[0] {
	case "cv":
		return evaluate()
	case "misses":
		return misses()
	case "model":
		return writeModel("internal/signs/data/model.bin")
	case "lookalikes":
		return lookalikes(args[1:])
	}
	return fmt.Errorf("%q is not known: lookalikes, cv, misses or model", args[0])
}

// lookalikes prints every dictionary word that would be corrected to a word of
// the lists, so that it can be told apart from a slip.
func lookalikes(paths []string) error {
	seen := map[string]bool{}
	for _, p := range paths {
		f, err := os.Open(p)
		if err != nil {
			return err
		}
		sc := bufio.NewScanner(f)
		for sc.Scan() {
			w := strings.ToLower(strings.ReplaceAll(sc.Text(), "'", ""))
			if signs.Corrected(w) != "" {
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
	fmt.Println("# from the SCOWL word lists (Debian packages wamerican and wbritish-large).")
	for i := 0; i < len(words); i += 12 {
		fmt.Println(strings.Join(words[i:min(i+12, len(words))], " "))
	}
	return nil
}
