package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"gaitpost/dialog"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

func newAuditCmd(e env) *cobra.Command {
	o := storeFlags{}
	cmd := &cobra.Command{
		Use:   "audit",
		Short: "Prove that every household's log bears out its record",
		Long: `Audit replays the log of every household of a clinic, or of all clinics: that no
turn is missing or there twice, that the log ends where the record does, that the
alerts opened and closed in it are the record's, and that every turn which was
decided with today's settings, scripts, lexicon and formula comes out as it did
when it is decided again. Turns of other versions are counted and their outcomes
taken as they are.

It changes nothing and runs beside the service. Each difference is a line with the
household's id, without names, numbers or words of anybody. The exit code is 0
where there is none, 1 otherwise.`,
		Args: cobra.NoArgs,
	}
	o.add(cmd.Flags())
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return audit(cmd.Context(), e, o) }
	return cmd
}

// audited is what an audit found, over all households it looked at.
type audited struct {
	households, turns, redecided, older, unsure, different int
}

// errDifferent ends the program with the exit code of something found.
var errDifferent = errors.New("the audit found differences; the lines above name them")

func audit(ctx context.Context, e env, o storeFlags) error {
	ids, err := auditedClinics(e, o)
	if err != nil {
		return err
	}
	hasher, err := contactHasher(e)
	if err != nil {
		return err
	}
	var all audited
	for _, id := range ids {
		one := o
		one.clinic = id
		found, err := auditClinic(ctx, e, &one, hasher)
		if err != nil {
			return err
		}
		all.add(found)
	}
	fmt.Fprintf(e.stdout, "%s, %s: %d decided again, %d of other versions", count(all.households, "household"),
		count(all.turns, "turn"), all.redecided, all.older)
	if all.unsure > 0 {
		fmt.Fprintf(e.stdout, ", %d after those and not decided again", all.unsure)
	}
	if all.different > 0 {
		fmt.Fprintf(e.stdout, "; %s differ\n", count(all.different, "household"))
		return errDifferent
	}
	fmt.Fprintln(e.stdout, "; no difference")
	return nil
}

// auditedClinics are the clinic that was named, or all.
func auditedClinics(e env, o storeFlags) ([]string, error) {
	if o.clinic != "" {
		return []string{o.clinic}, nil
	}
	config, err := flagOr(e, "--config", o.config, envConfig)
	if err != nil {
		return nil, err
	}
	builtin, err := dialog.Builtin()
	if err != nil {
		return nil, fmt.Errorf("the built-in scripts can't be read: %w", err)
	}
	src := clinic.SourceAt(config, e.getenv, builtin)
	src.MissingSecrets = clinic.Doubtful
	clinics, problems := clinic.LoadFrom(src)
	if err := refuse(problems); err != nil {
		return nil, err
	}
	return clinicList(clinics).IDs(), nil
}

func auditClinic(ctx context.Context, e env, o *storeFlags, h *contact.Hasher) (audited, error) {
	rules, err := o.rules(e)
	if err != nil {
		return audited{}, err
	}
	st, closeStore, err := o.open(ctx, e, h)
	if err != nil {
		return audited{}, err
	}
	defer closeStore()
	var found audited
	err = st.Households(ctx, rules.Clinic, func(id contact.ID) error {
		p, err := st.Prove(ctx, rules, id)
		if errors.Is(err, store.ErrNotFound) {
			return nil // it went meanwhile
		}
		if err != nil {
			return err
		}
		found.take(p)
		sayDifferences(e.stdout, rules.Clinic, id, p)
		if found.households%progressEvery == 0 {
			fmt.Fprintf(e.stderr, "%s: %d households, %d turns\n", rules.Clinic, found.households, found.turns)
		}
		return nil
	})
	fmt.Fprintf(e.stderr, "%s: done, %d households, %d turns\n", rules.Clinic, found.households, found.turns)
	return found, err
}

const progressEvery = 500 // households

func sayDifferences(w io.Writer, clinicID string, id contact.ID, p store.Proof) {
	for _, d := range p.Differences {
		fmt.Fprintf(w, "%s household %s: %s: %s\n", clinicID, id, d.Kind, d.Detail)
	}
}

func (a *audited) take(p store.Proof) {
	a.households++
	a.turns += p.Turns
	a.redecided += p.Redecided
	a.older += p.Older
	a.unsure += p.Unsure
	if len(p.Differences) > 0 {
		a.different++
	}
}

func (a *audited) add(b audited) {
	a.households += b.households
	a.turns += b.turns
	a.redecided += b.redecided
	a.older += b.older
	a.unsure += b.unsure
	a.different += b.different
}
