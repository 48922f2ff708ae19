package telegram

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"time"

	"gaitpost/bot"
	"gaitpost/dialog"
)

const (
	maxText   = 4096
	keysInRow = 3
	// maxKeys is how many keys a keyboard may have before it hides the chat.
	maxKeys = 12
)

// sending is a message as the provider takes it. parse_mode is left out: names
// may hold what would be markup.
type sending struct {
	Chat int64  `json:"chat_id"`
	Text string `json:"text"`
	Keys any    `json:"reply_markup,omitempty"`
}

type keyboard struct {
	Keys    [][]key `json:"keyboard"`
	Resize  bool    `json:"resize_keyboard"`
	OneTime bool    `json:"one_time_keyboard"`
}

type key struct {
	Text string `json:"text"`
}

type noKeyboard struct {
	Remove bool `json:"remove_keyboard"`
}

// Send implements bot.Channel. A key sends what stands on it, so that each shows
// the reply alone: what it stands for is in the text.
func (c *Channel) Send(ctx context.Context, m bot.Outgoing) (bot.Receipt, error) {
	id, err := strconv.ParseInt(m.To.Value, 10, 64)
	if err != nil {
		return bot.Receipt{}, &bot.SendError{Class: bot.Dead, Err: errors.New("the chat's id is no number")}
	}
	result, failed := c.call(ctx, "sendMessage", sending{Chat: id, Text: m.Text, Keys: keys(m.Choices)})
	if failed != nil {
		return bot.Receipt{}, failed
	}
	var sent struct {
		ID int64 `json:"message_id"`
	}
	_ = json.Unmarshal(result, &sent) // it was taken, whatever follows
	return bot.Receipt{ID: strconv.FormatInt(sent.ID, 10), Sent: true}, nil
}

// keys are the choices as keys; without any, those of the last question go.
func keys(choices []dialog.Choice) any {
	if len(choices) == 0 || len(choices) > maxKeys {
		return noKeyboard{Remove: true}
	}
	k := keyboard{Resize: true, OneTime: true}
	for i, c := range choices {
		if i%keysInRow == 0 {
			k.Keys = append(k.Keys, nil)
		}
		row := &k.Keys[len(k.Keys)-1]
		*row = append(*row, key{c.Reply})
	}
	return k
}

// answer reads what the provider says of a request.
func answer(r bot.Reply) (json.RawMessage, *bot.SendError) {
	var said struct {
		OK          bool            `json:"ok"`
		Result      json.RawMessage `json:"result"`
		Code        int             `json:"error_code"`
		Description string          `json:"description"`
		Parameters  struct {
			RetryAfter int `json:"retry_after"`
		} `json:"parameters"`
	}
	err := json.Unmarshal(r.Body, &said)
	if r.OK() && (err != nil || said.OK) {
		return said.Result, nil
	}
	code := ""
	if said.Code != 0 {
		code = strconv.Itoa(said.Code)
	}
	e := r.Refused(code, func() bot.Class { return refusal(said.Description) })
	if r.Status == http.StatusForbidden {
		e.Class = bot.OptedOut // blocked, or the person has gone
	}
	if r.OK() || r.Status == http.StatusNotFound {
		e.Class = bot.Misconfigured // there is no such bot
	}
	if said.Parameters.RetryAfter > 0 {
		e.RetryAfter = min(time.Duration(said.Parameters.RetryAfter)*time.Second, time.Hour)
	}
	return nil, e
}

// refusal reads the one refusal that says something about the person. The
// provider gives sentences only (from memory).
func refusal(description string) bot.Class {
	if strings.Contains(description, "chat not found") || strings.Contains(description, "user is deactivated") {
		return bot.Dead
	}
	return bot.Permanent
}

// errNoLookup is why nothing can be looked up.
var errNoLookup = errors.New("this provider tells bots nothing of what they have sent")

// Lookup implements bot.Channel.
func (c *Channel) Lookup(context.Context, bot.Outgoing) (bot.Presence, error) {
	return bot.CantTell, errNoLookup
}
