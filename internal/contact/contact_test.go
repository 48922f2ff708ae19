package contact_test

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/contact"
)

type fictionalRange struct {
	Region  string `json:"region"`
	Pattern string `json:"pattern"`
	Sample  string `json:"sample"`
	E164    string `json:"e164"`
	Valid   bool   `json:"valid"`
	Source  string `json:"source"`
}

func fictionalRanges(t *testing.T) []fictionalRange {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", "fictional-numbers.json"))
	require.NoError(t, err)
	var file struct {
		Ranges []fictionalRange `json:"ranges"`
	}
	require.NoError(t, json.Unmarshal(raw, &file))
	require.NotEmpty(t, file.Ranges)
	return file.Ranges
}

// Source: ranges reserved for fiction, each with its authority in the data file.
// They must be accepted, with a warning where the plan doesn't list them.
func TestParsePhoneFictionalNumbers(t *testing.T) {
	warned := 0
	for _, r := range fictionalRanges(t) {
		require.NotEmpty(t, r.Source)
		require.Regexp(t, regexp.MustCompile(r.Pattern), r.E164)
		for _, text := range []string{r.Sample, r.E164, " " + r.Sample + " "} {
			got, warning, err := contact.ParsePhone(text, r.Region)
			require.NoError(t, err, r.Sample)
			require.Equal(t, contact.Address{Channel: contact.SMS, Value: r.E164}, got)
			require.Equal(t, r.Valid, warning == contact.NoWarning, r.Sample)
			if warning == contact.NotValid {
				warned++
				require.NotEmpty(t, warning.Sentence())
			}
		}
	}
	require.Positive(t, warned)
	require.Empty(t, contact.NoWarning.Sentence())
}

func TestParsePhoneRefuses(t *testing.T) {
	for _, c := range []struct {
		name, text, region string
		want               error
	}{
		{"empty", "  ", "GB", contact.ErrPhoneEmpty},
		{"words", "ring me", "GB", contact.ErrPhoneNotANumber},
		{"no country", "07700 900123", "", contact.ErrPhoneNoCountry},
		{"unknown country code", "+999 123 456", "GB", contact.ErrPhoneNoCountry},
		{"too short", "07700", "GB", contact.ErrPhoneTooShort},
		{"one digit", "7", "GB", contact.ErrPhoneNotANumber},
		{"too long", "07700 900123 456", "GB", contact.ErrPhoneTooLong},
		{"far too long", "07700 900123 456 789 012 345", "GB", contact.ErrPhoneTooLong},
		{"an essay", "07700 900123" + string(bytes.Repeat([]byte(" "), 60)) + ".", "GB", contact.ErrPhoneTooLong},
		{"without area code", "555-0123", "US", contact.ErrPhoneTooShort},
		{"extension", "202-555-0123 ext. 5", "US", contact.ErrPhoneExtension},
		{"bad region", "07700 900123", "Britain", contact.ErrPhoneRegion},
	} {
		got, _, err := contact.ParsePhone(c.text, c.region)
		require.ErrorIs(t, err, c.want, c.name)
		require.NotContains(t, err.Error(), "900123 ", "%s: a refused number must not be repeated", c.name)
		require.True(t, got.IsZero())
	}
}

func TestParsePhoneAcceptsManyWritings(t *testing.T) {
	for _, text := range []string{"07700900123", "+44 (0)7700 900123", "0044 7700 900123", "tel:+447700900123", "07700-900-123", "٠٧٧٠٠٩٠٠١٢٣"} {
		got, _, err := contact.ParsePhone(text, "gb")
		require.NoError(t, err, text)
		require.Equal(t, "+447700900123", got.Value, text)
	}
}

const testNumber = "+447700900123"

// An address must not leave through a log line or a printed error.
func TestAddressHidesItself(t *testing.T) {
	a := contact.Address{Channel: contact.SMS, Value: testNumber}
	holder := struct {
		Who contact.Address
		To  []contact.Address
	}{a, []contact.Address{a}}
	var out bytes.Buffer
	for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%q", "%x", "%d"} {
		fmt.Fprintf(&out, verb+" "+verb+" "+verb+"\n", a, &a, holder)
	}
	fmt.Fprintln(&out, a, fmt.Errorf("sending to %v failed", a), a.String())
	for _, h := range []slog.Handler{slog.NewTextHandler(&out, nil), slog.NewJSONHandler(&out, nil)} {
		slog.New(h).Info("sent", "to", a, "again", slog.GroupValue(slog.Any("to", a)))
	}
	require.NotContains(t, out.String(), "900123")
	require.NotContains(t, out.String(), "7700")
	require.NotContains(t, out.String(), hex.EncodeToString([]byte("900123")))
	require.Contains(t, out.String(), "sms:redacted")
	require.Contains(t, out.String(), "sms:…123")
}

func TestMask(t *testing.T) {
	for in, want := range map[string]string{
		testNumber: "…123", "+1 202-555-0199": "…199", "12345": "…", "": "…", "ruth@example.test": "…est",
	} {
		require.Equal(t, want, contact.Mask(contact.Address{Channel: contact.SMS, Value: in}))
	}
}

func newHasher(t *testing.T, key string) *contact.Hasher {
	t.Helper()
	h, err := contact.NewHasher([]byte(key))
	require.NoError(t, err)
	return h
}

// Source: RFC 2104 HMAC and FIPS 180-4 SHA-256 as in Go's standard library, over
// the layout the comment promises.
// Hashes are used again by whoever comes next: they must not mix.
func TestIdsComeOutTheSameSideBySide(t *testing.T) {
	h := newHasher(t, strings.Repeat("k", contact.MinKeyBytes))
	id := func(i int) contact.ID {
		return h.ID("ashgrove", contact.Address{Channel: contact.SMS, Value: fmt.Sprintf("+4477009%05d", i)})
	}
	want := make([]contact.ID, 50)
	for i := range want {
		want[i] = id(i)
	}
	var wg sync.WaitGroup
	var got [8][50]contact.ID
	for w := range got {
		wg.Go(func() {
			for i := range want {
				got[w][i] = id(i)
			}
		})
	}
	wg.Wait()
	for w := range got {
		require.Equal(t, want, got[w][:])
	}
}

func TestHasherID(t *testing.T) {
	key := "invented-test-key-0123456789"
	h := newHasher(t, key)
	a := contact.Address{Channel: contact.SMS, Value: testNumber}
	mac := hmac.New(sha256.New, []byte(key))
	mac.Write([]byte("\x00\x00\x00\x08ashgrove\x00\x00\x00\x03sms\x00\x00\x00\x0d" + testNumber))
	id := h.ID("ashgrove", a)
	require.Equal(t, hex.EncodeToString(mac.Sum(nil))[:32], string(id))
	// Kept as text: an id must stay the same for ever, or households are lost.
	require.Equal(t, "7cbbe95fa62460cd8ca552cbc6548a4f", string(id))

	require.NotEqual(t, id, h.ID("birchlow", a), "clinics can't be matched")
	require.NotEqual(t, id, newHasher(t, key+"x").ID("ashgrove", a), "keyed")
	require.NotEqual(t, h.ID("ab", contact.Address{Channel: "c"}), h.ID("a", contact.Address{Channel: "bc"}), "fields don't run together")

	parsed, err := contact.ParseID(string(id))
	require.NoError(t, err)
	require.Equal(t, id, parsed)
	for _, bad := range []string{"", "ab", string(id) + "00", "G" + string(id)[1:], "ABCDEF" + string(id)[6:]} {
		_, err := contact.ParseID(bad)
		require.ErrorIs(t, err, contact.ErrBadID, bad)
	}
}

func TestHasherKey(t *testing.T) {
	for _, n := range []int{0, 1, contact.MinKeyBytes - 1} {
		_, err := contact.NewHasher(make([]byte, n))
		require.ErrorIs(t, err, contact.ErrKeyTooShort)
	}
	key := []byte("0123456789abcdef")
	h, err := contact.NewHasher(key)
	require.NoError(t, err)
	before := h.ID("a", contact.Address{})
	key[0] = 'x'
	require.Equal(t, before, h.ID("a", contact.Address{}), "the hasher keeps its own copy")
	require.NotContains(t, fmt.Sprintf("%v %+v %#v %s %d", h, h, h, h, h), "123")
}

func TestPartitionsAreEven(t *testing.T) {
	h := newHasher(t, "invented-test-key-0123456789")
	counts := make([]int, contact.Partitions)
	const n = 16000
	for i := range n {
		id := h.ID("ashgrove", contact.Address{Channel: contact.SMS, Value: fmt.Sprint(i)})
		counts[id.Partition()]++
	}
	for p, count := range counts {
		// Six standard deviations of a fair spread (sd about 31).
		require.InDelta(t, n/contact.Partitions, count, 190, "partition %d", p)
	}
	require.Equal(t, 0, contact.ID("").Partition())
	require.Equal(t, 15, contact.ID("ff").Partition())
	require.Equal(t, 0x1f%16, contact.ID("1f").Partition())
}

func FuzzParsePhone(f *testing.F) {
	for _, s := range []string{"", "07700 900123", "+1 202 555 0123 ext 4", "tel:+447700900123;phone-context=+44", "+", "00", "\xff", "(0"} {
		f.Add(s, "GB")
	}
	f.Fuzz(func(t *testing.T, text, region string) {
		a, _, err := contact.ParsePhone(text, region)
		if err != nil {
			require.True(t, a.IsZero())
			return
		}
		require.Regexp(t, `^\+[1-9][0-9]{6,14}$`, a.Value)
		again, _, err := contact.ParsePhone(a.Value, "")
		require.NoError(t, err)
		require.Equal(t, a.Value, again.Value, "reading its own result changes nothing")
	})
}
