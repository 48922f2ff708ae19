package record

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/signs"
)

// doc is a document that was read back.
type doc struct {
	t    *testing.T
	raw  string
	root *html.Node
}

func made(t *testing.T, make func(io.Writer, Input) error, in Input) *doc {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, make(&b, in))
	root, err := html.Parse(strings.NewReader(b.String()))
	require.NoError(t, err)
	d := &doc{t, b.String(), root}
	// Whatever people wrote is text: no document has a script, a form or a link.
	for n := range root.Descendants() {
		require.NotContains(t, []string{"script", "iframe", "form", "img", "a"}, n.Data)
		for _, a := range n.Attr {
			require.False(t, strings.HasPrefix(a.Key, "on") || a.Key == "style", "%s has %s", n.Data, a.Key)
		}
	}
	require.NotContains(t, d.raw, "ZgotmplZ")
	require.NotContains(t, d.raw, "NaN")
	return d
}

// find returns the elements with an id (#id), a class (.class) or a name.
func (d *doc) find(selector string) []*html.Node {
	found := []*html.Node{d.root}
	for _, part := range strings.Fields(selector) {
		var next []*html.Node
		for _, n := range found {
			for k := range n.Descendants() {
				if k.Type == html.ElementNode && matches(k, part) {
					next = append(next, k)
				}
			}
		}
		found = next
	}
	return found
}

func matches(n *html.Node, part string) bool {
	for _, a := range n.Attr {
		if part[0] == '#' && a.Key == "id" && a.Val == part[1:] || part[0] == '.' && a.Key == "class" && strings.Contains(" "+a.Val+" ", " "+part[1:]+" ") {
			return true
		}
	}
	return n.Data == part
}

func (d *doc) text(selector string) string {
	var b strings.Builder
	for _, n := range d.find(selector) {
		for k := range n.Descendants() {
			if k.Type == html.TextNode {
				b.WriteString(k.Data + " ")
			}
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

func (d *doc) has(selector string, words ...string) {
	d.t.Helper()
	text := d.text(selector)
	for _, w := range words {
		require.Contains(d.t, text, w, selector)
	}
}

func (d *doc) hasNot(selector string, words ...string) {
	d.t.Helper()
	text := d.text(selector)
	for _, w := range words {
		require.NotContains(d.t, text, w, selector)
	}
}

func TestReportHoldsTheCourse(t *testing.T) {
	t.Parallel()
	s := halfYear(t)
	d := made(t, Report, s.input())
	d.has("header", "Bramble", "Ruth", "reference H-0117", "male", "body condition 7 of 9, mild muscle loss", "Hill Vets")
	d.has("#not-validated", "not a validated instrument")
	d.has("#course", "Index ", "pain ", "mobility ", "5.9 points worse from the provisional baseline of 11.8", "20 check-ins answered (20 entered by staff), 3 missed.")
	require.Len(t, d.find("#course svg"), 3)
	require.Len(t, d.find("#course .sr table"), 3)
	d.has("#weight", "kg on ", "Target 27.10 kg, set by the practice", "% of body weight a week")
	d.has("#plan", "carprofen", "antibody injection, batch B-2231", "can't be told apart")
	d.has("#effect", "Start hydrotherapy", "Mean index before", "39.7 % of dogs on placebo", "started or stopped within two weeks")
	d.has("#words", "sick twice in the night", "read as ", hostile)
	d.has("#findings", "Both stifles thickened", hostile, "Dr Lee")
	d.has("#alerts", "seen, Dr Lee", "bloods taken")
	d.hasNot("#alerts", "lee,")
	require.Len(t, d.find("style"), 1)

	in := s.input()
	in.Style = "/desk/paper.css"
	d = made(t, Report, in)
	require.Empty(t, d.find("style"), "a strict policy forbids styles in the page")
	require.Len(t, d.find("link"), 1)
}

// The index in the report is the household's own: the log is played again, not
// believed.
func TestReportAgreesWithTheHousehold(t *testing.T) {
	t.Parallel()
	s := halfYear(t)
	in := s.input()
	h := in.history()
	dog := s.house.Dogs[0]
	readings := dog.Course.Readings()
	require.Equal(t, readings, h.Readings[len(h.Readings)-len(readings):])
	b := dog.Course.Baseline(s.rules.Thresholds)
	require.InDelta(t, b.Value, h.Baselines[len(h.Baselines)-1].Value, 1e-9)
	require.Len(t, h.Weights, len(dog.Weights))
	require.Positive(t, h.count(Missed))
	require.Equal(t, Missed, h.CheckIns[0].State)
	first := h.CheckIns[1]
	require.Equal(t, []any{ByStaff, "Ruth's sister", "lee"}, []any{first.State, first.Who, first.By})
}

func TestReportOfADogOfWhichNothingIsKnown(t *testing.T) {
	t.Parallel()
	s := newStory(t, care.EnrolledDog{Name: "Pip"})
	for _, make := range []func(io.Writer, Input) error{Report, Card, Timeline, ReactionSheet} {
		made(t, make, s.input())
	}
	d := made(t, Report, s.input())
	d.has("#course", "No check-in has been scored yet.", "No check-in yet")
	d.has("#weight", "Not weighed yet")
	d.has("#plan", "Nothing is recorded on the plan.")
	d.has("#alerts", "None.")
	require.ErrorIs(t, Report(io.Discard, Input{Rules: s.rules, Household: &s.house, Dog: 3}), ErrNoDog)
	require.ErrorIs(t, Card(io.Discard, Input{Rules: s.rules, Household: &s.house, Dog: -1}), ErrNoDog)
}

func TestCutRecordSaysSo(t *testing.T) {
	t.Parallel()
	s := halfYear(t)
	in := s.input()
	in.Entries, in.Cut = in.Entries[len(in.Entries)-30:], true
	for _, make := range []func(io.Writer, Input) error{Report, Timeline, ReactionSheet} {
		made(t, make, in).has("main", "its beginning is missing")
	}
	b := s.house.Dogs[0].Course.Baseline(s.rules.Thresholds)
	made(t, Report, in).has("#course", "provisional "+one(b.Value))
}

func TestCardHasEverythingAnOwnerNeeds(t *testing.T) {
	t.Parallel()
	s := halfYear(t)
	in := s.input()
	d := made(t, Card, in)
	d.has("h1", "Bramble")
	d.has("#phone", "01632 960100")
	d.has("#emergency-phone", "01632 960911")
	d.has("#not-watched", "not watched round the clock", "01632 960100", "01632 960911")
	d.has("#next-dose", "If he is on an anti-inflammatory such as carprofen", "before you've spoken to us on 01632 960100", "keep giving the others as prescribed")
	d.has("#injection", "before the next one")
	rows := d.find(".items dt")
	require.Len(t, rows, 7, "the second own activity was never chosen")
	script, ok := s.rules.Scripts.Script("checkin")
	require.True(t, ok)
	levels, x, ok := script.Anchors("walking", "en")
	require.True(t, ok)
	d.has(".items", append(levels[:], x, "Into the car")...)

	// Every sign is on the card, once, under its urgency for this dog.
	ctx := signs.Context{NSAID: true, Antibody: true}
	for _, sign := range signs.All() {
		if sign == signs.Unclear || sign == signs.Discharge {
			continue
		}
		where, other := ".today", ".emergency"
		if sign.Urgency(ctx) == signs.Emergency {
			where, other = other, where
		}
		listed := func(box string) bool {
			for _, item := range strings.Split(strings.ToLower(d.text(box+" p")), " · ") {
				if item == strings.ToLower(sign.Label()) {
					return true
				}
			}
			return false
		}
		require.True(t, listed(where), "%s is not under %s", sign, where)
		require.False(t, listed(other), "%s is under %s too", sign, other)
	}
}

func TestCardWithoutAPlanIsConditional(t *testing.T) {
	t.Parallel()
	s := newStory(t, care.EnrolledDog{Name: "Moss", Sex: care.Female, Entire: true})
	d := made(t, Card, s.input())
	d.has("#next-dose", "If she is on an anti-inflammatory and you see any of these")
	require.Empty(t, d.find("#injection"))
	d.has(".today", "yellow gums", "discharge in an unspayed bitch")
	d.hasNot(".emergency", "ellow gums")
}

func TestTimelineTellsWhatHappened(t *testing.T) {
	t.Parallel()
	s := newStory(t, bramble())
	s.to(time.Date(2026, 1, 6, 10, 0, 0, 0, time.UTC)) // the first check-in
	s.report(care.Delivered)
	s.says("2")
	s.says("1")
	s.says("BACK")
	s.says("3")
	s.says("he had a fit this morning")
	s.report(care.Read)
	s.pass(5 * time.Minute)
	s.does(care.Practice{Ack: &care.AlertAction{Alert: 1}})
	s.closeAlerts()
	s.does(care.Practice{QuietSign: &care.QuietSign{Sign: signs.Diarrhoea, Until: s.now.AddDate(0, 1, 0).Unix()}})
	s.turn(care.Event{Practice: &care.Practice{By: "lee", Close: &care.AlertAction{Alert: 1, Outcome: care.Phoned}}})
	d := made(t, Timeline, s.input())
	d.has("header", "Ruth", "Bramble")
	d.has("main", "Tuesday 6 January 2026", "limping on walks this week", "delivered, 6 Jan 2026, 10:00", "read as: Bramble: limping 2",
		"corrected: Bramble: soreness 3, in place of soreness 1", "he had a fit this morning", "read as a sign: Bramble: seizure",
		"seen by the owner", "alert 1 opened, emergency sign", "alert 1 taken on", "Dr Lee", "alert 1: seen",
		"“diarrhoea” until 6 Feb 2026", "refused", "That alert is closed already.", "agreed", "start carprofen, from 5 Oct 2025")
}

func TestReactionSheetIsFilledIn(t *testing.T) {
	t.Parallel()
	d := made(t, ReactionSheet, halfYear(t).input())
	d.has("#dog", "Bramble", "H-0117", "male, neutered", "kg on ")
	d.has("#medicines", "carprofen", "anti-inflammatory", "held", "antibody injection", "B-2231", "start 5 Oct 2025; held 12 Feb 2026; restart 26 Feb 2026; held 4 Jun 2026")
	d.has("#words", "sick twice in the night", "Ruth", "read as ")
	d.hasNot("#words", "lovely week")
	d.has("#alerts", "Emergency sign: repeated vomiting", "seen, Dr Lee")
	d.has(".warning", "makes no diagnosis")
	require.GreaterOrEqual(t, len(d.find(".fill")), 8)
}

func TestExportIsHarmlessAndComplete(t *testing.T) {
	t.Parallel()
	s := halfYear(t)
	s.house.Dogs[0].Name = "=HYPERLINK(\"x\")"
	s.does(care.Practice{CheckIn: &care.EnteredCheckIn{Items: clinical.Items{1, 1, 1, 1, 1, 1, 1, clinical.Missing}, Doses: -1, Who: "+44 @ home"}})
	var b bytes.Buffer
	in := s.input()
	require.NoError(t, ExportCSV(&b, in))
	rows, err := csv.NewReader(&b).ReadAll()
	require.NoError(t, err)
	h := in.history()
	require.Len(t, rows, 1+h.count(Answered, ByStaff, Missed)+len(h.Weights)+len(h.Alerts))
	at := map[string]int{}
	for i, name := range rows[0] {
		at[name] = i
	}
	kinds := map[string]int{}
	for i, row := range rows {
		require.Len(t, row, len(rows[0]))
		for _, cell := range row {
			require.False(t, cell != "" && strings.ContainsRune("=+-@", rune(cell[0])), cell)
		}
		if i > 1 {
			require.LessOrEqual(t, rows[i-1][1][:10], row[1][:10])
		}
		kinds[row[0]]++
		if row[0] == "alert" && row[at["outcome"]] == "seen" {
			require.Equal(t, "Dr Lee", row[at["closed_by"]])
			require.NotEmpty(t, row[at["closed_at"]])
			require.NotEmpty(t, row[at["sentence"]])
			kinds["seen"]++
		}
	}
	require.Equal(t, h.count(Missed), kinds["missed check-in"])
	require.Positive(t, kinds["seen"])
	last := rows[len(rows)-1]
	require.Equal(t, []string{"check-in", "'=HYPERLINK(\"x\")", "25", "'+44 @ home", "Dr Lee"}, []string{last[0], last[2], last[at["index"]], last[at["answered_by"]], last[at["entered_by"]]})
	require.Equal(t, "", last[at["own2"]], "not answered")
	require.Contains(t, []string{rows[1][at["weight_kg"]], rows[2][at["weight_kg"]]}, "32.500")

	broken := errors.New("the disk is full")
	require.ErrorIs(t, ExportCSV(failing{broken}, in), broken)
	require.ErrorIs(t, Report(failing{broken}, in), broken)
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

func TestHarmlessCells(t *testing.T) {
	t.Parallel()
	for given, want := range map[string]string{"": "", "ok": "ok", "=1": "'=1", "+1": "'+1", "-1": "'-1", "@x": "'@x", "\tx": "'\tx", "'=1": "'=1"} {
		require.Equal(t, want, harmless(given))
	}
}

// Dates are in the clinic's zone, also where a day begins an hour later in UTC.
func TestDatesAreInTheClinicsZone(t *testing.T) {
	t.Parallel()
	in := Input{Rules: testRules(t)}
	require.Equal(t, "1 Jul 2026", in.day(time.Date(2026, 6, 30, 23, 30, 0, 0, time.UTC).Unix()))
	require.Equal(t, "1 Jul 2026, 00:30", in.stamp(time.Date(2026, 6, 30, 23, 30, 0, 0, time.UTC).Unix()))
}
