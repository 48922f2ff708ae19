package bot_test

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
)

func TestReferencesAreShortAndPlain(t *testing.T) {
	for in, want := range map[string]string{"abc-_/1": "abc-_/1", "": "", "a b": "", "a\nb": "", "é": "", "\x00": "",
		strings.Repeat("x", 200): strings.Repeat("x", 200), strings.Repeat("x", 201): ""} {
		require.Equal(t, []string{want, "kept"}, bot.MediaRefs([]string{in, "kept"}), in)
	}
	require.Nil(t, bot.MediaRefs([]string{"", " "}))
	require.Nil(t, bot.MediaRefs(nil))
}

func TestFilesThatAreTooLarge(t *testing.T) {
	for name, c := range map[string]struct {
		bytes  int
		says   bool // the length, in the header
		atOnce bool
	}{
		"the largest":       {bot.MaxMedia, true, false},
		"said to be larger": {bot.MaxMedia + 1, true, true},
		"larger unsaid":     {bot.MaxMedia + 1, false, false},
	} {
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			if c.says {
				w.Header().Set("Content-Length", strconv.Itoa(c.bytes))
			}
			_, _ = w.Write(bytes.Repeat([]byte{'x'}, c.bytes))
		}))
		req, err := http.NewRequest(http.MethodGet, server.URL, nil)
		require.NoError(t, err)
		_, body, err := bot.GetMedia(bot.NewClient(), req)
		if c.atOnce {
			require.ErrorIs(t, err, bot.ErrMediaTooLarge, name)
			server.Close()
			continue
		}
		require.NoError(t, err, name)
		n, err := io.Copy(io.Discard, body)
		if c.bytes > bot.MaxMedia {
			require.ErrorIs(t, err, bot.ErrMediaTooLarge, name)
		} else {
			require.NoError(t, err, name)
			require.EqualValues(t, c.bytes, n)
		}
		_ = body.Close()
		server.Close()
	}
}

func TestWhatAProviderSaysOfAFile(t *testing.T) {
	for status, want := range map[int]error{404: bot.ErrMediaGone, 410: bot.ErrMediaGone, 302: bot.ErrMediaMoved, 307: bot.ErrMediaMoved, 401: nil, 503: nil, 204: nil} {
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(status) }))
		req, err := http.NewRequest(http.MethodGet, server.URL+"/secret", nil)
		require.NoError(t, err)
		_, _, err = bot.GetMedia(http.DefaultClient, req)
		require.Error(t, err, status)
		if want != nil {
			require.ErrorIs(t, err, want, status)
		}
		server.Close()
		_, _, err = bot.GetMedia(http.DefaultClient, req) // away
		require.ErrorContains(t, err, "asking the provider for a file")
		require.NotContains(t, err.Error(), "secret")
	}
}

func TestChannelsThatKeepNoFiles(t *testing.T) {
	d := directory(t, newChannel(t))
	_, _, err := d.FetchMedia(context.Background(), "harbour", "gone", "x")
	require.ErrorIs(t, err, bot.ErrMediaNowhere)
	_, _, err = d.FetchMedia(context.Background(), "nowhere", "texts", "x")
	require.ErrorIs(t, err, bot.ErrMediaNowhere)
	_, _, err = d.FetchMedia(context.Background(), "harbour", "texts", "x")
	require.ErrorIs(t, err, bot.ErrMediaRef, "its own channel is asked")
}
