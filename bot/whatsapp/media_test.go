package whatsapp

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	fake "gaitpost/internal/fake/whatsapp"
)

func TestFilesHaveAReference(t *testing.T) {
	b := setup(t, nil)
	for _, c := range []struct{ kind, id, want string }{
		{"image", "1479537139650973", "1479537139650973"}, {"video", "10001", "10001"}, {"audio", "10001", "10001"},
		{"document", "10001", "10001"},
		{"image", "", ""}, {"image", "../10001", ""}, {"image", "10001/messages", ""}, {"image", "me", ""},
		{"image", "https://elsewhere.example/10001", ""}, {"image", strings.Repeat("1", 26), ""},
	} {
		told, err := b.Receive(b.signed(b.provider.Other("wamid.1", ruth, c.kind, map[string]any{"mime_type": "image/jpeg", "id": c.id, "caption": "his paw"})))
		require.NoError(t, err)
		require.Equal(t, []string{"image/jpeg"}, told[0].Message.Media)
		require.Equal(t, "his paw", told[0].Message.Text)
		if c.want == "" {
			require.Nil(t, told[0].Message.Refs, c)
			continue
		}
		require.Equal(t, []string{c.want}, told[0].Message.Refs, c)
	}
}

func TestAFileIsFetchedFromTheProvider(t *testing.T) {
	b := setup(t, nil)
	b.provider.Keep("10001", fake.File{Type: "image/jpeg; q=1", Data: []byte("an invented picture")})
	kind, body, err := b.FetchMedia(context.Background(), "10001")
	require.NoError(t, err)
	defer body.Close()
	data, err := io.ReadAll(body)
	require.NoError(t, err)
	require.Equal(t, "image/jpeg an invented picture", kind+" "+string(data))

	_, _, err = b.FetchMedia(context.Background(), "10002")
	require.ErrorIs(t, err, bot.ErrMediaGone)
	for _, ref := range []string{"", "10001/../1", "10001?x", strings.Repeat("1", 26)} {
		_, _, err := b.FetchMedia(context.Background(), ref)
		require.ErrorIs(t, err, bot.ErrMediaRef, ref)
	}
}

// The provider's answer can't send our token anywhere else.
func TestAFileElsewhereIsNotFetched(t *testing.T) {
	asked := false
	elsewhere := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { asked = true }))
	defer elsewhere.Close()
	b := setup(t, nil)
	b.provider.Keep("10001", fake.File{Type: "image/jpeg", URL: elsewhere.URL + "/files/10001"})
	_, _, err := b.FetchMedia(context.Background(), "10001")
	require.ErrorIs(t, err, bot.ErrMediaMoved)
	require.False(t, asked)
}

func TestWhichHostsAreTheProviders(t *testing.T) {
	c, err := New(Config{PhoneID: phoneID, Number: "+441632960000", Token: "t", AppSecret: "s", VerifyToken: "v", Now: setup(t, nil).cfg.Now})
	require.NoError(t, err)
	for address, want := range map[string]bool{
		"https://lookaside.fbsbx.com/whatsapp_business/attachments/?mid=1": true,
		"https://graph.facebook.com/x":                                     true,
		"http://lookaside.fbsbx.com/x":                                     false,
		"http://graph.facebook.com/x":                                      false,
		"https://fbsbx.com.elsewhere.example/x":                            false,
		"https://notfbsbx.com/x":                                           false,
		"https://lookaside.fbsbx.com@elsewhere.example/x":                  false,
		"https://a:b@lookaside.fbsbx.com/x":                                false,
		"https://lookaside.fbsbx.com:8443/x":                               false,
		"https://127.0.0.1/x":                                              false,
		"//lookaside.fbsbx.com/x":                                          false,
		"":                                                                 false,
		"%zz":                                                              false,
	} {
		require.Equal(t, want, c.ownHost(address), address)
	}
}
