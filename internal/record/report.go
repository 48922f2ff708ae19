package record

import (
	"cmp"
	"fmt"
	"html/template"
	"io"
	"regexp"
	"slices"
	"strings"

	"gaitpost/internal/care"
	"gaitpost/internal/chart"
	"gaitpost/internal/clinical"
)

// How much of each thing a report holds at most, so that it stays on two pages;
// the timeline has everything.
const (
	mostPoints     = 104 // check-ins drawn: two years of weekly ones
	mostPlan       = 7
	mostEnded      = 3
	mostEffects    = 2
	mostAlerts     = 6
	planRoom       = 450 // letters, of all entries together
	wordsRoom      = 360
	findingsRoom   = 420
	alertsRoom     = 640
	mostOfOneThing = 240 // letters, of one message or finding
)

// room is how many letters are left for one kind of thing.
type room int

// take cuts a text to what is left, if enough is left to be worth it.
func (r *room) take(text string, most int) (string, bool) {
	const worthIt, around = 60, 40 // around: name and date beside it
	left := int(*r) - around
	text = strings.Join(strings.Fields(text), " ")
	if left < min(worthIt, len([]rune(text))) {
		return "", false
	}
	text = short(text, min(most, left))
	*r -= room(len([]rune(text)) + around)
	return text, true
}

// reportPage is the report for a consultation.
type reportPage struct {
	sheet
	Dog, Owner, Ref string
	About           []string // sex, body condition and the like
	Summary         []string
	Index           figure
	Halves          figure
	Items           figure
	Weight          figure
	WeightText      []string
	Plan            []planLine
	PlanMore        int
	Together        string
	Effects         []effect
	EffectsMore     int
	Placebo         string // the caveat that always stands
	Words           []remarkLine
	WordsMore       int
	Findings        []remarkLine
	Alerts          []alertLine
	AlertsMore      int
}

// figure is a drawing and the table behind it.
type figure struct {
	SVG   template.HTML
	Table chart.Table
}

func drawn(svg string, t chart.Table) figure { return figure{template.HTML(svg), t} }

type planLine struct{ What, Area, Since, State string }

type alertLine struct{ Day, Why, Came string }

// remarkLine is something said or found, by whom and when.
type remarkLine struct{ Day, Who, Text, Signs string }

// Report writes the report for a consultation: one or two pages. Errors wrap
// ErrNoDog, or are the writer's.
func Report(w io.Writer, in Input) error {
	d, err := in.dog()
	if err != nil {
		return err
	}
	h := in.history()
	p := &reportPage{sheet: in.sheet("report", "Report: "+d.Name), Dog: short(d.Name, 40), Owner: in.owner(1), Ref: d.Ref}
	p.about(d)
	p.summary(&in, d, &h)
	p.drawings(&in, d, &h)
	p.weight(&in, d, &h)
	p.plan(&in, d)
	p.Effects, p.Placebo = in.effects(&h, d), clinical.CaveatPlacebo.Text()
	if n := len(p.Effects) - mostEffects; n > 0 {
		p.EffectsMore, p.Effects = n, p.Effects[:mostEffects]
	}
	p.said(&in, &h)
	p.alerts(&in, &h)
	return write(w, "report.html", p)
}

func (p *reportPage) about(d *care.Dog) {
	sex := map[care.Sex]string{care.Male: "male", care.Female: "female"}[d.Sex]
	if sex != "" && d.Entire {
		sex += ", entire"
	}
	for _, s := range []string{statusText(d), sex, bodyText(d)} {
		if s != "" {
			p.About = append(p.About, s)
		}
	}
}

func statusText(d *care.Dog) string {
	return map[care.DogStatus]string{care.OnHold: "check-ins paused", care.Died: "has died", care.Left: "no longer followed"}[d.Status]
}

var muscleNames = [...]string{"", "normal muscle", "mild muscle loss", "moderate muscle loss", "severe muscle loss"}

func bodyText(d *care.Dog) string {
	var parts []string
	if d.BCS > 0 {
		parts = append(parts, fmt.Sprintf("body condition %d of 9", d.BCS))
	}
	if int(d.Muscle) < len(muscleNames) && d.Muscle > 0 {
		parts = append(parts, muscleNames[d.Muscle])
	}
	if d.OwnerBCS > 0 {
		parts = append(parts, fmt.Sprintf("the owner's own estimate %d of 9", d.OwnerBCS))
	}
	return strings.Join(parts, ", ")
}

// summary says the course in a few sentences.
func (p *reportPage) summary(in *Input, d *care.Dog, h *History) {
	t := d.Thresholds(in.Rules.Thresholds)
	var last *clinical.Reading
	for i := range h.Readings {
		if h.Readings[i].Index.Scored {
			last = &h.Readings[i]
		}
	}
	if last == nil {
		p.Summary = []string{"No check-in has been scored yet."}
		return
	}
	p.Summary = append(p.Summary, fmt.Sprintf("Index %.1f on %s: pain %.1f, mobility %.1f.", last.Index.Total, in.day(last.At), last.Index.Pain, last.Index.Mobility))
	if b := d.Course.Baseline(t); b.Kind != clinical.NoBaseline {
		p.Summary = append(p.Summary, fmt.Sprintf("%s from %s of %.1f; a change of %.0f points is taken as meaningful.",
			signed(float64(last.Index.Total)-b.Value), baselineText(b), b.Value, t.MeaningfulChange))
		sigma, own := d.Course.Sigma(t)
		p.Summary = append(p.Summary, fmt.Sprintf("Between two single check-ins less than %.1f points may be noise (%s).", clinical.SmallestDetectable(sigma),
			map[bool]string{true: "from this dog's own course", false: "an assumed spread, until the dog's own is known"}[own]))
	}
	count := plural(h.count(Answered, ByStaff), "check-in") + " answered"
	if n := h.count(ByStaff); n > 0 {
		count += fmt.Sprintf(" (%d entered by staff)", n)
	}
	if n := h.count(Missed); n > 0 {
		count += fmt.Sprintf(", %d missed", n)
	}
	p.Summary = append(p.Summary, count+".")
}

func baselineText(b clinical.Baseline) string {
	s := "the baseline"
	switch {
	case b.Kind == clinical.BeforeTreatment:
		s = "the weak baseline from before treatment"
	case b.Kind == clinical.Provisional:
		s = "the provisional baseline"
	}
	if b.Earlier {
		s += " of the stretch before the last change"
	}
	return s
}

// signed writes a change of the index; more is worse.
func signed(v float64) string {
	switch s := one(max(v, -v)); {
	case s == "0.0":
		return "No difference"
	case v > 0:
		return s + " points worse"
	default:
		return s + " points better"
	}
}

func (p *reportPage) drawings(in *Input, d *care.Dog, h *History) {
	t := d.Thresholds(in.Rules.Thresholds)
	sigma, _ := d.Course.Sigma(t)
	x := chart.IndexInput{Title: d.Name + ": index over time", Zone: in.zone(), Points: tail(h.points(), mostPoints), Baselines: h.baselines(),
		Detectable: clinical.SmallestDetectable(sigma)}
	if b := d.Course.Baseline(t); b.Kind != clinical.NoBaseline {
		x.Threshold = b.Value + t.RiseMean
		if b.Kind.Wide() {
			x.Threshold += t.ProvisionalExtra
		}
	}
	for _, c := range h.Changes {
		x.Changes = append(x.Changes, chart.Event{At: c.At, Label: c.Action + " " + c.What})
		if c.Comfort {
			x.Settling = append(x.Settling, chart.Span{From: c.At, To: c.At + int64(t.BeddingInDays)*24*3600})
		}
	}
	p.Index = drawn(chart.Index(x))
	x.Title = d.Name + ": pain and mobility"
	p.Halves = drawn(chart.Halves(x))
	p.Items = drawn(chart.Items(items(in, d, h)))
}

func tail[T any](list []T, most int) []T { return list[max(len(list)-most, 0):] }

func items(in *Input, d *care.Dog, h *History) chart.ItemsInput {
	g := chart.ItemsInput{Title: d.Name, Zone: in.zone()}
	readings := tail(h.Readings, 13)
	for _, r := range readings {
		g.At = append(g.At, r.At)
	}
	for i := range clinical.ItemCount {
		item := clinical.Item(i)
		row := chart.ItemRow{Name: capital(itemName(d, item)), Usual: -1}
		if row.Name == "" {
			continue
		}
		if usual, kind := d.Course.ItemBaseline(in.Rules.Thresholds, item); kind != clinical.NoBaseline {
			row.Usual = usual
		}
		for _, r := range readings {
			row.Levels = append(row.Levels, int(r.Items[i]))
			if r.Items[i] == clinical.Missing {
				row.Levels[len(row.Levels)-1] = -1
			} else if r.Items[i] == clinical.NotApplicable {
				row.Levels[len(row.Levels)-1] = -2
			}
		}
		g.Rows = append(g.Rows, row)
	}
	return g
}

var bandText = map[clinical.PaceBand]string{clinical.PaceGaining: "gaining", clinical.PaceStill: "hardly any loss",
	clinical.PaceProgress: "slow, and still progress", clinical.PaceInBand: "as aimed at", clinical.PaceTooFast: "too fast"}

func (p *reportPage) weight(in *Input, d *care.Dog, h *History) {
	rules, plan := in.Rules.WeightRules(), d.WeightPlan()
	j := rules.Judge(plan, h.WeighIns(), in.Now.Unix())
	x := chart.WeightInput{Title: d.Name + ": weight", Zone: in.zone(), Target: j.Target.Grams.Kilograms()}
	for _, w := range h.Weights {
		x.WeighIns = append(x.WeighIns, chart.WeighIn{At: w.At, Kg: w.Grams.Kilograms(), Home: w.Scale == clinical.Home})
	}
	if plan.OnPlan {
		x.StartAt, x.Start, x.Slow, x.Fast = plan.StartedAt, j.Start.Kilograms(), rules.PaceLow, rules.PaceHigh
	}
	for _, m := range j.Milestones {
		x.Milestones = append(x.Milestones, chart.Milestone{Kg: m.Grams.Kilograms(), Label: fmt.Sprintf("%.3g %% lost: %.1f kg", m.Percent, m.Grams.Kilograms())})
	}
	p.Weight = drawn(chart.Weight(x))
	p.WeightText = in.weightText(plan, j)
}

func (in *Input) weightText(plan clinical.WeightPlan, j clinical.WeightJudgement) []string {
	if !j.Known {
		return nil
	}
	s := []string{fmt.Sprintf("%s on %s.", kg(int64(j.Latest.Grams)), in.day(j.Latest.At))}
	if j.Target.Grams > 0 {
		from := "set by the practice"
		if j.Target.Source == clinical.TargetFromScore {
			from = "worked out from the body condition score"
		}
		s = append(s, fmt.Sprintf("Target %s, %s.", kg(int64(j.Target.Grams)), from))
	}
	if plan.OnPlan && j.Pace.Status != clinical.PaceUnknown {
		text := fmt.Sprintf("Pace %.1f %% of body weight a week (range %.1f to %.1f): %s; aimed at is 1 to 2.", j.Pace.PerWeek, j.Pace.Low, j.Pace.High, bandText[j.Pace.Band])
		if j.Pace.Status == clinical.PaceAcrossScales {
			text += " Two different scales are mixed."
		}
		s = append(s, text)
	}
	if j.Arrival.Status == clinical.ArrivalKnown {
		s = append(s, "If things go on like this the target is reached about "+in.day(j.Arrival.At)+"; never a promise.")
	}
	var reached []string
	for _, m := range j.Milestones {
		if m.Reached == clinical.MilestoneReached {
			reached = append(reached, m.Source)
		}
	}
	if len(reached) > 0 {
		s = append(s, "Reached, and never a promise: "+strings.Join(reached, "; ")+".")
	}
	return s
}

func (p *reportPage) plan(in *Input, d *care.Dog) {
	entries := slices.Clone(d.Plan)
	slices.SortStableFunc(entries, func(a, b care.Entry) int {
		place := func(e care.Entry) int { // medicines first, what has ended last
			switch {
			case e.Status == care.Ended:
				return 2
			case e.Class == care.NotMedicine:
				return 1
			}
			return 0
		}
		return cmp.Or(cmp.Compare(place(a), place(b)), cmp.Compare(b.Started, a.Started))
	})
	running, ended, left := 0, 0, planRoom
	for _, e := range entries {
		if e.Status == care.Ended {
			ended++
		} else {
			running++
		}
		l := in.planLine(e)
		left -= len(l.What) + len(l.State) + 40
		if running > mostPlan || ended > mostEnded || left < 0 {
			p.PlanMore++
			continue
		}
		p.Plan = append(p.Plan, l)
	}
	p.Together = together(d.Plan)
}

func (in *Input) planLine(e care.Entry) planLine {
	l := planLine{What: short(e.What, 34), Area: string(e.Area), Since: in.day(e.Started)}
	if e.Batch != "" {
		l.What += ", batch " + short(e.Batch, 16)
	}
	why := e.Reason
	if why == "" {
		why = e.Why
	}
	switch e.Status {
	case care.Held:
		l.State = "held: waits for the vet"
	case care.Ended:
		l.State = "ended " + in.day(e.Ended)
	default:
		l.State = "active"
		if e.Review != 0 {
			l.State += ", review " + in.day(e.Review)
		}
	}
	if why != "" {
		l.State += ": " + short(why, 40)
	}
	return l
}

// together says which two things were started so close that their effects can't
// be told apart.
func together(plan []care.Entry) string {
	const twoWeeks = 14 * 24 * 3600
	running := slices.DeleteFunc(slices.Clone(plan), func(e care.Entry) bool { return e.Status == care.Ended || e.Started == 0 })
	slices.SortStableFunc(running, func(a, b care.Entry) int { return int(a.Started - b.Started) })
	for i := len(running) - 1; i > 0; i-- {
		if a, b := running[i-1], running[i]; b.Started-a.Started < twoWeeks {
			return fmt.Sprintf("“%s” and “%s” were started within two weeks of each other: what either did can't be told apart.", short(a.What, 25), short(b.What, 25))
		}
	}
	return ""
}

// answerOnly matches messages that are answers and nothing else: figures, single
// words of the check-in.
var answerOnly = regexp.MustCompile(`(?i)^[\s\d.,/x×-]*$|^\s*(yes|no|none|same|ok|okay|skip|back|later|stop|start|help|thanks?|thank you|y|n)[\s.!]*$|^\s*[\d.,]+\s*(kg|kgs|lb|lbs|g)?[\s.!]*$`)

func (p *reportPage) said(in *Input, h *History) {
	left := room(findingsRoom)
	for _, f := range slices.Backward(h.Findings) {
		text, ok := left.take(f.Text, mostOfOneThing)
		if !ok {
			break
		}
		p.Findings = append(p.Findings, remarkLine{Day: in.day(f.At), Who: in.name(f.By), Text: text})
	}
	left = room(wordsRoom)
	for _, s := range slices.Backward(h.Words) {
		if answerOnly.MatchString(s.Text) && len(s.Signs) == 0 {
			continue
		}
		text, ok := left.take(s.Text, mostOfOneThing)
		if p.WordsMore > 0 || !ok {
			p.WordsMore++
			continue
		}
		p.Words = append(p.Words, remarkLine{in.day(s.At), s.Who, text, short(strings.Join(s.Signs, ", "), 60)})
	}
}

var reasonNames = map[care.AlertReason]string{care.RedFlag: "emergency sign", care.SignAlert: "same-day sign", care.Level: "high index",
	care.Rise: "rise", care.Drift: "slow drift", care.Jump: "jump of one item", care.NoGain: "no gain", care.Weight: "weight",
	care.Caution: "caution about medicines", care.Question: "message", care.Silence: "silence", care.Stopped: "texts have ended",
	care.Doses: "missed doses", care.ReviewDue: "review due"}

func reasonName(r care.AlertReason) string {
	if n := reasonNames[r]; n != "" {
		return n
	}
	return string(r)
}

func (p *reportPage) alerts(in *Input, h *History) {
	left := room(alertsRoom)
	for _, a := range slices.Backward(h.Alerts) {
		why, ok := left.take(capital(reasonName(a.Reason))+": "+a.Sentence, 130)
		if len(p.Alerts) == mostAlerts || p.AlertsMore > 0 || !ok {
			p.AlertsMore++
			continue
		}
		p.Alerts = append(p.Alerts, alertLine{in.day(a.Opened), why, in.came(a)})
	}
}

// came says what came of an alert.
func (in *Input) came(a *Alert) string {
	s := "open"
	switch {
	case a.Closed != 0 && a.Outcome != "":
		s = string(a.Outcome) + ", " + in.name(a.By) + ", " + in.day(a.Closed)
	case a.Closed != 0:
		s = "closed " + in.day(a.Closed)
	case a.Acked != 0:
		s = "open; taken on by " + in.name(a.AckedBy) + ", " + in.day(a.Acked)
	}
	if n := len(a.Notes); n > 0 {
		s += ". " + short(a.Notes[n-1], 70)
	}
	return s
}
