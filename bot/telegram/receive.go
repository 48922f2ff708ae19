package telegram

import (
	"encoding/json"
	"strconv"
	"strings"

	"gaitpost/bot"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

const secretHeader = "X-Telegram-Bot-Api-Secret-Token"

// update is what the provider posts; at most one of its parts is set.
type update struct {
	ID     int64    `json:"update_id"`
	New    *message `json:"message"`
	Edited *message `json:"edited_message"`
	Member *member  `json:"my_chat_member"`
}

type message struct {
	ID      int64   `json:"message_id"`
	From    *user   `json:"from"`
	Chat    chat    `json:"chat"`
	Text    string  `json:"text"`
	Caption string  `json:"caption"`
	Photo   []photo `json:"photo"` // one picture in several sizes
	Video   *file   `json:"video"`
	Note    *file   `json:"video_note"`
	Voice   *file   `json:"voice"`
	Audio   *file   `json:"audio"`
	Doc     *file   `json:"document"`
	Sticker *struct {
		Emoji string `json:"emoji"`
	} `json:"sticker"`
}

type user struct {
	IsBot bool `json:"is_bot"`
}

type chat struct {
	ID   int64  `json:"id"` // larger than 32 bits
	Type string `json:"type"`
}

type file struct {
	ID   string `json:"file_id"`
	Type string `json:"mime_type"`
}

type photo struct {
	ID     string `json:"file_id"`
	Width  int64  `json:"width"`
	Height int64  `json:"height"`
}

// member says that somebody blocked the bot, or let it in again.
type member struct {
	Chat chat `json:"chat"`
	New  struct {
		Status string `json:"status"`
	} `json:"new_chat_member"`
}

// Receive implements bot.Channel. Only private chats are heard: in a group
// nobody could tell whose dog a number is about.
func (c *Channel) Receive(r bot.Request) ([]bot.Inbound, error) {
	if err := c.verify(r.Header); err != nil {
		return nil, err
	}
	var u update
	if err := json.Unmarshal(r.Body, &u); err != nil || u.ID <= 0 {
		return nil, bot.ErrBroken
	}
	switch {
	case u.New != nil:
		return c.message(&u, u.New)
	case u.Edited != nil:
		told, err := c.message(&u, u.Edited)
		for i := range told {
			told[i].Message.Edited = true
		}
		return told, err
	case u.Member != nil:
		return c.member(&u)
	}
	return nil, nil // news of a kind that was not asked for
}

// key makes an update happen once. Its number counts for this bot alone.
func (c *Channel) key(u *update) string {
	return "telegram/" + c.cfg.Bot + "/" + strconv.FormatInt(u.ID, 10)
}

func person(ch chat) (contact.Address, bool) {
	return contact.Address{Channel: contact.Telegram, Value: strconv.FormatInt(ch.ID, 10)},
		ch.Type == "private" && ch.ID > 0
}

func (c *Channel) message(u *update, m *message) ([]bot.Inbound, error) {
	from, private := person(m.Chat)
	if !private || m.From != nil && m.From.IsBot {
		return nil, nil
	}
	in := &care.MessageIn{From: from, ID: strconv.FormatInt(m.ID, 10)}
	in.Text, in.Media, in.Refs = m.read()
	return []bot.Inbound{{Key: c.key(u), Peer: from, Message: in}}, nil
}

// read is what somebody wrote or sent; what is no text is named.
func (m *message) read() (text string, media, refs []string) {
	if m.Sticker != nil {
		return m.Sticker.Emoji, []string{"image/webp"}, nil
	}
	text = m.Text + m.Caption // at most one of them is there
	switch {
	case len(m.Photo) > 0:
		media, refs = []string{"image/jpeg"}, []string{fileRef(largest(m.Photo))}
	case m.Note != nil:
		media, refs = []string{"video/mp4"}, []string{fileRef(m.Note.ID)}
	}
	for _, f := range []*file{m.Video, m.Voice, m.Audio, m.Doc} {
		if f != nil {
			media, refs = append(media, bot.MediaType(f.Type)), append(refs, fileRef(f.ID))
		}
	}
	if text == "" && media == nil {
		media = []string{bot.MediaType("")} // a place, a contact, a poll
	}
	return strings.TrimSpace(text), media, bot.MediaRefs(refs)
}

// member reads that somebody blocked the bot: an opt-out like any other, which
// can't be answered.
func (c *Channel) member(u *update) ([]bot.Inbound, error) {
	from, private := person(u.Member.Chat)
	if !private {
		return nil, nil
	}
	in := &care.MessageIn{From: from, ID: strconv.FormatInt(u.ID, 10)}
	switch u.Member.New.Status {
	case "kicked":
		in.ProviderOptOut = "STOP"
	case "member":
		in.ProviderOptOut = "START"
	default:
		return nil, nil
	}
	return []bot.Inbound{{Key: c.key(u), Peer: from, Message: in}}, nil
}
