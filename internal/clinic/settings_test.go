package clinic

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
)

// plain is a settings file with nothing but what has to be there.
func plain(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile(samples + "/bad_two_documents.yaml")
	require.NoError(t, err)
	text, _, _ := strings.Cut(string(data), "---")
	return text
}

func TestDefaultsHoldWhereNothingIsSet(t *testing.T) {
	c, problems := load(t, plain(t))
	require.Empty(t, problems)
	r := c.Rules
	require.Equal(t, clinical.DefaultThresholds(), r.Thresholds)
	require.Equal(t, care.DefaultLimits(), r.Limits)
	require.Equal(t, cadence.Quiet{From: 21 * 60, To: 8 * 60}, r.Quiet)
	require.Equal(t, "0 10 * * tue", r.Cadences.CheckIn.String())
	require.Equal(t, 6, r.Cadences.CheckIn.GapDays())
	require.Equal(t, []string{"lee", "okafor"}, r.Chain(reference), "without a rota everybody is told")
	require.Equal(t, contact.Address{Channel: contact.SMS, Value: "+447700900309"}, r.LastResort)
	require.True(t, r.Hours.Open(time.Date(2026, 7, 1, 8, 30, 0, 0, r.Zone)))
	require.False(t, r.Hours.Open(time.Date(2026, 7, 1, 18, 30, 0, 0, r.Zone)))
}

// Every number of the clinical rules is a clinic's to change: a field without
// a setting would be one that nobody can see or change.
func TestEveryNumberHasASetting(t *testing.T) {
	r := defaultRules()
	has := map[any]bool{}
	for _, k := range numberTable {
		has[k.at(r)] = true
	}
	for _, group := range []any{&r.Thresholds, &r.Limits} {
		v := reflect.ValueOf(group).Elem()
		for i := range v.NumField() {
			name := v.Type().Field(i).Name
			if name == "SignsOnlyDays" {
				continue // a list, read by itself
			}
			require.True(t, has[v.Field(i).Addr().Interface()], "%s.%s has no setting", v.Type().Name(), name)
		}
	}
}

// The table's ranges of thresholds are those that package clinical refuses
// beyond; the two are written apart and must not drift.
func TestRangesAgreeWithTheRules(t *testing.T) {
	for _, k := range numberTable {
		if k.field == "" {
			continue
		}
		r := defaultRules()
		wide := reflect.ValueOf(&r.Thresholds).Elem()
		// The ends that depend on another threshold are checked at that one's end.
		r.Thresholds.LevelAt, r.Thresholds.BaselineN, r.Thresholds.SigmaWindow = 100, 26, 26
		for _, end := range []struct {
			text string
			past float64
		}{{k.min, -1}, {k.max, 1}} {
			v, ok := parseQuantity(k.at(r), end.text)
			require.True(t, ok, k.path())
			kept := reflect.New(wide.Type()).Elem()
			kept.Set(wide)
			setQuantity(k.at(r), v)
			require.NotContains(t, fields(r.Thresholds.Problems()), k.field, "%s at %s", k.path(), end.text)
			step := 1.0
			if _, isFloat := k.at(r).(*float64); isFloat {
				step = 1e-6
			}
			setQuantity(k.at(r), v+end.past*step)
			require.Contains(t, fields(r.Thresholds.Problems()), k.field, "%s past %s", k.path(), end.text)
			wide.Set(kept)
		}
	}
}

func fields(problems []clinical.ThresholdProblem) []string {
	var out []string
	for _, p := range problems {
		out = append(out, p.Field)
	}
	return out
}

// Whatever a clinic sets, an emergency goes on to the next in line within the
// hour, and the owner is asked within two whether a vet has been reached.
func TestNoNumberSwitchesEmergenciesOff(t *testing.T) {
	for key, most := range map[string]time.Duration{
		"escalate_after": time.Hour, "follow_up_after": 2 * time.Hour,
		"follow_up_wait": time.Hour, "safety_question_after": 4 * time.Hour,
	} {
		for _, value := range []string{"0m", "-5m", "0d", (most + time.Second).String(), "off", "never", "1e9h"} {
			_, problems := load(t, plain(t)+"thresholds:\n  alerts:\n    "+key+": "+value+"\n")
			require.True(t, AnyWrong(problems), "%s: %s", key, value)
		}
		_, problems := load(t, plain(t)+"thresholds:\n  alerts:\n    "+key+": "+showWait(most)+"\n")
		require.False(t, AnyWrong(problems), key)
	}
}

func TestNumbersAreReadExactly(t *testing.T) {
	c, problems := load(t, plain(t)+`thresholds:
  index: {rise_mean: 12.25, baseline_checkins: 6}
  alerts: {escalate_after: 90s, despair_pause: 14d, prompt_at: "11:30", signs_only_days: [2d, 9]}
`)
	require.Empty(t, problems)
	require.Equal(t, 12.25, c.Rules.Thresholds.RiseMean)
	require.Equal(t, 6, c.Rules.Thresholds.BaselineN)
	require.Equal(t, 90*time.Second, c.Rules.Limits.EscalateAfter)
	require.Equal(t, 14*24*time.Hour, c.Rules.Limits.DespairPause)
	require.Equal(t, cadence.MinuteOfDay(11*60+30), c.Rules.Limits.PromptAt)
	require.Equal(t, []int{2, 9}, c.Rules.Limits.SignsOnlyDays)
	for _, text := range []string{"NaN", "Inf", "0x10", "1e400"} {
		v, ok := parseQuantity(new(float64), text)
		require.True(t, !ok || v >= 0 && !math.IsInf(v, 0), text)
	}
}

func TestDaySpecs(t *testing.T) {
	for text, want := range map[string]string{
		"mon": "mon", "Mon-Fri": "mon-fri", "tue, thu": "tue, thu", "fri-mon": "mon, fri-sun",
		"daily": "daily", "weekdays": "mon-fri", "weekends": "sat-sun", "Wednesday": "wed",
		"mon tues": "mon-tue", "sat-sun,wed": "wed, sat-sun",
	} {
		days, ok := parseDaySpec(text)
		require.True(t, ok, text)
		require.Equal(t, want, showDaySpec(days), text)
	}
	for _, text := range []string{"", "m", "mon-", "-fri", "mon-xyz", "someday", "mon--fri"} {
		_, ok := parseDaySpec(text)
		require.False(t, ok, text)
	}
}

func TestTwoClinicsMustDiffer(t *testing.T) {
	one := plain(t)
	other := strings.Replace(one, "id: mill-lane", "id: weir-road", 1)
	lent := strings.Replace(other, "+44 7700 900350", "+44 7700 900301", 1) // Dr Lee's own number
	lent = strings.Replace(lent, "900301\"]", "900311\"]", 1)
	for name, c := range map[string]struct{ second, key, message string }{
		"same id":          {strings.Replace(one, "+44 7700 900350", "+44 7700 900351", 1), "id", "has this id already"},
		"same number":      {other, "channels[text].number", "has this number already"},
		"another's person": {lent, "practitioners", "is the number of a channel in b.yaml"},
	} {
		_, problems := LoadFrom(Source{Getenv: env, Files: fstest.MapFS{
			"a.yaml": {Data: []byte(one)}, "b.yaml": {Data: []byte(c.second)},
		}})
		found := false
		for _, p := range problems {
			found = found || p.Key == c.key && strings.Contains(p.Message, c.message) && p.Severity == Wrong
		}
		require.True(t, found, "%s: %v", name, problems)
	}
}

func TestOneBadClinicLeavesTheOthers(t *testing.T) {
	clinics, problems := LoadFrom(Source{Getenv: env, Files: fstest.MapFS{
		"a.yaml": {Data: []byte("id: [")}, "b.yml": {Data: []byte(plain(t))},
		".hidden.yaml": {Data: []byte("?")}, "notes.txt": {Data: []byte("?")},
	}})
	require.Len(t, clinics, 1)
	require.Equal(t, "b.yml", clinics[0].File)
	require.True(t, AnyWrong(problems))
}

func TestAnEmptyFolderIsAProblem(t *testing.T) {
	_, problems := LoadFrom(Source{Files: fstest.MapFS{}})
	require.True(t, AnyWrong(problems))
	_, problems = Load(t.TempDir()+"/nowhere", env, nil)
	require.True(t, AnyWrong(problems))
}

func TestMissingSecretsCanBeWarnings(t *testing.T) {
	src := Source{Files: fstest.MapFS{"a.yaml": {Data: []byte(plain(t))}}, MissingSecrets: Doubtful}
	clinics, problems := LoadFrom(src)
	require.False(t, AnyWrong(problems))
	require.Len(t, clinics, 1)
	require.Contains(t, fmt.Sprint(problems), "not set")
	src.MissingSecrets = Wrong
	_, problems = LoadFrom(src)
	require.True(t, AnyWrong(problems))
}

func TestSecretsNeverShow(t *testing.T) {
	c, _ := load(t, plain(t))
	require.Equal(t, "an invented token", c.Channels[0].AuthToken.Reveal())
	var b strings.Builder
	slog.New(slog.NewJSONHandler(&b, nil)).Info("settings", "channel", c.Channels[0], "secret", c.Channels[0].AuthToken)
	js, err := json.Marshal(c.Channels)
	require.NoError(t, err)
	for _, shown := range []string{
		fmt.Sprintf("%v %+v %#v %s %q %x", c.Channels, c.Channels, c.Channels, c.Channels[0].AuthToken, c.Channels[0].AuthToken, c.Channels[0].AuthToken),
		b.String(), string(js), fmt.Sprint(Explain(c)),
	} {
		require.NotContains(t, shown, "invented token")
		require.NotContains(t, shown, fmt.Sprintf("%x", "an invented token"))
	}
}

func TestExplainTellsValueDefaultAndSource(t *testing.T) {
	c, _ := load(t, plain(t)+"thresholds: {index: {level_at: 55}}\n")
	by := map[string]Setting{}
	for _, s := range Explain(c) {
		require.NotContains(t, by, s.Key, "each setting once")
		by[s.Key] = s
	}
	require.Equal(t, Setting{Key: "thresholds.index.level_at", Value: "55", Default: "50", Allowed: "0 to 100", Source: toSimulate, Line: 27}, by["thresholds.index.level_at"])
	require.Zero(t, by["thresholds.index.rise_mean"].Line)
	require.Equal(t, "10.5", by["thresholds.index.rise_mean"].Value)
	require.Equal(t, "mon-fri: 08:30-18:30; sat-sun: closed", by["hours"].Value)
	require.Equal(t, "no", by["practitioners[lee].minimal"].Value)
	require.Equal(t, redacted, by["channels[text].auth_token_env"].Value)
	for _, k := range numberTable {
		require.NotEmpty(t, by[k.path()].Source, k.path())
	}
	for path := range by {
		require.True(t, slices.ContainsFunc(Keys(), func(k Key) bool { return k.Path == patternOf(path) }), "%s is no setting", path)
	}
}

func TestSuggestions(t *testing.T) {
	known := []string{"lead", "hours", "practitioners", "quiet_hours"}
	for typed, want := range map[string]string{
		"leed": "lead", "hour": "hours", "practicioners": "practitioners", "quite_hours": "quiet_hours",
		"x": "", "colour": "", "": "", strings.Repeat("h", 1000): "",
	} {
		require.Equal(t, want, nearest(typed, known), typed)
	}
}

func TestReferencesAreNotFollowed(t *testing.T) {
	for _, text := range []string{
		"a: &a [x]\nhours: *a\n",
		"<<: {id: x}\n",
		"hours: &h {mon: *h}\n",
		"rota: &r [*r]\n",
	} {
		c, problems := load(t, text)
		require.Nil(t, c)
		require.True(t, AnyWrong(problems), text)
	}
}

func FuzzSettings(f *testing.F) {
	for _, name := range []string{example, samples + "/bad_everything_at_once.yaml"} {
		data, err := os.ReadFile(name)
		require.NoError(f, err)
		f.Add(string(data))
	}
	f.Add("a: &a [*a]\n")
	f.Add("hours: {? [a] : b}\nrota: [[]]\nchannels: {}\n")
	f.Add("\ufeffid: x\r\nquiet_hours: 24:00-24:00\n")
	f.Fuzz(func(t *testing.T, text string) {
		clinics, problems := LoadFrom(Source{Getenv: env, Files: fstest.MapFS{"c.yaml": {Data: []byte(text)}}})
		require.Equal(t, !AnyWrong(problems), len(clinics) == 1, "a clinic, or a reason why not")
		for _, p := range problems {
			require.NotEmpty(t, p.Message)
			require.NotContains(t, p.String(), "\n")
		}
		for _, c := range clinics {
			require.NotEmpty(t, c.Rules.Emergency)
			require.NotEmpty(t, c.Rules.Phone)
			require.LessOrEqual(t, c.Rules.Limits.EscalateAfter, time.Hour)
			Explain(c)
		}
	})
}
