package store

import (
	"cmp"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"slices"

	"gaitpost/internal/account"
)

//go:embed scripts/swap.lua
var swapSource string

var swapScript = newScript(swapSource)

// ErrAccountTaken says that a clinic already has an account of that name.
var ErrAccountTaken = errors.New("there is already an account with this sign-in name")

// AddAccount keeps a new account. Errors wrap ErrAccountTaken, ErrUnavailable,
// or those of account.Check.
func (s *Store) AddAccount(ctx context.Context, a account.Account) error {
	if err := a.Check(); err != nil {
		return err
	}
	value, err := s.pack("", a)
	if err != nil {
		return err
	}
	done, err := s.swap(ctx, a.Clinic, a.ID, "", string(value))
	if err == nil && !done {
		return fmt.Errorf("adding the account %s: %w", a.ID, ErrAccountTaken)
	}
	return err
}

// Account returns one account of a clinic. Errors wrap ErrNotFound,
// ErrUnavailable or ErrDamaged.
func (s *Store) Account(ctx context.Context, clinic, id string) (account.Account, error) {
	a, _, err := s.account(ctx, clinic, id)
	return a, err
}

func (s *Store) account(ctx context.Context, clinic, id string) (account.Account, string, error) {
	record, err := s.rdb.HGet(ctx, accountsKey(s.deskUnit(clinic)), id).Result()
	switch {
	case isNil(err):
		return account.Account{}, "", fmt.Errorf("account %s: %w", id, ErrNotFound)
	case err != nil:
		return account.Account{}, "", wrap("loading an account", err)
	}
	var a account.Account
	if err := s.unpack(record, &a); err != nil {
		return account.Account{}, "", fmt.Errorf("reading the account %s: %w", id, err)
	}
	return a, record, nil
}

// Accounts lists a clinic's accounts by sign-in name. Errors wrap
// ErrUnavailable or ErrDamaged.
func (s *Store) Accounts(ctx context.Context, clinic string) ([]account.Account, error) {
	records, err := s.rdb.HGetAll(ctx, accountsKey(s.deskUnit(clinic))).Result()
	if err != nil {
		return nil, wrap("listing the accounts", err)
	}
	list := make([]account.Account, 0, len(records))
	for id, record := range records {
		var a account.Account
		if err := s.unpack(record, &a); err != nil {
			return nil, fmt.Errorf("reading the account %s: %w", id, err)
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
		a, was, err := s.account(ctx, clinic, id)
		if err != nil {
			return account.Account{}, err
		}
		change(&a)
		a.ID, a.Clinic = id, clinic
		if err := a.Check(); err != nil {
			return account.Account{}, err
		}
		value, err := s.pack("", a)
		if err != nil {
			return account.Account{}, err
		}
		done, err := s.swap(ctx, clinic, id, was, string(value))
		if done || err != nil {
			return a, err
		}
	}
	return account.Account{}, fmt.Errorf("changing the account %s: %w", id, ErrConflict)
}

// RemoveAccount takes an account away; its sessions end with it. Errors wrap
// ErrNotFound, ErrConflict, ErrUnavailable or ErrDamaged.
func (s *Store) RemoveAccount(ctx context.Context, clinic, id string) error {
	n, err := s.rdb.HDel(ctx, accountsKey(s.deskUnit(clinic)), id).Result()
	switch {
	case err != nil:
		return wrap("removing an account", err)
	case n == 0:
		return fmt.Errorf("account %s: %w", id, ErrNotFound)
	}
	return nil
}

func (s *Store) swap(ctx context.Context, clinic, field, was, value string) (bool, error) {
	done, err := s.run(ctx, call{swapScript, []string{accountsKey(s.deskUnit(clinic))},
		[]any{field, was, value}}).Int()
	return done == 1, wrap("changing an account", err)
}
