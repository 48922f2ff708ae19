package care

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"gaitpost/dialog"
	"gaitpost/dialog/answer"
	"gaitpost/internal/signs"
)

// message takes what a person wrote. The safety screen and the opt-out match
// come first, in every state, and both take effect; only then does anything
// else see the text.
func (t *turn) message(m *MessageIn) Reason {
	if t.h.Erased != nil {
		return t.fromErased(m)
	}
	c := t.h.contactOf(m.From)
	if m.Joiner != "" {
		return t.joinBy(m)
	}
	if c < 0 {
		c = 0
	}
	t.h.Contacts[c].Talk.LastIn = t.at
	t.moveTo(c)
	t.fact(Fact{Kind: FactWords, Contact: c + 1, Text: m.Text, Code: strings.Join(m.Media, " "), ID: m.ID})

	said := t.listen(c, m)
	if !t.admit(c) && !said.heedAnyway() {
		return t.flooded(said)
	}
	if t.h.Stranger {
		return t.stranger(said)
	}
	lang, named := t.namesLanguage(said)
	if named && said.finding.Urgency != signs.None || !named && t.plainAnswer(said) {
		t.note(FactSign, said.dog, "unsure, read as an answer", said.finding.Reason)
		said.finding.Urgency, said.finding.Signs, said.finding.Ask = signs.None, nil, false
	}
	reason := t.safety(said)
	switch said.control {
	case answer.ControlOptOut, answer.ControlOptOutAll:
		return t.optOut(said)
	case answer.ControlOptIn:
		return t.optIn(said)
	case answer.ControlHelp:
		return t.help(said)
	}
	if said.finding.Death && said.finding.Urgency != signs.Emergency {
		return t.deathReported(said)
	}
	if said.finding.Urgency == signs.Emergency || said.comfort() {
		t.feedSilently(said)
		return reason
	}
	if t.toldWhichDog(said) {
		return Answered
	}
	if named {
		return t.chooseLanguage(said, lang)
	}
	if m.Edited {
		return either(reason, EditKept)
	}
	return either(reason, t.converse(said))
}

func either(a, b Reason) Reason {
	if a != "" {
		return a
	}
	return b
}

// plainAnswer reports whether a short text that the screen was merely unsure
// about answers the question just asked: "some days really" to how often is an
// answer, and so is "probably 0". A text in which any sign was recognised never
// is one, and the more urgent the doubt, the barer an answer has to be.
func (t *turn) plainAnswer(s *heard) bool {
	most := map[signs.Urgency]int{signs.SameDay: 6, signs.Emergency: 3}[s.finding.Urgency] // words
	f, o := s.finding, t.h.Contacts[s.contact].Talk.Open
	if o == nil || !f.Ask || len(strings.Fields(s.Text)) > most {
		return false
	}
	if slices.ContainsFunc(f.Signs, func(sign signs.Sign) bool { return sign != signs.Unclear }) {
		return false
	}
	res := t.r.Scripts.Reply(o.Session, t.dialogContext(s.contact, o.Dog, o.Kind), s.Text)
	for _, a := range res.Recorded {
		if a.Value.Kind != dialog.KindScale && a.Value.Kind != dialog.KindNumber {
			return false
		}
		if f.Urgency == signs.Emergency && a.Value.Number >= worstLevel {
			return false // the worst answer with a doubt about it is asked about
		}
	}
	return len(res.Recorded) > 0
}

// worstLevel is the last of a scale's levels.
const worstLevel = 4

// heard is a message with what was made of it before any dialog.
type heard struct {
	*MessageIn
	contact int8
	dog     int8 // the dog it is about, -1 when that cannot be told
	finding signs.Finding
	control answer.Control
	why     answer.Reason
}

// comfort reports whether the message needs a kind word and nothing else.
func (s *heard) comfort() bool { return s.finding.Euthanasia || s.finding.Distress }

func (s *heard) optsOut() bool {
	return s.control == answer.ControlOptOut || s.control == answer.ControlOptOutAll
}

func (t *turn) listen(c int8, m *MessageIn) *heard {
	s := &heard{MessageIn: m, contact: c, dog: t.aboutDog(c, m.Text)}
	ctx := t.screenContext(s.dog)
	ctx.Lang = t.h.Contacts[c].Lang
	s.finding = signs.Screen(m.Text, ctx)
	s.control, s.why = lexicon(t.h.Contacts[c].Lang).Control(m.Text)
	switch m.ProviderOptOut {
	case "STOP":
		s.control = answer.ControlOptOut
	case "START":
		s.control = answer.ControlOptIn
	case "HELP":
		s.control = answer.ControlHelp
	}
	return s
}

// aboutDog guesses which dog a message is about: the one it names, the one
// just asked about, or the only one.
func (t *turn) aboutDog(c int8, text string) int8 {
	low := lower(text)
	named := int8(-1)
	for i := range t.h.Dogs {
		if t.h.Dogs[i].here() && mentions(low, lower(t.h.Dogs[i].Name)) {
			if named >= 0 {
				return -1 // both
			}
			named = int8(i)
		}
	}
	if named >= 0 {
		return named
	}
	if o := t.h.Contacts[c].Talk.Open; o != nil && o.Dog >= 0 && t.h.Dogs[o.Dog].here() {
		return o.Dog
	}
	only, _ := t.onlyDog()
	return only
}

// mentions reports whether text has name as a word of its own.
func mentions(text, name string) bool {
	if name == "" {
		return false
	}
	for from := 0; ; {
		i := strings.Index(text[from:], name)
		if i < 0 {
			return false
		}
		i += from
		before, _ := utf8.DecodeLastRuneInString(text[:i])
		after, _ := utf8.DecodeRuneInString(text[i+len(name):])
		if !isLetter(before) && !isLetter(after) {
			return true
		}
		from = i + len(name)
	}
}

func isLetter(r rune) bool { return r != utf8.RuneError && (r >= 'a' && r <= 'z' || r > 127) }

// screenContext tells the screen what is on the plan of the dog a message is
// about; where that cannot be told, what is on any plan of the household.
func (t *turn) screenContext(dog int8) signs.Context {
	var ctx signs.Context
	for i := range t.h.Dogs {
		d := &t.h.Dogs[i]
		ctx.DogNames = append(ctx.DogNames, d.Name)
		if dog >= 0 && int8(i) != dog {
			continue
		}
		ctx.NSAID = ctx.NSAID || d.takes(NSAID) || d.takes(Aspirin) // aspirin is one too
		ctx.Antibody = ctx.Antibody || d.takes(Antibody)
	}
	return ctx
}

// converse hands a message to staff, to the dialog that is open, or keeps it
// for the practice.
func (t *turn) converse(s *heard) Reason {
	talk := &t.h.Contacts[s.contact].Talk
	switch {
	case s.Text == "" && len(s.Media) == 0:
		t.sayStep(s.contact, s.dog, ForReply, "staff", "empty")
		return AskedAgain
	case talk.Handover > t.at:
		t.keepForPractice(s, Today, "wrote back to staff")
		return InHandover
	case s.Text == "":
		t.keepForPractice(s, ForDigest, "sent "+mediaWords(s.Media))
		t.sayReads(s, "media_received")
		return MessageKept
	}
	if s.control == answer.ControlOptOutDoubtful {
		t.keepForPractice(s, Today, "may want the texts to stop")
	}
	if talk.Open != nil {
		return t.reply(s)
	}
	return t.remark(s)
}

// remark keeps what an owner wrote outside any dialog, and says when it will
// be read.
func (t *turn) remark(s *heard) Reason {
	if s.finding.Urgency != signs.None { // the safety reply has answered already
		return ""
	}
	if smallTalk(s.Text) {
		return MessageKept
	}
	urgency, what := t.wants(s)
	t.keepForPractice(s, urgency, what)
	if t.h.Contacts[s.contact].Consent.State == Agreed {
		t.sayReads(s, "message_received")
	}
	return MessageKept
}

// wants says how soon a remark should be read: a request the same day, the
// rest with the digest.
func (t *turn) wants(s *heard) (Urgency, string) {
	switch s.control {
	case answer.ControlCallback:
		return Today, "asks for a call"
	case answer.ControlPrescription:
		return Today, "asks for medicine"
	case answer.ControlQuestion:
		return ForDigest, "asks"
	default:
		return ForDigest, "writes"
	}
}

// keepForPractice raises a message for the practice with the owner's words.
func (t *turn) keepForPractice(s *heard, u Urgency, what string) {
	sentence := t.h.Contacts[s.contact].Name + " " + what
	if s.Text != "" {
		sentence += ": " + quote(s.Text)
	}
	t.raise(evidence{dog: s.dog, reason: Question, urgency: u, sentence: sentence, contact: s.contact})
}

// sayReads tells the owner when what they wrote will be read.
func (t *turn) sayReads(s *heard, step string) {
	ctx := t.context(s.contact, s.dog)
	ctx.Vars["reads"] = t.reads(ctx.Lang)
	t.say(s.contact, ForReply, t.r.Scripts.Say("staff", step, ctx))
}

// stranger answers a number that is not enrolled: an emergency gets the
// numbers, once; the practice is told either way.
func (t *turn) stranger(s *heard) Reason {
	emergency := s.finding.Urgency == signs.Emergency
	const again = 24 * 3600
	first := t.h.ScreenedAt == 0 || t.at-t.h.ScreenedAt > again
	switch {
	case s.optsOut():
		t.setConsent(s, OptedOut)
		if !emergency {
			return OptOut
		}
	case s.control == answer.ControlHelp && t.h.Contacts[s.contact].Consent.State != OptedOut:
		t.sayStep(s.contact, -1, ForReply, "help", "help")
		return HelpGiven
	}
	if emergency {
		t.raise(evidence{dog: -1, reason: RedFlag, urgency: Now, contact: s.contact, signs: s.finding.Signs,
			sentence: "a number that is not enrolled writes: " + quote(s.Text)})
		if first {
			t.sayStep(s.contact, -1, ForSafety, "safety", "unknown_sender_emergency")
			t.h.ScreenedAt = t.at
		}
		return RedFlagRaised
	}
	urgency := ForDigest
	if s.finding.Urgency == signs.SameDay {
		urgency = Today
	}
	t.raise(evidence{dog: -1, reason: Question, urgency: urgency, contact: s.contact,
		sentence: "a number that is not enrolled writes: " + quote(s.Text)})
	if t.h.ScreenedAt == 0 && t.h.Contacts[s.contact].Consent.State != OptedOut {
		t.sayStep(s.contact, -1, ForReply, "staff", "line_not_known")
		t.h.ScreenedAt = t.at
	}
	return StrangerKept
}

// courtesies are words that ask and report nothing.
var courtesies = func() map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Fields("ok okay k thanks thank you thankyou ta cheers thx great lovely will do very much many " +
		"a no not worries worry problem too bye good night goodnight morning evening afternoon perfect brilliant super " +
		"x xx xxx that thats is all fine so the best wishes kind regards love hi hello dear for your help and again nice " +
		"appreciated got it noted sure yes yep cool grand sound") {
		m[w] = true
	}
	return m
}()

// smallTalk reports whether a text needs no answer and no reading: courtesies
// alone, or no words at all.
func smallTalk(text string) bool {
	const most = 8 // words
	words := strings.FieldsFunc(lower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '?' })
	if len(words) > most {
		return false
	}
	for _, w := range words {
		if !courtesies[w] {
			return false
		}
	}
	return true
}

// lookAlikes are signs of writing that would turn a whole text message into the
// alphabet that holds 70 characters instead of 160.
var lookAlikes = strings.NewReplacer("\u2019", "'", "\u2018", "'", "\u201c", "'", "\u201d", "'", "\"", "'",
	"\u2013", "-", "\u2014", "-", "\u2026", "...", "\u00a0", " ")

// quote is an owner's words as an alert shows them: one line, not too long,
// without pictures and look-alikes. The record keeps them as they were written.
func quote(text string) string {
	const most = 140
	text = strings.Map(func(r rune) rune {
		if unicode.In(r, unicode.So, unicode.Sk, unicode.Cf, unicode.Mn, unicode.Me, unicode.Co, unicode.Cc) && r != '\n' {
			return -1
		}
		return r
	}, lookAlikes.Replace(text))
	text = strings.Join(strings.Fields(text), " ")
	if utf8.RuneCountInString(text) > most {
		text = string([]rune(text)[:most-3]) + "..."
	}
	return "\"" + text + "\""
}

func mediaWords(types []string) string {
	if len(types) == 1 && strings.HasPrefix(types[0], "image/") {
		return "a photo"
	}
	if len(types) == 1 && strings.HasPrefix(types[0], "video/") {
		return "a video"
	}
	return "pictures or files"
}

// lexicon returns the words of a language; English where there are none yet.
func lexicon(lang string) *answer.Lexicon { return answer.For(lang) }

func lower(s string) string { return strings.ToLower(s) }
