package whatsapp

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"strconv"
	"strings"

	"gaitpost/bot"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

const (
	signatureHeader = "X-Hub-Signature-256"
	signaturePrefix = "sha256="
	maxID           = 256
)

// news is what the provider posts: everything in it is a list.
type news struct {
	Object string `json:"object"`
	Entry  []struct {
		Changes []struct {
			Field string `json:"field"`
			Value value  `json:"value"`
		} `json:"changes"`
	} `json:"entry"`
}

type value struct {
	Metadata struct {
		PhoneID string `json:"phone_number_id"`
	} `json:"metadata"`
	Messages []message `json:"messages"`
	Statuses []status  `json:"statuses"`
}

type message struct {
	From   string `json:"from"` // digits without +
	ID     string `json:"id"`
	Type   string `json:"type"`
	Text   *body  `json:"text"`
	Button *struct {
		Payload string `json:"payload"`
		Text    string `json:"text"`
	} `json:"button"` // of a template
	Interactive *struct {
		Button *choice `json:"button_reply"`
		List   *choice `json:"list_reply"`
	} `json:"interactive"`
	Reaction *struct {
		Emoji string `json:"emoji"`
	} `json:"reaction"`
	Image    *file `json:"image"`
	Video    *file `json:"video"`
	Audio    *file `json:"audio"`
	Document *file `json:"document"`
	Sticker  *file `json:"sticker"`
}

type body struct {
	Body string `json:"body"`
}

type choice struct {
	ID    string `json:"id"`
	Title string `json:"title"`
}

type file struct {
	ID      string `json:"id"`
	Type    string `json:"mime_type"`
	Caption string `json:"caption"`
}

type status struct {
	ID        string `json:"id"`
	Status    string `json:"status"`
	Recipient string `json:"recipient_id"`
	// Ref is what we sent with the message (biz_opaque_callback_data; from
	// memory: not in the OpenAPI file that the rest is from).
	Ref    string `json:"biz_opaque_callback_data"`
	Errors []struct {
		Code int `json:"code"`
	} `json:"errors"`
}

// Receive implements bot.Channel. The signature covers the body as it came and
// is checked before anything is read; one that is missing is refused.
func (c *Channel) Receive(r bot.Request) ([]bot.Inbound, error) {
	if err := c.verify(r); err != nil {
		return nil, err
	}
	var n news
	if err := json.Unmarshal(r.Body, &n); err != nil || n.Object != "whatsapp_business_account" {
		return nil, bot.ErrBroken
	}
	var told []bot.Inbound
	foreign, ours := false, false
	for _, e := range n.Entry {
		for i := range e.Changes {
			v := &e.Changes[i].Value
			switch {
			case e.Changes[i].Field != "messages": // other news of the account: taken, and of no use
				ours = true
			case v.Metadata.PhoneID != c.cfg.PhoneID:
				foreign = true
			default:
				ours = true
				told = v.tell(told)
			}
		}
	}
	if foreign && !ours {
		return nil, bot.ErrOtherNumber
	}
	return told, nil
}

// verify checks who signed a request.
func (c *Channel) verify(r bot.Request) error {
	given, ok := strings.CutPrefix(r.Header.Get(signatureHeader), signaturePrefix)
	if r.Header.Get(signatureHeader) == "" {
		return bot.ErrNoSignature
	}
	if !ok {
		return bot.ErrAlgorithm
	}
	sum, err := hex.DecodeString(given)
	m := hmac.New(sha256.New, []byte(c.cfg.AppSecret))
	m.Write(r.Body)
	if err != nil || !hmac.Equal(sum, m.Sum(nil)) {
		return bot.ErrBadSignature
	}
	return nil
}

// tell adds what a change tells. One thing that can't be read keeps none of the
// others back: the provider would repeat them all for days.
func (v *value) tell(told []bot.Inbound) []bot.Inbound {
	for i := range v.Messages {
		m := &v.Messages[i]
		from, ok := person(m.From)
		if !ok || m.ID == "" || len(m.ID) > maxID || m.Type == "system" {
			continue
		}
		in := &care.MessageIn{From: from, ID: m.ID}
		in.Text, in.Media, in.Refs = m.read()
		told = append(told, bot.Inbound{Key: "whatsapp/" + m.ID, Peer: from, Message: in})
	}
	for i := range v.Statuses {
		if in, ok := v.Statuses[i].report(); ok {
			told = append(told, in)
		}
	}
	return told
}

// person is a sender or recipient; the provider writes numbers without their +.
func person(id string) (contact.Address, bool) {
	if !digits.MatchString(id) || id[0] == '0' || len(id) > 15 {
		return contact.Address{}, false
	}
	return contact.Address{Channel: contact.WhatsApp, Value: "+" + id}, true
}

// read is what somebody wrote, tapped or sent. A tap counts as what its button
// or row stands for; what is neither text nor tap is named.
func (m *message) read() (text string, media, refs []string) {
	switch {
	case m.Text != nil:
		return m.Text.Body, nil, nil
	case m.Button != nil:
		return either(m.Button.Payload, m.Button.Text), nil, nil
	case m.Interactive != nil && m.Interactive.Button != nil:
		return either(m.Interactive.Button.ID, m.Interactive.Button.Title), nil, nil
	case m.Interactive != nil && m.Interactive.List != nil:
		return either(m.Interactive.List.ID, m.Interactive.List.Title), nil, nil
	case m.Reaction != nil:
		return m.Reaction.Emoji, nil, nil
	}
	for _, f := range []*file{m.Image, m.Video, m.Audio, m.Document, m.Sticker} {
		if f != nil {
			return f.Caption, []string{bot.MediaType(f.Type)}, bot.MediaRefs([]string{f.ref()})
		}
	}
	return "", []string{bot.MediaType("")}, nil
}

// ref is the file's id where it is one.
func (f *file) ref() string {
	if !mediaID.MatchString(f.ID) {
		return ""
	}
	return f.ID
}

func either(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

var fates = map[string]care.Fate{
	"sent": care.SentOut, "delivered": care.Delivered, "read": care.Read, "failed": care.Failed,
}

// report is what became of a message of ours. They come in any order, and a
// failure may follow "sent".
func (s *status) report() (bot.Inbound, bool) {
	to, ok := person(s.Recipient)
	fate, final := fates[s.Status]
	if !ok || !final || s.Ref == "" || len(s.Ref) > maxID || s.ID == "" || len(s.ID) > maxID {
		return bot.Inbound{}, false
	}
	r := &care.Report{Message: s.Ref, Fate: fate}
	key := "whatsapp/" + s.ID + "/" + s.Status
	if fate == care.Failed && len(s.Errors) > 0 {
		r.Code = strconv.Itoa(s.Errors[0].Code)
		key += "/" + r.Code
		class := classOf(s.Errors[0].Code)
		r.OptedOut, r.Dead = class == bot.OptedOut, class == bot.Dead
	}
	return bot.Inbound{Key: key, Peer: to, Report: r}, true
}
