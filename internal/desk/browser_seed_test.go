package desk

import (
	"html/template"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/chart"
	"gaitpost/internal/contact"
)

// drawn gives the desk pictures in every place that has one.
func drawn(o *Options) {
	o.Drawings = Drawings{
		Index: func(in IndexInput) template.HTML {
			c := chart.IndexInput{Title: in.Title, Zone: in.Zone, Threshold: in.Threshold, Detectable: in.SDC}
			for _, p := range in.Points {
				c.Points = append(c.Points, chart.Point{At: p.At, Value: p.Index, Scored: p.Scored, Missed: p.Missed, Alert: p.Alert})
			}
			for _, m := range in.Changes {
				c.Changes = append(c.Changes, chart.Event(m))
			}
			s, _ := chart.Index(c)
			return template.HTML(s)
		},
		Weight: func(in WeightInput) template.HTML {
			c := chart.WeightInput{Title: in.Title, Zone: in.Zone, Target: in.Judged.Target.Grams.Kilograms()}
			for _, w := range in.WeighIns {
				c.WeighIns = append(c.WeighIns, chart.WeighIn{At: w.At, Kg: w.Grams.Kilograms()})
			}
			s, _ := chart.Weight(c)
			return template.HTML(s)
		},
		Trend: func(in TrendInput) template.HTML {
			c := chart.TrendInput{Zone: in.Zone, Baseline: in.Baseline, HasBaseline: in.HasBaseline}
			for _, p := range in.Points {
				c.Points = append(c.Points, chart.TrendPoint{At: p.At, Value: p.Index, Scored: true})
			}
			s, _ := chart.Trend(c)
			return template.HTML(s)
		},
	}
	o.Papers = StandardPapers()
}

// lived is a clinic in which everything that a page can show has happened, to
// the dogs of the household that it returns or to another's. The other clinic
// is empty.
func lived(t testing.TB) (*bench, contact.ID) {
	t.Helper()
	b := newBench(t, func(o *Options) { drawn(o); changing(t)(o) })
	b.clock.Store(tuesday.AddDate(0, -5, 0).Unix())
	id := b.enrol("hillside", 1, "Ruth", care.EnrolledDog{Name: "Bramble", Grams: 32_000, BCS: 7, Loss: true, Plan: []care.Entry{
		{Area: care.AreaPain, What: "invented tablets", Class: care.NSAID}, {Area: care.AreaHome, What: "rugs"}}}, care.EnrolledDog{Name: "Moss"})
	b.checkIns("hillside", id, 1, 1, 1, 2, 1, 1, 1, 2, 1, 1, 1, 3, 3)
	for _, kg := range []string{"31.6", "31", "30.5"} {
		b.signedIn("hillside", account.Vet).post(at("/h/:id/dogs/:dog/weigh", id), "kg", kg, "scale", "home").done("weighed")
		b.pass(2 * 24 * time.Hour)
	}
	vet := b.signedIn("hillside", account.Vet)
	b.atThePlan(vet, id)
	b.inTheSettings(vet, id)
	b.inTexts(vet, id)
	b.others(vet)
	return b, id
}

// atThePlan changes the plan and records findings.
func (b *bench) atThePlan(vet *client, id contact.ID) {
	dog := at("/h/:id/dogs/:dog", id)
	day := func(days int) string { return b.now().AddDate(0, 0, days).Format(time.DateOnly) }
	vet.start(dog+"/plan", "area", "pain relief", "class", "antibody", "what", "invented injection", "why", "stiff hips", "who", "the practice",
		"on", day(-60), "review", day(30), "batch", "B-77", "comfort", "yes", "remind", "injection", "every", "28").done("planned")
	vet.start(dog+"/plan", "area", "therapy", "what", "hydrotherapy").done("planned")
	vet.post(dog+"/plan", "action", "hold", "entry", "1", "reason", "sick on it").done("planned")
	vet.post(dog+"/plan", "action", "stop", "entry", "5", "reason", "too far to drive").done("planned")
	vet.start(dog+"/plan", "area", "home", "what", "a ramp for the car").done("planned")
	vet.post(dog+"/plan/withdraw", "entry", "6", "why", "another dog’s").done("withdrawn")
	vet.post(dog+"/findings", "whole", "yes", "joint", "left hip", "joint", "both elbow", "grade", "3", "leg", "left hind", "bcs", "6", "muscle", "2",
		"diseases", "heart murmur", "examined", day(-3), "text", "sore behind").done("found")
	vet.post(dog+"/findings", "test", "blood", "test-on", day(-40), "test-next", day(-9), "test-remark", "no change").done("found")
	vet.post(dog+"/note", "note", "rather lame today").done("noted")
}

// inTheSettings sets what can be set for one dog, and for the clinic.
func (b *bench) inTheSettings(vet *client, id contact.ID) {
	dog := at("/h/:id/dogs/:dog", id)
	until := b.now().AddDate(0, 1, 0).Format(time.DateOnly)
	vet.post(dog+"/thresholds", "n-level_at", "60").done("dog-set")
	vet.post(dog+"/cadence", "kind", "checkin", "cron", "30 9 * * fri", "gap", "6").done("dog-set")
	vet.post(dog+"/quiet-sign", "sign", "diarrhoea", "until", until).done("quiet-sign")
	vet.post(at("/h/:id/dogs/1/hold", id), "until", until, "why", "after an operation").done("held")
	old := itoa(int(b.household("hillside", id).Dogs[0].Course.Readings()[12].At))
	vet.post(dog+"/correct", "at", old, "item-limping", "2", "item-soreness", "2", "item-night", "2", "item-rising", "2", "item-walking", "2", "item-steps", "2",
		"why", "read for the wrong week").done("corrected")
	vet.post("/desk/rules/change", "key", "thresholds.index.level_at", "value", "60", "seen", "0", "why", "too many").done("rule")
}

// inTexts lets the owner write, and what was written to her fail.
func (b *bench) inTexts(vet *client, id contact.ID) {
	b.says("hillside", id, "he was sick twice today")
	vet.post("/desk/h/"+string(id)+"/alerts/1/ack", "note", "ringing her")
	b.says("hillside", id, "Bramble has collapsed <b>now</b> "+strings.Repeat("x", 120))
	b.report("hillside", id, care.Failed, "30003")
	vet.post("/desk/h/"+string(id)+"/write", "contact", "0", "text", "Is he up? Ő").done("sent")
	b.report("hillside", id, care.Failed, care.CodeLate)
	b.says("hillside", id, "can you ring me about the tablets please?")
	b.pass(time.Minute)
}

// others are households in the states that the first one is not in.
func (b *bench) others(vet *client) {
	out := b.enrol("hillside", 2, "Ian", care.EnrolledDog{Name: "Fern", Grams: 12_000, BCS: 5})
	b.says("hillside", out, "STOP")
	gone := b.enrol("hillside", 3, "Una", care.EnrolledDog{Name: "Toby"})
	vet.post(at("/h/:id/dogs/:dog/farewell", gone), "sure", "yes").done("farewell")
	b.enrol("hillside", 4, "Noor", care.EnrolledDog{Name: "Pip"})
	done := b.enrol("hillside", 5, "Gus", care.EnrolledDog{Name: "Juno"})
	b.says("hillside", done, "Juno was sick three times")
	require.Equal(b.t, 303, vet.post("/desk/h/"+string(done)+"/alerts/1/close", "outcome", "phoned", "note", "well again", "minutes", "5").status)
}
