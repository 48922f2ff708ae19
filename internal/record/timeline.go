package record

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/signs"
)

// timelinePage is everything that happened to a household.
type timelinePage struct {
	sheet
	Owners, Dogs string
	Days         []timelineDay
}

type timelineDay struct {
	Date  string
	Lines []timelineLine
}

// timelineLine is one thing that happened.
type timelineLine struct {
	Time string
	What string // asked, answered, told and so on
	Who  string
	Text string
	More []string // what became of it: delivered, read as, corrected
	id   string
}

// Timeline writes what happened to a household, in order: what was asked,
// answered and told, what was delivered, who saw it, and what was corrected when.
func Timeline(w io.Writer, in Input) error {
	t := timeline{in: &in, sent: map[string]*timelineLine{}, answers: map[answerKey]given{}}
	for i := range in.Entries {
		t.entry(&in.Entries[i])
	}
	p := &timelinePage{sheet: in.sheet("timeline", "Timeline")}
	var names []string
	for i := range in.Household.Contacts {
		names = append(names, in.owner(int8(i+1)))
	}
	p.Owners = strings.Join(names, ", ")
	names = nil
	for _, d := range in.Household.Dogs {
		names = append(names, d.Name)
	}
	p.Dogs = strings.Join(names, ", ")
	for _, l := range t.lines {
		date := l.at.In(in.zone()).Format("Monday 2 January 2006")
		if n := len(p.Days); n == 0 || p.Days[n-1].Date != date {
			p.Days = append(p.Days, timelineDay{Date: date})
		}
		day := &p.Days[len(p.Days)-1]
		day.Lines = append(day.Lines, *l.line)
	}
	return write(w, "timeline.html", p)
}

// timeline walks through a log.
type timeline struct {
	in      *Input
	lines   []timed
	sent    map[string]*timelineLine // by message id
	answers map[answerKey]given      // of the dialog that is under way
}

type timed struct {
	at   time.Time
	line *timelineLine
}

type answerKey struct {
	dog  int8
	item string
}

type given struct {
	text string
	at   time.Time
}

func (t *timeline) add(at time.Time, l timelineLine) *timelineLine {
	l.Time = at.In(t.in.zone()).Format("15:04")
	t.lines = append(t.lines, timed{at, &l})
	if l.id != "" {
		t.sent[l.id] = &l
	}
	return &l
}

// dog is a dog by the number that facts keep, as a prefix; "" for the household.
func (t *timeline) dog(n int8) string {
	if i := int(n) - 1; i >= 0 && i < len(t.in.Household.Dogs) {
		return t.in.Household.Dogs[i].Name + ": "
	}
	return ""
}

func (t *timeline) entry(e *Entry) {
	var words *timelineLine
	for i := range e.Facts {
		f := &e.Facts[i]
		switch f.Kind {
		case care.FactWords:
			words = t.add(e.At, timelineLine{What: "wrote", Who: t.in.owner(f.Contact), Text: f.Text})
			if f.Code != "" {
				words.More = append(words.More, "with a picture or file, kept at the messaging provider")
			}
		case care.FactSaid:
			t.said(e.At, f)
		case care.FactWrote:
			t.add(e.At, timelineLine{What: "told", Who: t.in.name(f.By) + " to " + t.in.owner(f.Contact), Text: f.Text, id: f.ID})
		case care.FactFate:
			t.fate(e.At, f)
		case care.FactAnswer:
			t.answer(e.At, f, words)
		default:
			t.kept(e, f, words)
		}
	}
	t.refused(e)
}

// said renders a step that was sent; steps sent as one message are one line.
func (t *timeline) said(at time.Time, f *care.Fact) {
	if f.Line == nil {
		return
	}
	text := t.in.Rules.Scripts.Render(*f.Line, t.in.contact(f.Contact).Lang)
	if l := t.sent[f.ID]; f.ID != "" && l != nil {
		l.Text += "\n" + text
		return
	}
	what := "told"
	if p := f.Line.Part; p == "ask" || p == "more" || p == "reask" || p == "missing" || p == "fresh" || p == "remind" {
		what = "asked"
	}
	t.add(at, timelineLine{What: what, Who: t.in.Rules.Name + " to " + t.in.owner(f.Contact), Text: text, id: f.ID})
}

func (t *timeline) fate(at time.Time, f *care.Fact) {
	fate, ok := FateByCode(f.Code)
	if !ok || fate == care.Queued {
		return
	}
	name := FateWords(fate, f.Text)
	if fate == care.Read {
		name = "seen by the owner"
	}
	name += ", " + t.in.stamp(at.Unix())
	if l := t.sent[f.ID]; l != nil {
		l.More = append(l.More, name)
		return
	}
	t.add(at, timelineLine{What: "delivery", Who: t.in.owner(f.Contact), Text: "A message from before this record: " + name})
}

// answer adds what was read from a message, and marks what it corrects.
func (t *timeline) answer(at time.Time, f *care.Fact, words *timelineLine) {
	text := answerText(f)
	read := "read as: " + t.dog(f.Dog) + text
	key := answerKey{f.Dog, f.Code}
	if before, ok := t.answers[key]; ok && before.text != text {
		read = fmt.Sprintf("corrected: %s%s, in place of %s of %s", t.dog(f.Dog), text, before.text, t.in.stamp(before.at.Unix()))
	}
	t.answers[key] = given{text, at}
	if words != nil {
		words.More = append(words.More, read)
		return
	}
	t.add(at, timelineLine{What: "answered", Who: t.in.owner(f.Contact), Text: read})
}

// answerText is an answer as it was read.
func answerText(f *care.Fact) string {
	name := strings.ReplaceAll(f.Code, "_", " ")
	if item, ok := clinical.ItemByCode(f.Code); ok {
		name = itemNames[item]
	}
	number := strconv.FormatFloat(f.Number, 'f', -1, 64)
	switch f.Text {
	case "x":
		return name + " doesn't apply"
	case "same":
		return name + " " + number + " (same as last time)"
	case "":
		return name + " " + number
	}
	return name + " " + short(f.Text, 80)
}

// kept adds a fact that the record keeps beside messages.
func (t *timeline) kept(e *Entry, f *care.Fact, words *timelineLine) {
	l := timelineLine{Who: t.in.name(f.By)}
	switch f.Kind {
	case care.FactPrompt:
		t.prompt(f, &l)
	case care.FactReading:
		l.What, l.Text = "scored", readingText(f)
	case care.FactWeight:
		l.What, l.Text = "weighed", kg(int64(f.Number))+", "+map[bool]string{true: "at home", false: "at the practice"}[f.Code == clinical.Home.String()]
		if f.ID != "" {
			l.Text += ", taken on " + t.in.day(takenAt(f, e.At.Unix()))
		}
	case care.FactSign:
		t.sign(f, &l, words)
	case care.FactAlert:
		t.alert(f, &l)
	case care.FactPlan:
		l.What, l.Text = "plan", f.Code+" "+f.Text
		if at := int64(f.Number); at > 0 && t.in.day(at) != t.in.day(e.At.Unix()) {
			l.Text += ", from " + t.in.day(at)
		}
	case care.FactReminder:
		l.What, l.Text = "reminder", f.Code+": "+f.Text+", due "+t.in.day(int64(f.Number))
	case care.FactConsent:
		l.What, l.Who, l.Text = "consent", joinWords(t.in.owner(f.Contact), t.in.name(f.By)), joinWords(f.Code, f.Text)
	case care.FactEnrolled:
		l.What, l.Text = "enrolled", f.Text
	case care.FactDied:
		l.What, l.Text = "death", map[bool]string{true: "the recorded death was undone", false: "recorded"}[f.Code == "undone"]
	case care.FactFinding:
		l.What, l.Text = "found", f.Text
	case care.FactCorrected:
		l.What, l.Text = "corrected", t.corrected(e, f)
	case care.FactSetting:
		l.What, l.Text = "set", t.setting(f)
	case care.FactMinutes:
		l.What, l.Text = "took", fmt.Sprintf("alert %d, %s", f.Alert, plural(int(f.Number), "minute"))
	case care.FactRung:
		l.What, l.Text = "seen to", joinWords("a message to "+t.in.owner(f.Contact)+" that did not arrive", f.Text)
	case care.FactNote:
		l.What, l.Text = "noted", joinWords(f.Code, f.Text)
		if f.Code == "quieted" {
			l.Text = "alerts quieted until " + t.in.day(int64(f.Number))
		}
	}
	if l.What == "" {
		return
	}
	l.Text = t.dog(f.Dog) + l.Text
	t.add(e.At, l)
}

// corrected says what staff put right, and why.
func (t *timeline) corrected(e *Entry, f *care.Fact) string {
	if f.Reading != nil {
		return joinWords(f.Code+" of "+t.in.day(f.Reading.At), readingText(f)+"; "+f.Text)
	}
	return joinWords(f.Code+" of "+t.in.day(takenAt(f, e.At.Unix())), kg(int64(f.Number))+"; "+f.Text)
}

// setting says what was set for a dog or a person.
func (t *timeline) setting(f *care.Fact) string {
	s := joinWords(f.Code, f.Text)
	if f.Number > 0 {
		s = joinWords(f.Code+" until "+t.in.day(int64(f.Number)), f.Text)
	}
	return s
}

func joinWords(a, b string) string {
	switch {
	case a == "":
		return b
	case b == "":
		return a
	}
	return a + ": " + b
}

var promptNames = map[care.PromptKind]string{care.PromptInvitation: "invitation", care.PromptCheckIn: "check-in", care.PromptSignsOnly: "signs-only text",
	care.PromptWeighIn: "weigh-in", care.PromptReassessment: "reassessment", care.PromptReached: "question whether a vet was reached",
	care.PromptFarewell: "question which dog has died", care.PromptSignCheck: "question about a sign",
	care.PromptNewContact: "question about a new address",
	care.PromptInjection:  "question about a repeat injection", care.PromptTablets: "question about tablets to collect",
	care.PromptTest: "question about a test", care.PromptSession: "question about a session",
	care.PromptHouse: "round the house", care.PromptHouseAgain: "awkward place asked again",
	care.PromptActivities: "what matters to the owner", care.PromptLesson: "short lesson", care.PromptSummary: "summary",
	care.PromptGoodDay: "good day or bad day"}

// prompt follows a dialog; with a new one, answers are corrections no more.
func (t *timeline) prompt(f *care.Fact, l *timelineLine) {
	if f.Code == "entered" {
		l.What, l.Text = "entered", "a check-in by staff"
		if f.Text != "" {
			l.Text += ", answered by " + f.Text
		}
		return
	}
	for k := range t.answers {
		if k.dog == f.Dog && f.Code != "reminded" {
			delete(t.answers, k)
		}
	}
	kind, _, _ := strings.Cut(f.Text, "/")
	name := promptNames[care.PromptKind(kind)]
	if name == "" || f.Code == "sent" {
		return // the question itself stands in the timeline
	}
	what := map[string]string{"answered": "answered", "reminded": "reminded", "closed": "closed", "skipped": "not asked", "withdrawn": "taken back"}[f.Code]
	if l.What = what; f.Code == "closed" {
		name += ", not finished in time"
	}
	if _, why, ok := strings.Cut(f.Text, ": "); ok {
		name += ": " + why
	}
	l.Text = name
}

func readingText(f *care.Fact) string {
	r := f.Reading
	if r == nil {
		return "a check-in"
	}
	if !r.Index.Scored {
		return "check-in with too few answers for an index"
	}
	s := fmt.Sprintf("index %.1f, pain %.1f, mobility %.1f", r.Index.Total, r.Index.Pain, r.Index.Mobility)
	if r.Before {
		s += ", before treatment"
	}
	if r.Carried {
		s += ", said to be as last time"
	}
	return s
}

func (t *timeline) sign(f *care.Fact, l *timelineLine, words *timelineLine) {
	if f.Code == "quieted" {
		l.What, l.Text = "quieted", "“"+signs.Sign(f.Text).Label()+"” until "+t.in.day(int64(f.Number))
		return
	}
	if !signs.Sign(f.Code).Known() {
		return
	}
	label := signs.Sign(f.Code).Label()
	if words != nil {
		words.More = append(words.More, "read as a sign: "+t.dog(f.Dog)+label)
		return
	}
	l.What, l.Text = "sign", label
}

var noticeNames = map[care.NoticeKind]string{care.NoticeWorse: "it got worse", care.NoticeUnanswered: "nobody had taken it on",
	care.NoticeNotReached: "no vet reached yet", care.NoticeDueAgain: "could not be reached before"}

func (t *timeline) alert(f *care.Fact, l *timelineLine) {
	number := fmt.Sprintf("alert %d", f.Alert)
	switch f.Code {
	case "opened":
		l.What, l.Text = "alert", number+" opened, "+reasonName(care.AlertReason(f.ID))+": "+f.Text
	case "joined":
		l.What, l.Text = "alert", number+", more: "+f.Text
	case "told":
		l.What, l.Text = "told", joinWords(number, noticeNames[care.NoticeKind(f.Text)])
	case "acknowledged":
		l.What, l.Text = "seen", number+" taken on"
	case "closed":
		l.What, l.Text = "closed", number+": "+f.Text
	case "quieted":
		l.What, l.Text = "quiet", "not raised: "+reasonName(care.AlertReason(f.Text))
	case "cleared":
		l.What, l.Text = "alert", number+": the condition no longer holds"
	default:
		l.What, l.Text = "alert", number+": "+f.Code
	}
}

// refused adds what staff asked for and was refused.
func (t *timeline) refused(e *Entry) {
	if e.Event.Practice != nil && e.Refusal != "" {
		t.add(e.At, timelineLine{What: "refused", Who: t.in.name(e.Event.Practice.By), Text: e.Refusal})
	}
}
