package record

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"gaitpost/internal/care"
)

// reactionPage is the sheet for a suspected reaction.
type reactionPage struct {
	sheet
	Dog       [][2]string // what and how
	Medicines []reactionMedicine
	Others    []string // what else is on the plan
	Words     []reactionWords
	WordsMore int
	Alerts    []alertLine
}

type reactionMedicine struct{ What, Class, Batch, Dates, State string }

type reactionWords struct{ At, Who, Text, Signs string }

const (
	mostReactionWords = 14
	// reactionReach is how long ago a medicine may have ended and still be listed.
	reactionReach = 90 * 24 * 3600
)

var classNames = map[care.MedicineClass]string{care.NSAID: "anti-inflammatory", care.Antibody: "antibody injection",
	care.Steroid: "steroid", care.Aspirin: "aspirin", care.OtherMed: "another medicine"}

// ReactionSheet writes a sheet for a suspected reaction to a medicine, filled in
// as far as the record goes: medicines with batch and dates, what was seen when in
// the owner's words, and room for what only the vet knows. It judges nothing and
// names no dose. Errors wrap ErrNoDog, or are the writer's.
func ReactionSheet(w io.Writer, in Input) error {
	d, err := in.dog()
	if err != nil {
		return err
	}
	h := in.history()
	p := &reactionPage{sheet: in.sheet("reaction", "Suspected reaction: "+d.Name)}
	p.dog(&in, d, &h)
	p.medicines(&in, d, &h)
	p.words(&in, &h)
	for _, a := range h.Alerts {
		if a.Reason == care.RedFlag || a.Reason == care.SignAlert {
			p.Alerts = append(p.Alerts, alertLine{in.stamp(a.Opened), capital(reasonName(a.Reason)) + ": " + short(a.Sentence, 200), in.came(a)})
		}
	}
	p.Alerts = tail(p.Alerts, mostAlerts)
	return write(w, "reaction.html", p)
}

func (p *reactionPage) dog(in *Input, d *care.Dog, h *History) {
	add := func(what, how string) {
		if how != "" {
			p.Dog = append(p.Dog, [2]string{what, how})
		}
	}
	sex := map[care.Sex]string{care.Male: "male", care.Female: "female"}[d.Sex]
	if sex != "" {
		sex += map[bool]string{true: ", entire", false: ", neutered"}[d.Entire]
	}
	add("Name", d.Name)
	add("Practice's reference", d.Ref)
	add("Sex", sex)
	if n := len(h.Weights); n > 0 {
		add("Weight", kg(int64(h.Weights[n-1].Grams))+" on "+in.day(h.Weights[n-1].At))
	}
	add("Body and muscle", bodyText(d))
	add("State", statusText(d))
	add("Owner", in.owner(1))
}

func (p *reactionPage) medicines(in *Input, d *care.Dog, h *History) {
	plan := slices.Clone(d.Plan)
	slices.SortStableFunc(plan, func(a, b care.Entry) int {
		held := func(e care.Entry) int { return map[bool]int{true: 0, false: 1}[e.Status == care.Held] }
		return held(a) - held(b)
	})
	for _, e := range plan {
		if e.Status == care.Ended && in.Now.Unix()-e.Ended > reactionReach {
			continue
		}
		if e.Class == care.NotMedicine {
			p.Others = append(p.Others, fmt.Sprintf("%s since %s", e.What, in.day(e.Started)))
			continue
		}
		m := reactionMedicine{What: e.What, Class: classNames[e.Class], Batch: e.Batch, Dates: in.dates(e, h)}
		if strings.EqualFold(m.Class, m.What) {
			m.Class = ""
		}
		switch e.Status {
		case care.Held:
			m.State = "held"
		case care.Ended:
			m.State = "ended " + in.day(e.Ended)
		default:
			m.State = "being given"
		}
		if e.Reason != "" {
			m.State += ": " + short(e.Reason, 80)
		}
		p.Medicines = append(p.Medicines, m)
	}
}

// dates are when a medicine was started, held, restarted, changed and ended; the
// plan itself keeps the last start alone.
func (in *Input) dates(e care.Entry, h *History) string {
	var list []string
	for _, c := range h.Changes {
		if strings.EqualFold(c.What, e.What) {
			list = append(list, c.Action+" "+in.day(c.At))
		}
	}
	if len(list) == 0 {
		return "start " + in.day(e.Started)
	}
	return strings.Join(tail(list, 8), "; ")
}

// words are the messages that were read as signs, oldest first.
func (p *reactionPage) words(in *Input, h *History) {
	for _, s := range h.Words {
		if len(s.Signs) > 0 {
			p.Words = append(p.Words, reactionWords{in.stamp(s.At), s.Who, s.Text, strings.Join(s.Signs, ", ")})
		}
	}
	p.WordsMore = max(len(p.Words)-mostReactionWords, 0)
	p.Words = tail(p.Words, mostReactionWords)
}
