package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

type eraseOptions struct {
	contactOptions
	reason string
	sure   bool
}

// newEraseCmd takes an owner's contacts away.
func newEraseCmd(e env) *cobra.Command {
	o := &eraseOptions{}
	cmd := &cobra.Command{
		Use:   "erase --phone NUMBER --reason TEXT --sure",
		Short: "Erase an owner's contacts at their request; the clinical record is kept to its date",
		Long: `Erase takes every number and name of a household away, and nothing is sent to it
any more. The dogs' clinical record is kept until the clinic's retention date, and
goes by itself then. A keyed hash of each number stays as a mark: it may be texted
again only after a new consent (gaitpost enrol refuses it otherwise).

What people wrote in their own words stays in the record. Names and numbers within
it can't be found by a machine: look it through, where that matters.

This can't be undone. Without --sure the command only says what it would do. Local
rules come first: ask whoever advises the practice on them.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return o.run(cmd.Context(), e) },
	}
	o.add(cmd)
	cmd.Flags().StringVar(&o.reason, "reason", "", "why, as the owner may read it")
	cmd.Flags().BoolVar(&o.sure, "sure", false, "do it: it can't be undone")
	return cmd
}

func (o *eraseOptions) run(ctx context.Context, e env) error {
	if o.reason == "" {
		return errors.New("--reason is missing: why are the contacts erased? The owner may read it")
	}
	r, st, h, closeStore, err := o.household(ctx, e)
	if err != nil {
		return err
	}
	defer closeStore()
	until := r.KeptUntil(e.now())
	if !o.sure {
		fmt.Fprintf(e.stdout, "%d contacts would be erased for good; the record of %d dogs would be kept until %s.\n"+
			"This can't be undone. Repeat it with --sure.\n", len(h.Contacts), len(h.Dogs), until.In(r.Zone).Format("2 January 2006"))
		return nil
	}
	if err := erase(ctx, e, st, r, h.ID, o.reason); err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, "erased; the clinical record is kept until %s\n", until.In(r.Zone).Format("2 January 2006"))
	return nil
}

func erase(ctx context.Context, e env, st *store.Store, r *care.Rules, id contact.ID, why string) error {
	once := make([]byte, 8)
	_, _ = rand.Read(once) // never fails
	event := care.Event{Key: "erase/" + hex.EncodeToString(once), At: e.now(), Practice: &care.Practice{By: byCommandLine, Erase: &care.Erasure{Why: why}}}
	res, err := st.Erase(ctx, r, id, event)
	switch {
	case err != nil:
		return fmt.Errorf("the erasure was broken off: %w; run it again", err)
	case res.Reason == care.PracticeRefused:
		return fmt.Errorf("nothing was erased: %s", res.Refusal)
	}
	return st.Audit(ctx, account.Entry{At: e.now().Unix(), Clinic: r.Clinic, Account: byCommandLine, Deed: account.Erased, Household: string(id), Detail: why})
}
