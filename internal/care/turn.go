package care

import (
	"slices"
	"strconv"
	"time"

	"gaitpost/dialog"
	"gaitpost/internal/cadence"
	"gaitpost/internal/contact"
)

const (
	keptSeen = 50 // event keys a household remembers, so that an old replay is known too
	keptSent = 30 // messages whose fate a household still follows
)

// Turn decides what one event does to a household. It is pure: h is not
// changed, and the same arguments give the same result.
func Turn(r *Rules, h Household, e Event) Result {
	t := &turn{r: r, h: clone(h), e: e, at: e.At.Unix()}
	if e.Key != "" && h.Seen.Has(e.Key) {
		return Result{Household: h, Reason: Repeated, Next: t.next(), Rank: t.rank()}
	}
	t.h.Seq++
	switch {
	case e.Message != nil:
		t.remember(e.Key)
		t.out.Reason = t.message(e.Message)
	case e.Report != nil:
		t.out.Reason = t.report(e.Report)
	case e.Practice != nil:
		t.remember(e.Key)
		t.out.Reason = t.practice(e.Practice)
	case e.Tick != nil:
		t.out.Reason = t.tick()
	}
	t.prune()
	t.out.Household = t.h
	t.out.Next = t.next()
	t.out.Rank = t.rank()
	return t.out
}

// turn is one turn under way: the household as it becomes, and what has been
// decided so far.
type turn struct {
	r   *Rules
	h   Household
	e   Event
	at  int64
	out Result
}

func (t *turn) remember(key string) {
	if key == "" {
		return
	}
	t.h.Seen = t.h.Seen.With(key, keptSeen)
}

func (t *turn) fact(f Fact) {
	if t.out.Facts == nil {
		t.out.Facts = make([]Fact, 0, 8) // an ordinary answer keeps about so many
	}
	t.out.Facts = append(t.out.Facts, f)
}

// note records a fact about a dog; dog -1 is the household.
func (t *turn) note(kind FactKind, dog int8, code, text string) {
	t.fact(Fact{Kind: kind, Dog: dog + 1, Code: code, Text: text})
}

// context is what the dialog engine and the fixed texts know of a contact and
// a dog. dog -1 leaves the dog's own placeholders to a plain word.
func (t *turn) context(contact, dog int8) dialog.Context {
	c := &t.h.Contacts[contact]
	const vars, facts = 14, 8 // as many as a dog has at most; the maps then never grow
	ctx := dialog.Context{Lang: baseLang(c.Lang), Vars: make(map[string]string, vars), Facts: make(map[string]bool, facts)}
	v := ctx.Vars
	v["owner"], v["practice"], v["vet"] = c.Name, t.r.Name, t.r.LeadName()
	v["phone"], v["emergency"], v["person_number"] = t.r.Phone, t.r.Emergency, t.r.PersonNumber
	v["frequency"], v["dog"] = t.locale(ctx.Lang).Weekly(), t.dogName(dog, ctx.Lang)
	v["he"], v["him"], v["his"] = "he", "him", "his"
	if t.r.Crisis != "" {
		v["crisis"], ctx.Facts["crisis"] = t.r.Crisis, true
	}
	if t.followed() > 1 {
		ctx.Facts["two_dogs"] = true
	}
	if !t.r.Hours.Open(t.e.At) {
		ctx.Facts["closed"] = true
	}
	if dog >= 0 {
		t.dogContext(&ctx, &t.h.Dogs[dog])
	}
	return ctx
}

// dogContext adds what is known of a dog. What isn't there is empty or false.
func (t *turn) dogContext(ctx *dialog.Context, d *Dog) {
	v := ctx.Vars
	switch d.Sex {
	case Female:
		v["he"], v["him"], v["his"] = "she", "her", "her"
	case UnknownSex:
		v["he"], v["him"], v["his"] = d.Name, d.Name, d.Name+"'s"
	}
	if d.Own[0] != "" {
		v["own1"], ctx.Facts["own1"] = d.Own[0], true
	}
	if d.Own[1] != "" {
		v["own2"], ctx.Facts["own2"] = d.Own[1], true
	}
	if m := d.medicine(); m != nil {
		v["medicine"], ctx.Facts["medicine"] = m.What, true
	}
	if d.onLossPlan() {
		ctx.Facts["weight_plan"] = true
	}
	ctx.CanCarry = d.Done > 0 && !d.CarriedLast
	ctx.Before = d.before()
}

func (t *turn) dogName(dog int8, lang string) string {
	if dog >= 0 {
		return t.h.Dogs[dog].Name
	}
	if i, ok := t.onlyDog(); ok {
		return t.h.Dogs[i].Name
	}
	if t.followed() > 1 {
		return t.locale(lang).EachDog()
	}
	return t.locale(lang).YourDog()
}

// opens says when the practice next opens, as an owner reads it.
func (t *turn) opens(lang string) string {
	at, ok := t.r.Hours.NextOpening(t.e.At)
	if !ok {
		return "" // the texts have words of their own for this
	}
	return t.locale(lang).Opens(at.In(t.r.Zone))
}

// reads says when the practitioner next reads the digest, as an owner reads it.
func (t *turn) reads(lang string) string {
	today := cadence.DateIn(t.e.At, t.r.Zone)
	at, _ := t.r.Cadences.Digest.Next(t.e.At, cadence.LocalDate{}, t.r.Zone)
	if at.IsZero() {
		return t.locale(lang).Soon()
	}
	return t.locale(lang).Reads(today.DaysUntil(cadence.DateIn(at, t.r.Zone)), at.In(t.r.Zone))
}

// say sends lines to a contact as one message and keeps them in the record.
func (t *turn) say(contact int8, p Purpose, lines ...dialog.Line) string {
	c := &t.h.Contacts[contact]
	text := ""
	for i := range lines {
		s := t.r.Scripts.Render(lines[i], c.Lang)
		if s == "" {
			continue
		}
		if text != "" {
			text += "\n"
		}
		text += s
	}
	if text == "" {
		return ""
	}
	id := t.send(contact, p, text)
	if c.Address.Channel != channelWithoutButtons {
		t.out.Send[len(t.out.Send)-1].Choices = t.r.Scripts.Choices(lines[len(lines)-1], c.Lang)
	}
	if p == ForSafety && t.h.nextWay(contact) >= 0 {
		t.h.Sent[len(t.h.Sent)-1].Lines = lines
	}
	for i := range lines {
		t.fact(Fact{Kind: FactSaid, Contact: contact + 1, Line: &lines[i], ID: id})
	}
	return id
}

// sayStep sends one fixed text to a contact about a dog.
func (t *turn) sayStep(contact, dog int8, p Purpose, script, step string) string {
	return t.say(contact, p, t.r.Scripts.Say(script, step, t.context(contact, dog)))
}

// channelWithoutButtons is the one whose messages carry neither choices nor the
// instant its person was last heard of: it can use neither.
const channelWithoutButtons = contact.SMS

// send puts a text in the outbox and follows its fate.
func (t *turn) send(contact int8, p Purpose, text string) string {
	c := &t.h.Contacts[contact]
	own := strconv.FormatUint(t.h.Seq, 16) + "-" + strconv.FormatInt(int64(len(t.out.Send)), 16)
	id := string(t.h.ID) + "-" + own
	m := Message{ID: id, To: c.Address, Via: c.Via, Text: text, Purpose: p, Contact: contact}
	m.NotAfter = t.notAfter(*c, p)
	if c.Address.Channel != channelWithoutButtons && c.Talk.LastIn != 0 {
		m.Heard = time.Unix(c.Talk.LastIn, 0).UTC()
	}
	t.out.Send = append(t.out.Send, m)
	t.h.Sent = append(t.h.Sent, Sent{ID: own, At: t.at, Contact: contact, Purpose: p})
	if n := len(t.h.Sent) - keptSent; n > 0 {
		t.h.Sent = t.h.Sent[n:]
	}
	c.Talk.LastOut = t.at
	return id
}

// notAfter is when a message of a purpose has lost its sense. A prompt must
// not reach anybody in quiet hours, however long the provider holds it.
func (t *turn) notAfter(c Contact, p Purpose) time.Time {
	switch p {
	case ForOptOut:
		return t.e.At.Add(5 * time.Minute) // 47 CFR 64.1200(a)(12)
	case ForSafety:
		return t.e.At.Add(24 * time.Hour)
	case ForPrompt:
		return t.beforeQuiet(c, t.r.Limits.PromptWindow)
	default:
		return t.e.At.Add(12 * time.Hour)
	}
}

// contactOf returns the index of the contact with an address, or -1.
func (h *Household) contactOf(a contact.Address) int8 {
	for i := range h.Contacts {
		if h.Contacts[i].Address == a {
			return int8(i)
		}
	}
	return -1
}

// primary is the contact that prompts go to: of the first person who has agreed,
// the address where the conversation is.
func (h *Household) primary() int8 {
	for i := range h.Contacts {
		if h.Contacts[i].Consent.State == Agreed {
			return h.current(h.person(int8(i)))
		}
	}
	return -1
}

// followed counts the dogs that are being followed, paused ones too.
func (t *turn) followed() int {
	n := 0
	for i := range t.h.Dogs {
		if t.h.Dogs[i].here() {
			n++
		}
	}
	return n
}

// onlyDog returns the one dog that is followed or paused, if there is just one.
func (t *turn) onlyDog() (int8, bool) {
	found := int8(-1)
	for i := range t.h.Dogs {
		if !t.h.Dogs[i].here() {
			continue
		}
		if found >= 0 {
			return -1, false
		}
		found = int8(i)
	}
	return found, found >= 0
}

// prune forgets closed alerts that hold nothing shut any more.
func (t *turn) prune() {
	t.h.Alerts = slices.DeleteFunc(t.h.Alerts, func(a Alert) bool {
		return a.State == ClosedAlert && (a.Cleared || !a.Reason.staysShut())
	})
}

// clone copies what a turn changes in place, so that the caller's household
// stays as it was.
func clone(h Household) Household {
	h.Contacts = slices.Clone(h.Contacts)
	for i := range h.Contacts {
		talk := &h.Contacts[i].Talk
		talk.Open = cloneOpen(talk.Open)
		talk.Suspended = cloneOpen(talk.Suspended)
		talk.Queue = slices.Clone(talk.Queue)
	}
	h.Dogs = slices.Clone(h.Dogs)
	for i := range h.Dogs {
		d := &h.Dogs[i]
		d.Plan = clonePlan(d.Plan)
		d.Due = slices.Clone(d.Due)
		d.Quieted = slices.Clone(d.Quieted)
		d.Weights = slices.Clone(d.Weights)
		d.OwnNumbers = slices.Clone(d.OwnNumbers)
	}
	h.Alerts = slices.Clone(h.Alerts)
	const more = 2 // messages of an ordinary turn
	h.Sent = append(make([]Sent, 0, len(h.Sent)+more), h.Sent...)
	return h
}

func cloneOpen(o *Open) *Open {
	if o == nil {
		return nil
	}
	c := *o
	return &c
}
