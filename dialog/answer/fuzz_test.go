package answer

import (
	"strings"
	"testing"
	"unicode/utf8"
)

// seeds gives the texts of a table and a few hostile ones to a fuzzer.
func seeds(f *testing.F, files ...string) {
	f.Helper()
	for _, name := range files {
		n := 3
		if name == "weight.tsv" {
			n = 4
		}
		for _, r := range rows(f, name, n) {
			f.Add(r.text)
		}
	}
	for _, s := range []string{
		"", " ", "\x00", "\xff\xfe", "\u202e2\u202c", "9999999999999999999999", "1/0", "0/0", "1.1.1.1.1.1", "½½½", "٢ من ٤",
		strings.Repeat("2 ", 800), strings.Repeat("no wait ", 200) + "3", strings.Repeat("-", 1600), "1,000,000,000,000,000,000 kg",
		"2️⃣🐾👨‍👩‍👧", "e\u0301\u0301\u0301 2", "..5", "5..", "a a a a a a a a 2", "point point point", "hundred hundred hundred",
	} {
		f.Add(s)
	}
}

// tidy is the text as it is after one pass of trimming; reading it must give
// what reading the text gave.
func tidy(s string) string { return strings.Join(strings.Fields(s), " ") }

func sameAfterTidying(text string) bool {
	return utf8.ValidString(text) && !strings.ContainsAny(text, "\n\r\u0085\u2028\u2029\v\f\x1c\x1d\x1e\x1f")
}

func FuzzScale(f *testing.F) {
	seeds(f, "scale.tsv")
	anchors := weekly()[0].Anchors
	f.Fuzz(func(t *testing.T, text string) {
		r := English().Scale(text, nil)
		if r.Value < 0 || r.Value > maxLevel || !r.OK && r.Value != 0 || r.Reason == "" {
			t.Fatalf("%q: %+v", text, r)
		}
		if r.OK && (r.NotApplicable || r.Same) {
			t.Fatalf("%q is two things: %+v", text, r)
		}
		if a := English().Scale(text, anchors); a.Value < 0 || a.Value > maxLevel {
			t.Fatalf("%q with anchors: %+v", text, a)
		}
		if again := English().Scale(tidy(text), nil); sameAfterTidying(text) && again != r {
			t.Fatalf("%q: %+v, but tidied %+v", text, r, again)
		}
	})
}

func FuzzScales(f *testing.F) {
	seeds(f, "scales.tsv", "scale.tsv")
	items := weekly()
	f.Fuzz(func(t *testing.T, text string) {
		r := English().Scales(text, items)
		for code, v := range r.ByItem {
			if !v.answered() || v.Value < 0 || v.Value > maxLevel {
				t.Fatalf("%q: %s %+v", text, code, v)
			}
		}
		if r.Reason == "" || r.OK != (r.SameAll || len(r.ByItem) > 0) || !r.SameAll && len(r.Missing)+len(r.ByItem) != len(items) {
			t.Fatalf("%q: %+v", text, r)
		}
		English().Scales(text, items[:2])
		English().Scales(text, nil)
	})
}

func FuzzYesNo(f *testing.F) {
	seeds(f, "yesno.tsv")
	f.Fuzz(func(t *testing.T, text string) {
		r := English().YesNo(text)
		if r.Reason == "" || !r.OK && (r.Value || r.Detail != "") {
			t.Fatalf("%q: %+v", text, r)
		}
		if again := English().YesNo(tidy(text)); sameAfterTidying(text) && (again.OK != r.OK || again.Value != r.Value || again.Reason != r.Reason) {
			t.Fatalf("%q: %+v, but tidied %+v", text, r, again)
		}
	})
}

func FuzzWeight(f *testing.F) {
	seeds(f, "weight.tsv")
	f.Fuzz(func(t *testing.T, text string) {
		for _, unit := range []Unit{Kilograms, Pounds} {
			r := English().Weight(text, unit)
			if r.Reason == "" || r.OK && (r.Grams < minGrams || r.Grams > maxGrams || r.CannotWeigh) || !r.OK && r.Grams != 0 {
				t.Fatalf("%q: %+v", text, r)
			}
			if again := English().Weight(tidy(text), unit); sameAfterTidying(text) && again != r {
				t.Fatalf("%q: %+v, but tidied %+v", text, r, again)
			}
		}
	})
}

func FuzzNumber(f *testing.F) {
	seeds(f, "number.tsv")
	f.Fuzz(func(t *testing.T, text string) {
		r := English().Number(text, 0, 14)
		if r.Reason == "" || r.Value < 0 || r.Value > 14 || !r.OK && r.Value != 0 {
			t.Fatalf("%q: %+v", text, r)
		}
	})
}

func FuzzControl(f *testing.F) {
	seeds(f, "control.tsv")
	f.Fuzz(func(t *testing.T, text string) {
		c, why := English().Control(text)
		if why == "" || c.String() == "unknown" {
			t.Fatalf("%q: %s %q", text, c, why)
		}
		if again, _ := English().Control(tidy(text)); sameAfterTidying(text) && again != c {
			t.Fatalf("%q: %s, but tidied %s", text, c, again)
		}
	})
}

func FuzzChoice(f *testing.F) {
	seeds(f, "scale.tsv", "yesno.tsv")
	options := signsList()
	f.Fuzz(func(t *testing.T, text string) {
		r := English().Choice(text, options)
		if r.Reason == "" || r.OK != (len(r.Keys) > 0) || len(r.Keys) > len(options) {
			t.Fatalf("%q: %+v", text, r)
		}
	})
}
