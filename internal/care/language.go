package care

import (
	"slices"
	"strings"

	"gaitpost/dialog"
	"gaitpost/dialog/answer"
	"gaitpost/internal/signs"
)

// Reasons of a message that names a language.
const (
	LanguageChosen  Reason = "language-chosen"
	LanguageRefused Reason = "language-refused"
)

// FactLanguage: an owner asked to be written to in another language.
const FactLanguage FactKind = "language"

// Speaks reports whether owners may be written to in a language: the texts and
// the reading of answers have it, the clinic uses it, and the safety screen reads
// it. Without the last of these a sign told in that language would be missed. A
// clinic's settings name its languages; rules that name none have them all.
func (r *Rules) Speaks(lang string) bool {
	base := baseLang(lang)
	if base == "" || base == "en" {
		return true
	}
	screen := r.screenReads
	if screen == nil {
		screen = signs.Reads
	}
	return slices.Contains(dialog.Languages, base) && slices.Contains(answer.Languages(), base) && screen(base) &&
		(len(r.Languages) == 0 || slices.Contains(r.Languages, base))
}

// baseLang is a language without its region: "es-MX" is written as "es".
func baseLang(lang string) string {
	base, _, _ := strings.Cut(lang, "-")
	return base
}

// Spoken lists the languages that owners may be written to in.
func (r *Rules) Spoken() []string {
	return slices.DeleteFunc(slices.Clone(dialog.Languages), func(lang string) bool { return !r.Speaks(lang) })
}

// locale is how owners of a language write dates where the clinic is.
func (t *turn) locale(lang string) dialog.Locale { return dialog.LocaleOf(lang, t.r.Region) }

// mayChoose reports whether somebody is written to at all: whoever opted out or
// declined gets no line about languages either.
func (t *turn) mayChoose(contact int8) bool {
	c := &t.h.Contacts[contact]
	return (c.Consent.State == Agreed || c.Consent.State == Invited) && c.Talk.Handover <= t.at
}

// namesLanguage reads a message that names a language and nothing else. The
// English screen may take a word of another language for one of its own ("bitte"
// for bitten); every word of such a message is on a short list without a sign.
func (t *turn) namesLanguage(s *heard) (string, bool) {
	if s.Edited || s.finding.Urgency == signs.Emergency || s.finding.Death || s.comfort() || !t.mayChoose(s.contact) {
		return "", false
	}
	return answer.LanguageNamed(s.Text)
}

// chooseLanguage writes to a person in the language they named from now on,
// says so in it in one line, and asks the open question again. A language that
// is not spoken here changes nothing, and the practice is told.
func (t *turn) chooseLanguage(s *heard, lang string) Reason {
	c := &t.h.Contacts[s.contact]
	reason, step := LanguageChosen, "language_kept"
	if t.r.Speaks(lang) {
		t.fact(Fact{Kind: FactLanguage, Contact: s.contact + 1, Code: lang, Text: s.Text, ID: s.ID})
		c.Lang = lang
	} else {
		reason, step = LanguageRefused, "language_missing"
		t.fact(Fact{Kind: FactLanguage, Contact: s.contact + 1, Code: "not spoken here", Text: s.Text, ID: s.ID})
		t.keepForPractice(s, ForDigest, "asks for another language")
	}
	lines := []dialog.Line{t.r.Scripts.Say("staff", step, t.context(s.contact, s.dog))}
	purpose := ForReply
	if o := c.Talk.Open; o != nil {
		purpose = t.replyPurpose(o)
		o.AskedAt = t.at
		lines = append(lines, t.r.Scripts.Ask(o.Session, t.dialogContext(s.contact, o.Dog, o.Kind))...)
	}
	t.say(s.contact, purpose, lines...)
	return reason
}
