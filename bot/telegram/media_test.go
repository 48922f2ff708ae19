package telegram

import (
	"context"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	fake "gaitpost/internal/fake/telegram"
)

func TestFilesHaveAReference(t *testing.T) {
	b := setup(t)
	size := func(id string, w, h int) map[string]any {
		return map[string]any{"file_id": id, "file_unique_id": "u", "width": w, "height": h}
	}
	for _, c := range []struct {
		name, field string
		data        any
		want        []string
	}{
		{"the largest size of a photo", "photo", []any{size("small", 90, 67), size("large", 1280, 960), size("middle", 320, 240)}, []string{"large"}},
		{"a video", "video", map[string]any{"file_id": "BAAC-_1", "mime_type": "video/mp4"}, []string{"BAAC-_1"}},
		{"a round video", "video_note", map[string]any{"file_id": "DQ1"}, []string{"DQ1"}},
		{"a voice", "voice", map[string]any{"file_id": "AwAC", "mime_type": "audio/ogg"}, []string{"AwAC"}},
		{"a document", "document", map[string]any{"file_id": "BQAC"}, []string{"BQAC"}},
		{"a path", "document", map[string]any{"file_id": "../x"}, nil},
		{"an address", "document", map[string]any{"file_id": "https://elsewhere.example/x"}, nil},
		{"too long", "document", map[string]any{"file_id": strings.Repeat("x", 201)}, nil},
		{"none", "document", map[string]any{}, nil},
		{"words", "text", "2 1 0", nil},
	} {
		m := b.provider.Message(7, ruth)
		m[c.field] = c.data
		told, err := b.Receive(signed(b.provider.Update(7, "message", m)))
		require.NoError(t, err, c.name)
		require.Equal(t, c.want, told[0].Message.Refs, c.name)
	}
}

func TestAFileIsFetchedFromTheProvider(t *testing.T) {
	b := setup(t)
	b.provider.Keep("large", fake.File{Path: "photos/file_1.jpg", Data: []byte("an invented picture")})
	_, body, err := b.FetchMedia(context.Background(), "large")
	require.NoError(t, err)
	defer body.Close()
	data, err := io.ReadAll(body)
	require.NoError(t, err)
	require.Equal(t, "an invented picture", string(data))
	for _, ref := range []string{"", "../x", "a/b", strings.Repeat("x", 201)} {
		_, _, err := b.FetchMedia(context.Background(), ref)
		require.ErrorIs(t, err, bot.ErrMediaRef, ref)
	}
}

// What the provider says is a path below its files, and nothing else.
func TestFilesThatAreNotFetched(t *testing.T) {
	b := setup(t)
	for _, path := range []string{"", "/etc/passwd", "../bot" + token + "/getMe", "photos/../../x", "photos/%2e%2e/x", "x?y", "https://elsewhere.example/x"} {
		b.provider.Keep("odd", fake.File{Path: path, Data: []byte("x")})
		_, _, err := b.FetchMedia(context.Background(), "odd")
		require.ErrorContains(t, err, "does not say where", path)
	}
	b.provider.Keep("huge", fake.File{Path: "videos/1.mp4", Size: bot.MaxMedia + 1})
	_, _, err := b.FetchMedia(context.Background(), "huge")
	require.ErrorIs(t, err, bot.ErrMediaTooLarge)
	_, _, err = b.FetchMedia(context.Background(), "unknown")
	require.Error(t, err)
	require.NotContains(t, err.Error(), token)
}
