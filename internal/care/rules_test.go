package care_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/dialog"
	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
)

// An invented practice, invented people; numbers reserved for fiction.
var (
	ownerAddress = contact.Address{Channel: "sms", Value: "+447700900101"}
	leeAddress   = contact.Address{Channel: "sms", Value: "+447700900201"}
	okaAddress   = contact.Address{Channel: "sms", Value: "+447700900202"}
	lastAddress  = contact.Address{Channel: "sms", Value: "+447700900299"}
	// monday is 10:00 on 2 March 2026 in London.
	monday = time.Date(2026, 3, 2, 10, 0, 0, 0, time.UTC)
)

func testRules(t testing.TB) *care.Rules {
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	week := map[time.Weekday][]cadence.Span{}
	for d := time.Monday; d <= time.Friday; d++ {
		week[d] = []cadence.Span{{From: 8*60 + 30, To: 18 * 60}}
	}
	hours, err := cadence.NewHours(zone, week, nil)
	require.NoError(t, err)
	scripts, err := dialog.Builtin()
	require.NoError(t, err)
	return &care.Rules{
		Clinic: "hill", Name: "Hill Vets", Zone: zone, Region: "GB",
		Phone: "01632 960100", Emergency: "01632 960911", PersonNumber: "999",
		Hours: hours, Quiet: cadence.Quiet{From: 21 * 60, To: 8 * 60},
		Practitioners: []care.Practitioner{
			{ID: "lee", Name: "Dr Lee", Contacts: []contact.Address{leeAddress}, Digest: true},
			{ID: "oka", Name: "Dr Oka", Contacts: []contact.Address{okaAddress}, Minimal: true},
		},
		LastResort: lastAddress, Lead: "lee",
		Cadences: care.Cadences{
			CheckIn: every(t, "0 10 * * 2", 6), WeighIn: every(t, "0 10 * * 4", 27),
			WeighInLoss: every(t, "0 10 * * 4", 13), Reassessment: every(t, "0 10 * * 3", 83),
			Digest: every(t, "0 8 * * 1-5", 0),
		},
		Thresholds: clinical.DefaultThresholds(), Limits: care.DefaultLimits(), Scripts: scripts,
		Channels: []care.Channel{{Name: "text", Kind: "sms", Address: "+447700900300"}},
	}
}

func every(t testing.TB, cron string, gap int) cadence.Cadence {
	c, err := cadence.Parse(cron, gap)
	require.NoError(t, err)
	return c
}

// parseDog reads "NAME key=value … flag".
func parseDog(t testing.TB, text string) care.EnrolledDog {
	f := strings.Split(text, " | ")
	d := care.EnrolledDog{Name: f[0], Sex: care.Male}
	for _, opt := range f[1:] {
		key, value, _ := strings.Cut(opt, "=")
		switch key {
		case "sex":
			d.Sex = care.Female
		case "own1":
			d.Own[0] = value
		case "own2":
			d.Own[1] = value
		case "nsaid", "antibody", "steroid":
			d.Plan = append(d.Plan, care.Entry{Area: care.AreaPain, What: value, Class: care.MedicineClass(key),
				Started: monday.AddDate(0, 0, -60).Unix()})
		case "therapy":
			d.Plan = append(d.Plan, care.Entry{Area: care.AreaTherapy, What: value, Started: monday.AddDate(0, 0, -60).Unix()})
		case "supplement":
			d.Plan = append(d.Plan, care.Entry{Area: care.AreaSupplement, What: value, Started: monday.AddDate(0, 0, -60).Unix()})
		case "loss":
			d.Loss = true
		case "untreated":
			d.Untreated = true
		default:
			t.Fatalf("dog option %q is not known", opt)
		}
	}
	return d
}
