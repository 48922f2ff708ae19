package account

import (
	"crypto/rand"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var lee = Account{ID: "r.lee", Clinic: "hillside", Name: "Dr Lee", Role: Vet}

func TestAccountsAreChecked(t *testing.T) {
	t.Parallel()
	require.NoError(t, lee.Check())
	for _, id := range []string{"", "r", "Lee", "9lee", "r lee", "r/lee", "r~lee", "r:lee", strings.Repeat("a", 41)} {
		require.ErrorIs(t, CheckID(id), ErrID, id)
	}
	noName, noRole := lee, lee
	noName.Name, noRole.Role = "  ", "owner"
	require.ErrorIs(t, noName.Check(), ErrName)
	require.ErrorIs(t, noRole.Check(), ErrRole)
}

func TestOnlyVetsPrescribe(t *testing.T) {
	t.Parallel()
	for _, r := range Roles {
		want := VetsOnly
		if r == Vet {
			want = Allowed
		}
		require.Equal(t, want, r.May(Prescribe), r)
		require.Equal(t, want, r.May(QuietAlerts), r)
	}
	require.Equal(t, NotForRole, Role("").May(Ring))
	require.Equal(t, NotForRole, Role("owner").May(SeeClinical))
}

func TestReceptionAndManagersSeeNoClinicalRecords(t *testing.T) {
	t.Parallel()
	for _, r := range []Role{Reception, Manager} {
		for _, a := range []Action{SeeClinical, WorkAlert, EnterFindings, ChangePlan, WriteOwner} {
			require.Equal(t, NotForRole, r.May(a), "%s %s", r, a)
		}
		require.True(t, r.Can(Ring))
	}
}

func TestPasswordsAreKeptAsHashes(t *testing.T) {
	t.Parallel()
	const secret = "slow kettle amber fence"
	hash, err := HashPassword(secret, rand.Reader)
	require.NoError(t, err)
	require.NotContains(t, hash, secret)
	got, err := Verify(hash, secret)
	require.NoError(t, err)
	require.Equal(t, Right, got)
	got, err = Verify(hash, secret+" ")
	require.NoError(t, err)
	require.Equal(t, Wrong, got)
	other, err := HashPassword(secret, rand.Reader)
	require.NoError(t, err)
	require.NotEqual(t, hash, other, "each hash has a salt of its own")
	_, err = HashPassword(secret, strings.NewReader("short"))
	require.Error(t, err)
}

// Test vectors of the reference implementation's own tests for argon2id, version
// 19 (github.com/P-H-C/phc-winner-argon2, src/test.c; from memory).
func TestHashesOfTheReferenceImplementationAreRead(t *testing.T) {
	t.Parallel()
	for _, hash := range []string{
		"$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4",
	} {
		got, err := Verify(hash, "password")
		require.NoError(t, err)
		require.Equal(t, Right, got, hash)
		got, err = Verify(hash, "passwore")
		require.NoError(t, err)
		require.Equal(t, Wrong, got)
	}
}

func TestDamagedHashesAreErrors(t *testing.T) {
	t.Parallel()
	for _, hash := range []string{
		"", "secret", "$2a$10$abc", "$argon2i$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4",
		"$argon2id$v=18$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4",
		"$argon2id$v=19$m=4294967295,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4",
		"$argon2id$v=19$m=256,t=0,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4",
		"$argon2id$v=19$m=256,t=2,p=0$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4",
		"$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$",
		"$argon2id$v=19$m=256,t=2,p=1$!!$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4",
	} {
		_, err := Verify(hash, "password")
		require.ErrorIs(t, err, ErrHashUnreadable, hash)
	}
	got, err := Verify(Nobody, "password")
	require.NoError(t, err, "the stand-in for an account that isn't there costs as much as a real one")
	require.Equal(t, Wrong, got)
}

func TestEasyPasswordsAreRefused(t *testing.T) {
	t.Parallel()
	for password, want := range map[string]error{
		"":                        ErrPasswordShort,
		"elevenchars":             ErrPasswordShort,
		"aaaaaaaaaaaaaaaa":        ErrPasswordEasy,
		"abababababababab":        ErrPasswordEasy,
		"hillsidehillside1":       ErrPasswordEasy,
		"password2026":            ErrPasswordEasy,
		"r.leer.leer.lee":         ErrPasswordEasy,
		strings.Repeat("ab1", 67): ErrPasswordLong,
		"slow kettle amber fence": nil,
		"ünïcödé wörds hëre":      nil,
	} {
		err := CheckPassword(password, lee)
		if want == nil {
			require.NoError(t, err, password)
			continue
		}
		require.ErrorIs(t, err, want, password)
	}
}

func TestGivenPasswordsPassTheirOwnCheck(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for range 50 {
		p, err := GivenPassword(rand.Reader)
		require.NoError(t, err)
		require.Len(t, p, 19)
		require.False(t, seen[p])
		seen[p] = true
		require.NoError(t, CheckPassword(p, lee), p)
	}
}

func TestSessionsEnd(t *testing.T) {
	t.Parallel()
	began := time.Date(2026, 3, 3, 8, 0, 0, 0, time.UTC)
	a := lee
	a.Generation = 3
	s := Session{Account: a.ID, Clinic: a.Clinic, Generation: 3, Began: began.Unix(), Seen: began.Unix()}
	require.Equal(t, Good, StandingOf(s, &a, began.Add(SessionIdle-time.Second)))
	require.Equal(t, Idle, StandingOf(s, &a, began.Add(SessionIdle)))
	used := s
	used.Seen = began.Add(SessionLife - time.Minute).Unix()
	require.Equal(t, Good, StandingOf(used, &a, began.Add(SessionLife-time.Second)))
	require.Equal(t, RunOut, StandingOf(used, &a, began.Add(SessionLife)))
	require.Equal(t, Gone, StandingOf(s, nil, began))
	other := a
	other.Clinic = "valley"
	require.Equal(t, Gone, StandingOf(s, &other, began), "a session is good at its own clinic alone")
	a.Generation++
	require.Equal(t, SignedOut, StandingOf(s, &a, began))
}

func TestTickets(t *testing.T) {
	t.Parallel()
	ticket, err := NewTicket(lee, rand.Reader)
	require.NoError(t, err)
	back, err := ParseTicket(ticket.String())
	require.NoError(t, err)
	require.Equal(t, ticket, back)
	require.NotContains(t, ticket.Digest(), ticket.Secret)
	forged := ticket
	forged.Clinic = "valley"
	require.NotEqual(t, ticket.Digest(), forged.Digest(), "the digest covers clinic and account")
	for _, s := range []string{"", "a~b", "hillside~r.lee~", "hillside~r.lee~x", "Hill~r.lee~" + ticket.Secret,
		"hillside~~" + ticket.Secret, "hill:side~r.lee~" + ticket.Secret, ticket.String() + "~x"} {
		_, err := ParseTicket(s)
		require.ErrorIs(t, err, ErrTicket, s)
	}
}

func FuzzParseTicket(f *testing.F) {
	f.Add("hillside~r.lee~AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA")
	f.Add("~~")
	f.Fuzz(func(t *testing.T, s string) {
		ticket, err := ParseTicket(s)
		if err == nil && ticket.String() != s {
			t.Fatalf("%q was read as %q", s, ticket.String())
		}
	})
}

func FuzzVerify(f *testing.F) {
	f.Add("$argon2id$v=19$m=8,t=1,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4")
	f.Add("$argon2id$v=19$m=,t=,p=$$")
	f.Fuzz(func(t *testing.T, s string) {
		h, err := parseHash(s)
		if err == nil && (h.passes < 1 || h.lanes < 1 || h.memory > maxMemoryKiB) {
			t.Fatal("a hash out of range was accepted")
		}
	})
}
