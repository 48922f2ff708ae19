package synth

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"gaitpost/dialog"
	"gaitpost/internal/clinical"
)

// answer writes the owner's answer to a question.
func (p *Player) answer(h heard, at time.Time) Reply {
	switch h.question.Kind {
	case dialog.KindScale:
		return p.scale(h, at)
	case dialog.KindGrid:
		return p.list(h, at)
	case dialog.KindYesNo:
		return p.yesNo(h, at)
	case dialog.KindWeight:
		return p.weighed(h, at)
	case dialog.KindChoice:
		return p.choice(h)
	case dialog.KindNumber:
		return p.doses(h)
	default:
		return Reply{Text: p.garnish(pick(p.rng, wordsFor[h.question.Item]))}
	}
}

// level is what the owner would say for an item.
func (p *Player) level(h heard, code string, at time.Time) clinical.Level {
	item, ok := clinical.ItemByCode(code)
	if !ok { // of the longer review: near how the dog is
		exact := p.owner.Dogs[h.dog].Latent.At(p.days(at))/25 + p.rng.NormFloat64()*0.6
		return clinical.Level(min(max(exact+0.5, 0), 4))
	}
	return p.thisWeek(h.dog, at).items[item]
}

func meant(l clinical.Level) float64 {
	if l == clinical.NotApplicable {
		return -2
	}
	return float64(l)
}

// scale answers one question of 0 to 4.
func (p *Player) scale(h heard, at time.Time) Reply {
	l := p.level(h, h.question.Item, at)
	r := Reply{Meant: map[string]float64{h.question.Item: meant(l)}}
	if l == clinical.NotApplicable {
		r.Text = pick(p.rng, []string{"X", "x"})
		return r
	}
	r.Text = strconv.Itoa(int(l))
	switch {
	case h.again(): // asked for one number, people send one
	case chance(p.rng, p.owner.Style.Words):
		r.Text = p.inWords(h, l)
	case chance(p.rng, p.owner.Style.Chatter):
		r.Text = fmt.Sprintf(pick(p.rng, digitForms), int(l))
	}
	return r
}

// digitForms are ways of writing one level as a digit.
var digitForms = []string{"%dish", "%d I think", "a %d", "about %d", "%d.", "%d this week", "still %d", "id say %d", "%d x", "probably %d", "(%d)"}

// inWords answers with the question's own words for a level, loosely.
func (p *Player) inWords(h heard, l clinical.Level) string {
	script, ok := p.scripts.Script(h.script)
	if !ok {
		return strconv.Itoa(int(l))
	}
	levels, _, ok := script.Anchors(h.question.Item, "")
	if !ok {
		return strconv.Itoa(int(l))
	}
	form := pick(p.rng, []string{"%s", "%s", "just %s", "%s really", "%s i'd say", "%s as usual"})
	if l == 0 {
		form = "%s"
	}
	text := fmt.Sprintf(form, levels[l])
	if chance(p.rng, 0.4) {
		text = sentence(text)
	}
	if chance(p.rng, p.owner.Style.Typos) {
		text = typo(p.rng, text)
	}
	return text
}

// list answers all items at once.
func (p *Player) list(h heard, at time.Time) Reply {
	r := Reply{Meant: map[string]float64{}}
	if !h.again() && len(h.items) > 4 && chance(p.rng, p.owner.Style.Same) {
		r.Text = pick(p.rng, []string{"SAME", "same", "same as last week"})
		return r
	}
	var digits []string
	for _, item := range h.items {
		l := p.level(h, item, at)
		r.Meant[item] = meant(l)
		digit := strconv.Itoa(int(l))
		if l == clinical.NotApplicable {
			digit = "x"
		}
		digits = append(digits, digit)
	}
	if h.again() {
		r.Text = strings.Join(digits, " ")
		return r
	}
	if len(digits) > 3 && chance(p.rng, p.owner.Style.Partial) {
		delete(r.Meant, h.items[len(digits)-1])
		digits = digits[:len(digits)-1]
	}
	r.Text = p.joined(digits)
	return r
}

// joined writes several levels in one message, as people do.
func (p *Player) joined(digits []string) string {
	if len(digits) == 1 {
		return digits[0]
	}
	switch n := p.rng.IntN(10); {
	case n < 6:
		return strings.Join(digits, " ")
	case n < 8:
		return strings.Join(digits, ",")
	case n < 9:
		return strings.Join(digits, ", ")
	default:
		return strings.Join(digits, " ") + " " + pick(p.rng, []string{"thanks", "x", "hope thats ok"})
	}
}

// yesNo answers a yes/no question, most often the one about signs.
func (p *Player) yesNo(h heard, at time.Time) Reply {
	switch h.question.Item {
	case "agree":
		return Reply{Text: pick(p.rng, []string{"YES", "Yes", "yes please", "Yes thats fine", "yes ok", "Yep happy to", "yes of course"})}
	case "reached":
		return Reply{Text: pick(p.rng, []string{"YES", "yes at the emergency vets now", "yes we are there now"})}
	case "done": // whether something of the plan was done
		return Reply{Text: pick(p.rng, []string{"YES", "yes", "Yes all done", "yes last week", "not yet"})}
	case "standing_new":
		return Reply{Text: pick(p.rng, []string{"no", "No been like that a while"})}
	case "standing_can", "now":
		return Reply{Text: pick(p.rng, []string{"yes", "Yes"})}
	}
	text := pick(p.rng, nothingNew)
	if chance(p.rng, p.owner.Style.Chatter) {
		text = pick(p.rng, nothingButChat)
	}
	if h.question.Also == "doses" {
		text += p.also()
	}
	return Reply{Text: p.garnish(text)}
}

// also adds the missed doses to an answer about signs.
func (p *Player) also() string {
	switch n := p.rng.IntN(20); {
	case n < 10:
		return " 0"
	case n < 17:
		return pick(p.rng, []string{", none missed", ". 0 missed", " and 0", ", no doses missed"})
	case n < 19:
		return ", 1 missed"
	default:
		return " 2"
	}
}

var nothingNew = []string{"no", "No", "NO", "nope", "no nothing", "nothing new", "No all fine", "none", "no thanks", "nothing to report", "no nothing new"}

// nothingButChat are answers that say no and a little more: nothing in them is
// a sign, and some come near one.
var nothingButChat = []string{
	"no, same as ever", "No just the usual stiffness first thing", "no been a good week",
	"No. dead tired after the beach but happy", "nope, loved the snow", "no nothing, still eating like a horse",
	"No, not been sick or anything", "no all good here hope you are well", "nothing new, the cat was sick but not the dog",
	"no, slept well after a long walk", "No. bit muddy!",
}

// wordsFor are answers to the open questions of the longer review.
var wordsFor = map[string][]string{
	"plan_use": {"walks yes, stairs gate not really", "most of it", "doing the walks every day", "all except the exercises if im honest"},
	"awkward":  {"the kitchen floor is slippery", "NONE", "back step is a bit high", "getting in the car", "none"},
	"aim":      {"to come up the hill with us again", "get in the car on his own", "just to be comfy really", "play with the ball a bit"},
	"where":    {"slips when he turns", "waits for help", "SKIP", "bit of a jump for him"},
	"extras":   {"NONE", "none", "just fish oil from the pet shop", "no nothing"},
}

// garnish adds a typo now and then.
func (p *Player) garnish(text string) string {
	if text == "" {
		return "ok"
	}
	if chance(p.rng, p.owner.Style.Typos) {
		return typo(p.rng, text)
	}
	return text
}

// weighed answers a weigh-in from the bathroom scale.
func (p *Player) weighed(h heard, at time.Time) Reply {
	if h.question.Step == "weight" && chance(p.rng, 0.05) {
		return Reply{Text: pick(p.rng, []string{"can't weigh him this week", "cant weigh her, scales broken", "Can't weigh"})}
	}
	kg := p.owner.Dogs[h.dog].Weight.At(p.days(at)) + p.rng.NormFloat64()*0.2
	tenths := fmt.Sprintf("%.1f", kg)
	r := Reply{Meant: map[string]float64{"weight": float64(clinical.GramsOf(mustFloat(tenths)))}}
	switch p.rng.IntN(8) {
	case 0:
		r.Text = strings.Replace(tenths, ".", ",", 1) + " kg"
	case 1:
		r.Text = tenths
	case 2:
		r.Text = "about " + tenths + "kg"
	case 3:
		r.Text = tenths + " kilos today"
	default:
		r.Text = tenths + "kg"
	}
	return r
}

func mustFloat(s string) float64 {
	f, _ := strconv.ParseFloat(s, 64) // it was written as one
	return f
}

// choice picks an option by its number.
func (p *Player) choice(h heard) Reply {
	want := map[string]string{"scale": "home", "shape": "right", "signs_which": "none",
		"places": "floors", "easier": "not_yet", "activities": "sofa", "day": "mixed"}[h.question.Item]
	if h.question.Item == "shape" && p.owner.Dogs[h.dog].Enrolled.Loss {
		want = "heavy"
	}
	for i, id := range h.question.Options {
		if id == want {
			return Reply{Text: strconv.Itoa(i + 1)}
		}
	}
	return Reply{Text: "1"}
}

// doses says how many were missed: mostly none.
func (p *Player) doses(h heard) Reply {
	switch n := p.rng.IntN(20); {
	case n < 12:
		return Reply{Text: "0", Meant: map[string]float64{"doses": 0}}
	case n < 17:
		return Reply{Text: pick(p.rng, []string{"none", "None", "0 missed", "none missed"}), Meant: map[string]float64{"doses": 0}}
	case n < 19:
		return Reply{Text: pick(p.rng, []string{"1", "one", "missed 1 on sunday"}), Meant: map[string]float64{"doses": 1}}
	default:
		return Reply{Text: "2", Meant: map[string]float64{"doses": 2}}
	}
}
