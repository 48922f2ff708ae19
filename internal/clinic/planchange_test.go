package clinic

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// change reads "column=value" pairs beside a phone and a dog.
func change(t *testing.T, pairs ...string) (Change, []string) {
	t.Helper()
	fields := []Field{{"phone", "--phone", "07700 900401"}, {"dog", "--dog", "Bramble"}}
	for _, p := range pairs {
		column, value, _ := strings.Cut(p, "=")
		fields = append(fields, Field{column, "--" + column, value})
	}
	c, problems := reader(t).PlanChange("the command line", fields)
	return c, wrong(problems)
}

func TestPlanChange(t *testing.T) {
	got, problems := change(t, "action=start", "what=carprofen", "class=nsaid", "comfort=yes", "on=2026-03-01", "reason=flare", "batch=")
	require.Empty(t, problems)
	require.Equal(t, contact.Address{Channel: contact.SMS, Value: "+447700900401"}, got.Owner)
	require.Equal(t, care.PlanChange{
		Dog: "Bramble", Action: care.PlanStart, What: "carprofen", Class: care.NSAID, Area: care.AreaPain,
		Comfort: true, On: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC).Unix(), Reason: "flare",
	}, got.Plan)

	got, problems = change(t, "action=start", "what=hydrotherapy", "area=therapy")
	require.Empty(t, problems)
	require.Equal(t, care.AreaTherapy, got.Plan.Area)
	got, problems = change(t, "action=stop", "what=carprofen")
	require.Empty(t, problems, "what stands on the plan is known there")
	require.Equal(t, care.PlanStop, got.Plan.Action)
	got, problems = change(t, "action=details", "what=carprofen", "who=Nurse Kay", "why=stiff", "review=2026-06-01", "source=out-of-hours")
	require.Empty(t, problems)
	require.Equal(t, care.PlanChange{Dog: "Bramble", Action: care.PlanDetails, What: "carprofen", Who: "Nurse Kay", Why: "stiff",
		Source: care.FromOutOfHours, Review: got.Plan.Review}, got.Plan)
	require.Equal(t, "2026-06-01", time.Unix(got.Plan.Review, 0).UTC().Format(time.DateOnly))
	require.True(t, NamesDose("carprofen 50 mg"))
	require.False(t, NamesDose("carprofen"))
}

func TestPlanChangeFaults(t *testing.T) {
	for pairs, want := range map[string]string{
		"action=double;what=carprofen":                      "--action: this is not something that is done",
		"action=stop":                                       "what: what is changed is missing",
		"action=start;what=carprofen":                       "needs the class of a medicine, or an area",
		"action=start;what=carprofen;class=nsaids":          "--class: this is not a class of medicine",
		"action=start;what=ramp;area=garden":                "--area: this is not an area",
		"action=start;what=carprofen;class=nsaid;area=home": "--area: a medicine belongs to pain relief",
		"action=start;what=carprofen 50 mg;class=nsaid":     "--what: a dose is not kept here",
		"action=stop;what=carprofen;on=2026-03-03":          "--on: this is not a day from 2000 until today",
		"action=stop;what=carprofen;on=yesterday":           "--on: this is not a day",
		"action=stop;what=carprofen;phone=12":               "--phone: ",
		"action=stop;what=carprofen;dog=":                   "--dog: the dog's name is missing",
		"action=stop;what=carprofen;reason=one\ntwo":        "--reason: ",
		"action=stop;what=carprofen;review=2020-01-01":      "--review: this is not a day to come",
		"action=stop;what=carprofen;review=soon":            "--review: this is not a day to come",
		"action=stop;what=carprofen;source=the moon":        "--source: this is not where something comes from",
		"action=stop;what=carprofen;comfort=perhaps":        "--comfort: this is neither yes nor no",
	} {
		got, problems := change(t, strings.Split(pairs, ";")...)
		require.Contains(t, strings.Join(problems, "\n"), want, pairs)
		require.Equal(t, Change{}, got)
	}
}
