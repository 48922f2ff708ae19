package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/record"
	"gaitpost/internal/store"
)

// document is one that can be made, by its name on the command line.
type document struct {
	name, about string
	write       func(io.Writer, record.Input) error
}

var papers = []document{
	{"report", "for a consultation, two pages", record.Report},
	{"card", "for the fridge: items, numbers, danger signs", record.Card},
	{"timeline", "everything that happened to the household", record.Timeline},
	{"reaction", "a suspected-reaction sheet, filled in as far as the record goes", record.ReactionSheet},
	{"referral", "a summary for a physiotherapist or hydrotherapist, to print", record.Referral},
	{"referral-text", "the same summary as plain text", record.ReferralText},
	{"csv", "readings and weights as a table", record.ExportCSV},
}

type reportOptions struct {
	storeFlags
	phone, dog, what string
	numbers          bool
}

func newReportCmd(e env) *cobra.Command {
	var o reportOptions
	var about strings.Builder
	for _, p := range papers {
		fmt.Fprintf(&about, "  %-13s %s\n", p.name, p.about)
	}
	cmd := &cobra.Command{
		Use:   "report --phone NUMBER --dog NAME [--what report|card|timeline|reaction|referral|referral-text|csv] > FILE",
		Short: "Print a dog's report, card, timeline, reaction sheet, referral or table",
		Long: `Report writes a page of HTML to print, or a table, from the record:

` + about.String() + `
  gaitpost report --config clinics --phone "07700 900401" --dog Bramble > bramble.html`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return o.run(cmd.Context(), e) },
	}
	f := cmd.Flags()
	o.storeFlags.add(f)
	f.StringVar(&o.phone, "phone", "", "the owner's number")
	f.StringVar(&o.dog, "dog", "", "the dog's name; not needed where there is one dog")
	f.StringVar(&o.what, "what", "report", "report, card, timeline, reaction, referral, referral-text or csv")
	f.BoolVar(&o.numbers, "numbers", false, "with a referral: show the practice's and the owner's telephone numbers")
	return cmd
}

func (o *reportOptions) run(ctx context.Context, e env) error {
	k := slices.IndexFunc(papers, func(p document) bool { return p.name == o.what })
	if k < 0 {
		return fmt.Errorf("--what is %q; it can be report, card, timeline, reaction, referral, referral-text or csv", o.what)
	}
	if o.phone == "" {
		return errors.New("--phone is missing: whose dog is it?")
	}
	rules, err := o.rules(e)
	if err != nil {
		return err
	}
	owner, _, err := contact.ParsePhone(o.phone, rules.Region)
	if err != nil {
		return fmt.Errorf("--phone: %w", err)
	}
	hasher, err := contactHasher(e)
	if err != nil {
		return err
	}
	st, closeStore, err := o.open(ctx, e, hasher)
	if err != nil {
		return err
	}
	defer closeStore()
	in, err := recordOf(ctx, st, rules, owner)
	if err != nil {
		return err
	}
	if in.Dog, err = dogCalled(in.Household, o.dog, o.what); err != nil {
		return err
	}
	in.Now, in.Numbers = e.now(), o.numbers
	return papers[k].write(e.stdout, in)
}

// recordOf reads a household and its whole log.
func recordOf(ctx context.Context, st *store.Store, r *care.Rules, owner contact.Address) (record.Input, error) {
	id := st.ID(r.Clinic, owner)
	l, err := st.Load(ctx, r.Clinic, id)
	if err != nil {
		return record.Input{}, err
	}
	if l.Found == store.NotFound {
		return record.Input{}, fmt.Errorf("no household is enrolled with the number %s at %s", contact.Mask(owner), r.Name)
	}
	in := record.Input{Rules: r, Household: &l.Household}
	if in.NameOf, err = staffNames(ctx, st, r); err != nil {
		return record.Input{}, err
	}
	in.Entries, err = wholeLog(ctx, st, r, l.Household.ID)
	return in, err
}

// staffNames gives the names of the desk's accounts by their ids.
func staffNames(ctx context.Context, st *store.Store, r *care.Rules) (func(string) string, error) {
	list, err := st.Accounts(ctx, r.Clinic)
	if err != nil {
		return nil, err
	}
	names := map[string]string{byCommandLine: "the practice"}
	for _, a := range list {
		names[a.ID] = a.Name
	}
	return func(id string) string {
		if p, ok := r.Practitioner(id); ok {
			return p.Name
		}
		return names[id]
	}, nil
}

// dogCalled is the place of a dog in its household.
func dogCalled(h *care.Household, name, what string) (int, error) {
	if name == "" && (len(h.Dogs) == 1 || what == "timeline") {
		return 0, nil
	}
	var names []string
	for i, d := range h.Dogs {
		if strings.EqualFold(d.Name, name) {
			return i, nil
		}
		names = append(names, d.Name)
	}
	if name == "" {
		return 0, fmt.Errorf("--dog is missing; the household has %s", strings.Join(names, ", "))
	}
	return 0, fmt.Errorf("there is no dog called %q in this household; it has %s", name, strings.Join(names, ", "))
}
