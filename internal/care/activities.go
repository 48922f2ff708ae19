package care

import (
	"slices"
	"strings"
	"unicode/utf8"

	"gaitpost/dialog"
	"gaitpost/internal/clinical"
)

// activityWords are the examples of the dialog "activities", as they are kept
// once taken: each completes "how does … go".
var activityWords = map[string]string{
	"sofa": "getting on the sofa", "stairs": "the stairs at bedtime", "car": "jumping into the car",
	"play": "playing", "door": "greeting at the door", "walk": "the favourite walk",
}

// placeActivities has the owner asked, once, what matters to them, where the
// practice enrolled nothing.
func (t *turn) placeActivities(dog int8) {
	d := &t.h.Dogs[dog]
	if t.r.Extras.Activities == 0 || d.AskedOwn != 0 || d.Own != [2]string{} || d.Done == 0 || d.placed(PromptActivities) {
		return
	}
	t.placeExtra(dog, PromptActivities, t.consentDay()+int32(t.r.Extras.Activities))
}

// activitiesDone keeps up to two things that matter to the owner. They are the
// dog's own items from the next check-in on. It returns the closing line.
func (t *turn) activitiesDone(contact int8, o *Open) []dialog.Line {
	d := &t.h.Dogs[o.Dog]
	v, ok := o.Session.Answer("activities")
	if !ok || v.Text == "" || v.Text == "none" {
		return nil
	}
	list := activitiesIn(v)
	if len(list) == 0 {
		t.raise(evidence{dog: o.Dog, reason: Question, urgency: ForDigest, contact: contact,
			sentence: "what matters to the owner could not be written in a text message: " + quote(v.Text)})
		return nil
	}
	var own [2]string
	copy(own[:], list)
	for k := range own {
		if own[k] == d.Own[k] {
			continue
		}
		d.Own[k] = own[k]
		d.Course.ChangeOwnActivity(clinical.Own1+clinical.Item(k), t.at)
	}
	t.note(FactSetting, o.Dog, "own activities", strings.Join(list, "; "))
	step := "kept_one"
	if len(list) > 1 {
		step = "kept_two"
	}
	return []dialog.Line{t.r.Scripts.Say(string(PromptActivities), step, t.context(contact, o.Dog))}
}

// activitiesIn reads what an owner chose, two at most: examples by name, or
// their own words, as a text message can write them.
func activitiesIn(v dialog.Value) []string {
	var list []string
	if v.Kind == dialog.KindChoice {
		for _, id := range strings.Fields(v.Text) {
			if w := activityWords[id]; w != "" {
				list = append(list, w)
			}
		}
	} else {
		for _, part := range parted(v.Text) {
			plain, _ := dialog.InTexts(part)
			if w := activityOf(plain); w != "" && !slices.Contains(list, w) {
				list = append(list, w)
			}
		}
	}
	return list[:min(len(list), 2)]
}

// parted parts an owner's words where two things are named.
func parted(text string) []string {
	text = strings.NewReplacer(";", ",", "\n", ",", " and ", ",", " & ", ",", " also ", ",", " plus ", ",").Replace(text)
	return strings.Split(text, ",")
}

// loose are words that a cut activity must not end on.
var loose = []string{"a", "an", "the", "to", "into", "onto", "on", "in", "of", "for", "with", "his", "her", "their", "my", "our", "at", "up", "or"}

// activityOf makes an item of an owner's words: without how they begin, cut to
// what a prompt has room for. "" where nothing is left that has a letter.
func activityOf(text string) string {
	const least = 3 // letters
	text = strings.Trim(strings.Join(strings.Fields(text), " "), " .!?,;:-'\"()0123456789")
	for _, lead := range []string{"he loves ", "she loves ", "he likes ", "she likes ", "loves ", "likes ", "being able to ", "to "} {
		if len(text) > len(lead) && strings.EqualFold(text[:len(lead)], lead) {
			text = text[len(lead):]
		}
	}
	words := strings.Fields(cutWords(text, dialog.MaxOwnActivity))
	for len(words) > 1 && slices.Contains(loose, lower(words[len(words)-1])) {
		words = words[:len(words)-1]
	}
	text = strings.Join(words, " ")
	if utf8.RuneCountInString(text) < least || !strings.ContainsFunc(text, func(r rune) bool { return isLetter(r) || r >= 'A' && r <= 'Z' }) {
		return ""
	}
	return text
}

// OwnProgress is how one of the owner's own activities has gone.
type OwnProgress struct {
	What  string
	Since int64          // the first answer it is compared with
	First clinical.Level // 0 no trouble … 4 worst
	Last  clinical.Level
	At    int64 // of the last answer
	N     int   // answers
}

// Better reports how many steps better the last answer is than the first; below
// 0 it is worse.
func (p OwnProgress) Better() int { return int(p.First) - int(p.Last) }

// OwnProgress says how the owner's own activities have gone since they mean
// what they mean, as far back as the course reaches.
func (d *Dog) OwnProgress() []OwnProgress {
	var list []OwnProgress
	rs := d.Course.Readings()
	for k, what := range d.Own {
		if what == "" {
			continue
		}
		p := OwnProgress{What: what}
		for _, r := range rs {
			l := r.Items[clinical.Own1+clinical.Item(k)]
			if !l.Answered() || r.At < d.Course.OwnSince[k] {
				continue
			}
			if p.N == 0 {
				p.First, p.Since = l, r.At
			}
			p.Last, p.At = l, r.At
			p.N++
		}
		list = append(list, p)
	}
	return list
}

// progressNow is the own activity to name at the end of a check-in, "" for
// none: every fourth time, where one has got better, and nothing is hard.
func (t *turn) progressNow(dog int8) string {
	const nowAndThen = 4
	d := &t.h.Dogs[dog]
	if d.Done%nowAndThen != 0 || !t.cheerful(dog) {
		return ""
	}
	for _, p := range d.OwnProgress() {
		if p.Better() >= 1 {
			return p.What
		}
	}
	return ""
}
