package sms

import (
	"crypto/hmac"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"hash"
	"net/url"
	"slices"
	"strings"
	"sync"

	"gaitpost/bot"
)

// The headers of a signed request, in the form net/http keys them by.
const (
	signatureHeader = "X-Twilio-Signature"
	// settingsHeader announces another algorithm and key than the default.
	settingsHeader = "X-Twilio-Webhooks-Signature-Settings"
)

// variants are the forms of one address that a provider may have signed: it is
// inconsistent about the port, so that all official libraries accept both.
type variants []string

func variantsOf(address string) (variants, error) {
	u, err := url.Parse(address)
	if err != nil {
		return nil, fmt.Errorf("the public address: %w", err)
	}
	standard := "443"
	if u.Scheme == "http" {
		standard = "80"
	}
	port := u.Port()
	if port == "" {
		port = standard
	}
	name := strings.TrimSuffix(u.Host, ":"+u.Port())
	return variants{u.Scheme + "://" + name + u.EscapedPath(), u.Scheme + "://" + name + ":" + port + u.EscapedPath()}.first(u.Port() != ""), nil
}

// first puts the likelier form in front: the one that was configured.
func (v variants) first(withPort bool) variants {
	if withPort {
		v[0], v[1] = v[1], v[0]
	}
	return v
}

// macs are HMAC-SHA1 states with the key in place, used again and again.
type macs struct{ pool sync.Pool }

// mac is one of them with room to write the signed text in.
type mac struct {
	hash hash.Hash
	text []byte
	sum  [sha1.Size]byte
}

func newMacs(token string) *macs {
	key := []byte(token)
	return &macs{sync.Pool{New: func() any {
		return &mac{hash: hmac.New(sha1.New, key), text: make([]byte, 0, 1024)}
	}}}
}

// Signed checks requests that a provider of this interface signs. Calls are
// signed as texts are.
type Signed struct {
	macs   *macs
	signed [2]variants
}

// NewSigned checks requests to a hook's two addresses.
func NewSigned(token, hook string) (*Signed, error) {
	s := &Signed{macs: newMacs(token)}
	for kind, address := range map[bot.Hook]string{bot.MessageHook: hook, bot.StatusHook: hook + "/status"} {
		v, err := variantsOf(address)
		if err != nil {
			return nil, err
		}
		s.signed[kind] = v
	}
	return s, nil
}

// Verify checks a request with a form body and returns the form's fields. Errors
// are those of bot.Channel's Receive.
func (c *Signed) Verify(r bot.Request) (url.Values, error) {
	f, err := parseForm(string(r.Body))
	if err != nil {
		return nil, err
	}
	if err := c.verify(r, f); err != nil {
		return nil, err
	}
	values := make(url.Values, len(f.sorted))
	for _, p := range f.sorted {
		values.Add(p.name, p.value)
	}
	return values, nil
}

// verify checks a request against the address it came to. f holds the fields of
// a form body; a body that is none is checked by the hash of it in the query.
func (c *Signed) verify(r bot.Request, f form) error {
	if _, ok := r.Header[settingsHeader]; ok {
		return bot.ErrAlgorithm
	}
	given := r.Header[signatureHeader]
	if len(given) == 0 || given[0] == "" {
		return bot.ErrNoSignature
	}
	var want [sha1.Size]byte
	if len(given) > 1 || !decode(&want, given[0]) {
		return bot.ErrBadSignature
	}
	if h, ok := queryValue(r.RawQuery, "bodySHA256"); ok {
		sum := sha256.Sum256(r.Body)
		if subtle.ConstantTimeCompare([]byte(hex.EncodeToString(sum[:])), []byte(h)) != 1 {
			return bot.ErrBadSignature
		}
		f = form{}
	}
	if !c.macs.match(c.signed[r.Hook], r.RawQuery, f, &want) {
		return bot.ErrBadSignature
	}
	return nil
}

func decode(into *[sha1.Size]byte, text string) bool {
	if len(text) != base64.StdEncoding.EncodedLen(sha1.Size) {
		return false
	}
	var buf [21]byte // what 28 characters can hold at most
	n, err := base64.StdEncoding.Strict().Decode(buf[:], []byte(text))
	copy(into[:], buf[:])
	return err == nil && n == sha1.Size
}

// match says whether a signature is that of one of the forms of an address
// with a query and fields. Each comparison takes the same time.
func (m *macs) match(addresses variants, query string, f form, want *[sha1.Size]byte) bool {
	state := m.pool.Get().(*mac)
	defer m.pool.Put(state)
	queries := [2]string{query, browserQuery(query)}
	for i, q := range queries {
		if i > 0 && q == query {
			break
		}
		for _, address := range addresses {
			state.write(address, q, f)
			if hmac.Equal(state.sum[:], want[:]) {
				return true
			}
		}
	}
	return false
}

// write computes the signature of an address, a query and fields: names in
// byte order, each with its distinct values in order.
func (m *mac) write(address, query string, f form) {
	b := append(m.text[:0], address...)
	if query != "" {
		b = append(append(b, '?'), query...)
	}
	for i, p := range f.sorted {
		if i > 0 && p == f.sorted[i-1] {
			continue // a repeated value counts once
		}
		b = append(append(b, p.name...), p.value...)
	}
	m.text = b
	m.hash.Reset()
	m.hash.Write(b)
	m.hash.Sum(m.sum[:0])
}

// browserQuery is a query as URL parsers of browsers rewrite it (WHATWG URL
// Standard, special-query percent-encode set), which some signers do first.
func browserQuery(query string) string {
	special := func(b byte) bool {
		return b <= ' ' || b >= 0x7f || b == '"' || b == '#' || b == '<' || b == '>' || b == '\''
	}
	if !slices.ContainsFunc([]byte(query), special) {
		return query
	}
	var out strings.Builder
	for i := range len(query) {
		if b := query[i]; special(b) {
			fmt.Fprintf(&out, "%%%02X", b)
		} else {
			out.WriteByte(b)
		}
	}
	return out.String()
}
