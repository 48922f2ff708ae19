package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"gaitpost/internal/store"
)

// sealKeys are the keys that seal what is stored; none where none is set.
func sealKeys(e env) (*store.Keyring, error) {
	text, err := setting(e, envSealKeys)
	if err != nil {
		return nil, err
	}
	keys, err := store.ParseKeyring(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", envSealKeys.name, err)
	}
	return keys, nil
}

// newKeysCmd keeps the keys that stored values are sealed with.
func newKeysCmd(e env) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "keys",
		Short: "Seal what is stored: make keys, change them, see which are in use",
		Long: `Messages, names, numbers and everything else that Redis keeps can be sealed with
keys that Redis never sees, so that a copy of the database is worth nothing. The
keys stand in $GAITPOST_SEAL_KEYS, or in the file that $GAITPOST_SEAL_KEYS_FILE
names: one a line, the newest last. The newest seals, all of them open.

The first key, and each new one, is brought in like this, with nothing stopped:

  1. gaitpost keys new          prints a key; keep a copy apart from the backups
  2. add it as the last line, with the word "wait" before it, and restart every
     process, one after the other: now all of them can open what it seals
  3. take "wait" away and restart them again: from now on it seals
  4. gaitpost keys rotate       seals everything anew, beside the running service;
     it may be stopped and run again
  5. gaitpost keys retire OLD   once nothing is sealed with the old key, which may
     then be removed from the file. A backup from before still needs it. After
     the first key: "gaitpost keys retire clear", and no value that is not sealed
     is ever taken again

Whoever loses the keys has lost what is sealed with them.`,
	}
	cmd.AddCommand(newKeysNewCmd(e), newKeysStatusCmd(e), newKeysRotateCmd(e), newKeysRetireCmd(e))
	return cmd
}

func newKeysNewCmd(e env) *cobra.Command {
	return &cobra.Command{
		Use: "new", Short: "Print a new key", Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			key, err := store.NewKey(rand.Reader)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintln(e.stdout, key)
			return err
		},
	}
}

func newKeysStatusCmd(e env) *cobra.Command {
	var o keysOptions
	cmd := &cobra.Command{
		Use: "status", Short: "Count what is stored by the key it is sealed with", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.with(cmd.Context(), e, func(s *store.Store, k *store.Keyring) error {
				found, err := s.Sweep(cmd.Context(), store.Sweep{})
				if err != nil {
					return err
				}
				return o.report(cmd.Context(), e, s, k, found)
			})
		},
	}
	o.add(cmd.Flags())
	return cmd
}

func newKeysRotateCmd(e env) *cobra.Command {
	var o keysOptions
	cmd := &cobra.Command{
		Use: "rotate", Short: "Seal everything anew with the newest key, beside the running service", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.with(cmd.Context(), e, func(s *store.Store, k *store.Keyring) error {
				return o.rotate(cmd.Context(), e, s, k)
			})
		},
	}
	o.add(cmd.Flags())
	return cmd
}

func newKeysRetireCmd(e env) *cobra.Command {
	var o keysOptions
	cmd := &cobra.Command{
		Use:   "retire KEY-ID|clear",
		Short: "Let a key go that nothing is sealed with any more",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return errors.New("name one key by its 8 digits, or clear; gaitpost keys status lists them")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.with(cmd.Context(), e, func(s *store.Store, k *store.Keyring) error {
				return o.retire(cmd.Context(), e, s, k, store.KeyID(args[0]))
			})
		},
	}
	o.add(cmd.Flags())
	return cmd
}

// keysOptions say which deployment's keys; they are the same for all its clinics.
type keysOptions struct{ storeFlags }

func (o *keysOptions) add(f *pflag.FlagSet) {
	f.StringVar(&o.redis, "redis", "", "where Redis is, like redis://127.0.0.1:6379/0 (default $GAITPOST_REDIS_URL)")
	f.BoolVar(&o.allowVolatile, "allow-volatile", false, "use a Redis that keeps nothing on disk")
}

// with does something with the store and its keys.
func (o *keysOptions) with(ctx context.Context, e env, do func(*store.Store, *store.Keyring) error) error {
	k, err := sealKeys(e)
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
	return do(s, k)
}

// rotate walks over the store until nothing is left to do, at most a few times:
// the service may write with an older key until it is restarted.
func (o *keysOptions) rotate(ctx context.Context, e env, s *store.Store, k *store.Keyring) error {
	if k.Sealing() == "" {
		return fmt.Errorf("%s holds no key that seals; make one with gaitpost keys new", envSealKeys.name)
	}
	looked := 0
	for range 3 {
		found, err := s.Sweep(ctx, store.Sweep{Reseal: true, Progress: func(f store.Sealed) {
			if f.Keys/10_000 > looked/10_000 {
				fmt.Fprintf(e.stderr, "%d records looked at, %s sealed anew\n", f.Keys, count(f.Resealed, "value"))
			}
			looked = f.Keys
		}})
		if err != nil {
			return fmt.Errorf("%w; run it again to go on where it stopped", err)
		}
		fmt.Fprintf(e.stdout, "%s sealed anew with %s; %d changed meanwhile.\n", count(found.Resealed, "value"), k.Sealing(), found.Changed)
		if found.Resealed == 0 && found.Changed == 0 {
			break
		}
	}
	found, err := s.Sweep(ctx, store.Sweep{})
	if err != nil {
		return err
	}
	return o.report(ctx, e, s, k, found)
}

// report says what is sealed with which key, and what may be done next.
func (o *keysOptions) report(ctx context.Context, e env, s *store.Store, k *store.Keyring, f store.Sealed) error {
	marked, sealedOnly, err := s.MarkedKeys(ctx)
	if err != nil {
		return err
	}
	seals := string(k.Sealing())
	if seals == "" {
		seals = "no key: new values are stored in the clear"
	}
	fmt.Fprintln(e.stdout, "Sealing now:", seals)
	ids := slices.Sorted(maps.Keys(f.Values))
	for _, id := range append(ids, missingFrom(ids, marked)...) {
		fmt.Fprintf(e.stdout, "  %-8s  %s%s\n", id, count(f.Values[id], "value"), left(f, k, id))
	}
	if sealedOnly {
		fmt.Fprintln(e.stdout, "Values in the clear are refused.")
	}
	if f.Damaged > 0 {
		fmt.Fprintf(e.stdout, "%s can't be opened with the keys given, or can't be read at all.\n", count(f.Damaged, "value"))
	}
	if f.Unknown > 0 {
		fmt.Fprintf(e.stdout, "%s of a kind that this version does not know: another program's, or a newer version's.\n", count(f.Unknown, "record"))
	}
	return nil
}

func left(f store.Sealed, k *store.Keyring, id store.KeyID) string {
	switch n := f.Values[id]; {
	case id == k.Sealing():
		return ""
	case n == 0:
		return fmt.Sprintf("; it may go: gaitpost keys retire %s", id)
	case n == f.Waiting[id]:
		return ", all waiting to be sent; they go by themselves"
	default:
		return "; gaitpost keys rotate seals them anew"
	}
}

func missingFrom(have, all []store.KeyID) []store.KeyID {
	return slices.DeleteFunc(slices.Clone(all), func(id store.KeyID) bool { return slices.Contains(have, id) })
}

// retire lets a key go, after a look at everything.
func (o *keysOptions) retire(ctx context.Context, e env, s *store.Store, k *store.Keyring, id store.KeyID) error {
	if id == k.Sealing() || id == store.InTheClear && k.Sealing() == "" {
		return fmt.Errorf("%s is what seals new values; bring in a newer key first", id)
	}
	if marked, _, err := s.MarkedKeys(ctx); err != nil {
		return err
	} else if id != store.InTheClear && !slices.Contains(marked, id) {
		return fmt.Errorf("there is no key %s in use; gaitpost keys status lists those there are", id)
	}
	found, err := s.Sweep(ctx, store.Sweep{})
	switch n := found.Values[id]; {
	case err != nil:
		return err
	case n > 0:
		return fmt.Errorf("%s still sealed with %s (%d of them waiting to be sent); run gaitpost keys rotate, and restart what still runs with it", count(n, "value"), id, found.Waiting[id])
	case id == store.InTheClear:
		err = s.RefuseClear(ctx)
	default:
		err = s.RetireKey(ctx, id)
	}
	if err != nil {
		return err
	}
	_, err = io.WriteString(e.stdout, string(id)+" is retired: nothing here needs it. Backups made before do.\n")
	return err
}
