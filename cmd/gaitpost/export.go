package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/record"
	"gaitpost/internal/store"
)

type exportOptions struct {
	accountOptions
	phone, dog, format string
	numbers            bool
}

// newExportCmd hands a dog's or a clinic's records over to other programs.
func newExportCmd(e env) *cobra.Command {
	var o exportOptions
	cmd := &cobra.Command{
		Use:   "export --format csv|fhir|ical [--phone NUMBER [--dog NAME]] > FILE",
		Short: "Hand a dog's or a whole clinic's records over to another program",
		Long: `Export writes the records of one household's dogs, or of every dog of the clinic,
to standard output:

  csv    check-ins, weights and alerts as one table, safe to open in a spreadsheet
  fhir   a FHIR R4 bundle: patients, the check-in's form and answers, index and
         weight, plans. The index is Gaitpost's own and not a validated instrument.
  ical   due dates as a calendar

The practice system's own number goes with every record. Owners' names go along in
fhir, telephone numbers only with --numbers. How far it has come is said on standard error.

  gaitpost export --config clinics --format fhir > clinic.json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.with(cmd.Context(), e, func(st *store.Store, r *care.Rules) error { return o.run(cmd.Context(), e, st, r) })
		},
	}
	f := cmd.Flags()
	o.add(f)
	f.StringVar(&o.format, "format", "", "csv, fhir or ical")
	f.StringVar(&o.phone, "phone", "", "one household's number; without it the whole clinic is written")
	f.StringVar(&o.dog, "dog", "", "one dog of that household")
	f.BoolVar(&o.numbers, "numbers", false, "write owners' telephone numbers too")
	return cmd
}

// exporterOf begins a file of a format.
func exporterOf(format string, w io.Writer, r *care.Rules, now time.Time) (record.Exporter, error) {
	switch format {
	case "csv":
		return record.NewTable(w), nil
	case "fhir":
		return record.NewBundle(w, r, now), nil
	case "ical":
		return record.NewCalendar(w, "Due dates, "+r.Name, now), nil
	}
	return nil, fmt.Errorf("--format is %q; it can be csv, fhir or ical", format)
}

func (o *exportOptions) run(ctx context.Context, e env, st *store.Store, r *care.Rules) error {
	out := bufio.NewWriter(e.stdout)
	x, err := exporterOf(o.format, out, r, e.now())
	if err != nil {
		return err
	}
	what := o.format + ", the whole clinic"
	switch {
	case o.phone != "":
		what = o.format + ", one household"
		err = o.one(ctx, e, st, r, x)
	case o.dog != "":
		err = errors.New("--dog needs --phone: whose dog is it?")
	default:
		err = o.all(ctx, e, st, r, x)
	}
	if err == nil {
		err = errors.Join(x.Close(), out.Flush())
	}
	if err != nil {
		return err
	}
	return st.Audit(ctx, account.Entry{At: e.now().Unix(), Clinic: r.Clinic, Account: byCommandLine, Deed: account.Exported, Detail: what})
}

func (o *exportOptions) one(ctx context.Context, e env, st *store.Store, r *care.Rules, x record.Exporter) error {
	owner, _, err := contact.ParsePhone(o.phone, r.Region)
	if err != nil {
		return fmt.Errorf("--phone: %w", err)
	}
	in, err := recordOf(ctx, st, r, owner)
	if err != nil {
		return err
	}
	in.Now, in.Numbers = e.now(), o.numbers
	if o.dog == "" {
		return addDogs(x, in)
	}
	if in.Dog, err = dogCalled(in.Household, o.dog, o.format); err != nil {
		return err
	}
	return x.Add(in)
}

// addDogs writes every dog of a household.
func addDogs(x record.Exporter, in record.Input) error {
	for i := range in.Household.Dogs {
		in.Dog = i
		if err := x.Add(in); err != nil {
			return err
		}
	}
	return nil
}

// all writes every household of the clinic, one at a time.
func (o *exportOptions) all(ctx context.Context, e env, st *store.Store, r *care.Rules, x record.Exporter) error {
	names, err := staffNames(ctx, st, r)
	if err != nil {
		return err
	}
	ids, err := st.Enrolled(ctx, r.Clinic)
	if err != nil {
		return err
	}
	const every = 50
	for i, id := range ids {
		l, err := st.Load(ctx, r.Clinic, id)
		if err != nil {
			return err
		}
		if l.Found != store.NotFound && !l.Household.Stranger {
			in := record.Input{Rules: r, Household: &l.Household, NameOf: names, Now: e.now(), Numbers: o.numbers}
			if in.Entries, err = wholeLog(ctx, st, r, l.Household.ID); err != nil {
				return err
			}
			if err := addDogs(x, in); err != nil {
				return err
			}
		}
		if n := i + 1; n%every == 0 || n == len(ids) {
			fmt.Fprintf(e.stderr, "export: %d of %d households\n", n, len(ids))
		}
	}
	return nil
}

// wholeLog reads everything that a household's log holds.
func wholeLog(ctx context.Context, st *store.Store, r *care.Rules, id contact.ID) ([]record.Entry, error) {
	const at = 1000 // entries read at a time
	var list []record.Entry
	for from := 0; ; from += at {
		entries, err := st.ReadLog(ctx, r.Clinic, id, from, at)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			list = append(list, record.Entry{At: e.At, Event: e.Event, Facts: e.Facts, Refusal: e.Refusal})
		}
		if len(entries) < at {
			return list, nil
		}
	}
}
