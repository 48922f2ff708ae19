package sms

import (
	"strconv"
	"strings"

	"gaitpost/bot"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// maxMedia is how many pictures and files one message can have.
const maxMedia = 10

// Receive implements bot.Channel.
func (c *Channel) Receive(r bot.Request) ([]bot.Inbound, error) {
	var f form
	_, hashed := queryValue(r.RawQuery, "bodySHA256")
	if !hashed {
		var err error
		if f, err = parseForm(string(r.Body)); err != nil {
			return nil, err
		}
	}
	if err := c.verify(r, f); err != nil {
		return nil, err
	}
	switch {
	case hashed:
		return nil, bot.ErrBroken // genuine, but no message comes in this form
	case f.get("AccountSid") != c.account:
		return nil, bot.ErrOtherAccount
	case r.Hook == bot.StatusHook:
		return c.reportOn(r, f)
	}
	return c.message(f)
}

// message reads what somebody wrote.
func (c *Channel) message(f form) ([]bot.Inbound, error) {
	if f.get("To") != c.number {
		return nil, bot.ErrOtherNumber
	}
	id := f.get("MessageSid")
	from, ok := address(f.get("From"))
	if !ok || !isID(id) {
		return nil, bot.ErrBroken
	}
	m := &care.MessageIn{From: from, ID: id, Text: f.get("Body")}
	m.Media, m.Refs = c.media(f)
	switch t := f.get("OptOutType"); t {
	case "STOP", "START", "HELP":
		m.ProviderOptOut = t
	}
	return []bot.Inbound{{Key: "sms/" + id, Peer: from, Message: m}}, nil
}

// isID says whether a text can be a provider's message id.
func isID(s string) bool {
	return s != "" && len(s) <= 64 && !strings.ContainsFunc(s, func(r rune) bool { return !isAlnum(r) && r != '-' && r != '_' })
}

func isAlnum(r rune) bool {
	return r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z'
}

// address reads a sender. The provider writes numbers in E.164 form; what can't
// be written so (a short code, a sender's name) is taken as it is, so that what
// it says is kept and seen.
func address(from string) (contact.Address, bool) {
	if isE164(from) {
		return contact.Address{Channel: contact.SMS, Value: from}, true
	}
	if a, _, err := contact.ParsePhone(from, ""); err == nil {
		return a, true
	}
	ok := from != "" && len(from) <= 20 && !strings.ContainsFunc(from, func(r rune) bool {
		return !isAlnum(r) && !strings.ContainsRune(" +-._&", r)
	})
	return contact.Address{Channel: contact.SMS, Value: from}, ok
}

func isE164(s string) bool {
	if len(s) < 8 || len(s) > 16 || s[0] != '+' || s[1] == '0' {
		return false
	}
	for i := 1; i < len(s); i++ {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return true
}

// media lists the content types of what came with a message, and where the
// provider has it. The files themselves are left there.
func (c *Channel) media(f form) (types, refs []string) {
	n, err := strconv.Atoi(f.get("NumMedia"))
	if err != nil || n <= 0 {
		return nil, nil
	}
	for i := range min(n, maxMedia) {
		k := strconv.Itoa(i)
		types = append(types, bot.MediaType(f.get("MediaContentType"+k)))
		refs = append(refs, c.mediaRef(f.get("MediaUrl"+k)))
	}
	return types, bot.MediaRefs(refs)
}

// reportOn reads what became of a message of ours. States between cost nothing;
// a report on a message that did not carry our reference is of no use.
func (c *Channel) reportOn(r bot.Request, f form) ([]bot.Inbound, error) {
	if from := f.get("From"); from != c.number && from != "" { // none with a messaging service
		return nil, bot.ErrOtherNumber
	}
	id, status := f.get("MessageSid"), f.get("MessageStatus")
	to, ok := address(f.get("To"))
	if !ok || !isID(id) || !isID(status) {
		return nil, bot.ErrBroken
	}
	fate, final := fates[status]
	ref, ok := queryValue(r.RawQuery, refParam)
	if !final || !ok || !isRef(ref) {
		return nil, nil
	}
	report := &care.Report{Message: ref, Fate: fate}
	key := "sms/" + id + "/" + status
	if fate == care.Failed {
		report.Code = shortCode(f.get("ErrorCode"))
		key += "/" + report.Code
		class := classOf(report.Code)
		report.OptedOut, report.Dead = class == bot.OptedOut, class == bot.Dead
	}
	return []bot.Inbound{{Key: key, Peer: to, Report: report}}, nil
}

// fates are the states that matter. The others lie before them: accepted,
// scheduled, queued, sending, receiving, received. A message that arrived in
// part was sent, and can't be shown to have been delivered.
var fates = map[string]care.Fate{
	"sent":                care.SentOut,
	"partially_delivered": care.SentOut,
	"delivered":           care.Delivered,
	"read":                care.Read,
	"undelivered":         care.Failed,
	"failed":              care.Failed,
	"canceled":            care.Failed,
}

// refParam carries our reference in the address of status callbacks, which the
// signature covers.
const refParam = "m"

// isRef says whether a text can be a reference of ours.
func isRef(s string) bool {
	return s != "" && len(s) <= 200 && !strings.ContainsFunc(s, func(r rune) bool { return !isAlnum(r) && !strings.ContainsRune("-~._", r) })
}
