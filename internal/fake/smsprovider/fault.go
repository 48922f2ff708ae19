package smsprovider

import (
	"context"
	"net/http"
)

// FaultKind is a way in which a request goes wrong.
type FaultKind string

const (
	// AcceptAndHang takes the message and never answers: the client times out.
	AcceptAndHang FaultKind = "accept-and-hang"
	// AcceptAndCut takes the message and cuts the connection.
	AcceptAndCut FaultKind = "accept-and-cut"
	// Cut cuts the connection and takes nothing.
	Cut FaultKind = "cut"
	// Answer500 and Answer503 take nothing and say so.
	Answer500 FaultKind = "500"
	Answer503 FaultKind = "503"
	// Answer429 takes nothing, with code 20429.
	Answer429 FaultKind = "429"
	// ListFails lets look-ups fail.
	ListFails FaultKind = "list-fails"
)

// Fault goes wrong a number of times.
type Fault struct {
	Kind  FaultKind
	Times int
	To    string // only messages to this number; "" for any
}

// Inject adds a fault. Those added first come first.
func (p *Provider) Inject(f Fault) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.faults = append(p.faults, f)
}

// Mend takes all faults away that were added.
func (p *Provider) Mend() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.faults = nil
}

// fault takes the next fault that concerns a request. The lock is held.
func (p *Provider) fault(to string, list bool) FaultKind {
	for i := range p.faults {
		f := &p.faults[i]
		if f.Times <= 0 || (f.Kind == ListFails) != list || f.To != "" && f.To != to {
			continue
		}
		f.Times--
		return f.Kind
	}
	return ""
}

// before does what a fault does before a message is looked at. It reports
// whether the request has been answered by it.
func (k FaultKind) before(w http.ResponseWriter) bool {
	switch k {
	case Cut:
		panic(http.ErrAbortHandler)
	case Answer500, ListFails:
		refuse(w, http.StatusInternalServerError, 20500, "an internal error, made on purpose")
	case Answer503:
		refuse(w, http.StatusServiceUnavailable, 20503, "unavailable, made on purpose")
	case Answer429:
		refuse(w, http.StatusTooManyRequests, 20429, "too many requests, made on purpose")
	default:
		return false
	}
	return true
}

// after does what a fault does once the message is taken.
func (k FaultKind) after(ctx context.Context) {
	switch k {
	case AcceptAndHang:
		<-ctx.Done()
		panic(http.ErrAbortHandler)
	case AcceptAndCut:
		panic(http.ErrAbortHandler)
	}
}
