package record

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

// outside builds the program that reads exports with libraries of others, and
// returns how to run it. Its module is its own: see testdata/exchangecheck.
func outside(t *testing.T) func(kind string, b []byte) (string, error) {
	t.Helper()
	if testing.Short() {
		t.Skip("building other people's libraries takes a minute the first time")
	}
	program, err := outsideProgram()
	require.NoError(t, err)
	return func(kind string, b []byte) (string, error) {
		file := filepath.Join(t.TempDir(), "export")
		require.NoError(t, os.WriteFile(file, b, 0o600))
		out, err := exec.Command(program, kind, file).CombinedOutput()
		return string(out), err
	}
}

// outsideProgram is built once for all tests; the system tidies up after it.
var outsideProgram = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "exchangecheck")
	if err != nil {
		return "", err
	}
	program := filepath.Join(dir, "exchangecheck")
	build := exec.Command("go", "build", "-mod=mod", "-o", program, ".")
	build.Dir = filepath.Join("..", "..", "testdata", "exchangecheck")
	if out, err := build.CombinedOutput(); err != nil {
		return "", fmt.Errorf("%w: %s", err, out)
	}
	return program, nil
})

func exported(t *testing.T, x Exporter, b *bytes.Buffer, inputs ...Input) string {
	t.Helper()
	for _, in := range inputs {
		require.NoError(t, x.Add(in))
	}
	require.NoError(t, x.Close())
	return b.String()
}

func bothDogs(s *story) []Input {
	a, b := s.input(), s.input()
	b.Dog = 1
	return []Input{a, b}
}

func bundleOf(t *testing.T, s *story, numbers bool) string {
	inputs := bothDogs(s)[:len(s.house.Dogs)]
	for i := range inputs {
		inputs[i].Numbers = numbers
	}
	var b bytes.Buffer
	return exported(t, NewBundle(&b, s.rules, s.now), &b, inputs...)
}

// Google's FHIR library takes the bundle, and refuses it once it is wrong in each
// of several ways: the test of the test.
func TestOthersTakeOurFHIR(t *testing.T) {
	t.Parallel()
	check := outside(t)
	s := referred(t)
	s.does(care.Practice{Farewell: &care.Farewell{Dog: 1}})
	good := bundleOf(t, s, true)
	out, err := check("fhir", []byte(good))
	require.NoError(t, err, out)
	out, err = check("fhir", []byte(bundleOf(t, newStory(t, care.EnrolledDog{Name: hostile, Ref: hostile}), false)))
	require.NoError(t, err, out)
	for what, pair := range map[string][2]string{
		"an unknown field": {`"resourceType":"Patient",`, `"resourceType":"Patient","animal":"dog",`},
		"a wrong status":   {`"status":"completed"`, `"status":"finished"`},
		"a missing linkId": {`"linkId":"limping",`, ``},
		"a wrong instant":  {`"authored":"`, `"authored":"on `},
		"a wrong gender":   {`"gender":"male"`, `"gender":"dog"`},
	} {
		bad := strings.Replace(good, pair[0], pair[1], 1)
		require.NotEqual(t, good, bad, what)
		_, err := check("fhir", []byte(bad))
		var refused *exec.ExitError
		require.True(t, errors.As(err, &refused), what)
	}
}

// What no validator looks at: the inside of the animal's extension, and that
// every answer is one that the form offers.
func TestABundleHoldsTogether(t *testing.T) {
	t.Parallel()
	s := referred(t)
	var bundle struct {
		Type  string
		Entry []struct {
			FullURL  string
			Resource map[string]any
		}
	}
	text := bundleOf(t, s, false)
	require.NoError(t, json.Unmarshal([]byte(text), &bundle))
	require.Equal(t, "collection", bundle.Type)
	require.NotContains(t, text, "7700900401", "numbers only where chosen")
	require.Contains(t, bundleOf(t, s, true), "7700900401")
	count, seen := map[string]int{}, map[string]bool{}
	offered := map[string]bool{}
	for _, e := range bundle.Entry {
		kind := e.Resource["resourceType"].(string)
		count[kind]++
		require.False(t, seen[e.FullURL], "two resources with one id")
		require.Equal(t, "urn:uuid:"+e.Resource["id"].(string), e.FullURL)
		seen[e.FullURL] = true
		raw, _ := json.Marshal(e.Resource)
		if kind == "Questionnaire" {
			for _, q := range e.Resource["item"].([]any) {
				offered[q.(map[string]any)["linkId"].(string)] = true
			}
			require.Contains(t, string(raw), "not a validated instrument")
			continue
		}
		for _, ref := range regexpReferences.FindAllStringSubmatch(string(raw), -1) {
			require.Contains(t, text, `"fullUrl":"`+ref[1]+`"`)
		}
	}
	require.Equal(t, map[string]int{"Questionnaire": 1, "Patient": 2, "RelatedPerson": 2, "QuestionnaireResponse": 20, "Observation": 20 + 12, "CarePlan": 1}, count)
	for _, e := range bundle.Entry {
		raw, _ := json.Marshal(e.Resource)
		kind := e.Resource["resourceType"]
		if strings.Contains(string(raw), "Moss") {
			continue // has no number at the practice
		}
		switch kind {
		case "Patient":
			require.Contains(t, string(raw), `"extension":[{"url":"species","valueCodeableConcept":{"coding":[{"code":"448771007"`)
			require.Contains(t, string(raw), `"value":"H-0117"`)
		case "QuestionnaireResponse":
			for _, a := range e.Resource["item"].([]any) {
				require.True(t, offered[a.(map[string]any)["linkId"].(string)])
			}
		}
		if kind != "Questionnaire" {
			require.Contains(t, string(raw), "H-0117", "the practice's own number is on every record")
		}
	}
	require.Contains(t, text, `"value":32.5,"unit":"kg","system":"http://unitsofmeasure.org","code":"kg"`)
	require.Equal(t, text, bundleOf(t, s, false), "the same from export to export")
}

// Two parsers of other libraries read the same days and titles from a calendar.
func TestOthersReadOurCalendar(t *testing.T) {
	t.Parallel()
	check := outside(t)
	s := newStory(t, care.EnrolledDog{Name: "Bäreli; the \\ old, one " + strings.Repeat("ü", 60), Ref: "H-0118"}, care.EnrolledDog{Name: "Moss"})
	s.pass(time.Hour)
	s.does(care.Practice{Plan: &care.PlanChange{Dog: "Moss", What: "invented tablets", Area: care.AreaPain, Class: care.NSAID, Action: care.PlanStart,
		Review: s.now.AddDate(0, 1, 0).Unix(), Reminders: []care.Reminder{{Kind: care.RemindTablets, Every: 28}}}})
	var b bytes.Buffer
	text := exported(t, NewCalendar(&b, "Due dates, Hill Vets", s.now), &b, bothDogs(s)...)
	for _, line := range strings.SplitAfter(text, "\n") {
		require.True(t, line == "" || strings.HasSuffix(line, "\r\n"), "%q", line)
		require.LessOrEqual(t, len(line), 77, "75 octets and the line's end")
		require.True(t, utf8.ValidString(line), "no letter is torn")
	}
	require.NotContains(t, text, "invented tablets", "calendars are kept by strangers")
	require.NotContains(t, text, "Ruth")
	out, err := check("ical", []byte(text))
	require.NoError(t, err, out)
	events := strings.Count(text, "BEGIN:VEVENT")
	require.Equal(t, 9, events, out)
	byOne := map[string][]string{}
	for _, line := range strings.Split(strings.TrimSpace(out), "\n") {
		f := strings.Split(line, "\t")
		require.Len(t, f, 4)
		byOne[f[0]] = append(byOne[f[0]], strings.Join([]string{f[1], strings.ReplaceAll(f[2], "-", ""), f[3]}, "\t"))
	}
	require.Len(t, byOne["arran4"], events)
	require.Equal(t, byOne["arran4"], byOne["emersion"])
	require.Contains(t, out, "20260202\tMoss: tablets to collect\n")
	require.Contains(t, out, s.house.Dogs[0].Name+" (H-0118): check-in\n")
}

func TestWhatIsHeldOrOverIsNotDue(t *testing.T) {
	t.Parallel()
	s := newStory(t, care.EnrolledDog{Name: "Moss"})
	s.pass(time.Hour)
	s.does(care.Practice{Plan: &care.PlanChange{Dog: "Moss", What: "invented tablets", Area: care.AreaPain, Class: care.NSAID, Action: care.PlanStart,
		Reminders: []care.Reminder{{Kind: care.RemindTablets, Every: 28}}}})
	calendar := func() string {
		var b bytes.Buffer
		return exported(t, NewCalendar(&b, "Due", s.now), &b, s.input())
	}
	require.Contains(t, calendar(), "tablets to collect")
	s.does(care.Practice{Plan: &care.PlanChange{Dog: "Moss", Entry: 1, Action: care.PlanHold, Reason: "sick"}})
	require.NotContains(t, calendar(), "tablets to collect")
	require.Contains(t, calendar(), "check-in")
	s.does(care.Practice{Farewell: &care.Farewell{}})
	require.NotContains(t, calendar(), "VEVENT")
}

func TestOneTableOfAClinic(t *testing.T) {
	t.Parallel()
	s := halfYear(t)
	s.house.Dogs[1].Name = "=HYPERLINK(1)"
	s.house.Dogs[0].Ref = "@H-0117"
	in := bothDogs(s)
	var b bytes.Buffer
	rows, err := csv.NewReader(strings.NewReader(exported(t, NewTable(&b), &b, in...))).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"kind", "at", "dog", "reference"}, rows[0][:4])
	dogs := map[string]bool{}
	for _, r := range rows[1:] {
		require.NotEqual(t, "kind", r[0], "one header")
		dogs[r[2]] = true
		if r[2] == "Bramble" {
			require.Equal(t, "'@H-0117", r[3])
		}
	}
	require.True(t, dogs["'=HYPERLINK(1)"], "no spreadsheet takes it for a formula")

	b.Reset()
	require.Equal(t, 1, strings.Count(exported(t, NewTable(&b), &b), "\n"), "an empty one has its header")
	for _, x := range []Exporter{NewTable(failing{io.ErrClosedPipe}), NewBundle(failing{io.ErrClosedPipe}, s.rules, s.now), NewCalendar(failing{io.ErrClosedPipe}, "", s.now)} {
		_ = x.Add(s.input())
		require.ErrorIs(t, x.Close(), io.ErrClosedPipe)
	}
}

var regexpReferences = regexp.MustCompile(`"reference":"([^"]+)"`)
