package sms

import (
	"encoding/json"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/internal/fake/smsprovider"
)

// vector is one published case of a signature.
type vector struct {
	Name, URL, Signature string
	Params               [][2]string
	Body                 string
	Valid                bool
	Source               []string
}

func published(t *testing.T) (token string, vectors []vector) {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/published/webhook-signatures.json")
	require.NoError(t, err)
	var file struct {
		Token   string
		Vectors []vector
	}
	require.NoError(t, json.Unmarshal(raw, &file))
	require.Len(t, file.Vectors, 14)
	return file.Token, file.Vectors
}

// channelAt is a channel whose message hook is at an address without its query.
func channelAt(t *testing.T, token, address string) *Channel {
	t.Helper()
	v, err := variantsOf(address)
	require.NoError(t, err)
	return &Channel{Signed: &Signed{macs: newMacs(token), signed: [2]variants{v, v}}}
}

func (v *vector) request() bot.Request {
	_, query, _ := strings.Cut(v.URL, "?")
	body := v.Body
	if body == "" {
		pairs := make([]string, len(v.Params))
		for i, p := range v.Params {
			pairs[i] = url.QueryEscape(p[0]) + "=" + url.QueryEscape(p[1])
		}
		body = strings.Join(pairs, "&")
	}
	return bot.Request{Header: http.Header{"X-Twilio-Signature": {v.Signature}}, RawQuery: query, Body: []byte(body)}
}

// Source of every case: testdata/published/webhook-signatures.json, where each
// names the official library whose tests it is from.
func TestPublishedSignatures(t *testing.T) {
	token, vectors := published(t)
	for _, v := range vectors {
		t.Run(v.Name, func(t *testing.T) {
			address, _, _ := strings.Cut(v.URL, "?")
			r := v.request()
			var f form
			if v.Body == "" {
				var err error
				f, err = parseForm(string(r.Body))
				require.NoError(t, err)
			}
			err := channelAt(t, token, address).verify(r, f)
			if !v.Valid {
				require.ErrorIs(t, err, bot.ErrBadSignature, v.Source)
				return
			}
			require.NoError(t, err, v.Source)
			require.ErrorIs(t, channelAt(t, token+"6", address).verify(r, f), bot.ErrBadSignature, "another token")
			if v.Body != "" {
				r.Body = append(r.Body, ' ')
			} else {
				f.sorted = append(f.sorted, field{"Z", ""})
			}
			require.ErrorIs(t, channelAt(t, token, address).verify(r, f), bot.ErrBadSignature, "a field or byte more")
		})
	}
}

// The stand-in signs by its own code: both must agree on what no vector has.
func TestBothImplementationsAgree(t *testing.T) {
	const address = "https://texts.example/hook/harbour/texts"
	for name, form := range map[string]url.Values{
		"no fields":       {},
		"empty value":     {"FromCity": {""}, "Body": {""}},
		"spaces are kept": {"Body": {"  2 \n"}},
		"emoji":           {"Body": {"3️⃣ 🐶"}},
		"three values":    {"A": {"c", "a", "b", "a"}, "AB": {"x"}, "": {"y"}},
		"odd bytes":       {"Body": {"\x00\xff&=+%"}},
	} {
		t.Run(name, func(t *testing.T) {
			f, err := parseForm(form.Encode())
			require.NoError(t, err)
			h := http.Header{"X-Twilio-Signature": {smsprovider.Sign("token", address+"?m=1", form)}}
			c := channelAt(t, "token", address)
			require.NoError(t, c.verify(bot.Request{Header: h, RawQuery: "m=1", Body: []byte(form.Encode())}, f))
			require.ErrorIs(t, c.verify(bot.Request{Header: h, RawQuery: "m=2"}, f), bot.ErrBadSignature)
			require.ErrorIs(t, c.verify(bot.Request{Header: h}, f), bot.ErrBadSignature)
		})
	}
}

func TestASignatureInDoubtIsRefused(t *testing.T) {
	const address = "https://texts.example/hook/harbour/texts"
	good := smsprovider.Sign("token", address, nil)
	for name, c := range map[string]struct {
		header http.Header
		want   error
	}{
		"none":              {http.Header{}, bot.ErrNoSignature},
		"empty":             {http.Header{signatureHeader: {""}}, bot.ErrNoSignature},
		"not base64":        {http.Header{signatureHeader: {"!!!!!!!!!!!!!!!!!!!!!!!!!!!!"}}, bot.ErrBadSignature},
		"too long":          {http.Header{signatureHeader: {good + good}}, bot.ErrBadSignature},
		"two":               {http.Header{signatureHeader: {good, good}}, bot.ErrBadSignature},
		"line end inside":   {http.Header{signatureHeader: {good[:26] + "\n="}}, bot.ErrBadSignature},
		"other algorithm":   {http.Header{signatureHeader: {good}, settingsHeader: {"key=KEY1,algorithm=HMAC_SHA256"}}, bot.ErrAlgorithm},
		"unknown algorithm": {http.Header{signatureHeader: {good}, settingsHeader: {"algorithm=NONE"}}, bot.ErrAlgorithm},
		"empty settings":    {http.Header{signatureHeader: {good}, settingsHeader: {""}}, bot.ErrAlgorithm},
		"good":              {http.Header{signatureHeader: {good}}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			require.ErrorIs(t, channelAt(t, "token", address).verify(bot.Request{Header: c.header}, form{}), c.want)
		})
	}
}

// net/http keys headers by the canonical form of their names.
func TestHeaderNamesAreCanonical(t *testing.T) {
	require.Equal(t, http.CanonicalHeaderKey(signatureHeader), signatureHeader)
	require.Equal(t, http.CanonicalHeaderKey(settingsHeader), settingsHeader)
}

func BenchmarkReceive(b *testing.B) {
	c, err := New(testConfig(""))
	require.NoError(b, err)
	form := inboundForm("2 1 0 1 0 0 1")
	r := bot.Request{
		Header: http.Header{signatureHeader: {smsprovider.Sign(testToken, hookURL, form)}},
		Body:   []byte(form.Encode()),
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := c.Receive(r); err != nil {
			b.Fatal(err)
		}
	}
}
