package sms

import (
	"bytes"
	"context"
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/bot/channeltest"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
)

func TestTheSuiteOfEveryChannel(t *testing.T) {
	statuses := map[care.Fate]string{care.SentOut: "sent", care.Delivered: "delivered", care.Read: "read", care.Failed: "failed"}
	faults := map[channeltest.Trouble]smsprovider.FaultKind{
		channeltest.Outage: smsprovider.Answer503, channeltest.Throttle: smsprovider.Answer429, channeltest.Lost: smsprovider.AcceptAndCut,
	}
	channeltest.Run(t, func(t *testing.T) channeltest.Rig {
		b := setup(t, nil)
		b.now = channeltest.Noon
		return channeltest.Rig{
			Channel: b, Peer: contact.Address{Channel: contact.SMS, Value: ruth}, Longest: 1600,
			Wrote: func(id, text string) bot.Request {
				return request(bot.MessageHook, "", with(inboundForm(text), "MessageSid", id))
			},
			Became: func(ref string, f care.Fate) bot.Request {
				return request(bot.StatusHook, "m="+ref, with(statusForm(statuses[f]), "MessageSid", sid))
			},
			Foreign: func(id, text string) bot.Request {
				return request(bot.MessageHook, "", with(inboundForm(text), "AccountSid", "AC00000000000000000000000000000099"))
			},
			Forgeries: map[string]func(bot.Request) bot.Request{
				"unsigned": func(r bot.Request) bot.Request { r.Header.Del(signatureHeader); return r },
				"body": func(r bot.Request) bot.Request {
					r.Body = bytes.Replace(r.Body, []byte("He"), []byte("It"), 1)
					return r
				},
				"query":    func(r bot.Request) bot.Request { r.RawQuery = "m=1"; return r },
				"hook":     func(r bot.Request) bot.Request { r.Hook = bot.StatusHook; return r },
				"settings": func(r bot.Request) bot.Request { r.Header[settingsHeader] = []string{"algorithm=none"}; return r },
			},
			Taken: func() []string {
				var texts []string
				for _, m := range b.provider.Sent() {
					texts = append(texts, m.Body)
				}
				return texts
			},
			Next: func(tr channeltest.Trouble) { b.provider.Inject(smsprovider.Fault{Kind: faults[tr], Times: 1}) },
			OptOut: func() {
				_, err := b.provider.From(context.Background(), smsprovider.Text{From: ruth, To: ourNumber, Body: "STOP"})
				require.NoError(t, err)
			},
		}
	})
}

// request signs a form as the provider does.
func request(h bot.Hook, query string, form url.Values) bot.Request {
	address := hookURL
	if h == bot.StatusHook {
		address += "/status"
	}
	if query != "" {
		address += "?" + query
	}
	return bot.Request{
		Hook: h, RawQuery: query, Body: []byte(form.Encode()),
		Header: http.Header{signatureHeader: {smsprovider.Sign(testToken, address, form)}},
	}
}
