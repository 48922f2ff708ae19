package main

import (
	"bytes"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"gaitpost/bot"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/gateway"
	"gaitpost/internal/fake/telegram"
	"gaitpost/internal/fake/whatsapp"
)

// demoKinds are the channels of the demo, in the order they are worked.
var demoKinds = []contact.Channel{contact.SMS, contact.WhatsApp, contact.Telegram, contact.Relay}

// demoWire is the provider of one channel other than text messages, as the
// demo's telephones use it. What it posts is signed as that provider signs.
type demoWire interface {
	kind() contact.Channel
	// address is the one of a telephone there.
	address(p *demoPhone) contact.Address
	write(p *demoPhone, text string) error
	// tap takes one of the choices of a message.
	tap(p *demoPhone, t demoTap) error
	// fresh hands out what the provider has taken since it was last asked.
	fresh() []demoArrival
}

// demoTap is something on a telephone that can be tapped.
type demoTap struct {
	Label string // what stands on it
	Words string // beside it, where it is a row of a list
	Reply string // what comes back by it
	Kind  string // "button", "list", "key", "link"
}

// demoArrival is a message on its way to a telephone. delivered posts the
// provider's report on it, nil where it makes none.
type demoArrival struct {
	phone     *demoPhone
	text      demoText
	delivered func() error
}

// providers makes the stand-ins for every channel's provider, and the channels
// that use them.
func (w *demoWorld) providers(c *clinic.Clinic, at string) (http.Handler, []bot.Outlet, error) {
	mux := http.NewServeMux()
	var outlets []bot.Outlet
	for _, ch := range c.Channels {
		var out bot.Outlet
		var err error
		if ch.Kind == contact.SMS {
			out, err = w.texts(ch, at)
			mux.Handle("/", w.provider)
		} else {
			place := "/" + ch.Name
			var stands http.Handler
			if stands, err = w.standIn(ch); err == nil {
				mux.Handle(place+"/", http.StripPrefix(place, stands))
				ch.API = at + place + "/"
				if ch.Kind == contact.Telegram {
					ch.API = at + place
				}
				out, err = outletOf(c, ch, channelParts{client: w.client, now: w.now})
			}
		}
		if err != nil {
			return nil, nil, fmt.Errorf("the channel %s: %w", ch.Name, err)
		}
		outlets = append(outlets, out)
	}
	return mux, outlets, nil
}

// standIn makes the stand-in for one provider.
func (w *demoWorld) standIn(ch clinic.ChannelSettings) (http.Handler, error) {
	switch ch.Kind {
	case contact.WhatsApp:
		p, err := whatsapp.New(whatsapp.Options{
			PhoneID: ch.Account, Display: strings.TrimPrefix(ch.Number, "+"), Token: ch.AuthToken.Reveal(),
			AppSecret: ch.SigningSecret.Reveal(), Templates: []string{ch.Template + "/" + ch.TemplateLanguage}, Now: w.now,
		})
		w.wires = append(w.wires, &whatsappWire{w: w, provider: p})
		return p, err
	case contact.Telegram:
		p, err := telegram.New(telegram.Options{Token: ch.AuthToken.Reveal(), Now: w.now})
		w.wires = append(w.wires, &telegramWire{w: w, provider: p, secret: ch.SigningSecret.Reveal()})
		return p, err
	case contact.Relay:
		g, err := gateway.New(gateway.Options{Secret: ch.SigningSecret.Reveal(), Us: ch.Number, Now: w.now})
		w.wires = append(w.wires, &gatewayWire{w: w, provider: g})
		return g, err
	}
	return nil, errors.New("the demo has no stand-in for it")
}

// wire is the one of a channel, nil for text messages.
func (w *demoWorld) wire(kind contact.Channel) demoWire {
	for _, wire := range w.wires {
		if wire.kind() == kind {
			return wire
		}
	}
	return nil
}

// handOutElsewhere lets people see what the other providers have sent.
func (w *demoWorld) handOutElsewhere() {
	for _, wire := range w.wires {
		for _, a := range wire.fresh() {
			a.phone.receive(a.text)
			if a.delivered != nil {
				w.agenda.add(w.now().Add(demoReports), a.delivered)
			}
		}
	}
}

// post posts to the webhook of a channel, which has to take it.
func (w *demoWorld) post(kind contact.Channel, header http.Header, body []byte) error {
	r, err := http.NewRequestWithContext(w.ctx, http.MethodPost, w.hooks[kind], bytes.NewReader(body))
	if err != nil {
		return fmt.Errorf("making the request: %w", err)
	}
	for name, values := range header {
		r.Header[name] = values
	}
	if r.Header.Get("Content-Type") == "" {
		r.Header.Set("Content-Type", "application/json")
	}
	resp, err := w.client.Do(r)
	if err != nil {
		return fmt.Errorf("posting to the webhook: %w", err)
	}
	defer resp.Body.Close()
	if resp.StatusCode/100 != 2 {
		return fmt.Errorf("the webhook answered %d", resp.StatusCode)
	}
	return nil
}

// whatsappWire is WhatsApp.
type whatsappWire struct {
	w        *demoWorld
	provider *whatsapp.Provider
	seq      int // of what people wrote
	looked   int
}

func (*whatsappWire) kind() contact.Channel { return contact.WhatsApp }

func (*whatsappWire) address(p *demoPhone) contact.Address {
	return contact.Address{Channel: contact.WhatsApp, Value: p.number}
}

func (a *whatsappWire) write(p *demoPhone, text string) error {
	return a.post(p, a.provider.Text(a.id(), a.who(p), text))
}

func (a *whatsappWire) tap(p *demoPhone, t demoTap) error {
	return a.post(p, a.provider.Tap(a.id(), a.who(p), t.Kind+"_reply", t.Reply, t.Label))
}

func (*whatsappWire) who(p *demoPhone) string { return strings.TrimPrefix(p.number, "+") }

func (a *whatsappWire) id() string {
	a.seq++
	return fmt.Sprintf("wamid.in%08d", a.seq)
}

func (a *whatsappWire) post(p *demoPhone, body []byte) error {
	a.provider.Wrote(a.who(p), a.w.now())
	return a.sign(body)
}

func (a *whatsappWire) sign(body []byte) error {
	return a.w.post(contact.WhatsApp, http.Header{"X-Hub-Signature-256": {a.provider.Sign(body)}}, body)
}

func (a *whatsappWire) fresh() (list []demoArrival) {
	sent := a.provider.Sent()
	for _, m := range sent[a.looked:] {
		t := demoText{Text: m.Text, By: contact.WhatsApp}
		for i, title := range m.Options {
			t.Taps = append(t.Taps, demoTap{Label: title, Words: m.Words[i], Reply: m.Replies[i], Kind: m.Offered})
		}
		list = append(list, demoArrival{phone: a.w.phone("+" + m.To), text: t, delivered: func() error {
			return a.sign(a.provider.Status(m.ID, m.To, m.Ref, "delivered", 0))
		}})
	}
	a.looked = len(sent)
	return list
}

// telegramWire is Telegram.
type telegramWire struct {
	w        *demoWorld
	provider *telegram.Provider
	secret   string
	seq      int64
	looked   int
}

func (*telegramWire) kind() contact.Channel { return contact.Telegram }

// address is a chat's id: made of the telephone's number here, of nothing that is
// known beforehand at the real provider.
func (*telegramWire) address(p *demoPhone) contact.Address {
	return contact.Address{Channel: contact.Telegram, Value: strings.TrimPrefix(p.number, "+44")}
}

func (g *telegramWire) write(p *demoPhone, text string) error {
	chat, err := strconv.ParseInt(g.address(p).Value, 10, 64)
	if err != nil {
		return errors.New("this telephone has no chat")
	}
	g.provider.Open(chat)
	g.seq++
	return g.w.post(contact.Telegram, http.Header{"X-Telegram-Bot-Api-Secret-Token": {g.secret}}, g.provider.Text(g.seq, chat, text))
}

// tap sends what stands on a key.
func (g *telegramWire) tap(p *demoPhone, t demoTap) error { return g.write(p, t.Reply) }

func (g *telegramWire) fresh() (list []demoArrival) {
	sent := g.provider.Sent()
	for _, m := range sent[g.looked:] {
		t := demoText{Text: m.Text, By: contact.Telegram}
		for _, key := range m.Keys {
			t.Taps = append(t.Taps, demoTap{Label: key, Reply: key, Kind: "key"})
		}
		list = append(list, demoArrival{phone: g.w.phone("+44" + strconv.FormatInt(m.Chat, 10)), text: t})
	}
	g.looked = len(sent)
	return list
}

// gatewayWire is a gateway of the practice's own.
type gatewayWire struct {
	w        *demoWorld
	provider *gateway.Gateway
	seq      int
	looked   int
}

func (*gatewayWire) kind() contact.Channel { return contact.Relay }

func (*gatewayWire) address(p *demoPhone) contact.Address {
	return contact.Address{Channel: contact.Relay, Value: p.number}
}

func (g *gatewayWire) write(p *demoPhone, text string) error {
	g.seq++
	id := fmt.Sprintf("in-%08d", g.seq)
	return g.post(id, g.provider.Received(id, p.number, text))
}

// tap sends the reply that a choice stands for.
func (g *gatewayWire) tap(p *demoPhone, t demoTap) error { return g.write(p, t.Reply) }

func (g *gatewayWire) post(id string, body []byte) error {
	return g.w.post(contact.Relay, g.provider.Sign(id, g.w.now(), body), body)
}

func (g *gatewayWire) fresh() (list []demoArrival) {
	sent := g.provider.Sent()
	for _, m := range sent[g.looked:] {
		t := demoText{Text: m.Text, By: contact.Relay}
		for _, c := range m.Offered {
			t.Taps = append(t.Taps, demoTap{Label: c.Label, Reply: c.Reply, Kind: "button"})
		}
		list = append(list, demoArrival{phone: g.w.phone(m.To), text: t, delivered: func() error {
			return g.post("status-"+m.Ref, g.provider.Status(m.Ref, m.To, "delivered"))
		}})
	}
	g.looked = len(sent)
	return list
}
