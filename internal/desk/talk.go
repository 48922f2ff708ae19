package desk

import (
	"fmt"
	"sort"
	"strings"

	"gaitpost/dialog"
	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/record"
	"gaitpost/internal/signs"
	"gaitpost/internal/store"
)

// shownLines is how many messages of a conversation a page shows at first.
const shownLines = 60

// talkLine is one message as it was texted.
type talkLine struct {
	At      int64
	Side    string // "owner", "desk" or "staff"
	Who     string
	Text    string
	Fate    string   // of what was sent
	Trouble bool     // it did not arrive, and nobody has seen to it
	SeenTo  string   // what staff did about its not having arrived
	Wide    string   // why it took more segments than it looks
	Read    []string // what was read from it
	Signs   []string
	Media   string     // of what can't be shown here
	Files   []fileLink // what can
	id      string
}

// conversation is what was texted, oldest first.
func (d *Desk) conversation(v *visit, h *care.Household, entries []store.LogEntry) []talkLine {
	t := talkReader{desk: d, v: v, h: h, sent: map[string]int{}}
	for i := range entries {
		t.entry(&entries[i])
	}
	for _, m := range h.Sent {
		if i, ok := t.sent[h.MessageID(m)]; ok && t.lines[i].Fate == "" {
			t.fate(i, m.Fate, m.Code)
		}
	}
	sort.SliceStable(t.lines, func(a, b int) bool { return t.lines[a].At < t.lines[b].At })
	return t.lines
}

type talkReader struct {
	desk  *Desk
	v     *visit
	h     *care.Household
	lines []talkLine
	sent  map[string]int
}

func (t *talkReader) entry(e *store.LogEntry) {
	at, words := e.At.Unix(), -1
	for i := range e.Facts {
		f := &e.Facts[i]
		switch f.Kind {
		case care.FactWords:
			l := talkLine{At: at, Side: "owner", Who: t.contact(f.Contact).Name, Text: f.Text, Files: t.files(e, f)}
			if len(l.Files) == 0 {
				l.Media = media(f.Code)
			}
			t.lines = append(t.lines, l)
			words = len(t.lines) - 1
		case care.FactSaid:
			t.said(f, at)
		case care.FactWrote:
			t.add(talkLine{At: at, Side: "staff", Who: t.desk.nameOf(t.v, f.By), Text: f.Text, Wide: wideText(f.Text), id: f.ID})
		case care.FactAnswer:
			if words >= 0 {
				t.lines[words].Read = append(t.lines[words].Read, answerText(f))
			}
		case care.FactSign:
			if words >= 0 && signs.Sign(f.Code).Known() {
				t.lines[words].Signs = append(t.lines[words].Signs, signs.Sign(f.Code).Label())
			}
		case care.FactFate:
			if k, ok := t.sent[f.ID]; ok {
				fate, _ := record.FateByCode(f.Code)
				t.fate(k, fate, f.Text)
			}
		case care.FactRung:
			if k, ok := t.sent[f.ID]; ok {
				t.lines[k].SeenTo, t.lines[k].Trouble = joined("seen to by "+t.desk.nameOf(t.v, f.By), f.Text), false
			}
		}
	}
}

func (t *talkReader) contact(n int8) care.Contact {
	if i := int(n) - 1; i >= 0 && i < len(t.h.Contacts) {
		return t.h.Contacts[i]
	}
	return care.Contact{Name: "owner"}
}

func (t *talkReader) add(l talkLine) {
	t.lines = append(t.lines, l)
	if l.id != "" {
		t.sent[l.id] = len(t.lines) - 1
	}
}

// said renders a step that was sent; steps sent as one message are one line.
func (t *talkReader) said(f *care.Fact, at int64) {
	if f.Line == nil {
		return
	}
	text := t.v.clinic.Rules.Scripts.Render(*f.Line, t.contact(f.Contact).Lang)
	if text == "" {
		return
	}
	if i, ok := t.sent[f.ID]; ok && f.ID != "" {
		t.lines[i].Text += "\n" + text
		return
	}
	t.add(talkLine{At: at, Side: "desk", Who: t.v.clinic.Rules.Name, Text: text, id: f.ID})
}

func (t *talkReader) fate(i int, f care.Fate, code string) {
	t.lines[i].Fate = record.FateWords(f, code)
	t.lines[i].Trouble = f == care.Failed || f == care.Unknown
}

func joined(a, b string) string {
	if b == "" {
		return a
	}
	return a + ": " + b
}

// wideText says why a text that staff wrote took more room than it looks; ""
// where it didn't.
func wideText(text string) string {
	l := dialog.Measure(text)
	if len(l.Culprits) == 0 {
		return ""
	}
	return fmt.Sprintf("Sent as %s: “%s” is not in the text-message alphabet.", plural(l.Segments, "segment"), string(l.Culprits))
}

// namesInTexts says which names of a dog and its people texts write otherwise,
// and how.
func namesInTexts(h *care.Household, dog *care.Dog) []string {
	names := []string{dog.Name, dog.Own[0], dog.Own[1]}
	for _, c := range h.Contacts {
		names = append(names, c.Name)
	}
	var list []string
	for _, name := range names {
		if as, _ := dialog.InTexts(name); name != "" && as != strings.Join(strings.Fields(name), " ") {
			if as == "" {
				as = "a plain word instead"
			}
			list = append(list, "“"+name+"” is written “"+as+"”")
		}
	}
	return list
}

// media says what was sent beside words.
func media(kinds string) string {
	switch {
	case kinds == "":
		return ""
	case strings.Contains(kinds, "image"):
		return "A photo came with this. It is kept at the messaging provider and not shown here."
	default:
		return "A file came with this. It is kept at the messaging provider and not shown here."
	}
}

// answerText is an answer as it was read.
func answerText(f *care.Fact) string {
	name := strings.ReplaceAll(f.Code, "_", " ")
	item, isItem := clinical.ItemByCode(f.Code)
	switch {
	case isItem:
		name = itemNames[item]
		if f.Text == "x" {
			return name + " doesn’t apply"
		}
		if f.Text == "same" {
			return name + " " + itoa(int(f.Number)) + " (same as last time)"
		}
		return name + " " + itoa(int(f.Number))
	case f.Text == "x":
		return name + ": not possible"
	case f.Text != "":
		return name + ": " + shorten(f.Text, 40)
	default:
		return name + ": " + strings.TrimSuffix(one(f.Number), ".0")
	}
}

// itemNames are the items of the check-in in a word or two.
var itemNames = [clinical.ItemCount]string{"limping", "soreness", "night", "getting up", "walking", "steps", "own 1", "own 2"}
