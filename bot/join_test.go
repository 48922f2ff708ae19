package bot_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/bot/telegram"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// An owner opens the link that was texted: what they write in the bot's chat
// belongs to their household from then on. A guessed link begins a stranger.
func TestAnOwnerJoinsByLink(t *testing.T) {
	s := newStreet(t, standIn(t), nil)
	ch, err := telegram.New(telegram.Config{Bot: "harbour_bot", Token: "1000:an-invented-bot-token", Secret: "an-invented-secret-token"})
	require.NoError(t, err)
	old := s.server.Directory
	require.NoError(t, old.Replace(bot.Clinic{Rules: s.rules, Outlets: []bot.Outlet{
		{Name: "chat", Channel: ch, Number: contact.Address{Channel: contact.Telegram, Value: "harbour_bot"}, Rate: store.Rate{PerSecond: 1, Burst: 1}},
	}}))
	post := func(chat, text string) {
		body := `{"update_id":` + chat + `1,"message":{"message_id":1,"chat":{"id":` + chat + `,"type":"private"},"text":"` + text + `"}}`
		r := httptest.NewRequest(http.MethodPost, "/hook/harbour/chat", strings.NewReader(body))
		r.Header.Set("X-Telegram-Bot-Api-Secret-Token", "an-invented-secret-token")
		w := httptest.NewRecorder()
		s.server.ServeHTTP(w, r)
		require.Equal(t, http.StatusNoContent, w.Code)
	}
	do := func(key string, p care.Practice) {
		_, err := s.store.Do(t.Context(), s.rules, s.store.ID("harbour", ruth), care.Event{Key: key, At: noon, Practice: &p})
		require.NoError(t, err)
	}
	do("enrol", care.Practice{By: "lee", Enrol: &care.Enrolment{Owner: care.Owner{Name: "Ruth", Address: ruth, Via: "texts"}, Dogs: []care.EnrolledDog{{Name: "Bramble"}}}})
	do("agreed", care.Practice{By: "lee", Consent: &care.RecordConsent{State: care.Agreed, How: "on paper"}})
	code := care.NewJoinCode(s.store.ID("harbour", ruth), []byte("0123456789"))
	do("join", care.Practice{By: "lee", Join: &care.Join{Code: code, Via: "chat", Link: ch.JoinLink(code)}})

	guess := care.NewJoinCode(s.store.ID("harbour", ruth), []byte("aaaaaaaaaa"))
	post("801", "/start "+guess)
	nobody := care.NewJoinCode("00112233445566778899aabbccddeeff", []byte("0123456789"))
	post("802", "/start "+nobody)
	for _, id := range []string{"801", "802"} {
		require.True(t, s.household(t, contact.Address{Channel: contact.Telegram, Value: id}).Stranger, id)
	}
	post("803", "/start "+code)
	joined := s.household(t, contact.Address{Channel: contact.Telegram, Value: "803"})
	require.Equal(t, s.store.ID("harbour", ruth), joined.ID)
	require.Len(t, joined.Contacts, 2)
	require.NotNil(t, joined.Contacts[1].Talk.Open, "the check-in goes on there")
}
