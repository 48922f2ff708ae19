package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/spf13/cobra"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/store"
)

type backupOptions struct {
	accountOptions
	over bool
}

func theBackupFile(_ *cobra.Command, args []string) error {
	if len(args) != 1 {
		return errors.New("give the one file")
	}
	return nil
}

// newBackupCmd writes everything of a clinic into a file.
func newBackupCmd(e env) *cobra.Command {
	var o backupOptions
	cmd := &cobra.Command{
		Use:   "backup FILE",
		Short: "Write everything that a clinic's store holds into a file",
		Long: `Backup writes households with their whole record, accounts, practitioners' lines,
settings changed at the desk, the trail of who saw and changed what, and who is not
to be texted since they were erased. The service may go on meanwhile: each household
is as of one instant. The file has a version and a checksum.

Values stay sealed with the keys they are stored with, so that the file is worth no
more to a thief than Redis' own; it is restored with the same keys and the same
secret for contact ids. Where no key is set, the file is in the clear: lock it away.
Texts that wait to be sent, sign-ins and calendar addresses are not in it.`,
		Args: theBackupFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.with(cmd.Context(), e, func(s *store.Store, r *care.Rules) error { return backUp(cmd.Context(), e, s, r, args[0]) })
		},
	}
	o.add(cmd.Flags())
	return cmd
}

// every tells how far something has come, now and then.
func every(e env, what string) func(int) {
	return func(n int) {
		if n%100 == 0 {
			fmt.Fprintf(e.stderr, "%s: %d households\n", what, n)
		}
	}
}

// backUp writes beside the file and renames it once it is whole.
func backUp(ctx context.Context, e env, s *store.Store, r *care.Rules, name string) error {
	partly := name + ".partly"
	f, err := os.OpenFile(partly, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600) // #nosec G304 -- the file that the command line names
	if err != nil {
		return fmt.Errorf("the backup can't be written: %w", err)
	}
	done, err := s.Backup(ctx, f, r.Clinic, e.now(), every(e, "backup"))
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(partly, name)
	}
	if err != nil {
		_ = os.Remove(partly)
		return fmt.Errorf("no backup was made: %w", err)
	}
	sealed := "sealed with the store's keys"
	if done.Head.Seals == "" {
		sealed = "in the clear: lock it away"
	}
	fmt.Fprintf(e.stdout, "%d households in %d records, %s\n", done.Households, done.Records, sealed)
	return s.Audit(ctx, account.Entry{At: e.now().Unix(), Clinic: r.Clinic, Account: byCommandLine, Deed: account.BackedUp})
}

// newRestoreCmd puts a clinic back as a backup had it.
func newRestoreCmd(e env) *cobra.Command {
	var o backupOptions
	cmd := &cobra.Command{
		Use:   "restore FILE",
		Short: "Put a clinic back as a backup had it",
		Long: `Restore reads the backup through first, with its checksum and every household
opened, and writes nothing where something is wrong with it. Stop the service
meanwhile. A clinic that has records already is refused; with --over what the backup
knows takes their place, and what it doesn't know stays.

Each household is written whole. Broken off, the same command goes on. Erasures that
the store or the backup knows are made again: a backup brings nobody back who asked
to be erased. Texts that were waiting to be sent are not.`,
		Args: theBackupFile,
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.with(cmd.Context(), e, func(s *store.Store, r *care.Rules) error { return o.restore(cmd.Context(), e, s, r, args[0]) })
		},
	}
	o.add(cmd.Flags())
	cmd.Flags().BoolVar(&o.over, "over", false, "restore over a clinic that has records")
	return cmd
}

func (o *backupOptions) restore(ctx context.Context, e env, s *store.Store, r *care.Rules, name string) error {
	f, err := os.Open(name) // #nosec G304 -- the file that the command line names
	if err != nil {
		return fmt.Errorf("the backup can't be read: %w", err)
	}
	defer f.Close()
	done, err := s.Restore(ctx, f, store.Restoring{Rules: r, Now: e.now(), Over: o.over, Progress: every(e, "restore")})
	switch {
	case errors.Is(err, store.ErrNotEmpty):
		return fmt.Errorf("nothing was restored: %w; --over restores over them", err)
	case errors.Is(err, store.ErrBackup), errors.Is(err, store.ErrOtherStore), errors.Is(err, store.ErrDamaged):
		return fmt.Errorf("nothing was restored: %w", err)
	case err != nil:
		return fmt.Errorf("the restore was broken off: %w; run it again", err)
	}
	fmt.Fprintf(e.stdout, "%d households of %s; %d erasures made since were made again\n",
		done.Households, time.Unix(done.Head.Made, 0).In(r.Zone).Format("2 Jan 2006, 15:04"), done.ErasedAgain)
	return s.Audit(ctx, account.Entry{At: e.now().Unix(), Clinic: r.Clinic, Account: byCommandLine, Deed: account.Restored})
}
