package dialog

import (
	"strings"
	"testing"

	"github.com/fxamacker/cbor/v2"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/sms"
)

// library is the built-in scripts.
func library(t testing.TB) *Library {
	t.Helper()
	l, err := Builtin()
	require.NoError(t, err)
	return l
}

// household is an invented one; the numbers are from a range reserved for fiction.
func household(facts ...string) Context {
	ctx := Context{
		Lang: "en",
		Vars: map[string]string{
			"dog": "Bramble", "owner": "Ruth", "practice": "Hill Vets", "vet": "Dr Lee",
			"phone": "01632 960100", "emergency": "01632 960911", "person_number": "999", "crisis": "01632 960555",
			"frequency": "once a week", "reads": "on Tuesday", "opens": "Mon 08:30", "who": "Dr Lee",
			"he": "he", "him": "him", "his": "his", "medicine": "the tablets",
			"own1": "the beach", "own2": "greeting us", "dog1": "Bramble", "dog2": "Moss",
		},
		Facts:  map[string]bool{},
		Before: map[string]int{},
	}
	for _, f := range facts {
		ctx.Facts[f] = true
	}
	return ctx
}

// Every prompt names the dog and fits one segment one by one, two all at once,
// with a dog's name of 20 characters. Segment sizes: 3GPP TS 23.038 and 23.040,
// 160 septets alone and 153 joined.
func TestEveryPromptFits(t *testing.T) {
	l := library(t)
	scales, grids := 0, 0
	for _, id := range l.Scripts() {
		s := l.scripts[id]
		for _, st := range s.steps {
			for part := range st.parts {
				n := s.size(st, part, "en")
				switch {
				case st.kind == KindScale:
					scales++
					require.Equal(t, 1, n.Segments, "%s %s %s: %d", id, st.id, part, n.Units)
					require.LessOrEqual(t, n.Units, 160)
				case st.kind == KindGrid:
					grids++
					require.LessOrEqual(t, n.Segments, 2, "%s %s", id, st.id)
				case id == "checkin" && st.hasForm(OneByOne):
					require.Equal(t, 1, n.Segments, "%s %s: %d", st.id, part, n.Units)
				}
				if st.asks() && id != "farewell" {
					require.Contains(t, placeholdersIn(st.parts[part]["en"].text), "dog", "%s %s %s names the dog", id, st.id, part)
				}
			}
		}
	}
	require.Equal(t, 20, scales, "8 in the check-in and 2 in the reassessment, asked and asked again")
	require.Equal(t, 4, grids)
}

// All ask texts of the check-in in both forms, with real names, in GSM-7.
func TestEnglishIsAlwaysGSM7(t *testing.T) {
	l := library(t)
	ctx := household()
	for name, v := range map[string]string{"dog": "Zoë 🐶 Ŝoń", "owner": "Œnone “Bé” Ł", "practice": "Vétérinaires’ – Hill", "own1": "stairs…\nup\x07"} {
		ctx.Vars[name] = v
	}
	for _, id := range l.Scripts() {
		s := l.scripts[id]
		for _, st := range s.all() {
			for part := range st.parts {
				text := l.Render(s.line(st, part, &ctx, st.itemsOf()), "en")
				n := sms.Encode(text)
				require.Equal(t, sms.GSM7, n.Encoding, "%s %s: %q holds %q", id, st.id, text, n.Culprits)
				require.NotContains(t, text, "{")
			}
		}
	}
	require.Equal(t, "Zoe Son", plainValue("Zoë 🐶 Ŝoń", false))
}

// Values that need no work are told apart from those that do.
func TestPlainValuesAreLeftAlone(t *testing.T) {
	for v, plain := range map[string]bool{
		"": true, "Bramble": true, "Hill Vets": true, "01632 960100": true, "Bramble's": true, "a.b-c, d": true,
		" a": false, "a ": false, "a  b": false, "a\tb": false, "Zoë": false, "`": false, "a|b": false, "\x00": false, "[a]": false,
	} {
		require.Equal(t, plain, plainAlready(v), "%q", v)
		if plain {
			require.Equal(t, v, strings.Join(strings.Fields(sms.Clean(v)), " "))
			require.Equal(t, sms.GSM7, sms.Encode(v).Encoding)
		}
	}
}

func TestRenderNeverFails(t *testing.T) {
	l := library(t)
	ctx := household()
	require.Equal(t, "Please ring Hill Vets on 01632 960100. If it can't wait and we are closed, ring 01632 960911.",
		l.Render(l.Say("nowhere", "nothing", ctx), "en"))
	require.Equal(t, "Please ring the practice on the practice's number. If it can't wait and we are closed, ring your nearest emergency vet.",
		l.Render(Line{}, "en"))
	require.Equal(t, l.Render(l.Say("safety", "not_watched", ctx), "en"), l.Render(l.Say("safety", "not_watched", ctx), "xx"))
	require.Contains(t, l.Render(Line{Script: "checkin", Step: "limping", Part: "sung"}, "en"), "Please ring")
}

// A value can't smuggle a placeholder in, and a longer name is cut.
func TestValuesAreNotExpandedAgain(t *testing.T) {
	l := library(t)
	ctx := household()
	ctx.Vars["owner"] = "{phone}"
	ctx.Vars["dog"] = "Sir Bartholomew of the Long Meadow"
	text := l.Render(l.Say("checkin", "closing_usual", ctx), "en")
	require.Equal(t, "Thank you, {phone}. Sir Bartholomew of t about as usual. Dr Lee sees this on Tuesday.", text)
}

func TestTextsMendWhatIsMissing(t *testing.T) {
	l := library(t)
	ctx := household()
	delete(ctx.Vars, "owner")
	require.Equal(t, "Thank you. Bramble about as usual. Dr Lee sees this on Tuesday.", l.Render(l.Say("checkin", "closing_usual", ctx), "en"))
	ctx.Vars["better"] = "rising"
	require.Equal(t, "Thank you. Bramble is doing better than before: getting up. Dr Lee sees this on Tuesday.",
		l.Render(l.Say("checkin", "closing_better", ctx), "en"), "an item's code is said in its own words")
}

// Safety texts hold both numbers, say not to wait and never name a dose.
func TestSafetyTextsHoldTheirNumbers(t *testing.T) {
	l := library(t)
	ctx := household()
	for step, holds := range map[string][]string{
		"emergency_open":           {"01632 960100", "01632 960911", "don't wait", "not watched"},
		"emergency_closed":         {"01632 960100", "01632 960911", "don't wait", "Mon 08:30", "not watched"},
		"sameday_open":             {"01632 960100", "today", "Not watched"},
		"sameday_closed":           {"01632 960100", "01632 960911", "Mon 08:30", "collapses", "Not watched"},
		"sameday_cannot_wait":      {"01632 960911", "don't wait", "not watched"},
		"unknown_sender_emergency": {"Hill Vets", "01632 960100", "01632 960911"},
		"next_dose_named":          {"the tablets", "next dose", "others as prescribed", "01632 960100"},
		"next_dose_if":             {"If Bramble is on", "others as prescribed"},
		"next_dose_injection":      {"before the next one"},
		"person":                   {"999"},
		"despair_crisis":           {"01632 960555", "01632 960100"},
		"putting_to_sleep":         {"01632 960100"},
	} {
		text := l.Render(l.Say("safety", step, ctx), "en")
		for _, h := range holds {
			require.Contains(t, text, h, step)
		}
	}
	for _, st := range l.scripts["safety"].texts {
		require.True(t, st.protected, st.id)
	}
}

// A session as stored stays small and comes back as it was.
func TestSessionIsSmall(t *testing.T) {
	l := library(t)
	ctx := household("medicine", "own1", "own2")
	s, _, err := l.Begin("checkin", OneByOne, ctx)
	require.NoError(t, err)
	for range 8 {
		s = l.Reply(s, ctx, "2").Session
	}
	require.Equal(t, "signs", s.Step)
	data, err := cbor.Marshal(s)
	require.NoError(t, err)
	require.Less(t, len(data), 400, "bytes after eight answers")
	var back Session
	require.NoError(t, cbor.Unmarshal(data, &back))
	require.Equal(t, s, back)
}

func TestVersionFollowsTheTexts(t *testing.T) {
	require.Equal(t, library(t).Version(), library(t).Version())
	require.Regexp(t, `^scripts-[0-9a-f]{8}$`, library(t).Version())
}

func TestAnchorsAndLabelsForACard(t *testing.T) {
	s, ok := library(t).Script("checkin")
	require.True(t, ok)
	levels, x, ok := s.Anchors("limping", "en")
	require.True(t, ok)
	require.Equal(t, [5]string{"never", "a few steps", "some of each walk", "most steps", "won't use the leg"}, levels)
	require.Equal(t, "no walks", x)
	label, ok := s.Label("rising", "en")
	require.True(t, ok)
	require.Equal(t, "getting up", label)
}
