package store

import (
	"cmp"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"slices"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/account"
	"gaitpost/internal/contact"
)

//go:embed scripts/swap.lua
var swapSource string

var swapScript = newScript(swapSource)

// ErrAccountTaken says that a clinic already has an account of that name.
var ErrAccountTaken = errors.New("there is already an account with this sign-in name")

// storedAccount is an account with where it lies and what lies there.
type storedAccount struct {
	account.Account
	field, record string
}

// accountFields are the fields that an account may lie in: where it is put, and
// where an earlier version put it.
func (s *Store) accountFields(clinic, id string) [2]string {
	return [2]string{string(s.hasher.ID(clinic, contact.Address{Channel: "account", Value: id})), id}
}

// accountWhere is where an account is sealed for.
func accountWhere(u unit, field string) string { return accountsKey(u) + "/" + field }

// readAccount reads the first of an account's fields that is there. Errors wrap
// ErrNotFound, ErrUnavailable or ErrDamaged.
func (s *Store) readAccount(u unit, at [2]string, got *redis.SliceCmd) (storedAccount, error) {
	values, err := got.Result()
	if err != nil {
		return storedAccount{}, wrap("loading an account", err)
	}
	for i, v := range values {
		record, ok := v.(string)
		if !ok {
			continue
		}
		a := storedAccount{field: at[i], record: record}
		if err := s.unpack(accountWhere(u, a.field), record, &a.Account); err != nil {
			return storedAccount{}, fmt.Errorf("reading the account %s: %w", at[1], err)
		}
		return a, nil
	}
	return storedAccount{}, fmt.Errorf("account %s: %w", at[1], ErrNotFound)
}

// AddAccount keeps a new account. Errors wrap ErrAccountTaken, ErrUnavailable,
// ErrDamaged or those of account.Check.
func (s *Store) AddAccount(ctx context.Context, a account.Account) error {
	if err := a.Check(); err != nil {
		return err
	}
	switch _, err := s.account(ctx, a.Clinic, a.ID); {
	case err == nil:
		return fmt.Errorf("adding the account %s: %w", a.ID, ErrAccountTaken)
	case !errors.Is(err, ErrNotFound):
		return err
	}
	done, err := s.swap(ctx, storedAccount{Account: a, field: s.accountFields(a.Clinic, a.ID)[0]})
	if err == nil && !done {
		return fmt.Errorf("adding the account %s: %w", a.ID, ErrAccountTaken)
	}
	return err
}

// Account returns one account of a clinic. Errors wrap ErrNotFound,
// ErrUnavailable or ErrDamaged.
func (s *Store) Account(ctx context.Context, clinic, id string) (account.Account, error) {
	a, err := s.account(ctx, clinic, id)
	return a.Account, err
}

func (s *Store) account(ctx context.Context, clinic, id string) (storedAccount, error) {
	u, at := s.deskUnit(clinic), s.accountFields(clinic, id)
	return s.readAccount(u, at, s.rdb.HMGet(ctx, accountsKey(u), at[:]...))
}

// Accounts lists a clinic's accounts by sign-in name. Errors wrap
// ErrUnavailable or ErrDamaged.
func (s *Store) Accounts(ctx context.Context, clinic string) ([]account.Account, error) {
	u := s.deskUnit(clinic)
	records, err := s.rdb.HGetAll(ctx, accountsKey(u)).Result()
	if err != nil {
		return nil, wrap("listing the accounts", err)
	}
	list := make([]account.Account, 0, len(records))
	for field, record := range records {
		var a account.Account
		if err := s.unpack(accountWhere(u, field), record, &a); err != nil {
			return nil, fmt.Errorf("reading the accounts: %w", err)
		}
		list = append(list, a)
	}
	slices.SortFunc(list, func(a, b account.Account) int { return cmp.Compare(a.ID, b.ID) })
	return list, nil
}

// ChangeAccount changes an account. change may be called more than once, where
// somebody else changed it meanwhile; it must not change id or clinic. Errors
// wrap ErrNotFound, ErrConflict, ErrUnavailable, ErrDamaged or those of
// account.Check.
func (s *Store) ChangeAccount(ctx context.Context, clinic, id string, change func(*account.Account)) (account.Account, error) {
	for range tries {
		a, err := s.account(ctx, clinic, id)
		if err != nil {
			return account.Account{}, err
		}
		change(&a.Account)
		a.ID, a.Clinic = id, clinic
		if err := a.Check(); err != nil {
			return account.Account{}, err
		}
		done, err := s.swap(ctx, a)
		if done || err != nil {
			return a.Account, err
		}
	}
	return account.Account{}, fmt.Errorf("changing the account %s: %w", id, ErrConflict)
}

// RemoveAccount takes an account away; its sessions end with it. Errors wrap
// ErrNotFound, ErrConflict, ErrUnavailable or ErrDamaged.
func (s *Store) RemoveAccount(ctx context.Context, clinic, id string) error {
	// Only one field is named: the other is the name itself, which must not come
	// into Redis' file by being looked for.
	a, err := s.account(ctx, clinic, id)
	if err != nil && !errors.Is(err, ErrDamaged) {
		return err
	}
	if a.field == "" {
		a.field = s.accountFields(clinic, id)[0]
	}
	n, err := s.rdb.HDel(ctx, accountsKey(s.deskUnit(clinic)), a.field).Result()
	switch {
	case err != nil:
		return wrap("removing an account", err)
	case n == 0:
		return fmt.Errorf("account %s: %w", id, ErrNotFound)
	}
	return nil
}

// swap puts an account in place of what was read of it; nothing was read of a
// new one.
func (s *Store) swap(ctx context.Context, a storedAccount) (bool, error) {
	u := s.deskUnit(a.Clinic)
	value, err := s.pack(accountWhere(u, a.field), "", a.Account)
	if err != nil {
		return false, err
	}
	done, err := s.run(ctx, call{swapScript, []string{accountsKey(u)}, []any{a.field, a.record, value}}).Int()
	return done == 1, wrap("changing an account", err)
}
