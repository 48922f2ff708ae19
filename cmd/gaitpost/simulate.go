package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"text/tabwriter"
	"time"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
	"gaitpost/internal/clinical"
	"gaitpost/internal/synth"
)

func newSimulateCmd(e env) *cobra.Command {
	o := synth.TrialOptions{}
	var config, id string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "simulate",
		Short: "Try alert rules on synthetic dogs: how often they would alert, and what they would catch",
		Long: `Try alert rules on synthetic dogs.

Stable dogs are simulated after their baseline stands, with a latent index of 20,
30 and 40 in equal parts, noise of 7.7 points of which half is common to all
items, answers on the 0 to 4 scale, one check-in in ten missed, and alerts closed
after seven days. Then each dog worsens by a step or drifts, and what catches it
is counted. The dogs are invented; the index is not a validated instrument.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			rules, err := simulatedRules(e, config, id)
			if err != nil {
				return err
			}
			o.Rules = rules
			report, err := runTrial(e, o)
			if err != nil {
				return err
			}
			if asJSON {
				return json.NewEncoder(e.stdout).Encode(report)
			}
			return printTrial(e.stdout, report)
		},
	}
	f := cmd.Flags()
	f.StringVar(&config, "config", "", "settings file or folder of the clinic; without it the default rules")
	f.StringVar(&id, "clinic", "", "the clinic's id, where the folder holds several")
	f.IntVar(&o.Dogs, "dogs", 3000, "stable dogs, and dogs for each change (3 to 1000000)")
	f.IntVar(&o.Weeks, "weeks", 104, "weeks a stable dog is followed after its baseline (12 to 1040)")
	f.Uint64Var(&o.Seed, "seed", 1, "the same seed gives the same dogs")
	f.BoolVar(&asJSON, "json", false, "write one JSON object")
	return cmd
}

// simulatedRules are a clinic's own, or the defaults.
func simulatedRules(e env, config, id string) (*care.Rules, error) {
	if config == "" {
		return &care.Rules{Thresholds: clinical.DefaultThresholds(), Limits: care.DefaultLimits(), Zone: time.UTC}, nil
	}
	c, err := clinicFrom(e, config, id)
	if err != nil {
		return nil, err
	}
	return c.Rules, nil
}

var _ *clinic.Clinic

func runTrial(e env, o synth.TrialOptions) (synth.TrialReport, error) {
	bar := func(int) {}
	if f, ok := e.stderr.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		b := progressbar.NewOptions(o.Total(), progressbar.OptionSetWriter(e.stderr),
			progressbar.OptionSetDescription("dogs"), progressbar.OptionClearOnFinish())
		bar = func(n int) { _ = b.Add(n) }
	}
	o.Progress = bar
	began := e.now()
	report, err := synth.Trial(o)
	if err != nil {
		return report, err
	}
	if s := e.now().Sub(began).Seconds(); s > 0 {
		report.DogWeeksPerSecond = float64(report.DogWeeks) / s
	}
	return report, nil
}

func printTrial(w io.Writer, r synth.TrialReport) error {
	fmt.Fprintf(w, "Stable dogs, after the baseline: %.2f %% of check-ins open an alert (aim: at most 5 %%).\n\n", 100*r.StableFlaggedShare)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "latent index\tcheck-ins\topen an alert\t")
	for _, s := range r.Stable {
		fmt.Fprintf(t, "%.0f\t%d\t%.2f %%\t\n", s.Latent, s.CheckIns, 100*s.FlaggedShare)
	}
	fmt.Fprintln(t, "\t\t\t")
	fmt.Fprintln(t, "reason\talerts per dog-year\t\t")
	for _, reason := range synth.TrialReasons {
		fmt.Fprintf(t, "%s\t%.2f\t\t\n", reason, r.AlertsPerDogYear[reason])
	}
	fmt.Fprintln(t, "\t\t\t")
	fmt.Fprintln(t, "change\tcaught within 2 answered\tmedian\t90th percentile")
	for _, s := range r.Steps {
		fmt.Fprintf(t, "+%.0f points\t%.1f %%\t%s\t%s\n", s.Points, 100*s.CaughtWithin2, countOrDash(s.MedianCheckIns), countOrDash(s.P90CheckIns))
	}
	fmt.Fprintf(t, "+%.0f over a year\tcaught %.1f %%\t%s\t%s\n", r.Drift.Points, 100*r.Drift.Caught, countOrDash(r.Drift.MedianCheckIns), countOrDash(r.Drift.P90CheckIns))
	if err := t.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "\n%d dog-weeks, %.0f a second. The dogs are invented; the index is not a validated instrument.\n", r.DogWeeks, r.DogWeeksPerSecond)
	return err
}

// countOrDash writes a count of check-ins; one that was not reached is a dash.
func countOrDash(n float64) string {
	if n <= 0 {
		return "-"
	}
	return fmt.Sprintf("%.0f", n)
}
