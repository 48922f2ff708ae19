package main

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"math"
	"net/http"
	"slices"
	"time"

	"gaitpost/bot"
	"gaitpost/bot/email"
	"gaitpost/bot/relay"
	"gaitpost/bot/sms"
	"gaitpost/bot/telegram"
	"gaitpost/bot/voice"
	"gaitpost/bot/whatsapp"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// channelParts are what channels need beside their settings.
type channelParts struct {
	client *http.Client // nil: each channel's own
	now    func() time.Time
	store  *store.Store // for pictures of courses in mail
}

// directoryOf gives every clinic its channels. This is where the kinds of
// channel are known by name.
func directoryOf(clinics []*clinic.Clinic, p channelParts) (*bot.Directory, error) {
	var all []bot.Clinic
	for _, c := range clinics {
		b := bot.Clinic{Rules: c.Rules}
		for _, ch := range c.Channels {
			out, err := outletOf(c, ch, p)
			if err != nil {
				return nil, fmt.Errorf("clinic %s, channel %s: %w", c.Rules.Clinic, ch.Name, err)
			}
			b.Outlets = append(b.Outlets, out)
		}
		all = append(all, b)
	}
	return bot.NewDirectory(all...)
}

func outletOf(c *clinic.Clinic, ch clinic.ChannelSettings, p channelParts) (bot.Outlet, error) {
	out := bot.Outlet{
		Name: ch.Name, Number: contact.Address{Channel: ch.Kind, Value: ch.Number},
		Rate: store.Rate{PerSecond: ch.Rate, Burst: int(math.Ceil(ch.Rate))},
	}
	var err error
	switch ch.Kind {
	case contact.SMS:
		out.Channel, err = sms.New(sms.Config{
			Account: ch.Account, AuthToken: ch.AuthToken.Reveal(), Number: ch.Number, API: ch.API,
			PublicURL: hookURL(c, ch), Client: p.client,
		})
	case contact.Relay:
		out.Channel, err = relay.New(relay.Config{
			Address: ch.Number, URL: ch.API, Secret: ch.SigningSecret.Reveal(), Client: p.client, Now: p.now,
		})
	case contact.WhatsApp:
		out.Channel, err = whatsapp.New(whatsapp.Config{
			PhoneID: ch.Account, Number: ch.Number, API: ch.API, Token: ch.AuthToken.Reveal(),
			AppSecret: ch.SigningSecret.Reveal(), VerifyToken: ch.VerifyToken.Reveal(),
			Template: ch.Template, Language: ch.TemplateLanguage, Client: p.client, Now: p.now,
		})
	case contact.Telegram:
		out.Channel, err = telegramOf(ch, p.client)
	case contact.Voice:
		out.Channel, err = voice.New(voice.Config{
			Account: ch.Account, AuthToken: ch.AuthToken.Reveal(), Number: ch.Number, API: ch.API, Hook: hookURL(c, ch), Client: p.client,
		})
	case contact.Email:
		out.Channel, err = email.New(email.Config{
			From: ch.Number, Practice: c.Rules.Name, Server: ch.API, Username: ch.Account, Password: ch.AuthToken.Reveal(),
			Secret: ch.SigningSecret.Reveal(), Hook: hookURL(c, ch), Zone: c.Rules.Zone, Now: p.now,
			Picture: courses{p.store, c.Rules}.picture,
		})
	default:
		err = fmt.Errorf("there is no channel of the kind %q", ch.Kind)
	}
	return out, err
}

func telegramOf(ch clinic.ChannelSettings, client *http.Client) (*telegram.Channel, error) {
	return telegram.New(telegram.Config{
		Bot: ch.Account, Token: ch.AuthToken.Reveal(), Secret: ch.SigningSecret.Reveal(), API: ch.API, Client: client,
	})
}

// hookURL is where a channel's provider posts to, and what it signs.
func hookURL(c *clinic.Clinic, ch clinic.ChannelSettings) string {
	return c.PublicURL + "/hook/" + c.Rules.Clinic + "/" + ch.Name
}

// kindsOf lists the kinds of channel in use, in order.
func kindsOf(clinics []*clinic.Clinic) []contact.Channel {
	var kinds []contact.Channel
	for _, c := range clinics {
		for _, ch := range c.Channels {
			if !slices.Contains(kinds, ch.Kind) {
				kinds = append(kinds, ch.Kind)
			}
		}
	}
	slices.SortFunc(kinds, cmp.Compare[contact.Channel])
	return kinds
}

// settingsMark tells one state of a clinic's settings from another. It stands in
// every entry of the log, so it is kept short.
func settingsMark(c *clinic.Clinic) string {
	sum := sha256.New()
	for _, s := range clinic.Explain(c) {
		_, _ = io.WriteString(sum, s.Key+"\x00"+s.Value+"\x00")
	}
	return hex.EncodeToString(sum.Sum(nil)[:4])
}
