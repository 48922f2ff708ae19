package sms_test

import (
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/sms"
)

func TestCulpritsEachOnceInOrder(t *testing.T) {
	got := sms.Encode("Zoë’s “walk” – 39°C, Zoë’s")
	require.Equal(t, sms.UCS2, got.Encoding)
	require.Equal(t, "ë’“”–°", string(got.Culprits))
	require.Nil(t, sms.Encode("plain {text}").Culprits)
	require.Equal(t, []rune{'\uFFFD'}, sms.Encode("bad \xff\xfe bytes").Culprits)
}

func TestPlain(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"curly quotes, dash, dots", "It’s “ok” – fine…", `It's "ok" - fine...`},
		{"fixed space and tab", "31\u00a0kg\tnow", "31 kg now"},
		{"range", "3–5 days", "3-5 days"},
		{"dash between words", "he limps—badly", "he limps - badly"},
		{"dash with spaces", "he limps — badly", "he limps - badly"},
		{"temperature", "39.5°C or 103°F", "39.5 C or 103 F"},
		{"angle", "bends 90° now", "bends 90 degrees now"},
		{"fraction after digit", "2½ tablets, ½ h", "2 1/2 tablets, 1/2 h"},
		{"letter written apart", "cafe\u0301", "café"},
		{"Ohm sign is omega", "\u2126", "Ω"},
		{"invisible", "so\u00adft\u200b", "soft"},
		{"accents GSM-7 lacks stay", "papá", "papá"},
		{"emoji stays", "good 🐶", "good 🐶"},
		{"already plain", "é {ok}\n", "é {ok}\n"},
		{"empty", "", ""},
	} {
		require.Equal(t, c.want, sms.Plain(c.in), c.name)
	}
	// Published beside the calculator: this text becomes GSM-7, one segment.
	require.Equal(t, sms.Count{Encoding: sms.GSM7, Units: 19, Segments: 1}, sms.Encode(sms.Plain("It’s “ok” – fine…")))
}

func TestClean(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"line ends", "a\r\nb\rc\u2028d", "a\nb\nc\nd"},
		{"controls", "a\x00b\x1b[31mc\u0085d\x7f", "ab[31mc\nd"},
		{"tab", "a\tb", "a b"},
		{"invalid bytes", "ok \xff\xfe!", "ok \uFFFD!"},
		{"display reordering", "abc\u202Edef\u2066x\u2069\u200f", "abcdefx"},
		{"joined emoji stay", "👨\u200d👩\u200d👧", "👨\u200d👩\u200d👧"},
		{"right to left text stays", "כלב طيب", "כלב طيب"},
		{"spaces stay", "  2  ", "  2  "},
		{"empty", "", ""},
	} {
		require.Equal(t, c.want, sms.Clean(c.in), c.name)
	}
	require.Equal(t, strings.Repeat("ж", sms.MaxInboundRunes), sms.Clean(strings.Repeat("ж", sms.MaxInboundRunes+1)))
	require.Equal(t, 1600, sms.MaxInboundRunes)
}

func FuzzEncode(f *testing.F) {
	for _, s := range []string{"", "a", strings.Repeat("{", 81), strings.Repeat("🐶", 36), "\xff", "It’s\r\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c := sms.Encode(s)
		part, single := 153, 160
		if c.Encoding == sms.UCS2 {
			part, single = 67, 70
		}
		require.Equal(t, c.Encoding == sms.UCS2, len(c.Culprits) > 0)
		if c.Units <= single {
			require.Equal(t, 1, c.Segments)
		} else {
			require.GreaterOrEqual(t, c.Segments*part, c.Units)
			require.LessOrEqual(t, (c.Segments-1)*(part-1), c.Units, "a part is at most one unit short")
		}
	})
}

func FuzzClean(f *testing.F) {
	for _, s := range []string{"", "2\r\n3", "\x00\xff", "a\u202eb", strings.Repeat("é", 2000)} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		out := sms.Clean(s)
		require.True(t, utf8.ValidString(out))
		require.LessOrEqual(t, utf8.RuneCountInString(out), sms.MaxInboundRunes)
		for _, r := range out {
			require.True(t, r == '\n' || !unicode.IsControl(r), "%U", r)
		}
		require.Equal(t, out, sms.Clean(out), "cleaning twice changes nothing more")
	})
}

func FuzzPlain(f *testing.F) {
	for _, s := range []string{"", "It’s “ok” – fine…", "2½", "39°C", "\xff", "e\u0301"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		out := sms.Plain(s)
		require.LessOrEqual(t, len(sms.Encode(out).Culprits), len(sms.Encode(s).Culprits)+1)
		if len(sms.Encode(s).Culprits) == 0 {
			require.Equal(t, s, out, "what is plain already stays as it is")
		}
	})
}
