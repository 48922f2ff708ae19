package care

import (
	"fmt"
	"slices"
	"strings"

	"gaitpost/dialog"
)

// Place is a place or thing at home where a stiff dog may hold back or slip.
type Place string

const (
	PlaceFloors Place = "floors"
	PlaceSteps  Place = "steps"
	PlaceCar    Place = "car"
	PlaceBed    Place = "bed"
	PlaceBowls  Place = "bowls"
	PlaceGarden Place = "garden"
	PlaceNails  Place = "nails"
	PlacePets   Place = "pets"
	PlaceOther  Place = "other" // told in the owner's own words
)

// Places lists every place, in the order the script offers them.
var Places = []Place{PlaceFloors, PlaceSteps, PlaceCar, PlaceBed, PlaceBowls, PlaceGarden, PlaceNails, PlacePets, PlaceOther}

// placeWords are what a place is called in a message.
var placeWords = map[Place]string{PlaceFloors: "the floors", PlaceSteps: "the steps", PlaceCar: "the car", PlaceBed: "the bed",
	PlaceBowls: "the bowls", PlaceGarden: "the garden", PlaceNails: "the nails", PlacePets: "the other pets", PlaceOther: "the awkward place"}

// placeSigns are words by which an owner's own sentence names a place.
var placeSigns = map[Place][]string{
	PlaceFloors: {"floor", "floors", "tiles", "laminate", "lino", "kitchen", "slips", "slippery", "hall"},
	PlaceSteps:  {"step", "steps", "stair", "stairs", "staircase"},
	PlaceCar:    {"car", "boot", "van"},
	PlaceBed:    {"bed", "basket", "sofa", "couch"},
	PlaceBowls:  {"bowl", "bowls", "eating", "drinking"},
	PlaceGarden: {"garden", "yard", "lawn", "decking", "patio", "gate"},
	PlaceNails:  {"nail", "nails", "claw", "claws"},
	PlacePets:   {"puppy", "cat", "cats", "pets", "other dog", "dogs"},
}

// Name is the place as staff and owners read it.
func (p Place) Name() string { return placeWords[p] }

// TaskState says what became of an awkward place.
type TaskState uint8

const (
	TaskOpen   TaskState = iota
	TaskSolved           // it is easier now
	TaskAside            // left as it is
)

func (s TaskState) String() string { return [...]string{"open", "solved", "set aside"}[s] }

// HomeTask is an awkward place at home, to be made easier.
type HomeTask struct {
	N     uint8     `cbor:"1,keyasint"` // within the dog, from 1
	Place Place     `cbor:"2,keyasint"`
	Said  string    `cbor:"3,keyasint,omitempty"` // the owner's own words
	At    int64     `cbor:"4,keyasint"`
	State TaskState `cbor:"5,keyasint,omitempty"`
	Since int64     `cbor:"6,keyasint,omitempty"` // in this state, where it is not open from the start
	By    string    `cbor:"7,keyasint,omitempty"` // of staff; "" the owner
	Next  int32     `cbor:"8,keyasint,omitempty"` // the local date it is asked about again, days since 1970; 0 never
	Asked uint8     `cbor:"9,keyasint,omitempty"` // how often it was asked about
}

const (
	taskAgainDays = 14 // from naming a place to asking about it
	taskAsks      = 3  // then it is the practice's to see
	mostTasks     = 24 // kept of a dog; the oldest that are not open go first
	maxTaskWords  = 160
)

// HouseAction is what staff do about the places at home.
type HouseAction struct {
	Dog  int8      `cbor:"1,keyasint"`
	Ask  bool      `cbor:"2,keyasint,omitempty"` // go round the house with the owner
	Task uint8     `cbor:"3,keyasint,omitempty"`
	To   TaskState `cbor:"4,keyasint,omitempty"` // what Task becomes
}

// houseAction does what staff decided about the places at home.
func (t *turn) houseAction(by string, a *HouseAction) Reason {
	d := &t.h.Dogs[a.Dog]
	if a.Ask {
		switch {
		case !d.here():
			return t.refuse(d.Name + " is not followed any more.")
		case t.h.primary() < 0:
			return t.refuse("Nobody of this household has agreed to texts.")
		case !t.cheerful(a.Dog):
			return t.refuse("Not now: something is open for " + d.Name + ", the texts are paused, or good and bad days are being noted.")
		case d.placed(PromptHouse):
			return t.refuse("The owner is about to be asked already.")
		}
		t.placeExtra(a.Dog, PromptHouse, 0)
		t.note(FactNote, a.Dog, "house asked for", "")
		return PracticeDone
	}
	i := slices.IndexFunc(d.House, func(h HomeTask) bool { return h.N == a.Task })
	switch {
	case i < 0:
		return t.refuse("There is no such place on the list.")
	case a.To > TaskAside:
		return t.refuse("A place is open, solved or set aside.")
	case d.House[i].State == a.To:
		return t.refuse("That place is " + a.To.String() + " already.")
	}
	t.setTask(a.Dog, i, a.To, by)
	t.placeExtras(a.Dog)
	return PracticeDone
}

// setTask moves a place to a state. An open one is asked about afresh.
func (t *turn) setTask(dog int8, i int, to TaskState, by string) {
	d := &t.h.Dogs[dog]
	d.House = slices.Clone(d.House)
	h := &d.House[i]
	h.State, h.Since, h.By, h.Next = to, t.at, by, 0
	if to == TaskOpen {
		h.Asked, h.Next = 0, dayNumber(t.today())+taskAgainDays
	}
	t.fact(Fact{Kind: FactNote, Dog: dog + 1, Code: "home " + to.String(), Text: h.words(), By: by})
}

// words are the place, and what the owner said of it.
func (h *HomeTask) words() string {
	if h.Said == "" {
		return h.Place.Name()
	}
	return h.Place.Name() + ": " + h.Said
}

// placeHouse has the owner asked where at home it is awkward, after a review
// that named such a place; not again within eight weeks.
func (t *turn) placeHouse(dog int8) {
	d := &t.h.Dogs[dog]
	const again = 8 * 7 * day
	if t.r.Extras.House == 0 || d.HouseAt != 0 && t.at-d.HouseAt < again || d.Status != Followed {
		return
	}
	t.placeExtra(dog, PromptHouse, dayNumber(t.today())+int32(t.r.Extras.House))
}

// houseDone makes a task of each place the owner named, and returns the lines
// that say what may help there.
func (t *turn) houseDone(contact int8, o *Open) []dialog.Line {
	d := &t.h.Dogs[o.Dog]
	d.HouseAt = t.at
	v, ok := o.Session.Answer("places")
	if !ok || v.Text == "" || v.Text == "none" {
		return nil
	}
	places, said := placesIn(v)
	if w, ok := o.Session.Answer("where"); ok && !isNone(w.Text) {
		said = w.Text
	}
	said, ctx := cutWords(said, maxTaskWords), t.context(contact, o.Dog)
	var lines []dialog.Line
	for _, p := range places {
		if t.openTask(o.Dog, p, said) {
			lines = append(lines, t.r.Scripts.Say(string(PromptHouse), string(p), ctx))
		}
	}
	return lines
}

// placesIn reads which places an answer names: the options taken, or what an
// owner's own words name, else none in particular.
func placesIn(v dialog.Value) (places []Place, said string) {
	if v.Kind == dialog.KindChoice {
		for _, id := range strings.Fields(v.Text) {
			if p := Place(id); slices.Contains(Places, p) {
				places = append(places, p)
			}
		}
		return places, ""
	}
	low := lower(v.Text)
	for _, p := range Places {
		if slices.ContainsFunc(placeSigns[p], func(w string) bool { return mentions(low, w) }) {
			places = append(places, p)
		}
	}
	if len(places) == 0 {
		places = []Place{PlaceOther}
	}
	return places, v.Text
}

// openTask begins a task, or keeps what is said of one that is open. It reports
// whether it is new.
func (t *turn) openTask(dog int8, p Place, said string) bool {
	d := &t.h.Dogs[dog]
	d.House = slices.Clone(d.House)
	top := uint8(0)
	for i := range d.House {
		h := &d.House[i]
		top = max(top, h.N)
		if h.Place == p && h.State == TaskOpen {
			if said != "" {
				h.Said = said
			}
			h.Asked, h.Next = 0, dayNumber(t.today())+taskAgainDays
			return false
		}
	}
	if len(d.House) >= mostTasks {
		i := slices.IndexFunc(d.House, func(h HomeTask) bool { return h.State != TaskOpen })
		d.House = slices.Delete(d.House, max(i, 0), max(i, 0)+1)
	}
	h := HomeTask{N: top + 1, Place: p, Said: said, At: t.at, Next: dayNumber(t.today()) + taskAgainDays}
	d.House = append(d.House, h)
	t.note(FactNote, dog, "home awkward", h.words())
	return true
}

// taskDue is the open task that is to be asked about on a local date, or nil.
func (d *Dog) taskDue(on int32) *HomeTask {
	for i := range d.House {
		if h := &d.House[i]; h.State == TaskOpen && h.Next != 0 && h.Next <= on {
			return h
		}
	}
	return nil
}

// placeHouseAgain places the next question about an awkward place.
func (t *turn) placeHouseAgain(dog int8) {
	for i := range t.h.Contacts {
		if o := t.h.Contacts[i].Talk.Open; o != nil && o.Kind == PromptHouseAgain && o.Dog == dog {
			return // the next one follows when this is settled
		}
	}
	first := int32(0)
	for _, h := range t.h.Dogs[dog].House {
		if h.State == TaskOpen && h.Next != 0 && (first == 0 || h.Next < first) {
			first = h.Next
		}
	}
	if first != 0 && !t.h.Dogs[dog].placed(PromptHouseAgain) {
		t.placeExtra(dog, PromptHouseAgain, first)
	}
}

// askedTask is the task that a dialog asks about, or is about to: nil where it
// has gone.
func (t *turn) askedTask(contact, dog int8) *HomeTask {
	talk := &t.h.Contacts[contact].Talk
	for _, o := range []*Open{talk.Open, talk.Suspended} {
		if o != nil && o.Kind == PromptHouseAgain && o.Dog == dog && o.Task != 0 {
			d := &t.h.Dogs[dog]
			if i := slices.IndexFunc(d.House, func(h HomeTask) bool { return h.N == o.Task }); i >= 0 {
				return &d.House[i]
			}
			return nil
		}
	}
	return t.h.Dogs[dog].taskDue(dayNumber(t.today()))
}

// bindTask notes which task a dialog that was just opened asks about, and when
// it is asked about next should nobody answer.
func (t *turn) bindTask(o *Open) {
	if o.Kind != PromptHouseAgain {
		return
	}
	d := &t.h.Dogs[o.Dog]
	h := d.taskDue(dayNumber(t.today()))
	if h == nil {
		return
	}
	o.Task = h.N
	d.House = slices.Clone(d.House)
	i := slices.IndexFunc(d.House, func(k HomeTask) bool { return k.N == o.Task })
	h = &d.House[i]
	h.Asked++
	h.Next = dayNumber(t.today()) + taskAgainDays
	if h.Asked >= taskAsks {
		h.Next = 0
	}
}

// houseAgainDone takes what the owner says of a place, or that nobody said
// anything; after the last question it is the practice's to see.
func (t *turn) houseAgainDone(contact int8, o *Open) {
	d := &t.h.Dogs[o.Dog]
	i := slices.IndexFunc(d.House, func(h HomeTask) bool { return h.N == o.Task })
	if i < 0 || d.House[i].State != TaskOpen {
		return
	}
	v, _ := o.Session.Answer("easier")
	switch v.Text {
	case "solved":
		t.setTask(o.Dog, i, TaskSolved, "")
		return
	case "aside":
		t.setTask(o.Dog, i, TaskAside, "")
		return
	}
	h := &d.House[i]
	if v.Kind == dialog.KindText && v.Text != "" {
		t.raise(evidence{dog: o.Dog, reason: Question, urgency: ForDigest, contact: contact,
			sentence: "about " + h.Place.Name() + " at home: " + quote(v.Text)})
	}
	if h.Asked >= taskAsks {
		t.raise(evidence{dog: o.Dog, reason: Question, urgency: ForDigest, contact: contact,
			sentence: fmt.Sprintf("still awkward at home after being asked %d times: %s", h.Asked, h.words())})
	}
}

// askNextTask goes on, in the same conversation, with the next place that is
// due.
func (t *turn) askNextTask(contact, dog int8) {
	if t.h.Contacts[contact].Talk.Open != nil || t.h.Dogs[dog].taskDue(dayNumber(t.today())) == nil {
		return
	}
	t.openPrompt(contact, Prompt{Kind: PromptHouseAgain, Dog: dog, Slot: slot(PromptHouseAgain, dog, t.today()), Due: t.at}, ForReply)
}

// cutWords cuts a text to at most n characters, at the end of a word.
func cutWords(s string, n int) string {
	s = strings.Join(strings.Fields(s), " ")
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	s = string(r[:n])
	if r[n] != ' ' {
		if i := strings.LastIndexByte(s, ' '); i > 0 {
			s = s[:i]
		}
	}
	return strings.TrimRight(s, " ,;.-")
}
