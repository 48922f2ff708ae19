package synth

import (
	"math/rand/v2"
	"strings"
	"time"

	"gaitpost/dialog"
	"gaitpost/internal/clinical"
)

// Reply is what an owner writes, and when.
type Reply struct {
	At   time.Time
	Text string
	// Meant is what the owner had in mind, by item: the level of a scale item,
	// or grams for "weight". It is what a reading can be held against.
	Meant map[string]float64
}

// Player plays one owner. It keeps the state of one conversation and is not
// safe for concurrent use.
type Player struct {
	owner   *Owner
	scripts *dialog.Library
	ear     *ear
	rng     *rand.Rand
	day0    time.Time // midnight of the day of enrolment, in the owner's zone
	last    int       // the dog last asked about
	wrote   time.Time // when the last answer was or will be written
	weeks   []checkIn // by dog
	missing string    // the question left alone until the reminder
	ended   bool
}

// checkIn is one dog's check-in as its owner sees it.
type checkIn struct {
	at    time.Time
	items clinical.Items
}

// Setting is where and when an owner is played.
type Setting struct {
	Scripts *dialog.Library
	// Practice are the values of the placeholders that name the practice:
	// practice, vet, phone, emergency, person_number, crisis.
	Practice map[string]string
	// Midnight is the first midnight of the day of enrolment, in the owner's zone.
	Midnight time.Time
	Seed     uint64
}

// NewPlayer returns a player for an owner.
func NewPlayer(o *Owner, s Setting) *Player {
	number := uint64(0)
	for _, r := range o.Address.Value {
		number = number*31 + uint64(r)
	}
	return &Player{
		owner: o, scripts: s.Scripts, ear: newEar(s.Scripts, o, s.Practice),
		rng: rand.New(rand.NewPCG(s.Seed, number)), day0: s.Midnight, weeks: make([]checkIn, len(o.Dogs)),
	}
}

// days is how long ago the enrolment was.
func (p *Player) days(at time.Time) float64 { return at.Sub(p.day0).Hours() / 24 }

// Says lists what the owner writes unasked.
func (p *Player) Says() []Reply {
	var list []Reply
	for _, s := range p.owner.Says {
		at := p.day0.AddDate(0, 0, s.Day)
		at = time.Date(at.Year(), at.Month(), at.Day(), s.Minute/60, s.Minute%60, 0, 0, at.Location())
		list = append(list, Reply{At: at, Text: s.Text})
	}
	return list
}

// Said tells the player that one of its unasked texts went out.
func (p *Player) Said(text string) {
	for _, s := range p.owner.Says {
		if s.Ends && s.Text == text {
			p.ended = true
		}
	}
}

// Hear reads a text and returns the owner's answer. ok is false where there is
// none: nothing was asked, or the owner leaves it.
func (p *Player) Hear(text string, at time.Time) (Reply, bool) {
	if p.ended || p.owner.QuietFrom > 0 && p.days(at) >= float64(p.owner.QuietFrom) {
		return Reply{}, false
	}
	h, ok := p.ear.hear(text, p.last)
	if !ok {
		return p.unasked(text, at)
	}
	follows := at.Sub(p.wrote) < 20*time.Minute
	p.last = h.dog
	if opens(h) && p.leaves(h, text) {
		return Reply{}, false
	}
	r := p.answer(h, at)
	r.At = p.when(h, at, follows)
	p.wrote = r.At
	return r, r.Text != ""
}

// unasked is what an owner does with a text that asks nothing they know.
func (p *Player) unasked(text string, at time.Time) (Reply, bool) {
	switch {
	case strings.Contains(text, "YES or NO"):
		return Reply{At: p.awake(at.Add(p.minutes(2))), Text: pick(p.rng, []string{"yes", "Yes it is"})}, true
	case strings.HasPrefix(text, "Thank you") && chance(p.rng, p.owner.Style.Chatter/3):
		return Reply{At: p.awake(at.Add(p.minutes(3))), Text: pick(p.rng, []string{"thanks", "ok thanks", "👍", "Thank you", "ta x"})}, true
	}
	return Reply{}, false
}

// opens reports whether a question is one that a prompt begins with: those are
// what people leave for later.
func opens(h heard) bool {
	switch h.question.Step {
	case "limping", "list", "weight", "interest":
		return true
	}
	return h.script == "signsonly" && h.question.Step == "signs"
}

// leaves decides whether a prompt is left until the reminder; the reminder is
// answered more often than not.
func (p *Player) leaves(h heard, text string) bool {
	if p.missing == text {
		p.missing = ""
		return chance(p.rng, 0.35)
	}
	p.missing = ""
	if chance(p.rng, p.owner.Style.Misses) {
		p.missing = text
		return true
	}
	return false
}

// when is the time of the answer: at leisure to a prompt, soon within a
// dialog, at once where it is urgent. Nobody answers in their sleep.
func (p *Player) when(h heard, at time.Time, follows bool) time.Time {
	switch {
	case h.script == "reached" || h.script == "signcheck":
		return at.Add(p.minutes(2))
	case follows && !opens(h):
		return p.awake(at.Add(p.minutes(1)))
	case h.script == "invitation":
		return p.awake(at.Add(p.minutes(40)))
	default:
		return p.awake(at.Add(p.minutes(p.owner.Style.Delay)))
	}
}

// minutes is a time around a usual one, sometimes much longer.
func (p *Player) minutes(usual float64) time.Duration {
	factor := 0.4 + p.rng.ExpFloat64()*0.8
	return max(time.Duration(usual*factor*float64(time.Minute)).Truncate(time.Second), 15*time.Second)
}

// awake puts what falls into the night off until the morning.
func (p *Player) awake(at time.Time) time.Time {
	local := at.In(p.day0.Location())
	switch h := local.Hour(); {
	case h >= 23:
		local = time.Date(local.Year(), local.Month(), local.Day()+1, 7, 40+p.rng.IntN(20), local.Second(), 0, local.Location())
	case h < 7:
		local = time.Date(local.Year(), local.Month(), local.Day(), 7, 40+p.rng.IntN(20), local.Second(), 0, local.Location())
	default:
		return at
	}
	return local
}

// thisWeek is how a dog is in the week of a check-in, drawn when it is first
// asked about.
func (p *Player) thisWeek(dog int, at time.Time) *checkIn {
	w := &p.weeks[dog]
	if w.at.IsZero() || at.Sub(w.at) > 4*24*time.Hour {
		d := &p.owner.Dogs[dog]
		w.at, w.items = at, Answers(p.rng, d.Latent.At(p.days(at)), d.asked())
	}
	return w
}
