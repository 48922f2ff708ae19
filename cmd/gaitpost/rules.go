package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
	"gaitpost/internal/store"
)

type rulesOptions struct {
	storeFlags
	changes, all bool
}

// newRulesCmd prints what is in effect, and what was changed at the desk.
func newRulesCmd(e env) *cobra.Command {
	var o rulesOptions
	cmd := &cobra.Command{
		Use:   "rules",
		Short: "Print the settings in effect, with what was changed at the desk",
		Long: `Rules prints a clinic's settings as they are in effect: the file's with what was
changed at the desk on top, each with where it comes from. Without --all only what
differs from the defaults is printed. With --changes it prints who changed what at
the desk, when and why. Nothing is changed by it; the desk changes settings and
rolls them back.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return o.run(cmd.Context(), e) },
	}
	o.add(cmd.Flags())
	cmd.Flags().BoolVar(&o.changes, "changes", false, "print the changes made at the desk, newest first")
	cmd.Flags().BoolVar(&o.all, "all", false, "print the defaults as well")
	return cmd
}

func (o *rulesOptions) run(ctx context.Context, e env) error {
	if _, err := o.rules(e); err != nil {
		return err
	}
	file := map[string]string{}
	for _, s := range clinic.Explain(o.found) {
		file[s.Key] = s.Value
	}
	h, err := contactHasher(e)
	if err != nil {
		return err
	}
	st, closeStore, err := o.open(ctx, e, h)
	if err != nil {
		return err
	}
	defer closeStore()
	list, err := st.Overlays(ctx, o.found.Rules.Clinic)
	if err != nil {
		return err
	}
	if o.changes {
		return printChanges(e.stdout, list, file, o.found.Rules)
	}
	return o.printInEffect(e.stdout, list, file)
}

// printInEffect prints settings a line each. A change that does not fit the file
// has been told on standard error by then, and the file alone holds.
func (o *rulesOptions) printInEffect(out io.Writer, list []store.Overlay, file map[string]string) error {
	c, at := o.found, map[string]store.Overlay{}
	if n := len(list); n > 0 && len(list[n-1].Set) > 0 {
		if changed, _ := o.lay(c.Rules.Clinic, list[n-1].Set); changed != nil {
			c, at = changed, setBy(list)
		}
	}
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, s := range clinic.Explain(c) {
		from := "the default"
		switch by, changed := at[s.Key]; {
		case changed:
			from = fmt.Sprintf("changed at the desk by %s, %s", by.Name, day(by.At, c.Rules))
			if v := file[s.Key]; v != "" {
				from += "; the file alone: " + v
			}
		case s.Line > 0:
			from = "the file"
		case !o.all:
			continue
		}
		fmt.Fprintf(t, "%s\t%s\t%s\n", s.Key, s.Value, from)
	}
	return t.Flush()
}

// setBy is the change that gave each setting its present value.
func setBy(list []store.Overlay) map[string]store.Overlay {
	at := map[string]store.Overlay{}
	for key, value := range list[len(list)-1].Set {
		for i := len(list) - 1; i >= 0 && list[i].Set[key] == value; i-- {
			at[key] = list[i]
		}
	}
	return at
}

func printChanges(out io.Writer, list []store.Overlay, file map[string]string, r *care.Rules) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(out, "Nothing was changed at the desk: everything is as in the settings file.")
		return err
	}
	var err error
	for i := len(list) - 1; i >= 0; i-- {
		was := map[string]string{}
		if i > 0 {
			was = list[i-1].Set
		}
		_, e1 := fmt.Fprintf(out, "%d  %s  %s: %s\n", list[i].N, day(list[i].At, r), list[i].Name, list[i].Why)
		_, e2 := io.WriteString(out, differences(was, list[i].Set, file))
		err = errors.Join(err, e1, e2)
	}
	return err
}

// differences writes what one change changed, a line each.
func differences(was, is, file map[string]string) string {
	both := maps.Clone(was)
	if both == nil {
		both = map[string]string{}
	}
	maps.Copy(both, is)
	var b strings.Builder
	for _, key := range slices.Sorted(maps.Keys(both)) {
		before, after := or(was, file, key), or(is, file, key)
		if before != after {
			fmt.Fprintf(&b, "   %s: %s -> %s\n", key, before, after)
		}
	}
	return b.String()
}

func or(set, file map[string]string, key string) string {
	if v, ok := set[key]; ok {
		return v
	}
	if v := file[key]; v != "" {
		return v
	}
	return "not set"
}

func day(unix int64, r *care.Rules) string {
	return time.Unix(unix, 0).In(r.Zone).Format("2006-01-02 15:04")
}
