package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

type lostOptions struct {
	storeFlags
	found bool
}

// newLostPhoneCmd cuts a practitioner's lost telephone off at once.
func newLostPhoneCmd(e env) *cobra.Command {
	var o lostOptions
	cmd := &cobra.Command{
		Use:   "lost-phone NUMBER",
		Short: "Cut a practitioner's lost telephone off, at once and without a restart",
		Long: `From the moment this command returns, nothing more is sent to the number, and
nothing that comes from it is heeded or answered. Alerts go to her other contacts;
where she has none, to the next in line, as when nobody answers.

If she was signed in to the desk on it, end that too: gaitpost account sign-out.
With --found the telephone is taken up again.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return errors.New("give the one number that was lost, as it stands in the settings")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return o.run(cmd.Context(), e, args[0]) },
	}
	o.add(cmd.Flags())
	cmd.Flags().BoolVar(&o.found, "found", false, "the telephone is back: take it up again")
	return cmd
}

func (o *lostOptions) run(ctx context.Context, e env, number string) error {
	r, err := o.rules(e)
	if err != nil {
		return err
	}
	at, who, err := registered(r, number)
	if err != nil {
		return err
	}
	h, err := contactHasher(e)
	if err != nil {
		return err
	}
	s, closeStore, err := o.open(ctx, e, h)
	if err != nil {
		return err
	}
	defer closeStore()
	return o.cut(ctx, e, s, r, at, who)
}

// registered finds the practitioner who registered a number, and every contact of
// hers that it is; "" is the last resort.
func registered(r *care.Rules, number string) (at []contact.Address, who string, err error) {
	phone, _, err := contact.ParsePhone(number, r.Region)
	if err != nil {
		return nil, "", fmt.Errorf("the number can't be read: %w", err)
	}
	for _, p := range r.Practitioners {
		for _, a := range p.Contacts {
			if a.Value == phone.Value {
				at, who = append(at, a), p.ID
			}
		}
		if len(at) > 0 {
			return at, who, nil
		}
	}
	if r.LastResort.Value == phone.Value {
		return []contact.Address{r.LastResort}, "", nil
	}
	return nil, "", errors.New("no practitioner of this clinic has that number in the settings")
}

func (o *lostOptions) cut(ctx context.Context, e env, s *store.Store, r *care.Rules, at []contact.Address, who string) error {
	for _, a := range at {
		once := make([]byte, 8)
		_, _ = rand.Read(once) // never fails
		e := care.LineEvent{Key: "lost/" + hex.EncodeToString(once), At: e.now(), Lost: &care.Lost{Address: a, Back: o.found}}
		if _, err := s.DoLine(ctx, r, who, e); err != nil {
			return err
		}
	}
	deed, said := account.CutPhone, "is cut off: nothing is sent to it and nothing from it is heeded"
	if o.found {
		deed, said = account.RestoredLine, "is taken up again"
	}
	name := "the last resort"
	if who != "" {
		name = who
	}
	if err := s.Audit(ctx, account.Entry{At: e.now().Unix(), Clinic: r.Clinic, Account: byCommandLine, Deed: deed, Detail: name}); err != nil {
		return err
	}
	_, err := io.WriteString(e.stdout, "The telephone of "+name+" "+said+".\n")
	return err
}
