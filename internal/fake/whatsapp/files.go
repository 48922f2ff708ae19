package whatsapp

import (
	"encoding/json"
	"net/http"
	"path"
	"strings"
)

// File is what somebody sent, as the provider keeps it.
type File struct {
	Type string
	Data []byte
	URL  string // where the provider says it is; "" is at the provider itself
}

// Keep keeps a file under its id.
func (p *Provider) Keep(id string, f File) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.files[id] = f
}

// file answers where a file is, and with the file itself there.
func (p *Provider) file(w http.ResponseWriter, r *http.Request) {
	if r.Header.Get("Authorization") != "Bearer "+p.o.Token {
		refuse(w, http.StatusUnauthorized, 190)
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	id := path.Base(r.URL.Path)
	f, ok := p.files[id]
	switch {
	case !ok:
		refuse(w, http.StatusNotFound, 100)
	case strings.HasPrefix(r.URL.Path, "/files/"):
		w.Header().Set("Content-Type", f.Type)
		_, _ = w.Write(f.Data)
	default:
		if f.URL == "" {
			f.URL = "http://" + r.Host + "/files/" + id
		}
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode(map[string]any{"messaging_product": "whatsapp", "id": id, "url": f.URL, "mime_type": f.Type})
	}
}
