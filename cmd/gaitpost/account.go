package main

import (
	"bufio"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

// accountOptions are the flags of the account commands.
type accountOptions struct {
	storeFlags
	name, role string
	fromStdin  bool
}

// newAccountCmd keeps who may sign in to the desk.
func newAccountCmd(e env) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "account",
		Short: "Say who may sign in to the practice's desk, and as what",
		Long: `Say who may sign in to a practice's desk in the browser.

A password is made and printed once; it has to be changed at the first sign-in.
With --password-stdin it is read from standard input instead, and stays.`,
	}
	cmd.AddCommand(newAccountAddCmd(e), newAccountListCmd(e), newAccountPasswordCmd(e),
		newAccountSignOutCmd(e), newAccountRemoveCmd(e))
	return cmd
}

func newAccountAddCmd(e env) *cobra.Command {
	var o accountOptions
	cmd := &cobra.Command{
		Use:     "add SIGN-IN-NAME",
		Short:   "Add an account",
		Example: `  gaitpost account add r.lee --name "Dr Lee" --role vet`,
		Args:    oneAccount,
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.with(cmd.Context(), e, func(s *store.Store, r *care.Rules) error {
				return o.addAccount(cmd.Context(), e, s, r, args[0])
			})
		},
	}
	o.add(cmd.Flags())
	cmd.Flags().StringVar(&o.name, "name", "", "the person's name, as colleagues read it")
	cmd.Flags().StringVar(&o.role, "role", "", "vet, nurse, reception or manager")
	o.addPassword(cmd)
	return cmd
}

func newAccountListCmd(e env) *cobra.Command {
	var o accountOptions
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the accounts of a clinic",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.with(cmd.Context(), e, func(s *store.Store, r *care.Rules) error {
				return listAccounts(cmd.Context(), e, s, r)
			})
		},
	}
	o.add(cmd.Flags())
	return cmd
}

func newAccountPasswordCmd(e env) *cobra.Command {
	var o accountOptions
	cmd := &cobra.Command{
		Use:   "password SIGN-IN-NAME",
		Short: "Give an account a new password; it is signed out everywhere",
		Args:  oneAccount,
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.with(cmd.Context(), e, func(s *store.Store, r *care.Rules) error {
				return o.newPassword(cmd.Context(), e, s, r, args[0])
			})
		},
	}
	o.add(cmd.Flags())
	o.addPassword(cmd)
	return cmd
}

func newAccountSignOutCmd(e env) *cobra.Command {
	var o accountOptions
	cmd := &cobra.Command{
		Use:   "sign-out SIGN-IN-NAME",
		Short: "End every session of an account",
		Args:  oneAccount,
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.with(cmd.Context(), e, func(s *store.Store, r *care.Rules) error {
				id := account.TidyID(args[0])
				_, err := s.ChangeAccount(cmd.Context(), r.Clinic, id, func(a *account.Account) { a.Generation++ })
				return o.done(cmd.Context(), e, s, accountDeed{r.Clinic, id, account.LeftAll, err, "is signed out everywhere"})
			})
		},
	}
	o.add(cmd.Flags())
	return cmd
}

func newAccountRemoveCmd(e env) *cobra.Command {
	var o accountOptions
	cmd := &cobra.Command{
		Use:   "remove SIGN-IN-NAME",
		Short: "Remove an account; its sessions end, what it did stays in the record",
		Args:  oneAccount,
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.with(cmd.Context(), e, func(s *store.Store, r *care.Rules) error {
				id := account.TidyID(args[0])
				err := s.RemoveAccount(cmd.Context(), r.Clinic, id)
				return o.done(cmd.Context(), e, s, accountDeed{r.Clinic, id, account.Removed, err, "is removed"})
			})
		},
	}
	o.add(cmd.Flags())
	return cmd
}

func oneAccount(_ *cobra.Command, args []string) error {
	if len(args) != 1 {
		return errors.New("give one sign-in name, like r.lee")
	}
	return nil
}

func (o *accountOptions) addPassword(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&o.fromStdin, "password-stdin", false, "read the password from the first line of standard input")
}

// with does something with the store and a clinic's rules.
func (o *accountOptions) with(ctx context.Context, e env, do func(*store.Store, *care.Rules) error) error {
	r, err := o.rules(e)
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
	return do(s, r)
}

func (o *accountOptions) addAccount(ctx context.Context, e env, s *store.Store, r *care.Rules, id string) error {
	role, err := account.ParseRole(o.role)
	if err != nil {
		return fmt.Errorf("--role %w", err)
	}
	a := account.Account{ID: account.TidyID(id), Clinic: r.Clinic, Name: o.name, Role: role, Created: e.now().Unix()}
	if err := a.Check(); err != nil {
		return err
	}
	shown, err := o.setPassword(e, &a)
	if err != nil {
		return err
	}
	if err := s.AddAccount(ctx, a); err != nil {
		return err
	}
	return o.done(ctx, e, s, accountDeed{r.Clinic, a.ID, account.Added, nil, fmt.Sprintf("may sign in to %s as %s%s", r.Name, role, shown)})
}

func (o *accountOptions) newPassword(ctx context.Context, e env, s *store.Store, r *care.Rules, id string) error {
	was, err := s.Account(ctx, r.Clinic, account.TidyID(id))
	if err != nil {
		return noAccount(err, id, r)
	}
	shown, err := o.setPassword(e, &was)
	if err != nil {
		return err
	}
	_, err = s.ChangeAccount(ctx, r.Clinic, was.ID, func(a *account.Account) {
		a.Hash, a.MustChange = was.Hash, was.MustChange
		a.Generation++
	})
	return o.done(ctx, e, s, accountDeed{r.Clinic, was.ID, account.NewPassword, err, "has a new password" + shown})
}

// setPassword gives an account the password of standard input, or one that is
// made here; it returns what to print of it.
func (o *accountOptions) setPassword(e env, a *account.Account) (shown string, err error) {
	var password string
	if o.fromStdin {
		line, err := bufio.NewReader(io.LimitReader(e.stdin, 4096)).ReadString('\n')
		if err != nil && !errors.Is(err, io.EOF) {
			return "", fmt.Errorf("reading the password: %w", err)
		}
		for len(line) > 0 && (line[len(line)-1] == '\n' || line[len(line)-1] == '\r') {
			line = line[:len(line)-1]
		}
		password, a.MustChange = line, false
		if err := account.CheckPassword(password, *a); err != nil {
			return "", err
		}
	} else {
		if password, err = account.GivenPassword(rand.Reader); err != nil {
			return "", err
		}
		a.MustChange = true
		shown = "\nPassword, shown this once and to be changed at the first sign-in: " + password
	}
	a.Hash, err = account.HashPassword(password, rand.Reader)
	return shown, err
}

// accountDeed is what was done to an account, for the trail and the person.
type accountDeed struct {
	clinic, id string
	deed       account.Deed
	err        error
	said       string
}

func (o *accountOptions) done(ctx context.Context, e env, s *store.Store, d accountDeed) error {
	if d.err != nil {
		return noAccount(d.err, d.id, &care.Rules{Clinic: d.clinic})
	}
	err := s.Audit(ctx, account.Entry{At: e.now().Unix(), Clinic: d.clinic, Account: byCommandLine, Deed: d.deed, Detail: d.id})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.stdout, "%s %s\n", d.id, d.said)
	return err
}

func noAccount(err error, id string, r *care.Rules) error {
	if errors.Is(err, store.ErrNotFound) {
		return fmt.Errorf("there is no account %q at clinic %s; gaitpost account list shows those there are", id, r.Clinic)
	}
	return err
}

func listAccounts(ctx context.Context, e env, s *store.Store, r *care.Rules) error {
	list, err := s.Accounts(ctx, r.Clinic)
	if err != nil {
		return err
	}
	if len(list) == 0 {
		_, err := fmt.Fprintf(e.stdout, "Nobody may sign in to %s yet; add somebody with gaitpost account add.\n", r.Name)
		return err
	}
	t := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "sign-in name\tname\trole\tsince\tpassword")
	for _, a := range list {
		state := "own"
		if a.MustChange {
			state = "given out, to be changed"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", a.ID, a.Name, a.Role, time.Unix(a.Created, 0).In(r.Zone).Format(time.DateOnly), state)
	}
	return t.Flush()
}
