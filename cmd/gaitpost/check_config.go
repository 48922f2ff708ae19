package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"gaitpost/dialog"
	"gaitpost/internal/cadence"
	"gaitpost/internal/clinic"
)

func newCheckConfigCmd(e env) *cobra.Command {
	var explain, noSecrets bool
	cmd := &cobra.Command{
		Use:   "check-config FILE…|FOLDER",
		Short: "Check clinics' settings and list every problem at once",
		Long: `Check-config reads clinics' settings as serve would, all files as one deployment,
and prints every problem with its file, line, value and what is allowed, then one
line a file. It ends with 1 where something is wrong; warnings are no reason.

--explain prints every setting in effect with where it comes from; what a setting
may be, and the source of its default, stand beside it.
--no-secrets only warns where a secret is not there: for checking settings on
another machine than the one that serves.`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			return checkConfig(e, args, explain, noSecrets)
		},
	}
	cmd.Flags().BoolVar(&explain, "explain", false, "print every setting in effect")
	cmd.Flags().BoolVar(&noSecrets, "no-secrets", false, "missing secrets are warnings")
	return cmd
}

func checkConfig(e env, args []string, explain, noSecrets bool) error {
	builtin, err := dialog.Builtin()
	if err != nil {
		return fmt.Errorf("the built-in scripts can't be read: %w", err)
	}
	missing := clinic.Wrong
	if noSecrets {
		missing = clinic.Doubtful
	}
	clinics, problems := clinic.LoadFrom(sources(e, args, builtin, missing)...)
	wrong := 0
	files := map[string][2]int{} // problems and warnings
	for _, p := range problems {
		fmt.Fprintln(e.stdout, p)
		n := files[p.File]
		n[p.Severity]++
		files[p.File] = n
		if p.Severity == clinic.Wrong {
			wrong++
		}
	}
	summaries(e, clinics, files)
	if explain {
		for _, c := range clinics {
			explainTo(e.stdout, c)
		}
	}
	if wrong > 0 {
		return errors.New(count(wrong, "problem") + " in the settings")
	}
	return nil
}

// sources groups files by their folder, so that each is a source of its own.
func sources(e env, args []string, builtin *dialog.Library, missing clinic.Severity) []clinic.Source {
	var out []clinic.Source
	byFolder := map[string]int{}
	for _, arg := range args {
		src := clinic.SourceAt(arg, e.getenv, builtin)
		src.MissingSecrets = missing
		info, err := os.Stat(arg)
		if err != nil || info.IsDir() {
			out = append(out, src)
			continue
		}
		dir := filepath.Dir(arg)
		if i, known := byFolder[dir]; known {
			if !slices.Contains(out[i].Only, src.Only[0]) {
				out[i].Only = append(out[i].Only, src.Only...)
			}
			continue
		}
		byFolder[dir] = len(out)
		out = append(out, src)
	}
	return out
}

// summaries prints one line a file: what it holds, or how much is wrong.
func summaries(e env, clinics []*clinic.Clinic, files map[string][2]int) {
	lines := map[string]string{}
	for file, n := range files {
		if n[clinic.Wrong] > 0 {
			lines[file] = strings.Join([]string{count(n[clinic.Wrong], "problem"), count(n[clinic.Doubtful], "warning")}, ", ")
		}
	}
	for _, c := range clinics {
		next, _ := c.Rules.Cadences.CheckIn.Next(e.now(), cadence.LocalDate{}, c.Rules.Zone)
		line := fmt.Sprintf("ok: %s, %s, next check-in %s", c.Rules.Name, count(len(c.Rules.Practitioners), "practitioner"), next.Format("Mon 2006-01-02 15:04 -07:00"))
		if n := files[c.File][clinic.Doubtful]; n > 0 {
			line += ", " + count(n, "warning")
		}
		lines[c.File] = line
	}
	var names []string
	for name := range lines {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		fmt.Fprintf(e.stdout, "%s: %s\n", name, lines[name])
	}
}

// explainTo prints every setting in effect of one clinic.
func explainTo(w io.Writer, c *clinic.Clinic) {
	fmt.Fprintf(w, "\n%s\n", c.File)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, s := range clinic.Explain(c) {
		from := "default"
		if s.Line > 0 {
			from = fmt.Sprintf("line %d", s.Line)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\n", s.Key, s.Value, from, about(s))
	}
	_ = t.Flush()
}

// about is what a setting may be and where its default comes from.
func about(s clinic.Setting) string {
	var parts []string
	if s.Default != "" && s.Default != s.Value {
		parts = append(parts, "default "+s.Default)
	}
	if s.Allowed != "" {
		parts = append(parts, "allowed "+s.Allowed)
	}
	if s.Source != "" {
		parts = append(parts, s.Source)
	}
	return strings.Join(parts, "; ")
}
