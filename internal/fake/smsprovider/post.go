package smsprovider

import (
	"context"
	"crypto/hmac"
	"crypto/sha1"
	"encoding/base64"
	"encoding/xml"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"
)

// Sign signs a form posted to an address: HMAC-SHA1 over the address, then each
// name in order with each of its distinct values in order.
func Sign(token, address string, form url.Values) string {
	names := make([]string, 0, len(form))
	for name := range form {
		names = append(names, name)
	}
	slices.Sort(names)
	signed := address
	for _, name := range names {
		values := slices.Clone(form[name])
		slices.Sort(values)
		for _, v := range slices.Compact(values) {
			signed += name + v
		}
	}
	mac := hmac.New(sha1.New, []byte(token))
	_, _ = io.WriteString(mac, signed)
	return base64.StdEncoding.EncodeToString(mac.Sum(nil))
}

// Request makes a signed request to an address, as the provider does.
func Request(ctx context.Context, token, address string, form url.Values) (*http.Request, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, address, strings.NewReader(form.Encode()))
	if err != nil {
		return nil, fmt.Errorf("making the request: %w", err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded; charset=UTF-8")
	r.Header.Set("User-Agent", "TwilioProxy/1.1")
	r.Header.Set("X-Twilio-Signature", Sign(token, address, form))
	return r, nil
}

// answer is what the application answered.
type answer struct {
	status int
	kind   string
	body   []byte
}

func (p *Provider) post(ctx context.Context, address, token string, form url.Values) (answer, error) {
	r, err := Request(ctx, token, address, form)
	if err != nil {
		return answer{}, err
	}
	resp, err := p.o.Client.Do(r)
	if err != nil {
		return answer{}, fmt.Errorf("posting to the application: %w", err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(io.LimitReader(resp.Body, 64<<10))
	if err != nil {
		return answer{}, fmt.Errorf("reading the application's answer: %w", err)
	}
	kind, _, _ := strings.Cut(resp.Header.Get("Content-Type"), ";")
	return answer{resp.StatusCode, kind, body}, nil
}

// heedAnswer does what the answer to an inbound message tells: plain text and
// <Message> elements are sent to whoever wrote.
func (p *Provider) heedAnswer(n *number, m *Message, a answer) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(a.body) == 0 {
		return
	}
	switch a.kind {
	case "text/xml", "application/xml", "text/html":
		var doc struct {
			XMLName  xml.Name `xml:"Response"`
			Messages []string `xml:"Message"`
		}
		if err := xml.Unmarshal(a.body, &doc); err != nil {
			p.problem("the answer to a message is no TwiML")
			return
		}
		for _, text := range doc.Messages {
			p.ownReply(n, m.From, text)
		}
	case "text/plain":
		p.problem("the answer to a message is plain text, which goes to the owner")
		p.ownReply(n, m.From, string(a.body))
	default:
		p.problem("the answer to a message is of the kind %q", a.kind)
	}
}
