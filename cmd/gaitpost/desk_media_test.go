package main

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/bot/whatsapp"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/desk"
	fake "gaitpost/internal/fake/whatsapp"
	"gaitpost/internal/store"
)

// An invented practice; the number is from Ofcom's range for drama.
func TestTheDeskFetchesByTheChannelOfTheMessage(t *testing.T) {
	now := func() time.Time { return time.Unix(1_800_000_000, 0) }
	p, err := fake.New(fake.Options{PhoneID: "100000000000000", Display: "441632960000", Token: "token", AppSecret: "secret", Now: now})
	require.NoError(t, err)
	p.Keep("10001", fake.File{Type: "image/jpeg", Data: []byte("an invented picture")})
	p.Keep("10002", fake.File{Type: "image/jpeg", Data: make([]byte, bot.MaxMedia+1)})
	long := ""
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if long != "" && r.URL.Path == "/files/10001" {
			w.Header().Set("Content-Length", long)
			return
		}
		p.ServeHTTP(w, r)
	}))
	defer server.Close()
	c, err := whatsapp.New(whatsapp.Config{PhoneID: "100000000000000", Number: "+441632960000", Token: "token", AppSecret: "secret",
		VerifyToken: "verify", API: server.URL, Now: now})
	require.NoError(t, err)
	d, err := bot.NewDirectory(bot.Clinic{Rules: &care.Rules{Clinic: "harbour"}, Outlets: []bot.Outlet{{Name: "chat", Channel: c,
		Number: contact.Address{Channel: contact.WhatsApp, Value: "+441632960000"}, Rate: store.Rate{PerSecond: 1, Burst: 1}}}})
	require.NoError(t, err)
	fetch := mediaOf(d)
	kind, body, err := fetch(context.Background(), "harbour", "chat", "10001")
	require.NoError(t, err)
	data, err := io.ReadAll(body)
	require.NoError(t, err)
	require.Equal(t, "image/jpeg an invented picture", kind+" "+string(data))
	require.NoError(t, body.Close())

	_, _, err = fetch(context.Background(), "harbour", "chat", "10003")
	require.ErrorIs(t, err, desk.ErrMediaGone)
	_, body, err = fetch(context.Background(), "harbour", "chat", "10002")
	require.NoError(t, err, "its length is not said")
	_, err = io.Copy(io.Discard, body)
	require.ErrorIs(t, err, desk.ErrMediaTooLarge)
	long = strconv.Itoa(bot.MaxMedia + 1)
	_, _, err = fetch(context.Background(), "harbour", "chat", "10001")
	require.ErrorIs(t, err, desk.ErrMediaTooLarge)
	_, _, err = fetch(context.Background(), "valley", "chat", "10001")
	require.ErrorIs(t, err, bot.ErrMediaNowhere)
	require.Nil(t, mediaOf(nil))
}
