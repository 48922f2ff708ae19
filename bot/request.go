package bot

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptrace"
	"net/url"
	"strconv"
	"sync/atomic"
	"time"
)

// maxReply is how much of a provider's answer is read.
const maxReply = 64 << 10

// NewClient returns a client for a provider's interface. It never follows a
// redirect: a post would arrive as something else.
func NewClient() *http.Client {
	t := http.DefaultTransport.(*http.Transport).Clone()
	t.MaxIdleConnsPerHost = 128 // as many as may be under way, so that none is dialled anew
	t.MaxIdleConns = 0          // of all providers together: without limit
	return &http.Client{
		Transport:     t,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// Reply is what a provider answered.
type Reply struct {
	Status int
	Header http.Header
	Body   []byte // at most 64 KiB; empty where it could not be read
}

// OK says whether the provider accepted the request.
func (r Reply) OK() bool { return r.Status/100 == 2 }

// Do hands a request to a provider. Where there is no answer, the error's class
// is Retry if nothing of the request can have arrived and UnknownResult
// otherwise. It never holds the request's address, which may hold a number or a
// secret.
func Do(client *http.Client, req *http.Request) (Reply, *SendError) {
	var written atomic.Bool
	ctx := httptrace.WithClientTrace(req.Context(), &httptrace.ClientTrace{WroteHeaders: func() { written.Store(true) }})
	resp, err := client.Do(req.WithContext(ctx))
	if err != nil {
		class := Retry
		if written.Load() {
			class = UnknownResult
		}
		return Reply{}, &SendError{Class: class, Err: WithoutURL(err)}
	}
	defer resp.Body.Close()
	r := Reply{Status: resp.StatusCode, Header: resp.Header}
	if body, err := io.ReadAll(io.LimitReader(resp.Body, maxReply)); err == nil {
		r.Body = body
	}
	return r, nil
}

// WithoutURL takes the address off an error of net/http.
func WithoutURL(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		return u.Err
	}
	return err
}

// Refused makes an error of an answer that is no acceptance. of says what a
// refusal of the request itself (4xx) means.
func (r Reply) Refused(code string, of func() Class) *SendError {
	e := &SendError{Code: code, RetryAfter: r.retryAfter()}
	switch {
	case r.Status == http.StatusTooManyRequests:
		e.Class = Throttled
	case r.Status == http.StatusRequestTimeout:
		e.Class = UnknownResult
	case r.Status >= 500:
		e.Class = Retry
	case r.Status == http.StatusUnauthorized, r.Status == http.StatusForbidden, r.Status/100 != 4:
		e.Class = Misconfigured
	default:
		e.Class = of()
	}
	if code == "" {
		e.Err = fmt.Errorf("the provider answered %d", r.Status)
	}
	return e
}

// retryAfter reads the seconds of a Retry-After header (RFC 9110, 10.2.3); a
// date there counts as unsaid.
func (r Reply) retryAfter() time.Duration {
	n, err := strconv.Atoi(r.Header.Get("Retry-After"))
	if err != nil || n < 0 {
		return 0
	}
	return min(time.Duration(n)*time.Second, time.Hour)
}
