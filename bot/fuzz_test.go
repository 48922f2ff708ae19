package bot_test

import (
	"crypto/hmac"
	"crypto/sha1"
	"encoding/base64"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// FuzzWebhook posts anything to the hooks, signed or not. Nothing makes the
// server fail, nothing unsigned happens, and nothing that came in goes out.
func FuzzWebhook(f *testing.F) {
	for _, form := range []url.Values{
		messageForm(ruth, sid, "2 1 0 1 0 0 1"), messageForm(ruth, sid, ""), messageForm(lee, sid, "list"),
		messageForm(ruth, sid, strings.Repeat("é", 1700)), statusForm(ruth, sid, "delivered"), {},
	} {
		f.Add(form.Encode(), "", "", true, false)
		f.Add(form.Encode(), "m=0f-1a-0", "", true, true)
		f.Add(form.Encode(), "m=~line-harbour-lee-1-0", "signed", false, true)
	}
	f.Add("Body=%zz", "", "", true, false)
	f.Add("a=1;b=2&&=&c", "bodySHA256=00", "RSOYDt4T1cUTdK1PDd93/VVr8B8=", false, false)
	f.Add("{}", "bodySHA256=44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a", "", true, false)
	f.Fuzz(func(t *testing.T, body, query, signature string, sign, status bool) {
		h := newHouse(t)
		below := ""
		if status {
			below = "/status"
		}
		r := httptest.NewRequest("POST", "/hook/harbour/texts"+below, strings.NewReader(body))
		r.URL.RawQuery = query
		r.Header.Set("X-Twilio-Signature", signature)
		if sign {
			address := hookURL + below
			if query != "" {
				address += "?" + query
			}
			r.Header.Set("X-Twilio-Signature", signLoosely(address, body))
		}
		w := h.ask(r)
		require.Contains(t, []int{200, 400, 403, 413}, w.Code)
		if w.Code != 200 {
			require.Empty(t, w.Body.String())
			require.Empty(t, h.turns.events())
		} else {
			require.True(t, sign, "unsigned, and taken")
			require.Equal(t, `<?xml version="1.0" encoding="UTF-8"?><Response/>`, w.Body.String())
		}
	})
}

// signLoosely signs a body that net/url may refuse.
func signLoosely(address, body string) string {
	type field struct{ name, value string }
	var fields []field
	for pair := range strings.SplitSeq(body, "&") {
		name, value, _ := strings.Cut(pair, "=")
		n, err1 := url.QueryUnescape(name)
		v, err2 := url.QueryUnescape(value)
		if pair != "" && err1 == nil && err2 == nil {
			fields = append(fields, field{n, v})
		}
	}
	slices.SortFunc(fields, func(a, b field) int {
		if a.name != b.name {
			return strings.Compare(a.name, b.name)
		}
		return strings.Compare(a.value, b.value)
	})
	mac := hmac.New(sha1.New, []byte(token))
	mac.Write([]byte(address))
	for _, f := range slices.Compact(fields) {
		mac.Write([]byte(f.name + f.value))
	}
	return base64.StdEncoding.EncodeToString(mac.Sum(nil))
}
