package smsprovider

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"gaitpost/internal/sms"
)

var (
	accountSID = regexp.MustCompile(`^AC[0-9a-f]{32}$`)
	e164       = regexp.MustCompile(`^\+[1-9][0-9]{6,14}$`)
)

const (
	maxBody     = 1600
	maxValidity = 36000 // seconds; also the default
)

// ServeHTTP implements the provider's interface.
func (p *Provider) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	parts := strings.Split(strings.Trim(r.URL.Path, "/"), "/")
	if len(parts) < 4 || parts[0] != "2010-04-01" || parts[1] != "Accounts" || !strings.HasPrefix(parts[3], "Messages") {
		refuse(w, http.StatusNotFound, 20404, "The requested resource was not found")
		return
	}
	user, password, ok := r.BasicAuth()
	a := p.accounts[user]
	if !ok || a == nil || a.Token != password {
		refuse(w, http.StatusUnauthorized, 20003, "Authenticate")
		return
	}
	if parts[2] != a.SID {
		refuse(w, http.StatusNotFound, 20404, "The requested resource was not found")
		return
	}
	switch {
	case len(parts) == 4 && parts[3] == "Messages.json" && r.Method == http.MethodPost:
		p.create(w, r, a)
	case len(parts) == 4 && parts[3] == "Messages.json" && r.Method == http.MethodGet:
		p.list(w, r, a)
	case len(parts) == 7 && parts[5] == "Media" && r.Method == http.MethodGet:
		p.handOut(w, r.URL.Path)
	case len(parts) == 5 && parts[3] == "Messages" && r.Method == http.MethodGet:
		p.fetch(w, a, strings.TrimSuffix(parts[4], ".json"))
	default:
		refuse(w, http.StatusMethodNotAllowed, 20004, "Method not allowed")
	}
}

// refuse answers with an error in the provider's form.
func refuse(w http.ResponseWriter, status, code int, message string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(map[string]any{
		"code": code, "message": message, "status": status,
		"more_info": fmt.Sprintf("https://www.twilio.com/docs/errors/%d", code),
	})
}

// refusal is one reason not to take a message.
type refusal struct {
	status, code int
	message      string
}

// known are the parameters of the Message resource.
var known = map[string]bool{
	"To": true, "From": true, "Body": true, "StatusCallback": true, "ValidityPeriod": true,
	"MessagingServiceSid": true, "MediaUrl": true, "ContentSid": true, "ContentVariables": true,
	"SmartEncoded": true, "ScheduleType": true, "SendAt": true, "ContentRetention": true,
	"AddressRetention": true, "ShortenUrls": true, "SendAsMms": true, "ProvideFeedback": true,
	"RiskCheck": true, "Attempt": true, "FallbackFrom": true, "ForceDelivery": true,
	"TrafficType": true, "PersistentAction": true, "ApplicationSid": true, "MaxPrice": true,
}

// create takes a message.
func (p *Provider) create(w http.ResponseWriter, r *http.Request, a *Account) {
	if t := r.Header.Get("Content-Type"); !strings.HasPrefix(t, "application/x-www-form-urlencoded") {
		refuse(w, http.StatusUnsupportedMediaType, 20415, "Unsupported media type") // code from memory
		return
	}
	if err := r.ParseForm(); err != nil {
		refuse(w, http.StatusBadRequest, 20001, "The form can't be read") // code from memory
		return
	}
	m, kind, why := p.accept(r.PostForm, a)
	if kind.before(w) {
		return
	}
	if why != nil {
		refuse(w, why.status, why.code, why.message)
		return
	}
	kind.after(r.Context())
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(http.StatusCreated)
	_ = json.NewEncoder(w).Encode(m)
}

// accept checks a message and takes it, or says why not.
func (p *Provider) accept(form url.Values, a *Account) (*resource, FaultKind, *refusal) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for name := range form {
		if !known[name] {
			p.problem("the Message resource has no parameter %q", name)
		}
	}
	kind := p.fault(form.Get("To"), false)
	switch kind {
	case Cut, Answer500, Answer503, Answer429:
		return nil, kind, nil
	}
	if why := p.check(form, a); why != nil {
		return nil, "", why
	}
	n := p.numbers[form.Get("From")]
	now := p.o.Now()
	valid, _ := strconv.Atoi(form.Get("ValidityPeriod"))
	if valid == 0 {
		valid = maxValidity
	}
	segments := sms.Encode(form.Get("Body")).Segments
	m := p.keep(Message{
		Account: a.SID, Direction: OutboundAPI, From: n.E164, To: form.Get("To"), Body: form.Get("Body"),
		Segments: segments, Status: "queued", Created: now, Updated: now,
		Until: now.Add(time.Duration(valid) * time.Second), Callback: form.Get("StatusCallback"),
		due: n.slot(now, segments),
	}, "SM")
	p.moving = append(p.moving, m)
	return p.resource(m), kind, nil
}

// slot is when a number has sent what it was given: one second after its turn.
func (n *number) slot(now time.Time, segments int) time.Time {
	if n.free.Before(now) {
		n.free = now
	}
	at := n.free.Add(time.Second)
	if n.SegmentsPerSecond > 0 {
		n.free = n.free.Add(time.Duration(float64(segments) / n.SegmentsPerSecond * float64(time.Second)))
	}
	return at
}

// check says why a message is refused; nil where it is not.
func (p *Provider) check(form url.Values, a *Account) *refusal {
	bad := func(code int, message string) *refusal { return &refusal{http.StatusBadRequest, code, message} }
	to, from, body := form.Get("To"), form.Get("From"), form.Get("Body")
	n := p.numbers[from]
	switch {
	case to == "":
		return bad(21604, "A 'To' phone number is required.")
	case !e164.MatchString(to):
		return bad(21211, "The 'To' number is not a valid phone number.")
	case from == "" && form.Get("MessagingServiceSid") == "":
		return bad(21603, "A 'From' phone number is required.")
	case from == "":
		return bad(21705, "The Messaging Service Sid is invalid.") // there are none here
	case !e164.MatchString(from):
		return bad(21212, "The 'From' number is not a valid phone number.")
	case n == nil || n.account != a:
		return bad(21606, "The 'From' phone number is not a message-capable number of this account.")
	case body == "":
		return bad(21602, "Message body is required.")
	case utf8.RuneCountInString(body) > maxBody:
		return bad(21617, "The concatenated message body exceeds the 1600 character limit.")
	}
	if why := checkSettings(form); why != nil {
		return why
	}
	return p.checkWay(n, to)
}

func checkSettings(form url.Values) *refusal {
	if v, ok := form["ValidityPeriod"]; ok {
		if n, err := strconv.Atoi(v[0]); err != nil || n < 1 || n > maxValidity {
			return &refusal{http.StatusBadRequest, 20001, "ValidityPeriod must be 1 to 36000."} // code from memory
		}
	}
	if v, ok := form["StatusCallback"]; ok {
		u, err := url.Parse(v[0])
		if err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") || strings.Contains(u.Host, "_") {
			return &refusal{http.StatusBadRequest, 21609, "The 'StatusCallback' URL is not a valid URL."}
		}
	}
	return nil
}

// checkWay looks at the number's rate and at who is at the other end.
func (p *Provider) checkWay(n *number, to string) *refusal {
	if second := p.o.Now().Unix(); n.Burst > 0 {
		if n.second != second {
			n.second, n.taken = second, 0
		}
		if n.taken++; n.taken > n.Burst {
			return &refusal{http.StatusTooManyRequests, 20429, "Too Many Requests"}
		}
	}
	switch {
	case p.optedOut[pair{n.E164, to}]:
		return &refusal{http.StatusBadRequest, 21610, "Attempt to send to unsubscribed recipient"}
	case p.handsets[to] == Landline:
		return &refusal{http.StatusBadRequest, 21614, "'To' number is not a valid mobile number"}
	}
	return nil
}
