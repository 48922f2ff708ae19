package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
)

type planAction struct {
	action care.PlanAction
	about  string
}

// planActions are what can be done to a plan, as flags.
var planActions = []planAction{
	{care.PlanStart, "something new begins"},
	{care.PlanStop, "something on the plan ends"},
	{care.PlanHold, "a suspected medicine waits for the vet: its reminders and questions stop"},
	{care.PlanRestart, "something held goes on"},
	{care.PlanAdjust, "a dose or form changed; which, the vet knows"},
}

type planOptions struct {
	storeFlags
	actions map[care.PlanAction]*string
	fields  map[string]*string // by column
	comfort bool
}

func newPlanChangeCmd(e env) *cobra.Command {
	o := planOptions{actions: map[care.PlanAction]*string{}, fields: map[string]*string{}}
	cmd := &cobra.Command{
		Use:   "plan-change --phone NUMBER --dog NAME --start|--stop|--hold|--restart|--adjust WHAT",
		Short: "Record a change of a dog's plan",
		Long: `Plan-change records what the vet has decided. A new or restarted medicine is
followed by texts that ask for signs; a change that is expected to alter comfort
(--comfort) begins a new stretch, whose first weeks belong to no baseline. Names
only: no dose is kept.

  gaitpost plan-change --config clinics --phone "07700 900401" --dog Bramble \
      --start carprofen --class nsaid --comfort --reason "stiffer since the frost"`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return o.change(cmd.Context(), e, true) },
	}
	o.addFlags(cmd.Flags())
	return cmd
}

// addFlags adds those that say whose plan and what changes.
func (o *planOptions) addFlags(f *pflag.FlagSet) {
	o.storeFlags.add(f)
	for _, a := range planActions {
		o.actions[a.action] = f.String(string(a.action), "", a.about)
	}
	for _, k := range []struct{ flag, about string }{
		{"phone", "the owner's number"},
		{"dog", "the dog's name"},
		{clinic.ColumnClass, "class of a medicine: nsaid, antibody, steroid, aspirin, other"},
		{clinic.ColumnArea, "area of anything else: weight, activity, home, therapy, supplement"},
		{clinic.ColumnOn, "the day it took effect, YYYY-MM-DD (default: now)"},
		{clinic.ColumnReason, "why"},
		{clinic.ColumnBatch, "batch number of an injection"},
		{clinic.ColumnWhy, "what it is for"},
		{clinic.ColumnWho, "who does it or sees to it"},
		{clinic.ColumnReview, "when it is looked at again, YYYY-MM-DD"},
		{clinic.ColumnSource, "where it comes from: here, out-of-hours, leftovers, bought, elsewhere (default: here)"},
	} {
		o.fields[k.flag] = f.String(k.flag, "", k.about)
	}
	f.BoolVar(&o.comfort, clinic.ColumnComfort, false, "the change is expected to alter comfort")
}

// change makes the change that the flags give. What is to be known about it is
// said first, and without yes that is all that happens.
func (o *planOptions) change(ctx context.Context, e env, yes bool) error {
	fields, err := o.given()
	if err != nil {
		return err
	}
	rules, err := o.rules(e)
	if err != nil {
		return err
	}
	in := clinic.EnrolReader{Rules: rules, Now: e.now()}
	change, problems := in.PlanChange("the command line", fields)
	if err := refuse(problems); err != nil {
		return fmt.Errorf("nothing was changed; %w", err)
	}
	p, err := o.open(ctx, e)
	if err != nil {
		return err
	}
	defer p.close()
	return p.make(ctx, change.Plan, yes)
}

// given lists the fields that the flags give, with just one action among them.
func (o *planOptions) given() ([]clinic.Field, error) {
	var fields []clinic.Field
	var given []string
	for _, a := range append(planActions[:len(planActions):len(planActions)], planAction{care.PlanDetails, ""}) {
		if o.actions[a.action] == nil {
			continue
		}
		if what := *o.actions[a.action]; what != "" {
			given = append(given, "--"+string(a.action))
			fields = append(fields,
				clinic.Field{Column: clinic.ColumnAction, Name: "--" + string(a.action), Value: string(a.action)},
				clinic.Field{Column: clinic.ColumnWhat, Name: "--" + string(a.action), Value: what})
		}
	}
	if len(given) != 1 {
		msg := "say what is changed with one of --start, --stop, --hold, --restart and --adjust"
		if len(given) > 1 {
			msg += "; given are " + strings.Join(given, " and ")
		}
		return nil, errors.New(msg)
	}
	for column, value := range o.fields {
		fields = append(fields, clinic.Field{Column: column, Name: "--" + column, Value: *value})
	}
	if o.comfort {
		fields = append(fields, clinic.Field{Column: clinic.ColumnComfort, Name: "--" + clinic.ColumnComfort, Value: "yes"})
	}
	return fields, nil
}
