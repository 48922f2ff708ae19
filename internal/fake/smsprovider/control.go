package smsprovider

import (
	"encoding/json"
	"net/http"
	"time"
)

// Control returns a handler by which another process works the provider, for
// tests that kill processes:
//
//	GET  /ledger    every message
//	GET  /problems  what the application did against the contract
//	POST /from      a Text: a handset writes
//	POST /advance   {"Now": …}: messages move on
//	POST /redeliver what was not taken is posted again
//	POST /fault     a Fault
func (p *Provider) Control() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /ledger", func(w http.ResponseWriter, _ *http.Request) { show(w, p.Ledger()) })
	mux.HandleFunc("GET /problems", func(w http.ResponseWriter, _ *http.Request) { show(w, p.Problems()) })
	mux.HandleFunc("POST /from", func(w http.ResponseWriter, r *http.Request) {
		var t Text
		if !read(w, r, &t) {
			return
		}
		d, err := p.From(r.Context(), t)
		if err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		show(w, d)
	})
	mux.HandleFunc("POST /advance", func(w http.ResponseWriter, r *http.Request) {
		var to struct{ Now time.Time }
		if read(w, r, &to) {
			show(w, p.Advance(r.Context(), to.Now))
		}
	})
	mux.HandleFunc("POST /redeliver", func(w http.ResponseWriter, r *http.Request) { show(w, p.Redeliver(r.Context())) })
	mux.HandleFunc("POST /fault", func(w http.ResponseWriter, r *http.Request) {
		var f Fault
		if read(w, r, &f) {
			p.Inject(f)
			show(w, "injected")
		}
	})
	return mux
}

func show(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(v)
}

func read(w http.ResponseWriter, r *http.Request, into any) bool {
	if err := json.NewDecoder(r.Body).Decode(into); err != nil {
		http.Error(w, "the body is not the JSON that is wanted", http.StatusBadRequest)
		return false
	}
	return true
}
