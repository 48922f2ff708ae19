package smsprovider

import (
	"encoding/json"
	"net/http"
	"net/url"
	"strconv"
	"time"
)

// resource is a message as the interface shows it.
type resource struct {
	SID          string  `json:"sid"`
	AccountSID   string  `json:"account_sid"`
	APIVersion   string  `json:"api_version"`
	Body         string  `json:"body"`
	DateCreated  string  `json:"date_created"` // RFC 2822
	DateSent     *string `json:"date_sent"`
	DateUpdated  string  `json:"date_updated"`
	Direction    string  `json:"direction"`
	ErrorCode    *int    `json:"error_code"`
	ErrorMessage *string `json:"error_message"`
	From         string  `json:"from"`
	To           string  `json:"to"`
	NumMedia     string  `json:"num_media"`
	NumSegments  string  `json:"num_segments"`
	Price        *string `json:"price"`
	PriceUnit    string  `json:"price_unit"`
	Status       string  `json:"status"`
	ServiceSID   *string `json:"messaging_service_sid"`
	URI          string  `json:"uri"`
}

func (p *Provider) resource(m *Message) *resource {
	r := &resource{
		SID: m.SID, AccountSID: m.Account, APIVersion: "2010-04-01", Body: m.Body, Direction: m.Direction,
		From: m.From, To: m.To, NumMedia: strconv.Itoa(len(m.Media)), NumSegments: strconv.Itoa(m.Segments),
		PriceUnit: "USD", Status: m.Status, DateCreated: stamp(m.Created), DateUpdated: stamp(m.Updated),
		URI: "/2010-04-01/Accounts/" + m.Account + "/Messages/" + m.SID + ".json",
	}
	if !m.Sent.IsZero() {
		s := stamp(m.Sent)
		r.DateSent = &s
	}
	if m.ErrorCode != 0 {
		r.ErrorCode = &m.ErrorCode
	}
	return r
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC1123Z) }

func (p *Provider) fetch(w http.ResponseWriter, a *Account, sid string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, m := range p.ledger {
		if m.SID == sid && m.Account == a.SID {
			w.Header().Set("Content-Type", "application/json")
			_ = json.NewEncoder(w).Encode(p.resource(m))
			return
		}
	}
	refuse(w, http.StatusNotFound, 20404, "The requested resource was not found")
}

// list shows an account's messages, newest first, a page at a time.
func (p *Provider) list(w http.ResponseWriter, r *http.Request, a *Account) {
	q := r.URL.Query()
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.fault(q.Get("To"), true).before(w) {
		return
	}
	size, err := strconv.Atoi(q.Get("PageSize"))
	if err != nil || size < 1 {
		size = 50
	}
	size = min(size, 1000)
	page, _ := strconv.Atoi(q.Get("Page"))
	wanted, err := filterOf(q)
	if err != nil {
		refuse(w, http.StatusBadRequest, 20001, "A date is not one.") // code from memory
		return
	}
	var found []*resource
	for i := len(p.ledger) - 1; i >= 0; i-- {
		if m := p.ledger[i]; m.Account == a.SID && wanted(m) {
			found = append(found, p.resource(m))
		}
	}
	first := min(max(page, 0)*size, len(found))
	last := min(first+size, len(found))
	out := map[string]any{"messages": found[first:last], "page": page, "page_size": size, "next_page_uri": nil}
	if first == last {
		out["messages"] = []*resource{}
	}
	if last < len(found) {
		q.Set("Page", strconv.Itoa(page+1))
		q.Set("PageToken", "PA"+found[last-1].SID)
		out["next_page_uri"] = r.URL.Path + "?" + q.Encode()
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(out)
}

// filterOf reads a list's filters. A message without a date of sending passes no
// filter of that date.
func filterOf(q url.Values) (func(*Message) bool, error) {
	var dates [3]time.Time // on, from, until
	for i, name := range []string{"DateSent", "DateSent>", "DateSent<"} {
		text := q.Get(name)
		if text == "" {
			continue
		}
		t, err := time.Parse(time.DateOnly, text)
		if err != nil {
			if t, err = time.Parse(time.RFC3339, text); err != nil {
				return nil, err
			}
		}
		dates[i] = t
	}
	return func(m *Message) bool {
		day := m.Sent.UTC().Truncate(24 * time.Hour)
		switch {
		case q.Get("To") != "" && m.To != q.Get("To"), q.Get("From") != "" && m.From != q.Get("From"):
			return false
		case dates == [3]time.Time{}:
			return true
		case m.Sent.IsZero():
			return false
		}
		return (dates[0].IsZero() || day.Equal(dates[0])) && (dates[1].IsZero() || !m.Sent.Before(dates[1])) &&
			(dates[2].IsZero() || !day.After(dates[2]))
	}, nil
}
