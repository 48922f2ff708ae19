package signs

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

// check asserts what holds for every text whatever.
func check(t testing.TB, text string, ctx Context) Finding {
	f := Screen(text, ctx)
	require.LessOrEqual(t, f.Urgency, Emergency)
	require.NotNil(t, f.Signs)
	require.NotEmpty(t, f.Reason)
	require.True(t, utf8.ValidString(f.Reason), "%q", f.Reason)
	require.NotContains(t, f.Reason, "\n")
	require.Less(t, len(f.Reason), 600)
	if f.Urgency == None {
		require.Empty(t, f.Signs)
		require.False(t, f.Ask)
	} else if !f.Euthanasia && !f.Distress {
		require.NotEmpty(t, f.Signs)
	}
	for _, s := range f.Signs {
		require.True(t, s.Known(), s)
	}
	require.Equal(t, f, Screen(text, ctx), "the same text must give the same finding")
	return f
}

var hostile = []string{
	"", " ", "\n\n\n", ".", "?!?!", "'", "’s", "\x00\x01\x02", "\xff\xfe\xfd", "he coll\xffapsed", "😀😀😀😀",
	"👩\u200d👩\u200d👧\u200d👦", "הכלב שלי התמוטט", "كلبي لا يتنفس", "\u202edesrever\u202c", "a\u0301\u0301\u0301\u0301", "ｆｕｌｌ ｗｉｄｔｈ ｓｅｉｚｕｒｅ",
	strings.Repeat("a", 1600), strings.Repeat("no ", 530), strings.Repeat("sick ", 320), strings.Repeat("🐶", 400),
	strings.Repeat("he was sick, ", 123), strings.Repeat("'s ", 533), strings.Repeat("1 ", 800), "\u200b\u200bseizure\u200b",
	"he\tcollapsed\r\nagain", "{\"a\":1}", "<script>alert('collapse')</script>", "STOP, he's collapsed",
}

func TestHostileInput(t *testing.T) {
	for _, text := range hostile {
		check(t, text, Context{})
		check(t, text, Context{NSAID: true, Antibody: true, DogNames: []string{"", "Pip", strings.Repeat("x", 999)}})
		for _, lang := range Languages() {
			check(t, text, Context{NSAID: true, Lang: lang})
		}
	}
	require.Equal(t, Emergency, Screen("STOP, he's collapsed", Context{}).Urgency)
	require.Equal(t, Emergency, Screen("he\tcollapsed\r\nagain", Context{}).Urgency)
	require.Equal(t, Emergency, Screen("he had a s e i z u r e, sorry: a seizure", Context{}).Urgency)
	require.Equal(t, Emergency, Screen("HE'S HAVING A SEIZUREEEE", Context{}).Urgency)
	require.Equal(t, Emergency, Screen("ｈｅ had a ｓｅｉｚｕｒｅ", Context{}).Urgency)
}

// TestLongMessage puts the sign at every place of a message that is longer than
// the matcher's window.
func TestLongMessage(t *testing.T) {
	chat := strings.Fields(strings.Repeat("we had a lovely walk round the lake and met the neighbours and then we had tea and cake ", 10))
	for at := 0; at <= len(chat); at += 7 {
		text := strings.Join(chat[:at], " ") + ". his poo is black and sticky like tar. " + strings.Join(chat[at:], " ")
		f := check(t, text, Context{})
		require.Contains(t, f.Signs, StoolBlack, "at word %d", at)
	}
}

var quoted = regexp.MustCompile(`“([^”…]*)`)

// TestReasonQuotesTheOwner: what stands in quotation marks was written.
func TestReasonQuotesTheOwner(t *testing.T) {
	n := 0
	for _, s := range append(corpus(t, "en", "train"), corpus(t, "es", "train")...) {
		f := check(t, s.text, s.ctx)
		for _, q := range quoted.FindAllStringSubmatch(f.Reason, -1) {
			require.Contains(t, s.text, q[1])
			n++
		}
		if f.Urgency > None {
			require.Contains(t, f.Reason, "“", s.text)
		}
	}
	require.Greater(t, n, 500)
}

func TestDeterminismAcrossLexicons(t *testing.T) {
	a, b := newMatcher(english), newMatcher(english)
	b.lx = must(load(dataFiles, "data/en"))
	b.rd.lx = b.lx
	b.mask = make([]uint64, len(b.lx.slotNames))
	for _, s := range pairs(t, "en") {
		a.run(s.text, s.ctx)
		b.run(s.text, s.ctx)
		require.Equal(t, a.decide(s.ctx), b.decide(s.ctx))
		require.Equal(t, a.features(s.ctx, None), b.features(s.ctx, None))
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func TestScreenFromManyGoroutines(t *testing.T) {
	all := pairs(t, "en")
	t.Run("group", func(t *testing.T) {
		for range 4 {
			t.Run("screen", func(t *testing.T) {
				t.Parallel()
				for _, s := range all {
					require.Equal(t, s.want, Screen(s.text, s.ctx).Urgency)
				}
			})
		}
	})
}

func TestUrgencyText(t *testing.T) {
	b, err := json.Marshal([]Urgency{None, SameDay, Emergency})
	require.NoError(t, err)
	require.JSONEq(t, `["none","same-day","emergency"]`, string(b))
	var back []Urgency
	require.NoError(t, json.Unmarshal(b, &back))
	require.Equal(t, []Urgency{None, SameDay, Emergency}, back)
	_, err = Urgency(9).MarshalText()
	require.Error(t, err)
	require.Error(t, json.Unmarshal([]byte(`["soon"]`), &back))
}

func FuzzScreen(f *testing.F) {
	for _, s := range hostile {
		f.Add(s, true, false)
	}
	f.Add("sick sunday and again tuesday, fine now", true, true)
	f.Add("¿es normal que la caca sea negra? y ni pis ni ñam, xq", true, false)
	f.Add("he hasn't stopped being sick all day", false, true)
	f.Fuzz(func(t *testing.T, text string, nsaid, antibody bool) {
		for _, lang := range Languages() {
			check(t, text, Context{NSAID: nsaid, Antibody: antibody, DogNames: []string{"Pip"}, Lang: lang})
		}
	})
}
