package record

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
)

// notValidated is said wherever the index leaves the practice.
const notValidated = "The index is worked out from the owner's answers, 0 best to 100 worst. It is not a validated instrument and makes no diagnosis: " +
	"it stands beside the examination, never in its place."

// textWidth is how many letters a line of plain text has at most.
const textWidth = 76

// referralPage is the summary for a physiotherapist or hydrotherapist.
type referralPage struct {
	sheet
	Dog, Owner, Ref string
	About           []string
	NotValidated    string
	Index           figure
	Parts           []referralPart
	Numbers         bool
	OwnerPhone      string
}

// referralPart is one section: a title and sentences.
type referralPart struct {
	ID, Title string
	Lines     []string
	None      string // said where there are no lines
}

// Referral writes a summary for a physiotherapist or hydrotherapist as a page to
// print: the course, the plan, what to be careful of, what was found and what
// matters to the owner. It holds no message of the owner's and no telephone
// number unless Input.Numbers asks for them. Errors wrap ErrNoDog, or are the
// writer's.
func Referral(w io.Writer, in Input) error {
	p, err := in.referral()
	if err != nil {
		return err
	}
	return write(w, "referral.html", p)
}

// ReferralText writes the same summary as plain text, for a letter or a message.
// Errors wrap ErrNoDog, or are the writer's.
func ReferralText(w io.Writer, in Input) error {
	p, err := in.referral()
	if err != nil {
		return err
	}
	var b strings.Builder
	head := "Referral: " + p.Dog
	fmt.Fprintf(&b, "%s\n%s\n\n", head, strings.Repeat("=", utf8.RuneCountInString(head)))
	about := append([]string{"Owner: " + p.Owner}, p.About...)
	if p.Ref != "" {
		about = append(about, "Reference: "+p.Ref)
	}
	about = append(about, "From: "+p.Practice+", "+p.Made)
	if p.Numbers {
		about = append(about, "Practice's number: "+p.Phone, "Owner's number: "+p.OwnerPhone)
	}
	for _, line := range about {
		wrapText(&b, "", line)
	}
	for _, part := range p.Parts {
		fmt.Fprintf(&b, "\n%s\n%s\n", part.Title, strings.Repeat("-", utf8.RuneCountInString(part.Title)))
		for _, line := range part.Lines {
			wrapText(&b, "* ", line)
		}
		if len(part.Lines) == 0 {
			wrapText(&b, "", part.None)
		}
	}
	b.WriteString("\n")
	wrapText(&b, "", p.NotValidated)
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("writing the summary: %w", err)
	}
	return nil
}

// wrapText writes a paragraph; every line after the first is set in by as much
// as its mark is wide.
func wrapText(b *strings.Builder, mark, text string) {
	b.WriteString(mark)
	used := len(mark)
	for i, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case used+1+n > textWidth:
			b.WriteString("\n" + strings.Repeat(" ", len(mark)))
			used = len(mark)
		default:
			b.WriteString(" ")
			used++
		}
		b.WriteString(word)
		used += n
	}
	b.WriteString("\n")
}

func (in *Input) referral() (*referralPage, error) {
	d, err := in.dog()
	if err != nil {
		return nil, err
	}
	h := in.history()
	r := &reportPage{sheet: in.sheet("referral", "Referral: "+d.Name)}
	r.about(d)
	r.summary(in, d, &h)
	r.drawings(in, d, &h)
	r.weight(in, d, &h)
	p := &referralPage{sheet: r.sheet, Dog: short(d.Name, 40), Owner: in.owner(1), Ref: d.Ref, About: r.About, NotValidated: notValidated, Index: r.Index}
	if in.Numbers {
		p.Numbers, p.OwnerPhone = true, in.contact(1).Address.Value
	}
	course := r.Summary
	for _, e := range in.effects(&h, d) {
		course = append(course, fmt.Sprintf("%s, %s: %s Mean index before %s, after %s.", e.What, e.Day, e.Verdict, e.Before, e.After))
	}
	p.Parts = []referralPart{
		{"careful", "To be careful of", in.careful(d, &h), "Nothing is recorded. Please ask the owner and the practice all the same."},
		{"aims", "What matters to the owner", in.ownActivities(d, &h), "No activities of the owner's own were chosen."},
		{"found", "Found at the practice", in.foundLines(d, &h), "No findings are recorded."},
		{"plan", "The plan", in.planSince(d), "Nothing is recorded on the plan."},
		{"course", "Course in the owner's answers", course, ""},
		{"weight", "Weight", r.WeightText, "Not weighed yet."},
	}
	return p, nil
}

// careful is what a therapist must know before laying hands on a dog: medicines
// that hide pain or change what is urgent, what is held, other diseases, what is
// open now.
func (in *Input) careful(d *care.Dog, h *History) []string {
	var list []string
	if s := statusText(d); s != "" {
		list = append(list, capital(s)+".")
	}
	for _, e := range d.Plan {
		switch {
		case e.Status == care.Held:
			list = append(list, short(e.What, 60)+" is held since a reaction is suspected: nobody restarts it but the vet.")
		case e.Status == care.Active && e.Class != care.NotMedicine:
			list = append(list, "On "+short(e.What, 60)+classText(e.Class)+": comfort may be better than the joints are.")
		}
	}
	for _, c := range d.Cautions() {
		list = append(list, "Caution about medicines: "+c+".")
	}
	for _, s := range d.Standing().Diseases {
		list = append(list, "Also has: "+short(s, 80)+".")
	}
	for _, a := range h.Alerts {
		if a.Closed == 0 && a.Urgency >= care.Today {
			list = append(list, "Open at the practice since "+in.day(a.Opened)+": "+reasonName(a.Reason)+".")
		}
	}
	return append(list, "Collapse, trouble breathing, a leg suddenly not used, or screaming in pain: stop, and a vet now. "+
		"New lameness, vomiting or a new lump: ring the practice the same day. Medicines are changed by the vet alone.")
}

func classText(c care.MedicineClass) string {
	return map[care.MedicineClass]string{care.NSAID: " (an anti-inflammatory)", care.Antibody: " (a monthly antibody injection)",
		care.Steroid: " (a steroid)", care.Aspirin: " (aspirin)"}[c]
}

// ownActivities says how the owner's own two activities go.
func (in *Input) ownActivities(d *care.Dog, h *History) []string {
	var list []string
	for i, item := range []clinical.Item{clinical.Own1, clinical.Own2} {
		if d.Own[i] == "" {
			continue
		}
		line := capital(short(d.Own[i], 60))
		if usual, kind := d.Course.ItemBaseline(in.Rules.Thresholds, item); kind != clinical.NoBaseline {
			line += fmt.Sprintf(": usually %.1f", usual)
		}
		for _, r := range slices.Backward(h.Readings) {
			if r.Items[item].Answered() {
				line += fmt.Sprintf(", last answered %d on %s", r.Items[item], in.day(r.At))
				break
			}
		}
		list = append(list, line+" (0 no trouble to 4 worst).")
	}
	if d.Awkward != nil {
		list = append(list, "Awkward at home, in the owner's words of "+in.day(d.Awkward.At)+": "+short(d.Awkward.Text, 160))
	}
	return list
}

// foundLines are the practitioner's findings: what stands, then the last words.
func (in *Input) foundLines(d *care.Dog, h *History) []string {
	f := d.Standing()
	var list, joints []string
	for _, j := range f.Joints {
		joints = append(joints, j.String())
	}
	if len(joints) > 0 {
		list = append(list, "Joints affected: "+strings.Join(joints, ", ")+".")
	}
	if f.Lameness.Grade != care.NotGraded {
		list = append(list, "Lameness: "+f.Lameness.String()+", "+in.day(f.LameAt)+".")
	}
	if s := bodyText(d); s != "" {
		list = append(list, capital(s)+".")
	}
	if f.Examined != 0 {
		list = append(list, "Last examined "+in.day(f.Examined)+".")
	}
	for i, r := range slices.Backward(h.Findings) {
		if len(h.Findings)-i > 3 {
			break
		}
		list = append(list, in.day(r.At)+", "+in.name(r.By)+": "+short(r.Text, 400))
	}
	return list
}

// planSince lists what the dog gets and since when, and what has ended lately.
func (in *Input) planSince(d *care.Dog) []string {
	const lately = 180 * 24 * 3600
	entries := slices.DeleteFunc(slices.Clone(d.Plan), func(e care.Entry) bool {
		return e.Status == care.Ended && in.Now.Unix()-e.Ended > lately
	})
	slices.SortStableFunc(entries, func(a, b care.Entry) int {
		ended := func(e care.Entry) int {
			if e.Status == care.Ended {
				return 1
			}
			return 0
		}
		return cmp.Or(cmp.Compare(ended(a), ended(b)), cmp.Compare(b.Started, a.Started))
	})
	var list []string
	for _, e := range entries {
		l := in.planLine(e)
		line := capital(short(e.What, 60)) + " (" + l.Area + "), since " + l.Since + ", " + l.State
		if e.Who != "" {
			line += ", " + short(e.Who, 40)
		}
		list = append(list, line+".")
	}
	if s := together(d.Plan); s != "" {
		list = append(list, s)
	}
	return list
}
