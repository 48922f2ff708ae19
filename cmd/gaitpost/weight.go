package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"time"

	"github.com/spf13/cobra"

	"gaitpost/internal/clinical"
)

// weightOptions are the flags of weight; a nil number was not given.
type weightOptions struct {
	bcs, target *float64
	bcsDate     string
	onPlan      bool
}

func newWeightCmd(e env) *cobra.Command {
	var o weightOptions
	var bcs, target float64
	cmd := &cobra.Command{
		Use:   "weight",
		Short: "Say what a dog's weigh-ins mean: pace, target, arrival, flags, as JSON",
		Long: `Weight reads a CSV with the header date,kg,scale from standard input, oldest
first (scale: home or clinic), and writes one JSON object as of the last row:
the pace (percent of body weight lost per week over the last 6 weigh-ins on one
scale; negative is a gain), the target, when it would be reached and within which
range, milestones on the first weight, flags, and the resting energy requirement
(rer_kcal, 70 x kg^0.75, at the latest weight). What cannot be worked out is null.
What a dog is fed is for its veterinarian to say.

--bcs is the practitioner's nine-point score; it speaks about the latest weight,
or with --bcs-date about the weight nearest to that date. --target overrides it.
Dates are like 2026-03-31 or RFC 3339. Rows are counted with the header as row 1.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if cmd.Flags().Changed("bcs") {
				o.bcs = &bcs
			}
			if cmd.Flags().Changed("target") {
				o.target = &target
			}
			return weightRun(e, o)
		},
	}
	f := cmd.Flags()
	f.Float64Var(&bcs, "bcs", 0, "body condition score, 1 to 9")
	f.StringVar(&o.bcsDate, "bcs-date", "", "when the score was given (default: at the last row)")
	f.Float64Var(&target, "target", 0, "target weight in kg (default: from --bcs)")
	f.BoolVar(&o.onPlan, "on-plan", false, "the dog is on a weight-loss plan")
	return cmd
}

type weightOutput struct {
	PacePercentPerWeek *float64          `json:"pace_percent_per_week"`
	PaceLow            *float64          `json:"pace_low"`
	PaceHigh           *float64          `json:"pace_high"`
	PaceBasis          string            `json:"pace_basis"`
	PaceBand           string            `json:"pace_band"`
	TargetKG           *float64          `json:"target_kg"`
	TargetSource       string            `json:"target_source"`
	Arrival            weightArrival     `json:"arrival"`
	Milestones         []weightMilestone `json:"milestones"`
	Flags              []weightFlag      `json:"flags"`
	RERKcal            float64           `json:"rer_kcal"`
	RERTargetKcal      *float64          `json:"rer_target_kcal"`
	StartKG            float64           `json:"start_kg"`
	LatestKG           float64           `json:"latest_kg"`
	LostPercent        float64           `json:"lost_percent"`
	LostAcrossScales   bool              `json:"lost_across_scales"`
	AskAgain           []weightQuestion  `json:"ask_again"`
	Ignored            []weightIgnored   `json:"ignored"`
}

type weightArrival struct {
	Date   *string `json:"date"`
	Early  *string `json:"early"`
	Late   *string `json:"late"`
	Status string  `json:"status"`
}

type weightMilestone struct {
	Percent float64 `json:"percent"`
	KG      float64 `json:"kg"`
	State   string  `json:"state"`
	Date    *string `json:"date"`
	Source  string  `json:"source"`
}

type weightFlag struct {
	Flag         string   `json:"flag"`
	Why          string   `json:"why"`
	FromDate     *string  `json:"from_date"`
	ToDate       *string  `json:"to_date"`
	FromKG       *float64 `json:"from_kg"`
	ToKG         *float64 `json:"to_kg"`
	LostPercent  *float64 `json:"lost_percent"`
	PerWeek      *float64 `json:"percent_per_week"`
	ScaleErrorKG *float64 `json:"scale_error_kg"`
	Certainty    string   `json:"certainty"`
	AcrossScales bool     `json:"across_scales"`
}

type weightQuestion struct {
	Row    int     `json:"row"`
	KG     float64 `json:"kg"`
	Reason string  `json:"reason"`
}

type weightIgnored struct {
	Date   string  `json:"date"`
	KG     float64 `json:"kg"`
	Reason string  `json:"reason"`
}

func weightRun(e env, o weightOptions) error {
	var p problems
	plan := o.plan(&p)
	weighIns, rows := readWeighIns(e.stdin, &p)
	if err := p.err(); err != nil {
		return err
	}
	// The last row is "now": the answer must not depend on the day it is asked.
	j := clinical.JudgeWeight(plan, weighIns, weighIns[len(weighIns)-1].At)
	out := weightOutputOf(j)
	for i := range weighIns {
		var prev *clinical.WeighIn
		if i > 0 {
			prev = &weighIns[i-1]
		}
		if a := clinical.PlausibleWeight(prev, weighIns[i]); a != clinical.WeightOK {
			out.AskAgain = append(out.AskAgain, weightQuestion{rows[i], weighIns[i].Grams.Kilograms(), a.String()})
		}
	}
	return json.NewEncoder(e.stdout).Encode(out)
}

func (o weightOptions) plan(p *problems) clinical.WeightPlan {
	plan := clinical.WeightPlan{OnPlan: o.onPlan}
	if o.bcs != nil {
		plan.Score = clinical.BodyScore(*o.bcs)
		if !plan.Score.Known() {
			p.add("--bcs is %v; allowed is 1 to 9", *o.bcs)
		}
	}
	if o.target != nil {
		if !(*o.target >= 0.5 && *o.target <= clinical.MaxGrams.Kilograms()) {
			p.add("--target is %v; allowed is 0.5 to %v kg", *o.target, clinical.MaxGrams.Kilograms())
		} else {
			plan.Target = clinical.GramsOf(*o.target)
		}
	}
	if o.bcsDate != "" {
		at, bad := isoDate(o.bcsDate)
		if bad != "" {
			p.add("--bcs-date %s", bad)
		}
		plan.ScoreAt = at.Unix()
	}
	return plan
}

// readWeighIns reads date,kg,scale, oldest first; the second result is each one's row.
func readWeighIns(in io.Reader, p *problems) ([]clinical.WeighIn, []int) {
	var out []clinical.WeighIn
	var rows []int
	for _, r := range readTable(in, []string{"date", "kg", "scale"}, p) {
		before := len(*p)
		at, bad := isoDate(r.cells[0])
		if bad == "" && (at.Year() < 2000 || at.Year() > 2099) {
			bad = fmt.Sprintf("%q is not between the years 2000 and 2099", clip(r.cells[0]))
		}
		if bad != "" {
			p.at(r.row, "date", "%s", bad)
		} else if n := len(out) - 1; n >= 0 && at.Unix() < out[n].At {
			p.at(r.row, "date", "%s is before row %d; rows go from old to new", r.cells[0], rows[n])
		}
		kg, bad := number(r.cells[1])
		if bad == "" && !(kg >= 0.1 && kg <= clinical.MaxGrams.Kilograms()) {
			bad = fmt.Sprintf("%s is not a dog's weight; allowed is 0.1 to %v kg", r.cells[1], clinical.MaxGrams.Kilograms())
		}
		if bad != "" {
			p.at(r.row, "kg", "%s", bad)
		}
		scale, ok := clinical.ScaleByCode(r.cells[2])
		if !ok {
			p.at(r.row, "scale", "%q is not home or clinic", clip(r.cells[2]))
		}
		if len(*p) == before {
			out = append(out, clinical.WeighIn{At: at.Unix(), Grams: clinical.GramsOf(kg), Scale: scale})
			rows = append(rows, r.row)
		}
	}
	return out, rows
}

func weightOutputOf(j clinical.WeightJudgement) weightOutput {
	out := weightOutput{
		PaceBasis: j.Pace.Status.String(), TargetSource: j.Target.Source.String(),
		Arrival: weightArrival{Status: j.Arrival.Status.String()},
		RERKcal: j.RestingKcal, StartKG: j.Start.Kilograms(), LatestKG: j.Latest.Grams.Kilograms(),
		LostPercent: j.Lost, LostAcrossScales: j.LostAcrossScales, Milestones: []weightMilestone{}, Flags: []weightFlag{},
		AskAgain: []weightQuestion{}, Ignored: []weightIgnored{},
	}
	if j.Pace.Status != clinical.PaceUnknown {
		out.PacePercentPerWeek, out.PaceLow, out.PaceHigh = &j.Pace.PerWeek, &j.Pace.Low, &j.Pace.High
		out.PaceBand = j.Pace.Band.String()
	}
	if j.Target.Source != clinical.NoTarget {
		kg := j.Target.Grams.Kilograms()
		out.TargetKG, out.RERTargetKcal = &kg, &j.RestingTargetKcal
	}
	if j.Arrival.Status == clinical.ArrivalKnown {
		out.Arrival.Date, out.Arrival.Early = dateOf(j.Arrival.At), dateOf(j.Arrival.Early)
		out.Arrival.Late = dateOf(j.Arrival.Late)
	}
	for _, m := range j.Milestones {
		out.Milestones = append(out.Milestones, weightMilestone{
			m.Percent, m.Grams.Kilograms(), m.Reached.String(), dateOf(m.ReachedAt), m.Source,
		})
	}
	for _, f := range j.Flags {
		out.Flags = append(out.Flags, weightFlagOf(f))
	}
	for _, i := range j.Ignored {
		out.Ignored = append(out.Ignored, weightIgnored{*dateOf(i.At), i.Grams.Kilograms(), i.Reason.String()})
	}
	return out
}

// dateOf is the UTC date of a time; nil for none.
func dateOf(unix int64) *string {
	if unix == 0 {
		return nil
	}
	s := time.Unix(unix, 0).UTC().Format(time.DateOnly)
	return &s
}

func weightFlagOf(f clinical.WeightFlag) weightFlag {
	out := weightFlag{Flag: f.Kind.String(), Why: weightWhy(f)}
	if f.Kind == clinical.WeightThin {
		return out
	}
	from, to, limit := f.From.Grams.Kilograms(), f.To.Grams.Kilograms(), f.ScaleError/1000
	out.FromDate, out.ToDate = dateOf(f.From.At), dateOf(f.To.At)
	out.FromKG, out.ToKG, out.LostPercent, out.PerWeek = &from, &to, &f.Percent, &f.PerWeek
	out.ScaleErrorKG, out.Certainty, out.AcrossScales = &limit, f.By.String(), f.AcrossScales
	return out
}

// weightWhy says a flag in one sentence with its numbers.
func weightWhy(f clinical.WeightFlag) string {
	days := math.Round(float64(f.To.At-f.From.At) / (24 * 60 * 60))
	span := fmt.Sprintf("%.2f kg to %.2f kg in %.0f days", f.From.Grams.Kilograms(), f.To.Grams.Kilograms(), days)
	var why string
	switch f.Kind {
	case clinical.WeightThin:
		return fmt.Sprintf("The body condition score is %v of 9, which is thin.", float64(f.Score))
	case clinical.WeightGain:
		why = "Heavier on a loss plan: " + span
	case clinical.WeightTooFast:
		why = fmt.Sprintf("Losing %.1f %% a week, more than %.1f: %s", f.PerWeek, f.Limit, span)
	case clinical.WeightPlateau:
		why = "No loss that the scale could show: " + span
	case clinical.WeightLoss:
		why = fmt.Sprintf("Lost %.1f %% without a plan to: %s", f.Percent, span)
	case clinical.WeightScaleChanged:
		return fmt.Sprintf("The last two weigh-ins are on different scales (%s, then %s): %s.", f.From.Scale, f.To.Scale, span)
	}
	if f.AcrossScales {
		why += fmt.Sprintf(", on different scales (%s, then %s)", f.From.Scale, f.To.Scale)
	}
	return why + "."
}
