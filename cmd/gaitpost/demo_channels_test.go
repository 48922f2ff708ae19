package main

import (
	"fmt"
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// A visitor moves a telephone to every channel in turn and answers there, by
// tapping where something can be tapped; all of it is one household's record.
func TestDemoPhonePlaysEveryChannel(t *testing.T) {
	t.Parallel()
	w := demoAfter(t, 1)
	ask := demoAsk(t, w)
	number := demoAsked(t, w)
	phone := w.phones[number]
	choose := func(kind contact.Channel) string {
		status, html := ask(http.MethodPost, "/channel", url.Values{"owner": {number}, "from": {number}, "channel": {string(kind)}})
		require.Equal(t, http.StatusOK, status)
		return html
	}
	newest := func() (demoText, []demoTap) {
		i := len(phone.texts) - 1
		return phone.texts[i], phone.taps(i)
	}
	tap := func(choice int) string {
		m, taps := newest()
		require.Less(t, choice, len(taps), m.Text)
		_, html := ask(http.MethodPost, "/tap", url.Values{"owner": {number}, "from": {number},
			"text": {fmt.Sprint(m.order)}, "choice": {fmt.Sprint(choice)}})
		return html
	}

	require.Contains(t, choose(contact.WhatsApp), "has added WhatsApp")
	m, _ := newest()
	require.Equal(t, contact.WhatsApp, m.By, "the first line there goes as the template")
	_, html := ask(http.MethodPost, "/write", url.Values{"owner": {number}, "from": {number}, "text": {"1"}})
	require.Contains(t, html, `class="list"`, "the next question has its answers as a list")
	m, taps := newest()
	require.Equal(t, contact.WhatsApp, m.By)
	require.GreaterOrEqual(t, len(taps), 5)
	html = tap(2)
	require.NotContains(t, html, "did not work")
	answered, _ := newest()
	require.NotEqual(t, m.Text, answered.Text, "the tap was taken as the answer")

	choose(contact.Relay)
	_, html = ask(http.MethodPost, "/write", url.Values{"owner": {number}, "from": {number}, "text": {"1"}})
	require.NotContains(t, html, "did not work")
	m, taps = newest()
	require.Equal(t, contact.Relay, m.By)
	require.NotEmpty(t, taps)
	tap(0)

	require.Contains(t, choose(contact.Telegram), "Tap it to join on Telegram")
	m, taps = newest()
	require.Equal(t, contact.Relay, m.By, "the link goes where the owner is written to")
	require.Equal(t, "link", taps[0].Kind)
	html = tap(0)
	require.Contains(t, html, `class="key"`)
	m, _ = newest()
	require.Equal(t, contact.Telegram, m.By)
	tap(1)
	require.Contains(t, choose(contact.Telegram), "goes by Telegram now", "known there by now")
	require.Contains(t, choose(contact.SMS), "by text message")
	ask(http.MethodPost, "/write", url.Values{"owner": {number}, "from": {number}, "text": {"1"}})
	m, _ = newest()
	require.Equal(t, contact.SMS, m.By)

	h, err := w.householdOf(phone)
	require.NoError(t, err)
	kinds := map[contact.Channel]care.ConsentState{}
	for _, c := range h.Contacts {
		kinds[c.Address.Channel] = c.Consent.State
	}
	require.Equal(t, map[contact.Channel]care.ConsentState{contact.SMS: care.Agreed, contact.WhatsApp: care.Agreed,
		contact.Relay: care.Agreed, contact.Telegram: care.Agreed}, kinds)
	require.NoError(t, w.runUntil(w.now().AddDate(0, 0, 1)), "reports come, reminders go")
	require.Empty(t, w.provider.Problems())
}

func TestDemoPhoneThatNobodyEnrolledChoosesAChannel(t *testing.T) {
	t.Parallel()
	w := demoAfter(t, 0)
	ask := demoAsk(t, w)
	const mine = "+447700900999"
	for kind, name := range demoKindNames {
		_, html := ask(http.MethodPost, "/channel", url.Values{"owner": {mine}, "from": {mine}, "channel": {string(kind)}})
		require.Contains(t, html, name)
		ask(http.MethodPost, "/write", url.Values{"owner": {mine}, "from": {mine}, "text": {"my dog has collapsed"}})
		last := w.phones[mine].texts[len(w.phones[mine].texts)-1]
		require.False(t, last.Mine, "an emergency is answered on %s", name)
		require.Equal(t, kind, last.By)
	}
	for _, bad := range []url.Values{
		{"from": {mine}, "channel": {"pigeon"}}, {"from": {"+447700900998"}, "channel": {"sms"}},
		{"from": {w.rules.Practitioners[0].Contacts[0].Value}, "channel": {"whatsapp"}},
	} {
		_, html := ask(http.MethodPost, "/channel", bad)
		require.Contains(t, html, "There is no such")
	}
	_, html := ask(http.MethodPost, "/tap", url.Values{"from": {mine}, "text": {"1"}, "choice": {"7"}})
	require.Contains(t, html, "can&#39;t be tapped any more")
}

// Who has not agreed is given no further address.
func TestDemoAddsNoAddressWithoutConsent(t *testing.T) {
	t.Parallel()
	w := demoAfter(t, 0)
	ask := demoAsk(t, w)
	var invited *demoPhone
	for range 300 {
		for _, p := range w.phones {
			h, err := w.householdOf(p)
			require.NoError(t, err)
			if h != nil && h.Contacts[0].Consent.State == care.Invited {
				invited = p
			}
		}
		if invited != nil {
			break
		}
		require.NoError(t, w.step(w.next()))
	}
	require.NotNil(t, invited, "nobody has yet to answer the invitation")
	_, html := ask(http.MethodPost, "/channel", url.Values{"from": {invited.number}, "channel": {"whatsapp"}})
	require.Contains(t, html, "has not agreed to texts")
	h, err := w.householdOf(invited)
	require.NoError(t, err)
	require.Len(t, h.Contacts, 1)
}
