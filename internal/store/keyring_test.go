package store

import (
	"context"
	"crypto/aes"
	"crypto/cipher"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// Invented keys; each was made by NewKey.
var oldKey, newKey = mustKey(), mustKey()

func mustKey() string {
	k, err := NewKey(rand.Reader)
	if err != nil {
		panic(err)
	}
	return k
}

func ring(t testing.TB, keys ...string) *Keyring {
	t.Helper()
	k, err := ParseKeyring(strings.Join(keys, "\n"))
	require.NoError(t, err)
	return k
}

func idOf(key string) KeyID { return KeyID(strings.Split(key, "-")[2]) }

func TestKeyringsAreReadOldestFirst(t *testing.T) {
	for text, want := range map[string]struct {
		ids   []KeyID
		seals KeyID
	}{
		"":               {nil, ""},
		"# nothing yet":  {nil, ""},
		oldKey:           {[]KeyID{idOf(oldKey)}, idOf(oldKey)},
		"wait " + oldKey: {[]KeyID{idOf(oldKey)}, ""},
		"# of March\n" + oldKey + "\n\n  " + newKey + " \n": {[]KeyID{idOf(oldKey), idOf(newKey)}, idOf(newKey)},
		oldKey + " wait " + newKey:                          {[]KeyID{idOf(oldKey), idOf(newKey)}, idOf(oldKey)},
	} {
		k, err := ParseKeyring(text)
		require.NoError(t, err)
		require.Equal(t, want.ids, k.IDs())
		require.Equal(t, want.seals, k.Sealing())
	}
}

func TestBadKeysAreNamedAndNeverRepeated(t *testing.T) {
	secret := oldKey[strings.LastIndex(oldKey, "-")+1:]
	flipped := "0"
	if secret[0] == '0' {
		flipped = "1"
	}
	for text, want := range map[string]string{
		secret:                                "key 1",
		oldKey + " " + oldKey[:len(oldKey)-2]: "key 2",
		strings.Replace(oldKey, secret, flipped+secret[1:], 1): "a digit of it is wrong",
		oldKey + "\n" + oldKey:                                 "is there twice",
		oldKey + " wait":                                       "has no key after it",
		strings.Replace(oldKey, "key", "KEY", 1):               "gaitpost keys new",
	} {
		_, err := ParseKeyring(text)
		require.ErrorIs(t, err, ErrBadKey)
		require.ErrorContains(t, err, want)
		require.NotContains(t, err.Error(), secret[8:24])
	}
	for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%x", "%d"} {
		require.Equal(t, "Keyring(redacted)", fmt.Sprintf(verb, ring(t, oldKey)))
	}
}

func FuzzParseKeyring(f *testing.F) {
	f.Add("wait " + oldKey)
	f.Add(oldKey + "\n# x\n" + newKey)
	f.Add("gaitpost-key--")
	f.Fuzz(func(t *testing.T, text string) {
		k, err := ParseKeyring(text)
		if err != nil {
			require.ErrorIs(t, err, ErrBadKey)
			return
		}
		b, err := k.seal(nil, "x", []byte("y"))
		require.NoError(t, err)
		require.Equal(t, k.Sealing() == "", b[0] == formatCBOR)
	})
}

// The same plain text never looks the same, and opens only where it was sealed.
func TestASealedValueOpensOnlyWhereItBelongs(t *testing.T) {
	k := ring(t, oldKey)
	a, err := k.seal([]byte("head"), "here", []byte("Ruth"))
	require.NoError(t, err)
	b, err := k.seal([]byte("head"), "here", []byte("Ruth"))
	require.NoError(t, err)
	require.NotEqual(t, a, b)
	require.Len(t, a, len("head")+sealHead+nonceBytes+len("Ruth")+tagBytes)
	plain, err := k.open("here", a[4:])
	require.NoError(t, err)
	require.Equal(t, "Ruth", string(plain))
	_, err = k.open("there", a[4:])
	require.ErrorIs(t, err, errSeal)
	_, err = ring(t, newKey).open("here", a[4:])
	require.ErrorIs(t, err, ErrKeyMissing)
	require.ErrorContains(t, err, string(idOf(oldKey)))
	for i := range a[4:] {
		bad := append([]byte(nil), a[4:]...)
		bad[i] ^= 1
		_, err := k.open("here", bad)
		require.Error(t, err, "byte %d", i)
	}
}

// The subkey is what RFC 5869's HKDF-Expand makes of it, so that another program
// can read a backup: computed by hand with HMAC in one block.
func TestAPlacesKeyIsHKDF(t *testing.T) {
	secret, err := hex.DecodeString(strings.Repeat("0b", 32))
	require.NoError(t, err)
	key := keyOf(secret)
	one, err := key.at("a")
	require.NoError(t, err)
	mac := hmacSHA256(secret, append([]byte(sealInfo+"a"), 1))
	two := gcm(t, mac)
	nonce := make([]byte, nonceBytes)
	require.Equal(t, two.Seal(nil, nonce, []byte("x"), nil), one.Seal(nil, nonce, []byte("x"), nil))
}

// A record that somebody with access to Redis moves to another household, or
// from one log to another, does not open.
func TestAHouseholdsRecordIsWorthNothingElsewhere(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		s.keys = ring(t, oldKey)
		for _, a := range []contact.Address{ruth, owen} {
			do(t, s, a, enrols(a))
		}
		from, to := unit{"hillside", s.ID("hillside", ruth)}, unit{"hillside", s.ID("hillside", owen)}
		require.NoError(t, s.rdb.Set(ctx, householdKey(to), s.rdb.Get(ctx, householdKey(from)).Val(), 0).Err())
		_, err := s.Load(ctx, "hillside", to.id)
		require.ErrorIs(t, err, ErrDamaged)
		require.NoError(t, s.rdb.LSet(ctx, logKey(to), 0, s.rdb.LIndex(ctx, logKey(from), 0).Val()).Err())
		_, err = s.ReadLog(ctx, "hillside", to.id, 0, 1)
		require.ErrorIs(t, err, ErrDamaged)
	})
}

func open(c redis.UniversalClient, h *contact.Hasher, k *Keyring) (*Store, error) {
	s, err := Open(context.Background(), Options{Client: c, Hasher: h, Keys: k, AllowVolatile: true})
	if s != nil {
		s.turn, s.lineTurn = plainTurn, plainLine
	}
	return s, err
}

// fill stores something of every kind that is kept.
func fillStore(t *testing.T, s *Store) {
	t.Helper()
	ctx := context.Background()
	do(t, s, ruth, enrols(ruth))
	for i := range 3 {
		do(t, s, ruth, says(ruth, fmt.Sprintf("SM%d", i), "help!"))
	}
	_, err := s.DoLine(ctx, rules, "lee", care.LineEvent{Key: "n1", At: noon, Notice: &care.Notice{Item: care.Item{Household: s.ID("hillside", ruth), Alert: 1}}})
	require.NoError(t, err)
	entries := readAll(t, s, Messages(contact.SMS), "one")
	require.GreaterOrEqual(t, len(entries), 3)
	require.NoError(t, s.SetAside(ctx, entries[0], "the number does not exist"))
	require.NoError(t, s.RetryAt(ctx, entries[1], noon))
	a := account.Account{ID: "r.lee", Clinic: "hillside", Name: "Dr Lee", Role: account.Vet, Hash: "an invented hash"}
	require.NoError(t, s.AddAccount(ctx, a))
	ticket, err := account.NewTicket(a, rand.Reader)
	require.NoError(t, err)
	require.NoError(t, s.SaveSession(ctx, ticket, account.Session{Account: a.ID, Clinic: a.Clinic, Seen: noon.Unix()}))
	require.NoError(t, s.Audit(ctx, account.Entry{At: noon.Unix(), Clinic: "hillside", Account: a.ID, Deed: account.SignedIn}))
	require.NoError(t, s.AddOverlay(ctx, "hillside", Overlay{N: 1, At: noon.Unix(), By: a.ID, Why: "quieter"}))
	_, err = s.TakeToken(ctx, "hillside", ruth, Rate{1, 1}, noon)
	require.NoError(t, err)
	_, err = s.TakeGuess(ctx, "hillside", noon, Guess{"account", "r.lee", Rate{1, 1}})
	require.NoError(t, err)
}

// requireWhole reads everything that fillStore stored.
func requireWhole(t *testing.T, s *Store) {
	t.Helper()
	ctx := context.Background()
	l, err := s.Load(ctx, "hillside", s.ID("hillside", ruth))
	require.NoError(t, err)
	require.Equal(t, "Ruth", l.Household.Contacts[0].Name)
	log, err := s.ReadLog(ctx, "hillside", l.ID, 0, 10)
	require.NoError(t, err)
	require.Equal(t, "help!", log[3].Event.Message.Text)
	line, _, err := s.LoadLine(ctx, "hillside", "lee")
	require.NoError(t, err)
	require.Len(t, line.Numbers, 1)
	asides, err := s.SetAsides(ctx, Messages(contact.SMS), 10)
	require.NoError(t, err)
	require.Len(t, asides, 1)
	require.Equal(t, "the number does not exist", asides[0].Why)
	require.False(t, asides[0].Damaged)
	accounts, err := s.Accounts(ctx, "hillside")
	require.NoError(t, err)
	require.Len(t, accounts, 1)
	a, err := s.Account(ctx, "hillside", "r.lee")
	require.NoError(t, err)
	require.Equal(t, "Dr Lee", a.Name)
	trail, _, err := s.ReadAudit(ctx, "hillside", noon, 0, 5)
	require.NoError(t, err)
	require.Len(t, trail, 1)
	changes, err := s.Overlays(ctx, "hillside")
	require.NoError(t, err)
	require.Equal(t, "quieter", changes[0].Why)
	n, err := s.Revive(ctx, Messages(contact.SMS), noon, 10)
	require.NoError(t, err)
	require.Equal(t, 1, n)
	require.NotEmpty(t, readAll(t, s, Messages(contact.SMS), "one"), "what was put off comes again")
}

// From a store in the clear to a sealed one, and from one key to the next: with
// everything in it, and with a walk between that only counts.
func TestEverythingIsSealedAnew(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		fillStore(t, s)
		was := s.rdb.TTL(ctx, sessionOf(t, s)).Val()
		seen, err := s.Sweep(ctx, Sweep{})
		require.NoError(t, err)
		require.Zero(t, seen.Unknown, "a kind of key is not known to the sweep")
		require.Zero(t, seen.Damaged)
		require.Len(t, seen.Values, 1)
		require.Greater(t, seen.Values[InTheClear], 12)

		s, err = open(s.rdb, s.hasher, ring(t, oldKey))
		require.NoError(t, err)
		requireNewest(t, s)
		require.InDelta(t, was.Seconds(), s.rdb.TTL(ctx, sessionOf(t, s)).Val().Seconds(), 5)
		s, err = open(s.rdb, s.hasher, ring(t, oldKey, newKey))
		require.NoError(t, err)
		requireNewest(t, s)
		for k, v := range dump(t, s) {
			if kindOf(k) == "out" {
				continue // goes when it is sent
			}
			for _, personal := range []string{"7700", "900101", "help!", "Ruth", "Thank", "r.lee", "Dr Lee", "number does", "quieter"} {
				require.NotContains(t, k, personal)
				require.NotContains(t, v, personal, "in %s", k)
			}
		}
		again, err := s.Sweep(ctx, Sweep{Reseal: true})
		require.NoError(t, err)
		require.Zero(t, again.Resealed, "what was done is not done again")
		requireWhole(t, s)
	})
}

// Every kind of key that is spelt in this package is known to the sweep: what it
// does not know would stay under an old key for ever.
func TestTheSweepKnowsEveryKindOfKey(t *testing.T) {
	kinds := 0
	for _, file := range []string{"keys.go", "deskkeys.go"} {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, m := range regexp.MustCompile(`(?:\] \+ ":|deskKey\(u, ")([a-z]+)`).FindAllStringSubmatch(string(text), -1) {
			require.True(t, looks[m[1]] != nil || unsealed[m[1]], "the sweep does not know keys of the kind %q: add it to looks, or to unsealed where it keeps no sealed value", m[1])
			kinds++
		}
	}
	require.GreaterOrEqual(t, kinds, 15)
}

// requireNewest seals everything anew and wants all but what waits in a stream
// under the newest key.
func requireNewest(t *testing.T, s *Store) {
	t.Helper()
	ctx := context.Background()
	told := 0
	done, err := s.Sweep(ctx, Sweep{Reseal: true, Progress: func(Sealed) { told++ }})
	require.NoError(t, err)
	require.Positive(t, told)
	require.Positive(t, done.Resealed)
	require.Zero(t, done.Damaged)
	seen, err := s.Sweep(ctx, Sweep{})
	require.NoError(t, err)
	for id, n := range seen.Values {
		if id != s.keys.Sealing() {
			require.Equal(t, seen.Waiting[id], n, "values of %s are left", id)
		}
	}
	require.Positive(t, seen.Values[s.keys.Sealing()])
}

func sessionOf(t *testing.T, s *Store) string {
	for _, k := range allKeys(t, s) {
		if kindOf(k) == "session" {
			return k
		}
	}
	t.Fatal("there is no session")
	return ""
}

// What the service writes while values are sealed anew is never undone.
func TestSealingAnewBesideTheServiceLosesNothing(t *testing.T) {
	onReal(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		for i := range 20 {
			do(t, s, owner(i), enrols(owner(i)))
		}
		s.keys = ring(t, oldKey)
		done := make(chan error, 1)
		stop := make(chan struct{})
		go func() {
			for {
				if _, err := s.Sweep(ctx, Sweep{Reseal: true}); err != nil {
					done <- err
					return
				}
				select {
				case <-stop:
					done <- nil
					return
				default:
				}
			}
		}()
		for i := range 200 {
			do(t, s, owner(i%20), says(owner(i%20), fmt.Sprintf("SM%d", i), "still stiff"))
		}
		close(stop)
		require.NoError(t, <-done)
		for i := range 20 {
			l, err := s.Load(ctx, "hillside", s.ID("hillside", owner(i)))
			require.NoError(t, err)
			require.EqualValues(t, 11, l.Household.Seq)
			log, err := s.ReadLog(ctx, "hillside", l.ID, 0, 50)
			require.NoError(t, err)
			require.Len(t, log, 11)
		}
	})
}

func TestAStoreWithoutItsKeyDoesNotOpen(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		c, h := s.rdb, s.hasher
		s, err := open(c, h, ring(t, oldKey))
		require.NoError(t, err)
		do(t, s, ruth, enrols(ruth))
		for _, k := range []*Keyring{nil, ring(t, newKey)} {
			_, err = open(c, h, k)
			require.ErrorIs(t, err, ErrKeyMissing)
			require.ErrorContains(t, err, string(idOf(oldKey)))
		}
		s.keys = ring(t, newKey) // a process that was started before the key was used
		_, err = s.Load(context.Background(), "hillside", s.ID("hillside", ruth))
		require.ErrorIs(t, err, ErrDamaged)
		require.ErrorIs(t, err, ErrKeyMissing)

		// Sealed anew and retired, the old key may go.
		both, err := open(c, h, ring(t, oldKey, newKey))
		require.NoError(t, err)
		_, err = both.Sweep(context.Background(), Sweep{Reseal: true})
		require.NoError(t, err)
		require.NoError(t, both.RetireKey(context.Background(), idOf(oldKey)))
		_, err = open(c, h, ring(t, newKey))
		require.NoError(t, err)
	})
}

// Once everything is sealed, whoever can write to Redis can't slip a value in
// the clear in, and a process without a key can't write one.
func TestOnceSealedNothingInTheClearIsTaken(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		do(t, s, ruth, enrols(ruth))
		k := householdKey(unit{"hillside", s.ID("hillside", ruth)})
		forged := s.rdb.Get(ctx, k).Val()
		s, err := open(s.rdb, s.hasher, ring(t, oldKey))
		require.NoError(t, err)
		_, err = s.Load(ctx, "hillside", s.ID("hillside", ruth))
		require.NoError(t, err, "what was written before there was a key loads")
		_, err = s.Sweep(ctx, Sweep{Reseal: true})
		require.NoError(t, err)
		require.NoError(t, s.RefuseClear(ctx))
		_, err = open(s.rdb, s.hasher, ring(t, "wait "+oldKey))
		require.ErrorIs(t, err, ErrKeyMissing)
		s, err = open(s.rdb, s.hasher, ring(t, oldKey))
		require.NoError(t, err)
		require.NoError(t, s.rdb.Set(ctx, k, forged, 0).Err())
		_, err = s.Load(ctx, "hillside", s.ID("hillside", ruth))
		require.ErrorIs(t, err, ErrDamaged)
		require.True(t, errors.Is(err, errInTheClear))
		_, only, err := s.MarkedKeys(ctx)
		require.NoError(t, err)
		require.True(t, only)
	})
}

// Accounts that an earlier version put under their sign-in names are found.
func TestAnEarlierVersionsAccountsAreFound(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		a := account.Account{ID: "r.lee", Clinic: "hillside", Name: "Dr Lee", Role: account.Vet, Hash: "an invented hash"}
		u := s.deskUnit("hillside")
		value, err := s.pack(accountWhere(u, a.ID), "", a)
		require.NoError(t, err)
		require.NoError(t, s.rdb.HSet(ctx, accountsKey(u), a.ID, value).Err())
		require.ErrorIs(t, s.AddAccount(ctx, a), ErrAccountTaken)
		got, err := s.ChangeAccount(ctx, "hillside", "r.lee", func(a *account.Account) { a.Generation++ })
		require.NoError(t, err)
		require.EqualValues(t, 1, got.Generation)
		s.keys = ring(t, oldKey)
		_, err = s.Sweep(ctx, Sweep{Reseal: true})
		require.NoError(t, err)
		require.NotContains(t, s.rdb.HKeys(ctx, accountsKey(u)).Val(), "r.lee")
		got, err = s.Account(ctx, "hillside", "r.lee")
		require.NoError(t, err)
		require.EqualValues(t, 1, got.Generation)
		require.NoError(t, s.RemoveAccount(ctx, "hillside", "r.lee"))
	})
}

func BenchmarkSeal(b *testing.B) {
	k := ring(b, oldKey)
	plain := make([]byte, 600)
	for b.Loop() {
		if _, err := k.seal(nil, "{p07}:h:hillside:00112233445566778899aabbccddeeff", plain); err != nil {
			b.Fatal(err)
		}
	}
}

func hmacSHA256(key, text []byte) []byte {
	mac := hmac.New(sha256.New, key)
	mac.Write(text)
	return mac.Sum(nil)
}

func gcm(t *testing.T, key []byte) cipher.AEAD {
	block, err := aes.NewCipher(key)
	require.NoError(t, err)
	a, err := cipher.NewGCM(block)
	require.NoError(t, err)
	return a
}
