package main

import (
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"gaitpost/dialog"
)

func newScriptCmd(e env) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "script",
		Short: "Check the dialog scripts",
	}
	cmd.AddCommand(newScriptCheckCmd(e))
	return cmd
}

func newScriptCheckCmd(e env) *cobra.Command {
	var sizes bool
	cmd := &cobra.Command{
		Use:   "check [FILE|DIR…]",
		Short: "Check the built-in scripts, or a clinic's own laid over them",
		Long: "Check reads script files and prints every problem as file:line: code: sentence:\n" +
			"steps that no reply leads to, dead ends, circles, missing translations, unknown\n" +
			"placeholders, characters outside GSM-7, safety lines without their numbers, and\n" +
			"texts over their segment limit with the longest names. A file that names a\n" +
			"built-in script is laid over it, as a clinic's own texts are.",
		RunE: func(_ *cobra.Command, args []string) error {
			return checkScripts(e.stdout, args, sizes)
		},
	}
	cmd.Flags().BoolVar(&sizes, "sizes", false, "list the longest length of every text")
	return cmd
}

// checkScripts checks each argument on its own over the built-in scripts.
func checkScripts(w io.Writer, args []string, sizes bool) error {
	library, err := dialog.Builtin()
	if err != nil {
		return fmt.Errorf("the built-in scripts: %w", err)
	}
	if len(args) == 0 {
		printScripts(w, library, sizes)
		return nil
	}
	bad := 0
	for _, arg := range args {
		fsys, dir, err := scriptFiles(arg)
		if err != nil {
			return err
		}
		merged, problems := library.Override(fsys)
		for _, p := range problems {
			p.File = filepath.Join(dir, p.File)
			fmt.Fprintln(w, p)
		}
		if bad += len(problems); len(problems) == 0 {
			library = merged
		}
	}
	if bad > 0 {
		return fmt.Errorf("%s in the scripts", plural(bad, "problem"))
	}
	printScripts(w, library, sizes)
	return nil
}

// scriptFiles opens a folder, or one file as a folder of its own.
func scriptFiles(arg string) (fs.FS, string, error) {
	info, err := os.Stat(arg)
	if err != nil {
		return nil, "", fmt.Errorf("%s can't be read: no such file or folder, or no permission", arg)
	}
	if !info.IsDir() {
		if ext := filepath.Ext(arg); ext != ".yaml" && ext != ".yml" {
			return nil, "", fmt.Errorf("%s is not a script: its name must end in .yaml", arg)
		}
		return oneFile{os.DirFS(filepath.Dir(arg)), filepath.Base(arg)}, filepath.Dir(arg), nil
	}
	found, _ := filepath.Glob(filepath.Join(arg, "*.y*ml"))
	if len(found) == 0 {
		return nil, "", fmt.Errorf("%s holds no script: no file there ends in .yaml", arg)
	}
	return os.DirFS(arg), arg, nil
}

// oneFile is a folder that shows a single one of its files.
type oneFile struct {
	fs.FS
	name string
}

// ReadDir lists that file alone.
func (o oneFile) ReadDir(dir string) ([]fs.DirEntry, error) {
	entries, err := fs.ReadDir(o.FS, dir)
	var only []fs.DirEntry
	for _, e := range entries {
		if e.Name() == o.name {
			only = append(only, e)
		}
	}
	return only, err
}

// printScripts sums the scripts up: how many messages each text costs.
func printScripts(w io.Writer, library *dialog.Library, each bool) {
	all := library.Sizes()
	total := map[int]int{}
	for _, id := range library.Scripts() {
		s, _ := library.Script(id)
		count := map[int]int{}
		for _, n := range all {
			if n.Script != id {
				continue
			}
			count[n.Segments]++
			total[n.Segments]++
			if each {
				fmt.Fprintf(w, "  %s %s (%s): %d characters, %s of at most %d\n",
					n.Step, n.Part, n.Lang, n.Units, plural(n.Segments, "segment"), n.Limit)
			}
		}
		fmt.Fprintf(w, "%s, version %d, in %s: %s\n", id, s.Version(), strings.Join(s.Languages(), ", "), segmentCounts(count))
	}
	fmt.Fprintf(w, "%s without a problem, %s with the longest names.\n", plural(len(library.Scripts()), "script"), segmentCounts(total))
}

// segmentCounts writes "31 texts of 1 segment, 4 of 2".
func segmentCounts(count map[int]int) string {
	var parts []string
	for n := 1; n <= 9; n++ {
		if count[n] == 0 {
			continue
		}
		if len(parts) == 0 {
			parts = append(parts, plural(count[n], "text")+" of "+plural(n, "segment"))
		} else {
			parts = append(parts, fmt.Sprintf("%d of %d", count[n], n))
		}
	}
	return strings.Join(parts, ", ")
}

// plural writes a count with its noun.
func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
