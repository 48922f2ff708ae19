package whatsapp

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"gaitpost/bot"
	"gaitpost/dialog"
)

const (
	// window is how long after an owner last wrote free text may go to them.
	// The margin is for clocks that differ and for the way there.
	window = 24*time.Hour - 5*time.Minute

	maxText        = 4096 // from memory
	maxInteractive = 1024
	maxButtons     = 3
	maxButtonTitle = 20
	maxRows        = 10
	maxRowTitle    = 24
	maxRowWords    = 72
	listButton     = "Answer"
)

// outbound is a message as the provider takes it.
type outbound struct {
	Product   string       `json:"messaging_product"`
	Recipient string       `json:"recipient_type"`
	To        string       `json:"to"`
	Type      string       `json:"type"`
	Ref       string       `json:"biz_opaque_callback_data,omitempty"`
	Text      *textOut     `json:"text,omitempty"`
	Asked     *interactive `json:"interactive,omitempty"`
	Template  *template    `json:"template,omitempty"`
}

type textOut struct {
	Body    string `json:"body"`
	Preview bool   `json:"preview_url"`
}

type interactive struct {
	Type   string `json:"type"`
	Body   words  `json:"body"`
	Action action `json:"action"`
}

type words struct {
	Text string `json:"text"`
}

type action struct {
	Buttons  []button  `json:"buttons,omitempty"`
	Button   string    `json:"button,omitempty"`
	Sections []section `json:"sections,omitempty"`
}

type button struct {
	Type  string `json:"type"`
	Reply choice `json:"reply"`
}

type section struct {
	Rows []row `json:"rows"`
}

type row struct {
	ID          string `json:"id"`
	Title       string `json:"title"`
	Description string `json:"description,omitempty"`
}

type template struct {
	Name       string              `json:"name"`
	Language   map[string]string   `json:"language"`
	Components []templateComponent `json:"components"`
}

type templateComponent struct {
	Type       string      `json:"type"`
	Parameters []parameter `json:"parameters"`
}

type parameter struct {
	Type string `json:"type"`
	Text string `json:"text"`
}

// Send implements bot.Channel. Within a day of what the owner last wrote the
// message goes as it is, its choices as buttons or a list where they fit; later,
// and where the provider says that it is later, as the template.
func (c *Channel) Send(ctx context.Context, m bot.Outgoing) (bot.Receipt, error) {
	if c.cfg.Now().Sub(m.Heard) < window {
		receipt, err := c.hand(ctx, c.free(m))
		var refused *bot.SendError
		if !errors.As(err, &refused) || refused.Code != strconv.Itoa(outsideWindow) || c.cfg.Template == "" {
			return receipt, err
		}
	}
	if c.cfg.Template == "" {
		return bot.Receipt{}, &bot.SendError{Class: bot.Permanent, Code: strconv.Itoa(outsideWindow),
			Err: errors.New("a day after the owner last wrote only a template may go, and the settings name none")}
	}
	return c.hand(ctx, c.asTemplate(m))
}

func (c *Channel) to(m bot.Outgoing, kind string) outbound {
	return outbound{Product: "whatsapp", Recipient: "individual", To: strings.TrimPrefix(m.To.Value, "+"), Type: kind, Ref: m.Ref}
}

// free is the message as it is.
func (c *Channel) free(m bot.Outgoing) outbound {
	if a, ok := offer(m.Choices); ok && utf8.RuneCountInString(m.Text) <= maxInteractive {
		kind := "list"
		if len(a.Buttons) > 0 {
			kind = "button"
		}
		o := c.to(m, "interactive")
		o.Asked = &interactive{Type: kind, Body: words{m.Text}, Action: a}
		return o
	}
	o := c.to(m, "text")
	o.Text = &textOut{Body: m.Text}
	return o
}

// asTemplate puts the whole message in the template's one place. A parameter may
// have no line breaks, tabs or long runs of spaces (from memory).
func (c *Channel) asTemplate(m bot.Outgoing) outbound {
	o := c.to(m, "template")
	o.Template = &template{
		Name: c.cfg.Template, Language: map[string]string{"code": c.cfg.Language},
		Components: []templateComponent{{Type: "body", Parameters: []parameter{{Type: "text", Text: strings.Join(strings.Fields(m.Text), " ")}}}},
	}
	return o
}

// offer makes buttons of choices, or a list where they are too many or too
// long; false where neither fits and the text must do.
func offer(choices []dialog.Choice) (action, bool) {
	long := func(most int) func(dialog.Choice) bool {
		return func(c dialog.Choice) bool { return c.Label == "" || utf8.RuneCountInString(c.Label) > most }
	}
	switch {
	case len(choices) == 0 || len(choices) > maxRows || slices.ContainsFunc(choices, long(maxRowWords)):
		return action{}, false
	case len(choices) <= maxButtons && !slices.ContainsFunc(choices, long(maxButtonTitle)):
		var a action
		for _, c := range choices {
			a.Buttons = append(a.Buttons, button{Type: "reply", Reply: choice{ID: c.Reply, Title: c.Label}})
		}
		return a, true
	}
	rows := make([]row, len(choices))
	for i, c := range choices {
		rows[i] = row{ID: c.Reply, Title: c.Label}
		if utf8.RuneCountInString(c.Label) > maxRowTitle {
			rows[i].Title, rows[i].Description = c.Reply, c.Label
		}
	}
	return action{Button: listButton, Sections: []section{{Rows: rows}}}, true
}

// hand gives a message to the provider.
func (c *Channel) hand(ctx context.Context, o outbound) (bot.Receipt, error) {
	data, err := json.Marshal(o)
	if err != nil {
		return bot.Receipt{}, &bot.SendError{Class: bot.Permanent, Err: errors.New("the message could not be written")}
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, c.post, bytes.NewReader(data))
	if err != nil {
		return bot.Receipt{}, &bot.SendError{Class: bot.Permanent, Err: errors.New("the request could not be made")}
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Authorization", "Bearer "+c.cfg.Token)
	reply, failed := bot.Do(c.cfg.Client, req)
	if failed != nil {
		return bot.Receipt{}, failed
	}
	return receipt(reply)
}

// receipt reads the provider's answer. Its code decides, where it gives one:
// throttling comes with several statuses.
func receipt(r bot.Reply) (bot.Receipt, error) {
	var said struct {
		Messages []struct {
			ID string `json:"id"`
		} `json:"messages"`
		Error *struct {
			Code int `json:"code"`
		} `json:"error"`
	}
	_ = json.Unmarshal(r.Body, &said)
	switch {
	case r.OK() && len(said.Messages) > 0:
		return bot.Receipt{ID: said.Messages[0].ID}, nil
	case r.OK():
		return bot.Receipt{}, nil // accepted, whatever follows
	case said.Error == nil:
		return bot.Receipt{}, r.Refused("", func() bot.Class { return bot.Permanent })
	}
	e := r.Refused(strconv.Itoa(said.Error.Code), func() bot.Class { return classOf(said.Error.Code) })
	if _, known := classes[said.Error.Code]; known {
		e.Class = classOf(said.Error.Code)
	}
	return bot.Receipt{}, e
}

// errNoLookup is why nothing can be looked up.
var errNoLookup = errors.New("this provider keeps no list of messages that could be asked")

// Lookup implements bot.Channel.
func (c *Channel) Lookup(context.Context, bot.Outgoing) (bot.Presence, error) {
	return bot.CantTell, errNoLookup
}
